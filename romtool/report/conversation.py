"""What a capture of the EEPROM's bus shows: the commands over time, and which bytes were read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from romtool.capture.decode import DecodedCapture
from romtool.capture.folding import Row, folded
from romtool.capture.memory import the_part
from romtool.capture.observations import BusFinding
from romtool.errors import InputError
from romtool.schema.numbers import address, clip, sizes

WIDTH = 1000
"""Units of the drawing from the first command to the last."""

NARROWEST = 2
"""Units that the shortest command is wide, so that it can be seen."""

LONGEST_GAP = 40
"""Units that a pause is wide at most: a longer one is drawn as a break."""

MOST_ROWS = 60
MOST_BARS = 400
LONGEST_TEXT = 200


@dataclass(frozen=True)
class Bar:
    """A run of commands in the strip: where it is drawn, and what it is; `kind` as in commands."""

    x: int
    width: int
    kind: str
    words: str


@dataclass(frozen=True)
class Turn:
    """A row of the conversation: when (milliseconds), what, where, how much, how it ended."""

    at: str
    kind: str
    address: str
    size: str
    result: str


@dataclass(frozen=True)
class Conversation:
    """A capture, for the page: `breaks` are pauses that are drawn shorter than they were.

    `read`: the addresses that were read, None where no one part can be told; `stopped`: the first
    that was not, after one that was.
    """

    name: str
    bus: str
    lasted: str
    bars: tuple[Bar, ...]
    breaks: tuple[int, ...]
    turns: tuple[Turn, ...]
    left_out: int
    findings: tuple[BusFinding, ...]
    read: frozenset[int] | None
    stopped: int | None


def conversation_of(
    name: str, decoded: DecodedCapture, findings: Sequence[BusFinding]
) -> Conversation:
    """Return what a capture shows of the talk between a chip and its EEPROM."""
    rows = list(folded(decoded))
    bars, breaks = _drawn(rows[:MOST_BARS])
    read = _read(decoded)
    stopped = min((at + 1 for at in read if at + 1 not in read), default=None) if read else None
    lasted = rows[-1].end - rows[0].time if rows else 0.0
    return Conversation(
        clip(name, LONGEST_TEXT),
        decoded.bus.title,
        f"{lasted * 1000:.3g} ms",
        bars,
        breaks,
        tuple(_turn(row) for row in rows[:MOST_ROWS]),
        max(0, len(rows) - MOST_ROWS),
        tuple(findings),
        read,
        stopped,
    )


def _read(decoded: DecodedCapture) -> frozenset[int] | None:
    """Return the addresses that were read of the only EEPROM on the bus."""
    try:
        part = the_part(decoded, None)
    except InputError:
        return None
    return frozenset(part.contents.read)


def _turn(row: Row) -> Turn:
    times = row.count + row.repeats
    kind = row.kind.replace("-", " ") + (f", {times} commands" if times > 1 else "")
    return Turn(
        f"{row.time * 1000:.3f}",
        kind,
        "" if row.address is None else address(row.address),
        sizes(len(row.data)) if row.data else "",
        row.result,
    )


def _drawn(rows: Sequence[Row]) -> tuple[tuple[Bar, ...], tuple[int, ...]]:
    """Return the strip: commands to scale, long pauses shortened."""
    if not rows:
        return (), ()
    spans = [max(row.end - row.time, 0.0) for row in rows]
    gaps = [max(b.time - a.end, 0.0) for a, b in pairwise(rows)]
    busy = sum(spans) or 1.0
    longest = busy * LONGEST_GAP / WIDTH
    whole = busy + sum(min(gap, longest) for gap in gaps)
    scale = WIDTH / whole
    bars, breaks, at = [], [], 0.0
    for index, row in enumerate(rows):
        x = round(at * scale)
        width = max(NARROWEST, round(spans[index] * scale))
        bars.append(Bar(x, width, row.kind, _words(row)))
        at += spans[index]
        if index < len(gaps):
            if gaps[index] > longest:
                breaks.append(round((at + longest / 2) * scale))
            at += min(gaps[index], longest)
    return tuple(bars), tuple(breaks)


def _words(row: Row) -> str:
    turn = _turn(row)
    words = [f"{turn.at} ms", turn.kind, turn.address, turn.size, turn.result]
    return ", ".join(word for word in words if word)
