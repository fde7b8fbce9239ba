"""The bus: every card hears every read and write (Spec 3.1).

A read carries what all that answer have in common: a line that any of them pulls low is low, and
where none answers all are high (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from romtool.requirements.collide import Placed, answers_at
from romtool.schema import bus as facts

SILENCE = 0xFF
"""What a read carries where nothing answers."""

UNKNOWN = 0x00
"""What answers in place of a device whose data isn't known: it always shows."""


class BusCard(Protocol):
    """What can stand in a slot of the bus."""

    def drive(self, port: int) -> int | None:
        """Return what it puts on the bus for a read of this port; None for nothing."""

    def hear(self, port: int, value: int) -> None:
        """Take note of what a read of this port carried."""

    def write(self, port: int, value: int) -> None:
        """Take note of what was written to this port."""

    def reset_drv(self) -> None:
        """Start anew: the bus line RESET_DRV."""


class Backplane:
    """Cards in their slots, and the ports that the host has taken.

    `clashes`: which slots answered the same read with different things.
    """

    def __init__(
        self, bus: facts.Bus, slots: Sequence[BusCard], taken: Sequence[Placed] = ()
    ) -> None:
        self.bus = bus
        self.slots = slots
        self.taken = taken
        self.clashes: set[tuple[int, ...]] = set()

    def read(self, port: int) -> int:
        """Return what a read of a port carries."""
        driven = {n: slot.drive(port) for n, slot in enumerate(self.slots)}
        answers = {n: value for n, value in driven.items() if value is not None}
        if len(set(answers.values())) > 1:
            self.clashes.add(tuple(answers))
        value = UNKNOWN if self._is_taken(port) else SILENCE
        for answer in answers.values():
            value &= answer
        for slot in self.slots:
            slot.hear(port, value)
        return value

    def write(self, port: int, value: int) -> None:
        """Write to a port: all slots hear it."""
        for slot in self.slots:
            slot.write(port, value)

    def reset_drv(self) -> None:
        """Raise RESET_DRV: all slots start anew."""
        for slot in self.slots:
            slot.reset_drv()

    def _is_taken(self, port: int) -> bool:
        return any(answers_at(self.bus, one, port) for one in self.taken)
