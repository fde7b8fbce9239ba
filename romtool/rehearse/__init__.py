"""The power-up, played: chips that load, a bus, cards on it, and the software that looks for them.

`bus`, `card` and `software` know nothing of each other but reads and writes of ports.
"""

ALL, BOOT, NONE = "all", "boot", "none"
CONFIGURED_BY = (ALL, BOOT, NONE)
"""Who configures the cards: PnP software; a BIOS, only those needed for boot; nobody."""
