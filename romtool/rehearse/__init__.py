"""The power-up, played: chips that load, a bus, cards on it, and the software that looks for them.

`bus`, `card` and `software` know nothing of each other but reads and writes of ports.
"""
