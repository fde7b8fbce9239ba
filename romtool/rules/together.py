"""A check of all devices at once: can a PC give every one of them what it asks for?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.requirements.fit import fits
from romtool.requirements.model import (
    CardRequirements,
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
)
from romtool.requirements.short import short_of_lines
from romtool.rules.findings import Finding, finding
from romtool.rules.view import View, joined
from romtool.schema.catalog import Catalog

MOST_VALUES = 256
"""So many lines and bases, over all items, are put before the exact solver."""


def together_findings(view: View) -> Iterator[Finding]:
    """Say if not all devices can work at once, though any two of them can."""
    if any(isinstance(need, RangeRequirement) and not need.bases for _, need in view.needs):
        return
    few = _in_conflict(view.catalog, view.requirements)
    if few:
        names = joined([device.id for device in few])
        at = view.parts[few[-1].number].start.offset
        yield finding(view.catalog, "no-assignment", at, devices=names)


def _in_conflict(catalog: Catalog, card: CardRequirements) -> list[DeviceRequirements]:
    """Return devices that can't all work, of which none can be left out; none if all can work.

    Only where neither counting nor a quick try can tell, the exact solver is asked, which takes
    long to load. Of more values than it settles soon nothing is said here: `assign` tells.
    """
    short = short_of_lines(catalog, card.devices)
    if short:
        return short
    found = fits(catalog, card.devices)
    if found is False:
        return _fewest(catalog, card.devices)
    if found or _values(card) > MOST_VALUES:
        return []
    from romtool.assign.assign import assign

    conflict = assign(catalog, [card]).conflict
    return [] if conflict is None else [card.devices[side.number] for side in conflict.sides]


def _values(card: CardRequirements) -> int:
    """Return how many lines and bases the items of a card offer, one for each item and value."""
    return sum(
        len(need.lines if isinstance(need, LineRequirement) else need.bases)
        for device in card.devices
        for needs in (device.before, device.after, *(a.own for a in device.alternatives))
        for need in needs
    )


def _fewest(catalog: Catalog, devices: Sequence[DeviceRequirements]) -> list[DeviceRequirements]:
    """Return devices that can't all work, of which none can be left out."""
    few = list(devices)
    for device in devices:
        fewer = [one for one in few if one is not device]
        if fits(catalog, fewer) is False:
            few = fewer
    return few
