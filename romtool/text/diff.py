"""Differences for people: changes, what follows from them, and the bytes that are left."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from romtool.diff.changes import ByteCounts, ByteRun, Change, Differences, DriverIDs, Renumbered
from romtool.schema.numbers import clip, hex_text, one_of
from romtool.text.page import line, title, width, wrapped

COLUMN = 30
"""The column of what was changed."""
LONGEST_WHERE = 44
"""Characters of a place that has its change beside it; below a longer one."""
MOST_ROWS = 40
"""The most changes, and the most rows of bytes, that are shown; JSON has all of them."""
LONGEST = 200
"""Characters of one side of a change that are shown."""
ROW = 8
"""Bytes of each image in a row."""


def differences_lines(found: Differences, names: Sequence[str], counted: str) -> Iterator[str]:
    """Yield what a person reads of differences; `counted`: how many bytes differ, in words."""
    yield from title("same bytes" if found.same else "not the same", counted)
    for letter, name in zip("AB", names, strict=True):
        yield f"  {letter}  {name}"
    yield from _changes("Changes", found.changes)
    yield from _changes("Consequences", found.consequences)
    yield from _numbers(found.renumbered)
    yield from _drivers(found.drivers)
    yield from _bytes(found.bytes)


def _numbers(renumbered: Sequence[Renumbered]) -> Iterator[str]:
    """Yield which devices have other numbers, counted from 1."""
    if renumbered:
        yield ""
        yield from title("Renumbered")
    for one in renumbered[:MOST_ROWS]:
        yield from _change(f"device {one.device}", f"device {one.a + 1} -> device {one.b + 1}")
    yield from _more(len(renumbered))


def _drivers(drivers: Sequence[DriverIDs]) -> Iterator[str]:
    """Yield which devices are no longer found by drivers that look for their IDs in A."""
    lost = [one for one in drivers if one.a]
    if lost:
        yield ""
        yield from title("Drivers")
    for one in lost[:MOST_ROWS]:
        ids = clip(one_of(list(one.a)), LONGEST)
        words = f"a driver that looks for {ids} doesn't find it in B"
        yield from _change(f"device {one.device[0]}", words)
    yield from _more(len(lost))


def counted(counts: ByteCounts) -> str:
    """Return how many bytes of two images differ, and how many only one of them has."""
    words = [f"{counts.differ} of {counts.common} bytes differ"] if counts.differ else []
    words += [f"{counts.only_a} only in A"] if counts.only_a else []
    words += [f"{counts.only_b} only in B"] if counts.only_b else []
    return ", ".join(words) or f"all {counts.common} bytes"


def _changes(heading: str, changes: Sequence[Change]) -> Iterator[str]:
    if not changes:
        return
    yield ""
    yield from title(heading)
    for change in changes[:MOST_ROWS]:
        yield from _change(change.where, change_words(change))
    yield from _more(len(changes))


def _more(count: int) -> Iterator[str]:
    if count > MOST_ROWS:
        yield f"  … and {count - MOST_ROWS} more"


def _change(where: str, words: str) -> Iterator[str]:
    if len(where) <= LONGEST_WHERE:
        yield from line(where, words, indent=2, column=COLUMN)
        return
    for text in wrapped(where, width() - 4):
        yield f"  {text}"
    yield from line("", words, column=COLUMN)


def change_words(change: Change) -> str:
    """Return what a change is, in words: `IRQ 5 or 7 -> 5 or 9`."""
    if change.a is None or change.b is None:
        side = change.a or change.b
        deed = "added" if change.a is None else "removed"
        return f"{deed}: {clip(side.words, LONGEST)}" if side else deed
    a, b = change.a.words, change.b.words
    if change.a.lead == change.b.lead:
        b = b[len(change.b.lead) :]
    return f"{clip(a, LONGEST)} -> {clip(b, LONGEST)}"


def _bytes(runs: Sequence[ByteRun]) -> Iterator[str]:
    rows = 0
    for where, group in groupby(runs, key=lambda run: run.where):
        found = list(group)
        moved = any(run.a_at != run.b_at for run in found)
        if rows < MOST_ROWS:
            yield ""
            yield from line("Bytes", where)
            yield f"  at    {'in B  ' if moved else ''}{'A':{3 * ROW}} B"
        for run in found:
            for at in range(0, max(len(run.a or b""), len(run.b or b"")), ROW):
                rows += 1
                if rows <= MOST_ROWS:
                    yield _row(run, at, moved)
    yield from _more(rows)


def _row(run: ByteRun, at: int, moved: bool) -> str:
    a, b = ("--" if raw is None else hex_text(raw[at : at + ROW]) for raw in (run.a, run.b))
    place = f"{run.b_at + at:04X}  " if moved else ""
    return f"  {run.a_at + at:04X}  {place}{a:{3 * ROW}} {b}"
