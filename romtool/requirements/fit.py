"""Can a PC with nothing else in it give every device of a card something?

Two quick answers, where there is one; else only an exact solver can tell.

`fits` tries: devices are taken in order, with their choices, lines and bases in order, and turned
back from where nothing is left. Real cards fit at the first go, with the lowest free base of each
range; if not, all bases are tried. A try that takes too long is given up.

`short_of_lines` counts, at any size: what each device needs whatever choice it gets is matched with
lines, one each. Where that fails, the needs that were tried have one line too few between them
(Hall's theorem), and so have the devices, however their choices and ranges turn out.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

from romtool.requirements.collide import Placed, memory_collides, ports_collide
from romtool.requirements.model import (
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.schema.catalog import Catalog

PATIENCE = 20_000
"""The most values that are tried before a try is given up (some hundredths of a second)."""
MOST = 200
"""The most devices and needs that are tried at all: one call is nested in the other."""


class _GivenUp(Exception):
    """The try took too long."""


def fits(catalog: Catalog, devices: Sequence[DeviceRequirements]) -> bool | None:
    """Whether all devices can work at once in a PC with nothing else in it.

    What is beyond the registers of a device is left out. None: not known, the try took too long,
    or there are too many devices to begin it.
    """
    choices = [
        [alternative.in_registers(catalog.resources) for alternative in device.alternatives]
        for device in devices
    ]
    if sum(1 + max(map(len, needs)) for needs in choices) > MOST:
        return None
    for most_bases in (1, None):
        try:
            if _Try(catalog, choices, most_bases).device(0):
                return True
        except _GivenUp:
            continue
        if most_bases is None:
            return False
    return None


class _Try:
    """One try over devices, each with its choices, each with its needs.

    `most_bases`: how many free bases of a range are tried, None for all.
    """

    def __init__(
        self,
        catalog: Catalog,
        devices: Sequence[Sequence[Sequence[Requirement]]],
        most_bases: int | None,
    ) -> None:
        self.catalog = catalog
        self.devices = devices
        self.most_bases = most_bases
        self.lines: set[tuple[str, int]] = set()
        self.placed: dict[str, list[Placed]] = {kind: [] for kind in catalog.resources}
        self.left = PATIENCE

    def device(self, number: int) -> bool:
        """Whether this device and all after it fit what is still free."""
        if number == len(self.devices):
            return True
        return any(self._needs(needs, number) for needs in self.devices[number])

    def _needs(self, needs: Sequence[Requirement], number: int) -> bool:
        """Whether these needs of a device, then all devices after it, fit."""
        if not needs:
            return self.device(number + 1)
        need, rest = needs[0], needs[1:]
        if need.is_empty:
            return self._needs(rest, number)
        if isinstance(need, LineRequirement):
            return self._line(need, rest, number)
        taken = self.placed[need.kind]
        for place in itertools.islice(self._free(need, taken), self.most_bases):
            taken.append(place)
            found = self._needs(rest, number)
            taken.pop()
            if found:
                return True
        return False

    def _line(self, need: LineRequirement, rest: Sequence[Requirement], number: int) -> bool:
        on_bus = self.catalog.resources[need.kind].on_bus
        for line in need.lines:
            self._tick()
            taken = need.kind, on_bus(line)
            if taken not in self.lines:
                self.lines.add(taken)
                found = self._needs(rest, number)
                self.lines.discard(taken)
                if found:
                    return True
        return False

    def _free(self, need: RangeRequirement, taken: Sequence[Placed]) -> Iterator[Placed]:
        """Yield the places that collide with nothing taken, the lowest first."""
        base, step, stop = need.bases.start, need.bases.step, need.bases.stop
        while base < stop:
            place, beyond = Placed(base, need.length, need.bits), base + 1
            other = self._in_the_way(need.kind, place, taken)
            if other is None:
                yield place
            elif memory_collides(place, other):
                beyond = other.base + other.length
            base += -(-(beyond - base) // step) * step

    def _in_the_way(self, kind: str, place: Placed, taken: Sequence[Placed]) -> Placed | None:
        ports, bus = self.catalog.resources[kind].is_io, self.catalog.bus
        for other in taken:
            self._tick()
            if ports_collide(bus, place, other) if ports else memory_collides(place, other):
                return other
        return None

    def _tick(self) -> None:
        self.left -= 1
        if self.left < 0:
            raise _GivenUp


Slot = tuple[DeviceRequirements, frozenset[int]]
"""A device, and the lines of which it needs one in any case."""


def short_of_lines(
    catalog: Catalog, devices: Sequence[DeviceRequirements]
) -> list[DeviceRequirements]:
    """Return devices that can't all have the lines or channels they need; none if there are none.

    None of them can be left out without the others having enough.
    """
    for kind in catalog.resources:
        slots = [slot for device in devices for slot in _slots(catalog, device, kind)]
        short = _unmatched(slots)
        if short:
            return [device for device in devices if any(device is slot[0] for slot in short)]
    return []


def _slots(catalog: Catalog, device: DeviceRequirements, kind: str) -> Iterator[Slot]:
    """Yield the lines of one kind that a device needs in any case: the first, the second."""
    resource = catalog.resources[kind]
    offered = [
        [
            frozenset(map(resource.on_bus, need.lines))
            for need in alternative.in_registers(catalog.resources)
            if isinstance(need, LineRequirement) and need.kind == kind and need.lines
        ]
        for alternative in device.alternatives
    ]
    # As many as the choice with the fewest has; from which it gets them is left open.
    for place in range(min(map(len, offered))):
        yield device, frozenset[int]().union(*(lines[place] for lines in offered))


def _unmatched(slots: Sequence[Slot]) -> list[Slot]:
    """Return slots that have one line too few between them; none if each can have one."""
    holder: dict[int, int] = {}
    for number in range(len(slots)):
        tried: dict[int, None] = {number: None}
        if not _placed(slots, number, holder, tried):
            return [slots[index] for index in tried]
    return []


def _placed(
    slots: Sequence[Slot], number: int, holder: dict[int, int], tried: dict[int, None]
) -> bool:
    """Give a slot a line, others moving on to another one for it; return whether that works."""
    for line in sorted(slots[number][1]):
        if line not in holder:
            holder[line] = number
            return True
        other = holder[line]
        if other in tried:
            continue
        tried[other] = None
        if _placed(slots, other, holder, tried):
            holder[line] = number
            return True
    return False
