"""Limits that follow from counting, which clauses alone are slow to find.

Twelve devices that each need one of eleven lines can't be served. A solver that only knows that no
two may share a line tries all orders of them; told that at most eleven of the items that take one
of these lines can be in effect, it sees it at once. For ranges the lines are addresses, of which
each of the ranges in question holds at least one, wherever it is placed.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence

from romtool.assign.asks import Ask, placed, span_of
from romtool.assign.model import Model, parts
from romtool.requirements.collide import Placed, ports_collide
from romtool.requirements.model import LineRequirement
from romtool.schema.bus import Bus

MOST_SETS = 64
"""So many sets of places are looked at."""

MOST_LIMITS = 8
"""So many limits are added for one kind of resource: each costs clauses."""

Points = tuple[int, ...]
Holds = Callable[[Ask, int, Points], bool]
"""Whether an item, given a value, holds one of the points."""


def limit_crowds(model: Model) -> None:
    """Add what follows from counting places, and the items that take one of them each."""
    bus = model.catalog.bus
    for kind in model.kinds:
        asks = [ask for ask in model.given if ask.need.kind == kind]
        if isinstance(asks[0].need, LineRequirement):
            _limit_lines(model, kind, asks)
            continue
        aliased = [ask for ask in asks if bus.aliases(span_of(ask).bits)]
        plain = [ask for ask in asks if ask not in aliased]
        if plain:
            _limit_ranges(model, plain, 0)
        if aliased:
            blocks = {ask: _block(model, ask, bus.alias_step) for ask in plain}
            for block in sorted({n for n in blocks.values() if n is not None}) or [0]:
                beside = [ask for ask in plain if blocks[ask] == block]
                _limit_ranges(model, [*aliased, *beside], bus.alias_step, block)


def _block(model: Model, ask: Ask, turn: int) -> int | None:
    """Return between which two aliases a range lies, wherever it is placed; None for no one place.

    Two that lie between the same two collide just where two with aliases would.
    """
    given = model.given[ask]
    if not given:
        return None
    first, last = min(given) // turn, (max(given) + span_of(ask).length - 1) // turn
    return first if first == last else None


def _limit_lines(model: Model, kind: str, asks: Sequence[Ask]) -> None:
    renamed = model.catalog.resources[kind].renamed

    def holds(_ask: Ask, value: int, points: Points) -> bool:
        return renamed.get(value, value) in points

    crowds = [_points(renamed.get(v, v) for v in model.given[ask]) for ask in asks]
    _limit(model, asks, crowds, holds, lambda entry, point: entry == point)


def _limit_ranges(model: Model, asks: Sequence[Ask], turn: int, block: int = 0) -> None:
    bus = model.catalog.bus

    def holds(ask: Ask, base: int, points: Points) -> bool:
        return _held(points, placed(ask, base), turn)

    # What takes a place from a range without aliases takes it from one with aliases, too.
    bits = max(span_of(ask).bits for ask in asks)
    crowds = [_stabbed([placed(ask, base) for base in model.given[ask]], turn) for ask in asks]
    _limit(
        model,
        asks,
        crowds,
        holds,
        lambda entry, point: _takes(bus, entry, block * turn + point, bits),
    )


def _takes(bus: Bus, entry: int | Placed, point: int, bits: int) -> bool:
    assert isinstance(entry, Placed)
    return ports_collide(bus, Placed(point, 1, bits), entry)


def _held(points: Points, there: Placed, turn: int) -> bool:
    return any(
        bisect_left(points, low) < bisect_left(points, high) for low, high in parts(there, turn)
    )


def _stabbed(ranges: Iterable[Placed], turn: int) -> Points:
    """Return points of which each range holds one: as few as can be, without aliases."""
    points: Points = ()
    for there in sorted(ranges, key=lambda there: there.base + there.length):
        if not _held(points, there, turn):
            last = there.base + there.length - 1
            points = _points((*points, last % turn if turn else last))
    return points


def _points(points: Iterable[int]) -> Points:
    return tuple(sorted(set(points)))


def _unions(crowds: Iterable[Points]) -> Iterator[Points]:
    """Yield sets of points and unions of them: all together first, then the small ones."""
    known = dict.fromkeys(crowds)
    everything = _points(point for crowd in known for point in crowd)
    found = dict.fromkeys([everything, *sorted(known, key=lambda crowd: (len(crowd), crowd))])
    yield everything
    waiting = [crowd for crowd in found if crowd != everything]
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
    asks: Sequence[Ask],
    crowds: Sequence[Points],
    holds: Holds,
    takes: Callable[[int | Placed, int], bool],
) -> None:
    """Add the limits for items that each need one of some points."""
    alike: dict[tuple[object, ...], list[Ask]] = {}
    for ask in asks:
        alike.setdefault((ask.need, *model.given[ask]), []).append(ask)
    limits = 0
    for points in _unions(crowds):
        if limits == MOST_LIMITS:
            return
        members = [
            ask
            for same in alike.values()
            if all(holds(same[0], value, points) for value in model.given[same[0]])
            for ask in same
        ]
        limits += _limited(model, members, points, takes)


def _limited(
    model: Model,
    members: Sequence[Ask],
    points: Points,
    takes: Callable[[int | Placed, int], bool],
) -> bool:
    """Let no more of the members be in effect than there are points; whether that says anything."""
    kind = members[0].need.kind if members else None
    inside = set(members)
    groups: list[dict[int, list[int]]] = []
    for chosen, asker in zip(model.chosen, model.askers, strict=True):
        group: dict[int, list[int]] = {}
        for index, literal in enumerate(chosen):
            count = sum(ask in inside for ask in asker.in_effect(index))
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
