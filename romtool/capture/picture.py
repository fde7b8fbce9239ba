"""A capture as plain data that a page can draw: a strip of time, and what was read of each byte."""

from __future__ import annotations

from typing import NamedTuple

from romtool.capture.decode import BusPart, DecodedCapture
from romtool.capture.folding import Row, folded
from romtool.capture.outcome import runs

MOST_BLOCKS = 120
"""At most this many blocks: more are too narrow to be seen in print."""

PAUSE = 4
"""A pause longer than so many times the longest command is drawn shorter: as long as this."""


class Block(NamedTuple):
    """A stretch of the strip: commands of a kind, or a pause.

    `left` and `width` are shares of the strip, from 0 to 1; `time` and `end` are seconds. `kind` is
    that of the commands, `poll`, `several`, or `pause`, which may be drawn shorter (`is_cut`).
    `first` and `last` are the addresses of what was read or written, None where there are none;
    `commands` how many stand in it, `result` what became of them, in a word or two.
    """

    left: float
    width: float
    time: float
    end: float
    kind: str
    is_cut: bool = False
    part: int | None = None
    first: int | None = None
    last: int | None = None
    commands: int = 0
    result: str = ""


class ReadBytes(NamedTuple):
    """What was read of a part: runs of addresses, first and last; `stopped_at`: the last address
    of the run from the start, None where nothing was read there, or all.
    """

    runs: tuple[tuple[int, int], ...]
    stopped_at: int | None


def strip(decoded: DecodedCapture) -> tuple[Block, ...]:
    """Return the conversation over time: commands to scale, folded where they repeat.

    Beyond MOST_BLOCKS commands neighbours are taken together, the shortest pauses first.
    """
    rows = _few(list(folded(decoded)))
    if not rows:
        return ()
    longest = max(row.end - row.time for row in rows)
    lengths: list[tuple[float, float, float, Row | None]] = []
    end = rows[0].time
    for row in rows:
        pause = row.time - end
        if pause > 0:
            lengths.append((min(pause, PAUSE * longest), end, row.time, None))
        lengths.append((row.end - row.time, row.time, row.end, row))
        end = row.end
    total = sum(length for length, *_ in lengths) or 1.0
    blocks = []
    left = 0.0
    for length, start, stop, one in lengths:
        width = length / total
        if one is None:
            blocks.append(Block(left, width, start, stop, "pause", length < stop - start))
        else:
            blocks.append(_block(left, width, one))
        left += width
    return tuple(blocks)


def _few(rows: list[Row]) -> list[Row]:
    """Return rows of which neighbours are joined, those with the shortest pause between first."""
    while len(rows) > MOST_BLOCKS:
        pauses = sorted(rows[n + 1].time - rows[n].end for n in range(len(rows) - 1))
        limit = pauses[len(rows) - MOST_BLOCKS - 1]
        joined = [rows[0]]
        for row in rows[1:]:
            last = joined[-1]
            if row.time - last.end <= limit:
                joined[-1] = last.with_next(row)
            else:
                joined.append(row)
        rows = joined
    return rows


def _block(left: float, width: float, row: Row) -> Block:
    first = row.address if row.data else None
    last = None if first is None else first + len(row.data) - 1
    return Block(
        left,
        width,
        row.time,
        row.end,
        row.kind,
        part=row.part,
        first=first,
        last=last,
        commands=row.count + row.repeats,
        result=row.result,
    )


def read_bytes(part: BusPart) -> ReadBytes:
    """Return which bytes of a part were read, and where reading from the start stopped."""
    found = tuple((at, at + len(data) - 1) for at, data in runs(part.contents.read))
    last = found[0][1] if found and found[0][0] == 0 else None
    return ReadBytes(found, None if last is None or last + 1 >= part.size else last)
