"""What a comparison has found so far: changes, consequences, and what is in both images."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from romtool.diff.changes import ByteRun, Change, DriverIDs, Renumbered, Side, Span, Where


@dataclass(frozen=True)
class Kept:
    """A thing that stands in both images, changed or not: where it is, and at which addresses."""

    a_where: Where
    b_where: Where
    a_span: Span
    b_span: Span

    @property
    def distance(self) -> int:
        """How many bytes it has moved up."""
        return self.b_span[0] - self.a_span[0]


@dataclass
class Ledger:
    """Collects what is found, in the order in which a person reads it."""

    changes: list[Change] = field(default_factory=list)
    consequences: list[Change] = field(default_factory=list)
    runs: list[ByteRun] = field(default_factory=list)
    kept: list[Kept] = field(default_factory=list)
    renumbered: list[Renumbered] = field(default_factory=list)
    drivers: list[DriverIDs] = field(default_factory=list)

    def change(self, a: Side | None, b: Side | None, *, follows: bool = False) -> None:
        """Enter a change, or what only follows from others."""
        (self.consequences if follows else self.changes).append(Change(a, b))

    def keep(self, a_where: Where, b_where: Where, a_span: Span, b_span: Span) -> None:
        """Enter a thing that stands in both images."""
        self.kept.append(Kept(a_where, b_where, a_span, b_span))

    def moves(self) -> list[Change]:
        """Return what stands at other addresses: things side by side that moved alike as one."""
        groups: list[list[Kept]] = []
        ordered = sorted(self.kept, key=lambda one: one.a_span)
        for before, one in pairwise([None, *ordered]):
            if one is None or not one.distance:
                continue
            if before is not None and before.distance == one.distance:
                groups[-1].append(one)
            else:
                groups.append([one])
        return [_moved(group) for group in groups]


def _moved(group: Sequence[Kept]) -> Change:
    return Change(
        _from([(one.a_where, one.a_span) for one in group]),
        _from([(one.b_where, one.b_span) for one in group]),
    )


def _from(things: Sequence[tuple[Where, Span]]) -> Side:
    """Return what moved together: from its first thing to its last, and where it begins."""
    first, last = things[0][0], things[-1][0]
    near = first.steps[:-1] == last.steps[:-1]
    until = str(Where(last.steps[-1:]) if near else last)
    where = first if first == last else replace(first, until=until)
    start = things[0][1][0]
    return Side(where, f"from {start:X}h", tuple(span for _, span in things), "from ")
