"""Too few lines for too many devices: a proof by counting, at any size.

What each device needs whatever choice it gets is matched with lines, one each. Where that fails,
the needs that were tried have one line too few between them (Hall's theorem), and so have the
devices, however their choices and ranges turn out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.requirements.model import DeviceRequirements, LineRequirement
from romtool.schema.catalog import Catalog

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
