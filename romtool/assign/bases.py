"""Which values of each item are worth trying: all, or as few bases of a wide range as suffice."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from romtool.assign.asks import Ask, Asker, Values
from romtool.assign.host import Entry
from romtool.assign.leaning import leaning_values
from romtool.assign.room import without_room
from romtool.requirements.collide import Placed
from romtool.requirements.model import RangeRequirement
from romtool.schema.bus import Bus

MANY = 64
"""A range with up to so many bases simply keeps them; one with more is wide."""


def narrow_values(
    bus: Bus, askers: Sequence[Asker], entries: Iterable[Entry], *, keep: Ask | None = None
) -> Values:
    """Return values for all items that are not wide, and for `keep`.

    What can't be served with these can't be served at all: the wide items are overlooked.
    """
    return _values(bus, askers, entries, keep, overlook=True)


def enough_values(
    bus: Bus, askers: Sequence[Asker], entries: Iterable[Entry], *, keep: Ask | None = None
) -> Values:
    """Return values that suffice to tell what can be served together, beside what is taken.

    Left out are the items, save for `keep`, that can be served whatever the others are given. The
    values suffice for any part of the devices and of the entries, too.
    """
    return _values(bus, askers, entries, keep, overlook=False)


def _values(
    bus: Bus, askers: Sequence[Asker], entries: Iterable[Entry], keep: Ask | None, *, overlook: bool
) -> Values:
    found = {ask: ask.values for asker in askers for ask in asker.asks()}
    wide = [
        a
        for a, values in found.items()
        if isinstance(a.need, RangeRequirement) and len(values) > MANY
    ]
    for kind in dict.fromkeys(ask.need.kind for ask in wide):
        taken = [entry.value for entry in entries if entry.kind == kind]
        blocks = [value for value in taken if isinstance(value, Placed)]
        crowd = {ask: values for ask, values in found.items() if ask.need.kind == kind}
        suspects = [ask for ask in wide if ask in crowd and ask is not keep]
        spared = set(suspects)
        if not overlook:
            spared -= set(without_room(bus, askers, crowd, suspects, blocks))
        for ask in spared:
            del found[ask], crowd[ask]
        found |= leaning_values(bus, crowd, [ask for ask in wide if ask in crowd], blocks)
    return found
