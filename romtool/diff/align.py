"""Two lists side by side by what stands in them: equal entries, changed ones, those in one only."""

from __future__ import annotations

import bisect
from collections import deque
from collections.abc import Callable, Hashable, Sequence
from typing import NamedTuple, TypeVar

T = TypeVar("T")

MOST_CELLS = 4096
"""The most pairs of entries that are weighed; longer lists that share little pair by place."""

LONE = 1.0
"""What an added or a removed entry costs: one change."""


class Aligned(NamedTuple):
    """A place in A (from 0) and the place in B that belongs to it; None: it is in one only.

    `moved`: the entry is the same in both, but not in the same order with others.
    """

    a: int | None
    b: int | None
    moved: bool = False


Weigh = Callable[[int, int], float | None]


def align(
    a: Sequence[T],
    b: Sequence[T],
    content: Callable[[T], Hashable],
    cost: Callable[[T, T], float | None],
) -> list[Aligned]:
    """Return the entries of two lists side by side, in order, with the fewest changes.

    Entries of equal `content` cost nothing; `cost` says how many changes lie between two others,
    None where the one can't have become the other. An added or removed one counts 1.
    """
    ours, theirs = [content(one) for one in a], [content(one) for one in b]
    before, stop = _common(ours, theirs)
    rows, columns = (len(side) - before - stop for side in (ours, theirs))

    def weigh(at: int, to: int) -> float | None:
        at, to = at + before, to + before
        return 0.0 if ours[at] == theirs[to] else cost(a[at], b[to])

    pair = _weighed if rows * columns <= MOST_CELLS else _by_place
    found = [Aligned(at, at) for at in range(before)]
    for at, to in pair(rows, columns, weigh):
        found.append(Aligned(_later(at, before), _later(to, before)))
    found += [Aligned(len(a) - left, len(b) - left) for left in range(stop, 0, -1)]
    return _with_moved(found, ours, theirs)


def _later(place: int | None, by: int) -> int | None:
    return None if place is None else place + by


def _common(a: Sequence[Hashable], b: Sequence[Hashable]) -> tuple[int, int]:
    """Return how many entries at the beginning, and how many others at the end, are equal."""
    least = min(len(a), len(b))
    before = stop = 0
    while before < least and a[before] == b[before]:
        before += 1
    while stop < least - before and a[-1 - stop] == b[-1 - stop]:
        stop += 1
    return before, stop


def _weighed(rows: int, columns: int, weigh: Weigh) -> list[tuple[int | None, int | None]]:
    """Return the cheapest alignment: from the end on, the best way on from each pair of places."""
    best = [
        [LONE * (rows - at + columns - to) for to in range(columns + 1)] for at in range(rows + 1)
    ]
    paired = [[False] * (columns + 1) for _ in range(rows + 1)]
    for at in reversed(range(rows)):
        for to in reversed(range(columns)):
            best[at][to] = min(best[at + 1][to], best[at][to + 1]) + LONE
            weight = weigh(at, to)
            if weight is not None and weight + best[at + 1][to + 1] <= best[at][to]:
                best[at][to] = weight + best[at + 1][to + 1]
                paired[at][to] = True
    found: list[tuple[int | None, int | None]] = []
    at = to = 0
    while at < rows or to < columns:
        if paired[at][to]:
            found.append((at, to))
            at, to = at + 1, to + 1
        elif to == columns or (at < rows and best[at + 1][to] <= best[at][to + 1]):
            found.append((at, None))
            at += 1
        else:
            found.append((None, to))
            to += 1
    return found


def _by_place(rows: int, columns: int, weigh: Weigh) -> list[tuple[int | None, int | None]]:
    """Return the entries paired by their place alone."""
    found: list[tuple[int | None, int | None]] = []
    for at in range(max(rows, columns)):
        if at < rows and at < columns and weigh(at, at) is not None:
            found.append((at, at))
            continue
        found += [(at, None)] if at < rows else []
        found += [(None, at)] if at < columns else []
    return found


def _with_moved(
    found: list[Aligned], a: Sequence[Hashable], b: Sequence[Hashable]
) -> list[Aligned]:
    """Return the alignment in which what was taken out here and put in there is one entry."""
    added: dict[Hashable, deque[int]] = {}
    for one in found:
        if one.a is None and one.b is not None:
            added.setdefault(b[one.b], deque()).append(one.b)
    taken: set[int] = set()
    joined = []
    for one in found:
        places = added.get(a[one.a]) if one.b is None and one.a is not None else None
        if places:
            to = places.popleft()
            taken.add(to)
            joined.append(Aligned(one.a, to, moved=True))
        else:
            joined.append(one)
    return [one for one in joined if one.a is not None or one.b not in taken]


def in_order(places: Sequence[int]) -> set[int]:
    """Return the indexes of a longest run of ascending places: those that needn't have moved."""
    ends: list[int] = []
    values: list[int] = []
    before: list[int | None] = []
    for index, place in enumerate(places):
        length = bisect.bisect_left(values, place)
        before.append(ends[length - 1] if length else None)
        values[length : length + 1] = [place]
        ends[length : length + 1] = [index]
    kept: set[int] = set()
    at = ends[-1] if ends else None
    while at is not None:
        kept.add(at)
        at = before[at]
    return kept
