"""Limits that follow from counting, which clauses alone are slow to find.

A *hitting set* of an item is a set of points of which it takes at least one, whatever value it is
given: all the lines that it accepts; or addresses, enough of them that the range holds one at each
of its bases. For a range of 4 ports with bases from 0 to 8 two addresses do, 3 and 7, and 8 the
third, since a range at base 8 holds neither:

    base 0   |####|          # holds 3
    base 3      |####|       # holds 3
    base 4       |####|      # holds 7
    base 8           |####|  # holds 8 or more
             0  3   7  ...

The *contenders* of a set of points are the items for which it is a hitting set. No two items in
effect may take the same point, so of n points at most n contenders can be in effect, less what the
host has taken of the points.

Twelve devices that each need one of eleven lines can't be served. A solver that only knows that no
two may share a line tries all orders of them; told this limit, it sees it at once.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence

from romtool.assign.host import Entry
from romtool.assign.model import Model, parts
from romtool.assign.variables import DeviceVariables, Domains, Variable, placed, range_of
from romtool.requirements.collide import Placed, ports_collide
from romtool.requirements.model import LineRequirement
from romtool.schema.bus import Bus
from romtool.schema.catalog import Catalog

MOST_SETS = 64
"""The most sets of places that are looked at."""

MOST_LIMITS = 8
"""The most limits that are added for one kind of resource: each costs clauses."""

Points = tuple[int, ...]
Holds = Callable[[Variable, int, Points], bool]
"""Whether an item, given a value, holds one of the points."""


def bounded_model(
    catalog: Catalog,
    devices: Sequence[DeviceVariables],
    values: Domains,
    entries: Sequence[Entry],
    *,
    open_host: bool = False,
) -> Model:
    """Return the question as clauses, with the limits that follow from counting."""
    model = Model(catalog, devices, values, entries, open_host=open_host)
    limit_contenders(model)
    return model


def limit_contenders(model: Model) -> None:
    """Add what follows from counting places, and the items that take one of them each."""
    bus = model.catalog.bus
    for kind in model.kinds:
        items = [item for item in model.given if item.need.kind == kind]
        if isinstance(items[0].need, LineRequirement):
            _limit_lines(model, kind, items)
            continue
        aliased = [item for item in items if bus.aliases(range_of(item).bits)]
        plain = [item for item in items if item not in aliased]
        if plain:
            _limit_ranges(model, plain, 0)
        if aliased:
            blocks = {item: _block(model, item, bus.alias_step) for item in plain}
            for block in sorted({n for n in blocks.values() if n is not None}) or [0]:
                beside = [item for item in plain if blocks[item] == block]
                _limit_ranges(model, [*aliased, *beside], bus.alias_step, block)


def _block(model: Model, item: Variable, alias_period: int) -> int | None:
    """Return between which two aliases a range lies, wherever it is placed; None for no one place.

    Two that lie between the same two collide just where two with aliases would.
    """
    given = model.given[item]
    if not given:
        return None
    first, last = (
        min(given) // alias_period,
        (max(given) + range_of(item).length - 1) // alias_period,
    )
    return first if first == last else None


def _limit_lines(model: Model, kind: str, items: Sequence[Variable]) -> None:
    renamed = model.catalog.resources[kind].renamed

    def holds(_item: Variable, value: int, points: Points) -> bool:
        return renamed.get(value, value) in points

    sets = [_points(renamed.get(v, v) for v in model.given[item]) for item in items]
    _limit(model, items, sets, holds, lambda entry, point: entry == point)


def _limit_ranges(
    model: Model, items: Sequence[Variable], alias_period: int, block: int = 0
) -> None:
    bus = model.catalog.bus

    def holds(item: Variable, base: int, points: Points) -> bool:
        return _held(points, placed(item, base), alias_period)

    # What takes a place from a range without aliases takes it from one with aliases, too.
    bits = max(range_of(item).bits for item in items)
    sets = [
        _hitting_set([placed(item, base) for base in model.given[item]], alias_period)
        for item in items
    ]
    _limit(
        model,
        items,
        sets,
        holds,
        lambda entry, point: _takes(bus, entry, block * alias_period + point, bits),
    )


def _takes(bus: Bus, entry: int | Placed, point: int, bits: int) -> bool:
    assert isinstance(entry, Placed)
    return ports_collide(bus, Placed(point, 1, bits), entry)


def _held(points: Points, there: Placed, alias_period: int) -> bool:
    return any(
        bisect_left(points, low) < bisect_left(points, high)
        for low, high in parts(there, alias_period)
    )


def _hitting_set(ranges: Iterable[Placed], alias_period: int) -> Points:
    """Return points of which each range holds one: as few as can be, without aliases."""
    points: Points = ()
    for there in sorted(ranges, key=lambda there: there.base + there.length):
        if not _held(points, there, alias_period):
            last = there.base + there.length - 1
            points = _points((*points, last % alias_period if alias_period else last))
    return points


def _points(points: Iterable[int]) -> Points:
    return tuple(sorted(set(points)))


def _unions(sets: Iterable[Points]) -> Iterator[Points]:
    """Yield sets of points and unions of them: all together first, then the small ones."""
    known = dict.fromkeys(sets)
    everything = _points(point for points in known for point in points)
    found = dict.fromkeys([everything, *sorted(known, key=lambda points: (len(points), points))])
    yield everything
    waiting = [points for points in found if points != everything]
    yield from waiting
    for one in waiting:
        for other in known:
            union = _points((*one, *other))
            if len(found) >= MOST_SETS:
                return
            if union not in found:
                found[union] = None
                waiting.append(union)


def _limit(
    model: Model,
    items: Sequence[Variable],
    sets: Sequence[Points],
    holds: Holds,
    takes: Callable[[int | Placed, int], bool],
) -> None:
    """Add the limits for items that each need one of some points."""
    alike: dict[tuple[object, ...], list[Variable]] = {}
    for item in items:
        alike.setdefault((item.need, *model.given[item]), []).append(item)
    limits = 0
    for points in _unions(sets):
        if limits == MOST_LIMITS:
            return
        contenders = [
            item
            for same in alike.values()
            if all(holds(same[0], value, points) for value in model.given[same[0]])
            for item in same
        ]
        limits += _limited(model, contenders, points, takes)


def _limited(
    model: Model,
    contenders: Sequence[Variable],
    points: Points,
    takes: Callable[[int | Placed, int], bool],
) -> bool:
    """Let at most one contender a point be in effect; return whether that says anything."""
    kind = contenders[0].need.kind if contenders else None
    inside = set(contenders)
    groups: list[dict[int, list[int]]] = []
    for chosen, device in zip(model.chosen, model.devices, strict=True):
        group: dict[int, list[int]] = {}
        for index, literal in enumerate(chosen):
            count = sum(item in inside for item in device.in_effect(index))
            group.setdefault(count, []).append(literal)
        groups.append(group)
    free = list(points)
    for entry, literal in model.kept.items():
        if entry.kind == kind:
            gone = [point for point in free if takes(entry.value, point)]
            free = [point for point in free if point not in gone]
            groups.append({len(gone): [literal]})
    if sum(max(group) for group in groups) <= len(points):
        return False
    model.clauses.at_most(groups, len(points))
    return True
