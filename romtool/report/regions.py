"""The bytes of an image cut into regions of one owner, and those into entries with a meaning."""

from __future__ import annotations

import bisect
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, islice

from romtool.image.explain import RUN_WORDS, Owner, Row, explain
from romtool.image.model import Image
from romtool.schema.numbers import clip, hex_text, sizes

MOST_ENTRIES = 2500
MOST_BYTES = 8192
"""The most entries, and the first bytes among which they begin, that are shown one by one; after
them each region is one entry."""

MOST_REGIONS = 500
"""The most regions that are shown as one entry each; after them all that is left is one."""

LONGEST_MEANING = 300
HEAD, TAIL = 32, 8
"""Bytes shown of a long entry: from its begin, and from its end."""

ASCII_ROW = 16
"""Bytes in an entry of those that no layout explains, which are shown as characters too."""

REST, UNKNOWN = "rest", "unknown"
"""What a region of several things is part of."""

Span = tuple[int, int]
"""Where something begins, and the place after its end."""


@dataclass(frozen=True)
class Entry:
    """Bytes that belong together, with what they mean.

    `findings`: the numbers (from 1) of the findings about them; `changed`: those addresses in it
    that are not the same in the other image.
    """

    at: int
    raw: bytes
    meanings: tuple[str, ...]
    findings: tuple[int, ...] = ()
    changed: frozenset[int] = frozenset()

    @property
    def end(self) -> int:
        """The address after its last byte."""
        return self.at + len(self.raw)

    @property
    def is_even(self) -> bool:
        """Whether all its bytes are the same."""
        return len(set(self.raw)) == 1

    @property
    def ascii(self) -> str:
        """The same bytes as characters, a point for each that none can be printed for."""
        shown = self.raw if len(self.raw) <= ASCII_ROW else self.raw[:4]
        return "".join(chr(byte) if 0x20 <= byte < 0x7F else "." for byte in shown)

    @property
    def shown(self) -> str:
        """Its bytes as text, of many only the first and the last."""
        if len(self.raw) > HEAD and self.is_even:
            return f"{hex_text(self.raw[:4])} …"
        if len(self.raw) <= HEAD + TAIL + 1:
            return hex_text(self.raw)
        left_out = len(self.raw) - HEAD - TAIL
        first, last = hex_text(self.raw[:HEAD]), hex_text(self.raw[-TAIL:])
        return f"{first} … {left_out} more … {last}"


@dataclass(frozen=True)
class Region:
    """Entries side by side that are part of the same thing.

    `kind` says of what: frame, identifier, card, device, patch, data, fill, unknown, or of
    several things (rest). `device` and `choice` count from 0; `id` is the device's.
    """

    kind: str
    label: str
    entries: tuple[Entry, ...]
    device: int | None = None
    choice: int | None = None
    id: str = ""

    @property
    def at(self) -> int:
        """The address of its first byte."""
        return self.entries[0].at

    @property
    def size(self) -> int:
        """How many bytes it has."""
        return self.entries[-1].end - self.at

    @property
    def short(self) -> str:
        """What it is called beside the map."""
        if self.choice is not None:
            return f"choice {self.choice + 1}"
        if self.device is not None:
            return f"{self.device + 1} {self.id}"
        return self.label


@dataclass(frozen=True)
class Marks:
    """What is marked in the bytes: the address of each finding (if it has one), and changes."""

    findings: tuple[int | None, ...] = ()
    changed: tuple[Span, ...] = ()


def regions(image: Image, marks: Marks = Marks()) -> list[Region]:
    """Return all bytes of an image, in order."""
    found = list(_grouped(_in_rows(explain(image)) if image.layout is None else explain(image)))
    entries = iter(_marked([entry for region in found for entry in region.entries], marks))
    found = [replace(one, entries=tuple(islice(entries, len(one.entries)))) for one in found]
    return list(_bounded(found))


def _in_rows(rows: Iterable[Row]) -> list[Row]:
    """Return the rows with those that mean nothing cut into short ones, but for even runs."""
    found: list[Row] = []
    for row in rows:
        if row.part_of.kind != UNKNOWN or len(set(row.raw)) == 1:
            found.append(row)
            continue
        for at in range(0, len(row.raw), ASCII_ROW):
            found.append(row._replace(offset=row.offset + at, raw=row.raw[at : at + ASCII_ROW]))
    return found


def _grouped(rows: Sequence[Row]) -> Iterator[Region]:
    """Yield the rows in regions."""
    for (kind, device, choice), group in groupby(rows, lambda row: _place(row.part_of)):
        inside = list(group)
        label = RUN_WORDS.get(kind, inside[0].owner)
        entries = tuple(
            Entry(
                row.offset, row.raw, tuple(clip(words, LONGEST_MEANING) for words in row.meanings)
            )
            for row in inside
        )
        yield Region(kind, label, entries, device, choice, inside[0].part_of.id)


def _place(owner: Owner) -> tuple[str, int | None, int | None]:
    return owner.kind, owner.device, owner.choice


def _marked(entries: list[Entry], marks: Marks) -> list[Entry]:
    """Return the entries with the findings about them, and with what is changed in them."""
    starts = [entry.at for entry in entries]
    findings: dict[int, list[int]] = {}
    for number, at in enumerate(marks.findings, 1):
        if at is not None and entries:
            findings.setdefault(max(0, bisect.bisect(starts, at) - 1), []).append(number)
    changed: dict[int, set[int]] = {}
    for first, stop in marks.changed:
        for at in range(first, stop):
            changed.setdefault(max(0, bisect.bisect(starts, at) - 1), set()).add(at)
    return [
        replace(
            entry,
            findings=tuple(findings.get(index, ())),
            changed=frozenset(changed.get(index, ())),
        )
        for index, entry in enumerate(entries)
    ]


def _bounded(found: Sequence[Region]) -> Iterator[Region]:
    """Yield the regions, the first ones entry by entry, later ones as one entry each."""
    entries = merged = 0
    for index, region in enumerate(found):
        entries += len(region.entries)
        last = region.entries[-1].at
        if entries <= MOST_ENTRIES and last < MOST_BYTES:
            yield region
        elif merged < MOST_REGIONS:
            merged += 1
            yield _as_one(region, region.entries, f"{len(region.entries)} fields")
        else:
            rest = [entry for one in found[index:] for entry in one.entries]
            yield _as_one(Region(REST, "the rest", ()), rest, f"{len(rest)} fields")
            return


def _as_one(region: Region, entries: Sequence[Entry], words: str) -> Region:
    """Return a region of a single entry that stands for all of these."""
    if len(entries) == 1:
        return replace(region, entries=tuple(entries))
    raw = b"".join(entry.raw for entry in entries)
    one = Entry(
        entries[0].at,
        raw,
        (f"{words}, {sizes(len(raw))}",),
        tuple(number for entry in entries for number in entry.findings),
        frozenset(at for entry in entries for at in entry.changed),
    )
    return replace(region, entries=(one,))
