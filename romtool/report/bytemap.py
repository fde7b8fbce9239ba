"""The byte map: where each byte is drawn, in lines of sixteen, long runs shortened.

All measures are in the units of the drawing; pure arithmetic, no markup.
"""

from __future__ import annotations

import bisect
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from romtool.report.regions import REST, Entry, Region
from romtool.schema.numbers import clip, sizes

ACROSS = 16
"""Bytes in a line."""

SHEET = 8
"""Lines of a drawing; what is longer goes on in another one, so that pages can break there."""

CELL, LINE, GAP = 24, 28, 2
LEFT = 46
"""The width of the column of addresses."""

FEWEST_HIDDEN = 3
"""The fewest whole lines of one entry that are worth hiding."""

KEPT = 3
"""How many of its lines are drawn before others are hidden, if its bytes are not all the same."""

LONGEST_NAME = 240
LONGEST_LABEL = 26
MOST_KEYS = 24
"""The most entries that the legend has."""


@dataclass(frozen=True)
class Box:
    """A part of a shape: bytes side by side in one line."""

    x: int
    y: int
    width: int
    height: int


@dataclass(frozen=True)
class Shape:
    """An entry in a drawing; `name` says all of it, for those who can't see where it is.

    `flag`: the corner that marks a finding.
    """

    at: int
    name: str
    boxes: tuple[Box, ...]
    flag: tuple[int, int] | None


@dataclass(frozen=True)
class Part:
    """A region in the map."""

    kind: str
    device: int | None
    shapes: tuple[Shape, ...]


@dataclass(frozen=True)
class Line:
    """A drawn line: its address and the bytes in it with their places, or words for hidden ones."""

    y: int
    address: str
    cells: tuple[tuple[int, str], ...] = ()
    hidden: str = ""
    labels: str = ""


@dataclass(frozen=True)
class Panel:
    """One drawing; `changed`: the corners of bytes that the other image has not so.

    `unread`: what a capture shows that the chip never read; `stopped`: the corner where it stopped.
    """

    width: int
    height: int
    lines: tuple[Line, ...]
    parts: tuple[Part, ...]
    changed: tuple[tuple[int, int], ...]
    unread: tuple[Box, ...] = ()
    stopped: tuple[int, int] | None = None


@dataclass(frozen=True)
class Key:
    """An entry of the legend: what is drawn so, and how much of it there is."""

    kind: str
    device: int | None
    label: str
    size: str


def legend(regions: Sequence[Region]) -> tuple[Key, ...]:
    """Return what each way of drawing stands for, in the order of the bytes."""
    found: dict[tuple[str, int | None], tuple[str, int]] = {}
    for region in regions:
        label, size = found.get((region.kind, region.device), (region.label, 0))
        found[region.kind, region.device] = label, size + region.size
    keys = [Key(*drawn, label, sizes(size)) for drawn, (label, size) in found.items()]
    if len(keys) > MOST_KEYS:
        keys[MOST_KEYS:] = [Key(REST, None, f"{len(keys) - MOST_KEYS} more", "")]
    return tuple(keys)


def byte_map(
    data: bytes,
    regions: Sequence[Region],
    read: Collection[int] | None = None,
    stopped: int | None = None,
) -> tuple[Panel, ...]:
    """Return the map of an image's bytes.

    `read`: the addresses that a chip was seen to read; `stopped`: the one at which it stopped.
    """
    entries = [entry for region in regions for entry in region.entries]
    rows = _Rows(data, entries)
    panels = []
    for number in range(rows.panels):
        shown = [one for one in regions if rows.is_on(number, one.at, one.at + one.size)]
        parts = tuple(_part(rows, number, region) for region in shown)
        lines = tuple(rows.lines(number, shown))
        changed = [
            rows.corner(at)
            for region in shown
            for entry in region.entries
            for at in sorted(entry.changed)
            if rows.is_on(number, at, at + 1) and rows.is_drawn(at)
        ]
        unread = tuple(rows.unread(number, read)) if read else ()
        stop = None if stopped is None else rows.stop_on(number, stopped)
        size = LEFT + ACROSS * CELL, len(lines) * LINE
        panels.append(Panel(*size, lines, parts, tuple(changed), unread, stop))
    return tuple(panels)


def _part(rows: _Rows, panel: int, region: Region) -> Part:
    shapes = [
        _shape(rows, panel, region, entry)
        for entry in region.entries
        if rows.is_on(panel, entry.at, entry.end)
    ]
    return Part(region.kind, region.device, tuple(shapes))


def _shape(rows: _Rows, panel: int, region: Region, entry: Entry) -> Shape:
    words = f"{entry.at:04X}, {sizes(len(entry.raw))}: {region.label}: "
    words += "; ".join(entry.meanings)
    if entry.findings:
        words += "; has a finding"
    if entry.changed:
        words += "; differs"
    boxes = tuple(rows.boxes(panel, entry))
    flag = (boxes[0].x + boxes[0].width, boxes[0].y) if entry.findings else None
    return Shape(entry.at, clip(words, LONGEST_NAME), boxes, flag)


class _Rows:
    """The lines of sixteen bytes: which are drawn, on which panel, and how far down."""

    def __init__(self, data: bytes, entries: Sequence[Entry]) -> None:
        self.data = data
        hidden = {lines.start: (lines, entry) for lines, entry in _all_hidden(entries)}
        self.place: dict[int, int] = {}
        self.hidden: dict[int, tuple[range, Entry]] = {}
        line = 0
        while line * ACROSS < len(data):
            self.place[line] = len(self.place)
            if line in hidden:
                self.hidden[line] = hidden[line]
                line = hidden[line][0].stop
            else:
                line += 1
        self.starts = list(self.place)

    @property
    def panels(self) -> int:
        """How many drawings it takes."""
        return -(-len(self.place) // SHEET)

    def _drawn_line(self, at: int) -> int:
        """Return the line that a byte is drawn in, or hidden in."""
        return self.starts[bisect.bisect(self.starts, at // ACROSS) - 1]

    def is_drawn(self, at: int) -> bool:
        """Whether a byte isn't hidden."""
        return self._drawn_line(at) not in self.hidden

    def is_on(self, panel: int, at: int, end: int) -> bool:
        """Whether some of the bytes from `at` to `end` are on a panel."""
        first, last = (self.place[self._drawn_line(one)] // SHEET for one in (at, end - 1))
        return first <= panel <= last

    def _y(self, line: int) -> int:
        return self.place[line] % SHEET * LINE

    def boxes(self, panel: int, entry: Entry) -> Iterator[Box]:
        """Yield where an entry is drawn on a panel."""
        at = entry.at
        while at < entry.end:
            line = self._drawn_line(at)
            first, last = at % ACROSS, ACROSS - 1
            if line in self.hidden:
                at = self.hidden[line][0].stop * ACROSS
            else:
                stop = min(entry.end, (line + 1) * ACROSS)
                last = (stop - 1) % ACROSS
                at = stop
            if self.place[line] // SHEET == panel:
                x, y = LEFT + first * CELL, self._y(line)
                width = (last - first + 1) * CELL
                yield Box(x + GAP // 2, y + GAP, width - GAP, LINE - 2 * GAP)

    def unread(self, panel: int, read: Collection[int]) -> Iterator[Box]:
        """Yield the boxes of a panel's bytes that are not among those `read`, run by run."""
        for line in self.starts[panel * SHEET : (panel + 1) * SHEET]:
            stop = self.hidden[line][0].stop if line in self.hidden else line + 1
            within = range(line * ACROSS, min(stop * ACROSS, len(self.data)))
            if line in self.hidden:
                runs = [] if any(at in read for at in within) else [(0, ACROSS)]
            else:
                runs = list(_runs([at not in read for at in within]))
            for first, many in runs:
                yield Box(LEFT + first * CELL, self._y(line), many * CELL, LINE)

    def stop_on(self, panel: int, at: int) -> tuple[int, int] | None:
        """Return the corner of a byte where reading stopped, if that is drawn on a panel."""
        is_here = at < len(self.data) and self.is_on(panel, at, at + 1) and self.is_drawn(at)
        return self.corner(at) if is_here else None

    def corner(self, at: int) -> tuple[int, int]:
        """Return the corner of a byte's cell."""
        return LEFT + at % ACROSS * CELL + GAP // 2, self._y(at // ACROSS) + GAP

    def lines(self, panel: int, shown: Sequence[Region]) -> Iterator[Line]:
        """Yield what is written in the lines of a panel, with the regions that begin there."""
        labels: dict[int, list[str]] = {}
        for region in shown:
            labels.setdefault(region.at // ACROSS, []).append(region.short)
        for line in self.starts[panel * SHEET : (panel + 1) * SHEET]:
            address, y = f"{line * ACROSS:04X}", self._y(line)
            words = clip(", ".join(labels.get(line, ())), LONGEST_LABEL)
            if line in self.hidden:
                yield Line(y, address, hidden=_hidden_words(*self.hidden[line]))
                continue
            cells = enumerate(self.data[line * ACROSS : (line + 1) * ACROSS])
            placed = tuple((LEFT + x * CELL + CELL // 2, f"{byte:02X}") for x, byte in cells)
            yield Line(y, address, placed, labels=words)


def _runs(marks: Sequence[bool]) -> Iterator[tuple[int, int]]:
    """Yield where marked ones begin, and how many stand side by side."""
    at = 0
    for is_marked, group in groupby(marks):
        many = len(list(group))
        if is_marked:
            yield at, many
        at += many


def _hidden_words(lines: range, entry: Entry) -> str:
    left_out = sizes(len(lines) * ACROSS)
    what = f"{left_out} of {entry.raw[0]:02X}" if entry.is_even else left_out
    return f"… {what}, to {lines.stop * ACROSS - 1:04X} …"


def _all_hidden(entries: Sequence[Entry]) -> Iterator[tuple[range, Entry]]:
    """Yield the lines that are not drawn: inside entries that fill many, but for their last."""
    for entry in entries:
        first, stop = -(-entry.at // ACROSS), entry.end // ACROSS
        first += 0 if entry.is_even else KEPT
        if stop - 1 - first >= FEWEST_HIDDEN:
            yield range(first, stop - 1), entry
