"""Checks of needs against each other: in a choice, between devices, over the whole card."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from romtool.requirements.collide import never_together
from romtool.requirements.fit import fits, short_of_lines
from romtool.requirements.model import (
    Alternative,
    CardRequirements,
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.rules.findings import Finding, finding
from romtool.rules.view import Trouble, View, joined, trouble
from romtool.schema.catalog import Catalog

MOST_PAIRS = 5_000
"""The most pairs of choices of two devices that are looked at; real cards have some dozens."""

Pair = tuple[Requirement, Requirement]

Able = tuple[Alternative, Sequence[Requirement]]
"""A choice that a PC could give its device, with the needs that it has registers for."""


def collision_findings(view: View) -> Iterator[Finding]:
    """Yield what no PC can give: in one choice, to two devices, to all of them."""
    inside = list(_inside(view))
    yield from view.told_once(inside)
    able = [_able(view.catalog, device) for device in view.requirements.devices]
    between = list(_between(view, able))
    yield from (one.told for one in between)
    if all(able) and not any(one.is_hopeless for one in between):
        yield from together_findings(view)


def _inside(view: View) -> Iterator[Trouble]:
    """Pairs of one choice with what always applies; such that always apply are told once."""
    for _, device in view.devices:
        told: set[tuple[int, int]] = set()
        for alternative in device.alternatives:
            needs = alternative.in_registers(view.catalog.resources)
            for one, other in _pairs(view.catalog, needs):
                if one.item is None or other.item is None:
                    continue
                key = one.item.offset, other.item.offset
                if key in told:
                    continue
                told.add(key)
                stop = any(other is need for need in device.after)
                item = one.item if stop else other.item
                words = {"one": _words(one), "other": _words(other)}
                yield trouble("collide", item, **words)


def _pairs(catalog: Catalog, needs: Sequence[Requirement]) -> Iterator[Pair]:
    """Yield the pairs of needs of a choice that can't both be met."""
    for one, other in itertools.combinations(needs, 2):
        if never_together(catalog, one, other):
            yield one, other


def _able(catalog: Catalog, device: DeviceRequirements) -> list[Able]:
    """Return the choices of a device that a PC could give it, if it had the PC for itself.

    What is beyond the registers of a device is left out: that is a fault of its own.
    """
    choices = [(a, a.in_registers(catalog.resources)) for a in device.alternatives]
    return [(a, needs) for a, needs in choices if next(_pairs(catalog, needs), None) is None]


class _Between(NamedTuple):
    """A finding about two devices; `is_hopeless`: they can never both work."""

    told: Finding
    is_hopeless: bool


def _between(view: View, able: Sequence[Sequence[Able]]) -> Iterator[_Between]:
    """Pairs of devices, choice by choice: which can't be had together, whatever is picked?"""
    left = MOST_PAIRS
    for (first, ours), (second, theirs) in itertools.combinations(enumerate(able), 2):
        left -= len(ours) * len(theirs)
        if left < 0:
            return
        grid = [[_clash(view.catalog, one, two) for _, two in theirs] for _, one in ours]
        if not grid or not grid[0]:
            continue
        if all(pair for row in grid for pair in row):
            yield _hopeless(view, first, second, grid[0][0])
            continue
        yield from _blocked(view, first, ours, second, grid)
        turned = [[pair and pair[::-1] for pair in column] for column in zip(*grid, strict=True)]
        yield from _blocked(view, second, theirs, first, turned)


def _clash(
    catalog: Catalog, ours: Sequence[Requirement], theirs: Sequence[Requirement]
) -> Pair | None:
    """Return two needs, one of each, that can't both be met."""
    for pair in itertools.product(ours, theirs):
        if never_together(catalog, *pair):
            return pair
    return None


def _hopeless(view: View, first: int, second: int, pair: Pair | None) -> _Between:
    assert pair is not None
    devices = view.card.devices[first], view.card.devices[second]
    words = {"first": devices[0].id, "second": devices[1].id}
    words |= {"one": _words(pair[0]), "other": _words(pair[1])}
    return _Between(
        finding(view.catalog, "devices-collide", _at(pair[1], devices[1].start.offset), **words),
        is_hopeless=True,
    )


def _blocked(
    view: View,
    number: int,
    choices: Sequence[Able],
    other: int,
    grid: Sequence[Sequence[Pair | None]],
) -> Iterator[_Between]:
    """Yield the choices of a device that all choices of another one stand in the way of."""
    for (alternative, _), row in zip(choices, grid, strict=True):
        pair = row[0]
        if pair is None or not all(row) or alternative.number is None:
            continue
        start = view.card.devices[number].choices[alternative.number].start
        words = {"where": view.where([start]), "device": view.card.devices[other].id}
        words |= {"one": _words(pair[0]), "other": _words(pair[1])}
        at = _at(pair[0], start.offset)
        yield _Between(finding(view.catalog, "choice-blocked", at, **words), is_hopeless=False)


def _at(need: Requirement, otherwise: int) -> int:
    return otherwise if need.item is None else need.item.offset


def _words(need: Requirement) -> str:
    """Return a need as a builder reads it: `I/O 220h-22Fh`."""
    assert need.item is not None
    return need.item.words


MOST_VALUES = 256
"""The most lines and bases, over all items, that are put before the exact solver."""


def together_findings(view: View) -> Iterator[Finding]:
    """Say if not all devices can work at once, though any two of them can."""
    if any(isinstance(need, RangeRequirement) and not need.bases for _, need in view.needs):
        return
    few = _in_conflict(view.catalog, view.requirements)
    if few:
        names = joined([device.id for device in few])
        at = view.card.devices[few[-1].number].start.offset
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
