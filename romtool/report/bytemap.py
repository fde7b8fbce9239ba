"""The byte map: where each byte is drawn, in lines of sixteen, long runs shortened.

All measures are in the units of the drawing; pure arithmetic, no markup.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from romtool.report.stretches import REST, Entry, Stretch
from romtool.schema.numbers import clip, sizes

ACROSS = 16
CELL, LINE, GAP = 24, 28, 2
LEFT = 46
"""The width of the column of addresses."""

FEWEST_HIDDEN = 3
"""So many whole lines of one entry are worth hiding."""

KEPT = 3
"""So many of its lines are drawn before others are hidden, if its bytes are not all the same."""

LONGEST_NAME = 240
LONGEST_LABEL = 22
MOST_KEYS = 24
"""So many entries has the legend."""


@dataclass(frozen=True)
class Box:
    """A part of a region: bytes side by side in one line."""

    x: int
    y: int
    width: int
    height: int


@dataclass(frozen=True)
class Region:
    """An entry in the map; `name` says all of it, for those who can't see where it is."""

    at: int
    name: str
    boxes: tuple[Box, ...]
    is_flagged: bool


@dataclass(frozen=True)
class Part:
    """A stretch in the map."""

    kind: str
    device: int | None
    regions: tuple[Region, ...]


@dataclass(frozen=True)
class Line:
    """A drawn line: its address and the bytes in it with their places, or words for hidden ones."""

    y: int
    address: str
    cells: tuple[tuple[int, str], ...] = ()
    hidden: str = ""
    labels: str = ""


@dataclass(frozen=True)
class ByteMap:
    """The whole drawing; `changed`: the corners of bytes that the other image has not so."""

    width: int
    height: int
    lines: tuple[Line, ...]
    parts: tuple[Part, ...]
    changed: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Key:
    """An entry of the legend: what is drawn so, and how much of it there is."""

    kind: str
    device: int | None
    label: str
    size: str


def legend(stretches: Sequence[Stretch]) -> tuple[Key, ...]:
    """Return what each way of drawing stands for, in the order of the bytes."""
    found: dict[tuple[str, int | None], tuple[str, int]] = {}
    for stretch in stretches:
        label, size = found.get((stretch.kind, stretch.device), (stretch.label, 0))
        found[stretch.kind, stretch.device] = label, size + stretch.size
    keys = [Key(*drawn, label, sizes(size)) for drawn, (label, size) in found.items()]
    if len(keys) > MOST_KEYS:
        keys[MOST_KEYS:] = [Key(REST, None, f"{len(keys) - MOST_KEYS} more", "")]
    return tuple(keys)


def byte_map(data: bytes, stretches: Sequence[Stretch]) -> ByteMap:
    """Return the map of an image's bytes."""
    entries = [entry for stretch in stretches for entry in stretch.entries]
    rows = _Rows(data, entries)
    parts = tuple(
        Part(
            stretch.kind,
            stretch.device,
            tuple(_region(rows, stretch, entry) for entry in stretch.entries),
        )
        for stretch in stretches
    )
    corners = [rows.corner(at) for entry in entries for at in sorted(entry.changed)]
    return ByteMap(
        LEFT + ACROSS * CELL,
        rows.height,
        tuple(rows.lines(stretches)),
        parts,
        tuple(corner for corner in corners if corner is not None),
    )


def _region(rows: _Rows, stretch: Stretch, entry: Entry) -> Region:
    words = f"{entry.at:04X}, {sizes(len(entry.raw))}: {stretch.label}: "
    words += "; ".join(entry.meanings)
    if entry.findings:
        words += "; has a finding"
    if entry.changed:
        words += "; differs"
    name = clip(words, LONGEST_NAME)
    return Region(entry.at, name, tuple(rows.boxes(entry)), bool(entry.findings))


class _Rows:
    """The lines of sixteen bytes: which are drawn, and how far down."""

    def __init__(self, data: bytes, entries: Sequence[Entry]) -> None:
        self.data = data
        count = -(-len(data) // ACROSS)
        hidden: dict[int, Entry] = {}
        for entry in entries:
            for line in _hidden(entry):
                hidden[line] = entry
        self.y: dict[int, int] = {}
        self.hidden_at: dict[int, tuple[int, Entry]] = {}
        y, line = 0, 0
        while line < count:
            self.y[line] = y
            if line in hidden:
                entry = hidden[line]
                behind = _hidden(entry).stop
                self.hidden_at[line] = behind, entry
                line = behind
            else:
                line += 1
            y += LINE
        self.height = y

    def boxes(self, entry: Entry) -> Iterator[Box]:
        """Yield where an entry is drawn."""
        at = entry.at
        while at < entry.end:
            line = at // ACROSS
            if line in self.hidden_at:
                behind = self.hidden_at[line][0] * ACROSS
            else:
                behind = (line + 1) * ACROSS
            last = min(entry.end, behind) - 1
            width = ACROSS if line in self.hidden_at else last - at + 1
            x = LEFT + at % ACROSS * CELL
            yield Box(x + GAP // 2, self.y[line] + GAP // 2, width * CELL - GAP, LINE - 2 * GAP)
            at = behind

    def corner(self, at: int) -> tuple[int, int] | None:
        """Return the corner of a byte's cell, None for a byte that isn't drawn."""
        line = at // ACROSS
        if line not in self.y or line in self.hidden_at:
            return None
        return LEFT + at % ACROSS * CELL + GAP // 2, self.y[line] + GAP // 2

    def lines(self, stretches: Sequence[Stretch]) -> Iterator[Line]:
        """Yield what is written in the lines."""
        labels: dict[int, list[str]] = {}
        for stretch in stretches:
            labels.setdefault(stretch.at // ACROSS, []).append(clip(stretch.short, LONGEST_LABEL))
        for line, y in self.y.items():
            address = f"{line * ACROSS:04X}"
            words = ", ".join(labels.get(line, ()))
            if line in self.hidden_at:
                behind, entry = self.hidden_at[line]
                left_out = sizes((behind - line) * ACROSS)
                what = f"{left_out} more of {entry.raw[0]:02X}" if entry.is_even else left_out
                yield Line(y, address, hidden=f"… {what}, to {behind * ACROSS - 1:04X} …")
                continue
            cells = enumerate(self.data[line * ACROSS : (line + 1) * ACROSS])
            placed = tuple((LEFT + x * CELL + CELL // 2, f"{byte:02X}") for x, byte in cells)
            yield Line(y, address, placed, labels=words)


def _hidden(entry: Entry) -> range:
    """Return the lines that are not drawn: inside an entry that fills many, but not its last."""
    first, behind = -(-entry.at // ACROSS), entry.end // ACROSS
    first += 0 if entry.is_even else KEPT
    return range(first, behind - 1) if behind - 1 - first >= FEWEST_HIDDEN else range(0)
