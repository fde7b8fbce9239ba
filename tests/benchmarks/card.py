"""The card whose image is measured: invented, with the usual items of a real one."""

from __future__ import annotations

from tests.support import independent as witness
from tests.support.profiles import Table


def choice(priority: str, io: int | list[int], lines: list[int], channel: int) -> Table:
    """One alternative: ports, a line and a channel."""
    ports = {"io": io, "length": 16, "align": 16}
    return {"priority": priority, "resources": [ports, {"irq": lines}, {"dma": [channel]}]}


def device(number: int, name: str) -> Table:
    """A function with a driver's ID and three alternatives, the last of which has no DMA."""
    base = 0x220 + 0x20 * number
    return {
        "id": f"QRL{number:04X}",
        "name": name,
        "compatible": ["PNPB002"],
        "choice": [
            choice("good", base, [5], 1),
            choice("acceptable", [base, base + 0x100], [5, 7, 9], 3),
            {"priority": "sub-optimal", "resources": [{"irq": [5, 7, 9, 11]}]},
        ],
    }


NAMES = ("Audio", "FM", "MIDI", "Codec", "Game")
PROFILE: Table = {
    "image": {"layout": "counted-19", "size": 349},
    "card": {"id": "QRL0301", "serial": 1, "name": "Hollow Lane audio card mark 2"},
    "device": [device(number, name) for number, name in enumerate(NAMES, 1)],
}
IMAGE = witness.encode(PROFILE)
