"""An assignment: what each device gets, or what stands in the way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from romtool.assign.host import Entry
from romtool.requirements.collide import Placed


@dataclass(frozen=True)
class Given:
    """What one device gets. `card` is the place of its image in the call, `number` its own on it.

    `choice` counts from 0, None for a device without choices. The lists are in the order of the
    items; None for an item that asks for nothing.
    """

    card: int
    device: str
    number: int
    choice: int | None
    irq: tuple[int | None, ...]
    dma: tuple[int | None, ...]
    io: tuple[Placed | None, ...]
    memory: tuple[Placed | None, ...]

    def as_json(self) -> dict[str, Any]:
        """Return what the device gets as in the JSON answers."""
        return {
            "card": self.card,
            "device": self.device,
            "number": self.number,
            "choice": self.choice,
            "irq": list(self.irq),
            "dma": list(self.dma),
            "io": [_range(one) for one in self.io],
            "memory": [_range(one) for one in self.memory],
        }


def _range(placed: Placed | None) -> dict[str, int] | None:
    return None if placed is None else {"base": placed.base, "length": placed.length}


@dataclass(frozen=True)
class Clash:
    """What can't be together: devices as (card, number, ID), and entries of the host."""

    devices: tuple[tuple[int, int, str], ...]
    entries: tuple[Entry, ...]

    def names(self) -> list[str]:
        """Return device IDs and entries such as `host irq 5`."""
        return [*(id_ for _, _, id_ in self.devices), *map(str, self.entries)]


@dataclass(frozen=True)
class Assignment:
    """The best set of what the devices can be given; where not all can, of the most that can.

    `score` is the sum of the ranks of the chosen choices, None where it is not feasible.
    `conflict`: what can't be together, and could if any one of it were left out. `left_out`:
    (card, number) of devices that get nothing.
    """

    feasible: bool
    score: int | None
    devices: tuple[Given, ...]
    conflict: Clash | None = None
    left_out: tuple[tuple[int, int], ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Return the assignment as in the JSON answers."""
        return {
            "feasible": self.feasible,
            "score": self.score,
            "devices": [given.as_json() for given in self.devices],
            "conflict": self.conflict.names() if self.conflict is not None else [],
            "left_out": [{"card": card, "number": number} for card, number in self.left_out],
        }
