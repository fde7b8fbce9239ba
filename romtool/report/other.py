"""The differences to a second image, as tables."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from romtool.diff.changes import ByteCounts, ByteRun, Change, Differences, Side, Span
from romtool.report.subject import NEUTRAL, Origin, Subject, Verdict, origin_of, verdict_of
from romtool.schema.numbers import clip, hex_text
from romtool.text.diff import counted

MOST_ROWS = 200
"""The most changes, consequences and runs of bytes that are shown, each."""

LONGEST = 300
LONGEST_RUN = 24
"""Bytes of a run that are shown."""

NOTHING = "not there"


@dataclass(frozen=True)
class ChangeRow:
    """A thing that isn't the same: where, and what stands there in A and in B."""

    where: str
    a: str
    b: str


@dataclass(frozen=True)
class ChangeTable:
    """Changes of one sort; `left_out`: rows too many; `is_raw`: what is changed are bytes."""

    title: str
    rows: tuple[ChangeRow, ...]
    left_out: int
    is_raw: bool


@dataclass(frozen=True)
class OtherTable:
    """How the second image (B) differs from the first (A)."""

    origin: Origin
    verdict: Verdict
    same: bool
    counted: str
    tables: tuple[ChangeTable, ...]


def other_table(image: Subject, other: Subject, found: Differences) -> OtherTable:
    """Return the differences of two images as tables."""
    tables = (
        _table("Changes", [_change(one) for one in found.changes]),
        _table("What follows from them", [_change(one) for one in found.consequences]),
        _table("Bytes that no term explains", [_run(one) for one in found.bytes], is_raw=True),
    )
    return OtherTable(
        origin_of(other),
        verdict_of(other.image, other.findings),
        found.same,
        _counted(image, other),
        tuple(table for table in tables if table.rows),
    )


def _counted(image: Subject, other: Subject) -> str:
    return counted(ByteCounts.of(image.image.data, other.image.data))


def _table(title: str, rows: Sequence[ChangeRow], *, is_raw: bool = False) -> ChangeTable:
    return ChangeTable(title, tuple(rows[:MOST_ROWS]), max(0, len(rows) - MOST_ROWS), is_raw)


def _change(change: Change) -> ChangeRow:
    return ChangeRow(clip(change.where, LONGEST), _side(change.a), _side(change.b))


def _side(side: Side | None) -> str:
    return NOTHING if side is None else clip(side.words, LONGEST)


def _run(run: ByteRun) -> ChangeRow:
    place = f"{run.a_at:04X}" if run.a_at == run.b_at else f"{run.a_at:04X} ({run.b_at:04X} in B)"
    return ChangeRow(f"{place}, {run.where}", _raw(run.a), _raw(run.b))


def _raw(raw: bytes | None) -> str:
    if raw is None:
        return NOTHING
    more = f" … {len(raw) - LONGEST_RUN} more" if len(raw) > LONGEST_RUN else ""
    return hex_text(raw[:LONGEST_RUN]) + more


def changed_spans(found: Differences) -> Iterator[Span]:
    """Yield which bytes of A the other image has not so, without what only follows from that."""
    for change in found.changes:
        if change.a is not None:
            yield from change.a.spans
    for run in found.bytes:
        yield run.a_span


def other_verdict(image: Subject, other: Subject, found: Differences) -> Verdict:
    """Return whether two images are the same, in words."""
    name, words = origin_of(other).name, _counted(image, other)
    if found.same:
        return Verdict(NEUTRAL, "The second image is the same", f"{name} has {words} as this one.")
    number = len(found.changes)
    changes = f"{number} change{'' if number == 1 else 's'}; " if number else ""
    return Verdict(NEUTRAL, "The second image differs", f"{name}: {changes}{words}.")
