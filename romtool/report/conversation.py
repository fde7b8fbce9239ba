"""What a capture of the EEPROM's bus shows: the commands over time, and which bytes were read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from romtool.capture.model import BusFinding, BusPart, DecodedCapture, the_part
from romtool.capture.picture import Block, Row, folded, read_bytes, strip
from romtool.errors import InputError
from romtool.schema.numbers import address, clip, sizes

WIDTH = 1000
"""Units of the drawing from the first command to the last."""

NARROWEST = 2
"""Units that the shortest command is wide, so that it can be seen."""

PAUSE = "pause"
MOST_ROWS = 60
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
    that was not, where reading from the start stopped before the part's end.
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
    blocks = strip(decoded)
    part = _part(decoded)
    stopped_at = None if part is None else read_bytes(part).stopped_at
    lasted = rows[-1].end - rows[0].time if rows else 0.0
    return Conversation(
        clip(name, LONGEST_TEXT),
        decoded.bus.title,
        _lasted(lasted),
        tuple(_bar(block) for block in blocks if block.kind != PAUSE),
        tuple(round((one.left + one.width / 2) * WIDTH) for one in blocks if one.is_cut),
        tuple(_turn(row) for row in rows[:MOST_ROWS]),
        max(0, len(rows) - MOST_ROWS),
        tuple(findings),
        None if part is None else frozenset(part.contents.read),
        None if stopped_at is None else stopped_at + 1,
    )


def _lasted(seconds: float) -> str:
    milliseconds = seconds * 1000
    return f"{milliseconds:.0f} ms" if milliseconds >= 100 else f"{milliseconds:.3g} ms"


def _part(decoded: DecodedCapture) -> BusPart | None:
    """Return the only EEPROM on the bus."""
    try:
        return the_part(decoded, None)
    except InputError:
        return None


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


def _bar(block: Block) -> Bar:
    where = ""
    if block.first is not None and block.last is not None:
        where = f"{address(block.first)} to {address(block.last)}"
    words = [f"{block.time * 1000:.3f} ms", block.kind.replace("-", " "), where, block.result]
    width = max(NARROWEST, round(block.width * WIDTH))
    return Bar(round(block.left * WIDTH), width, block.kind, ", ".join(w for w in words if w))
