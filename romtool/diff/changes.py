"""What differs between two images, as data: changes, what follows from them, bytes left over."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise, zip_longest
from typing import Any, NamedTuple

from romtool.schema.numbers import hex_text

Span = tuple[int, int]
"""Where something begins in an image, and the place after its end."""


class Where(NamedTuple):
    """A place in the card's terms: steps from the outside in, such as (device, QRL0001).

    `field`: the field of it that is meant, empty where it is all of it; `until`: the last of
    several places that are meant, this one being the first.
    """

    steps: tuple[tuple[str, str], ...]
    field: str = ""
    until: str = ""

    def inside(self, word: str, label: str = "") -> Where:
        """Return a place in this place."""
        return Where((*self.steps, (word, label)))

    def of(self, field: str) -> Where:
        """Return a field of this place."""
        return Where(self.steps, field)

    def __str__(self) -> str:
        return self.beside(self)

    def beside(self, other: Where) -> str:
        """Return this place in words, with what it is called in the other image: 2 (3 in B)."""
        words = [_step(mine, yours) for mine, yours in zip_longest(self.steps, other.steps)]
        text = ", ".join(word for word in words if word)
        text += f" to {self.until}" if self.until else ""
        return f"{text}: {self.field}" if self.field else text


def _step(mine: tuple[str, str] | None, yours: tuple[str, str] | None) -> str:
    if mine is None:
        return ""
    words = " ".join(mine).strip()
    if yours is None or mine == yours:
        return words
    named = yours[1] if mine[0] == yours[0] and yours[1] else " ".join(yours).strip()
    return f"{words} ({named} in B)"


class Side(NamedTuple):
    """One image's part of a change: where it is, what stands there, and in which bytes.

    `lead`: how the words begin; where both sides begin so, it need not be said twice.
    """

    where: Where
    words: str
    spans: tuple[Span, ...] = ()
    lead: str = ""


class Change(NamedTuple):
    """A thing that isn't the same in both images; a side is None where the thing isn't there."""

    a: Side | None
    b: Side | None

    @property
    def where(self) -> str:
        """The place in words."""
        if self.a is not None and self.b is not None:
            return self.a.where.beside(self.b.where)
        side = self.a or self.b
        return str(side.where) if side is not None else ""

    def swapped(self) -> Change:
        """Return the change the other way round."""
        return Change(self.b, self.a)

    def as_json(self) -> dict[str, Any]:
        """Return it as in the JSON answers; None for the side on which it isn't there."""
        a, b = (side.words if side else None for side in (self.a, self.b))
        return {"where": self.where, "a": a, "b": b}


class ByteRun(NamedTuple):
    """Differing bytes side by side that no term of the card explains.

    They stand from `a_at` on in A and from `b_at` on in B, which is the same address unless what
    they belong to has moved. `a` or `b` is None where that image has no bytes there.
    """

    where: str
    a_at: int
    b_at: int
    a: bytes | None
    b: bytes | None

    @property
    def a_span(self) -> Span:
        """Its place in A."""
        return self.a_at, self.a_at + len(self.a or b"")

    @property
    def b_span(self) -> Span:
        """Its place in B."""
        return self.b_at, self.b_at + len(self.b or b"")

    def swapped(self) -> ByteRun:
        """Return the run the other way round."""
        return ByteRun(self.where, self.b_at, self.a_at, self.b, self.a)

    def as_json(self) -> dict[str, Any]:
        """Return it as in the JSON answers; `offset` is in A, `offset_b` in B."""
        a, b = (None if raw is None else hex_text(raw) for raw in (self.a, self.b))
        return {"where": self.where, "offset": self.a_at, "offset_b": self.b_at, "a": a, "b": b}


class Renumbered(NamedTuple):
    """A device whose number on its card, from 0, another's removal, addition or move shifts."""

    device: str
    a: int
    b: int

    def swapped(self) -> Renumbered:
        """Return it the other way round."""
        return Renumbered(self.device, self.b, self.a)


class DriverIDs(NamedTuple):
    """IDs by which drivers find a device, its own and compatible ones, that one image lacks.

    `a` and `b` are those that only that image has; `device` is its own ID in each.
    """

    device: tuple[str, str]
    a: tuple[str, ...]
    b: tuple[str, ...]

    def swapped(self) -> DriverIDs:
        """Return it the other way round."""
        return DriverIDs(self.device[::-1], self.b, self.a)


class ByteCounts(NamedTuple):
    """How many bytes two images have both, how many of these differ, how many only one has."""

    common: int
    differ: int
    only_a: int
    only_b: int

    @classmethod
    def of(cls, a: bytes, b: bytes) -> ByteCounts:
        """Return the counts of two images' bytes."""
        common = min(len(a), len(b))
        differ = sum(one != other for one, other in zip(a, b, strict=False))
        return cls(common, differ, len(a) - common, len(b) - common)


class Differences(NamedTuple):
    """All that differs between image A and image B.

    `same`: every byte is equal. Each byte that differs at its address lies in a span of a change,
    of a consequence (a checksum, a count, a place that follows from changes) or of a run in
    `bytes`; those lie in no other term.
    """

    same: bool
    changes: tuple[Change, ...] = ()
    consequences: tuple[Change, ...] = ()
    bytes: tuple[ByteRun, ...] = ()
    renumbered: tuple[Renumbered, ...] = ()
    drivers: tuple[DriverIDs, ...] = ()

    def swapped(self) -> Differences:
        """Return the differences between B and A."""
        return Differences(
            self.same,
            tuple(one.swapped() for one in self.changes),
            tuple(one.swapped() for one in self.consequences),
            tuple(run.swapped() for run in self.bytes),
            tuple(one.swapped() for one in self.renumbered),
            tuple(one.swapped() for one in self.drivers),
        )

    def as_json(self) -> dict[str, Any]:
        """Return them as in the JSON answers."""
        return {
            "same": self.same,
            "changes": [one.as_json() for one in self.changes],
            "consequences": [one.as_json() for one in self.consequences],
            "renumbered": [one._asdict() for one in self.renumbered],
            "drivers": [
                {"device": one.device[0], "lost": list(one.a), "gained": list(one.b)}
                for one in self.drivers
            ],
            "bytes": [run.as_json() for run in self.bytes],
        }


def differing_runs(a: bytes, b: bytes, at: Iterable[int]) -> Iterator[Span]:
    """Yield the runs of addresses, of those `at`, at which two strings of bytes differ.

    A run lies in both of them, or in one of them only.
    """
    first = last = -1
    shorter = min(len(a), len(b))
    for offset in at:
        if a[offset : offset + 1] == b[offset : offset + 1]:
            continue
        if offset != last or offset == shorter:
            if first >= 0:
                yield first, last
            first = offset
        last = offset + 1
    if first >= 0:
        yield first, last


class Kept(NamedTuple):
    """A thing that stands in both images, changed or not: where it is, and at which addresses."""

    a_where: Where
    b_where: Where
    a_span: Span
    b_span: Span

    @property
    def distance(self) -> int:
        """How many bytes it has moved up."""
        return self.b_span[0] - self.a_span[0]


class Ledger:
    """Collects what is found, in the order in which a person reads it."""

    def __init__(self, changes: Iterable[Change] = ()) -> None:
        self.changes = list(changes)
        self.consequences: list[Change] = []
        self.runs: list[ByteRun] = []
        self.kept: list[Kept] = []
        self.renumbered: list[Renumbered] = []
        self.drivers: list[DriverIDs] = []

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
    where = first if first == last else first._replace(until=until)
    start = things[0][1][0]
    return Side(where, f"from {start:X}h", tuple(span for _, span in things), "from ")
