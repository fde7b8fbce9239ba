"""Checks of needs against each other: in a choice, between devices, over the whole card."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from romtool.rules.findings import Finding, finding
from romtool.rules.view import Trouble, View, joined, trouble
from romtool.schema.catalog import Catalog
from romtool.wants.collide import never_together
from romtool.wants.fit import fits
from romtool.wants.needs import Alternative, CardWants, DeviceWants, Lines, Need, Span
from romtool.wants.short import short_of_lines

MOST_PAIRS = 5_000
"""So many pairs of choices of two devices are looked at; real cards have some dozens."""

MOST_VALUES = 256
"""So many lines and bases, over all items, are put before the exact solver."""

Pair = tuple[Need, Need]


def collision_findings(view: View) -> Iterator[Finding]:
    """Yield what no PC can give: in one choice, to two devices, to all of them."""
    inside = list(_inside(view))
    yield from view.told_once(inside)
    between = list(_between(view))
    yield from (one.told for one in between)
    hopeless = any(one.is_hopeless for one in between)
    able = [device for device in view.wants.devices if _able(view.catalog, device)]
    if len(able) == len(view.wants.devices) and not hopeless:
        yield from _all_together(view)


def _inside(view: View) -> Iterator[Trouble]:
    """Pairs of one choice with what always applies; such that always apply are told once."""
    for _, device in view.devices:
        told: set[tuple[int, int]] = set()
        for alternative in device.alternatives:
            for one, other in _pairs(view.catalog, alternative):
                if one.item is None or other.item is None:
                    continue
                key = one.item.offset, other.item.offset
                if key in told:
                    continue
                told.add(key)
                behind = any(other is need for need in device.after)
                item = one.item if behind else other.item
                words = {"one": in_words(one), "other": in_words(other)}
                yield trouble("collide", item, **words)


def _pairs(catalog: Catalog, alternative: Alternative) -> Iterator[Pair]:
    """Yield the pairs of needs of a choice that can't both be met.

    What is beyond the registers of a device is left out: that is a fault of its own.
    """
    needs = alternative.in_registers(catalog.resources)
    for one, other in itertools.combinations(needs, 2):
        if never_together(catalog, one, other):
            yield one, other


def _able(catalog: Catalog, device: DeviceWants) -> list[Alternative]:
    """Return the choices of a device that a PC could give it, if it had the PC for itself."""
    return [a for a in device.alternatives if next(_pairs(catalog, a), None) is None]


class _Between(NamedTuple):
    """A finding about two devices; `is_hopeless`: they can never both work."""

    told: Finding
    is_hopeless: bool


def _between(view: View) -> Iterator[_Between]:
    """Pairs of devices, choice by choice: which can't be had together, whatever is picked?"""
    left = MOST_PAIRS
    able = [(n, _able(view.catalog, d)) for n, d in enumerate(view.wants.devices)]
    for (first, ours), (second, theirs) in itertools.combinations(able, 2):
        left -= len(ours) * len(theirs)
        if left < 0:
            return
        grid = [[_clash(view.catalog, one, other) for other in theirs] for one in ours]
        if not grid or not grid[0]:
            continue
        if all(pair for row in grid for pair in row):
            yield _hopeless(view, first, second, grid[0][0])
            continue
        yield from _blocked(view, first, ours, second, grid)
        turned = [[pair and pair[::-1] for pair in column] for column in zip(*grid, strict=True)]
        yield from _blocked(view, second, theirs, first, turned)


def _clash(catalog: Catalog, one: Alternative, other: Alternative) -> Pair | None:
    """Return two needs, one of each, that can't both be met."""
    resources = catalog.resources
    for pair in itertools.product(one.in_registers(resources), other.in_registers(resources)):
        if never_together(catalog, *pair):
            return pair
    return None


def _hopeless(view: View, first: int, second: int, pair: Pair | None) -> _Between:
    assert pair is not None
    devices = view.parts[first], view.parts[second]
    words = {"first": devices[0].id, "second": devices[1].id}
    words |= {"one": in_words(pair[0]), "other": in_words(pair[1])}
    return _Between(
        finding(view.catalog, "devices-collide", _at(pair[1], devices[1].start.offset), **words),
        is_hopeless=True,
    )


def _blocked(
    view: View,
    number: int,
    alternatives: Sequence[Alternative],
    other: int,
    grid: Sequence[Sequence[Pair | None]],
) -> Iterator[_Between]:
    """Yield the choices of a device that all choices of another one stand in the way of."""
    for alternative, row in zip(alternatives, grid, strict=True):
        pair = row[0]
        if pair is None or not all(row) or alternative.number is None:
            continue
        start = view.parts[number].choices[alternative.number].start
        words = {"where": view.where([start]), "device": view.parts[other].id}
        words |= {"one": in_words(pair[0]), "other": in_words(pair[1])}
        at = _at(pair[0], start.offset)
        yield _Between(finding(view.catalog, "choice-blocked", at, **words), is_hopeless=False)


def _at(need: Need, otherwise: int) -> int:
    return otherwise if need.item is None else need.item.offset


def in_words(need: Need) -> str:
    """Return a need as a builder reads it: `I/O 220h-22Fh`."""
    assert need.item is not None
    return need.item.record.in_words(need.item.values)


def _all_together(view: View) -> Iterator[Finding]:
    """Say if not all devices can work at once, though any two of them can."""
    if any(isinstance(need, Span) and not need.bases for _, need in view.needs):
        return
    few = _in_conflict(view.catalog, view.wants)
    if few:
        names = joined([device.id for device in few])
        at = view.parts[few[-1].number].start.offset
        yield finding(view.catalog, "no-assignment", at, devices=names)


def _in_conflict(catalog: Catalog, card: CardWants) -> list[DeviceWants]:
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

    clash = assign(catalog, [card]).conflict
    return [] if clash is None else [card.devices[number] for _, number, _ in clash.devices]


def _values(card: CardWants) -> int:
    """Return how many lines and bases the items of a card offer, one for each item and value."""
    return sum(
        len(need.lines if isinstance(need, Lines) else need.bases)
        for device in card.devices
        for needs in (device.before, device.after, *(a.own for a in device.alternatives))
        for need in needs
    )


def _fewest(catalog: Catalog, devices: Sequence[DeviceWants]) -> list[DeviceWants]:
    """Return devices that can't all work, of which none can be left out."""
    few = list(devices)
    for device in devices:
        fewer = [one for one in few if one is not device]
        if fits(catalog, fewer) is False:
            few = fewer
    return few
