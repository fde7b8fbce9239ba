"""A capture for whoever shows it, as plain data: rows of commands, a strip of time, bytes read.

In a row an address and its read are one; repeats, and what goes on where it ended, are folded.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from romtool.capture.commands import Command, Outcome, is_change, runs
from romtool.capture.model import BusPart, DecodedCapture

SEVERAL = "several"
"""The kind of a row with commands of different kinds."""


@dataclass
class Row:
    """One or several commands of a kind, each of which goes on where the one before ended.

    `time` and `end` in seconds; `kind` as in the commands, or `poll` for addresses that only ask
    whether the part answers; `repeats`: commands that said the same once more; `result`: answered,
    no answer, stored, not stored, or empty.
    """

    time: float
    end: float
    kind: str
    part: int | None
    address: int | None
    data: bytearray
    result: str
    count: int = 1
    repeats: int = 0
    last: bytes = b""

    def takes(self, other: Row) -> bool:
        """Whether another row goes on with this one; then it is made part of it."""
        own = (self.kind, self.part, self.result)
        if own != (other.kind, other.part, other.result):
            return False
        if self.address is None or other.address is None:
            if self.data or other.data or self.address != other.address:
                return False
            self.count += other.count
        elif other.address == self.address + len(self.data) and other.data:
            self.data += other.data
            self.count += other.count
        elif self._ends_with(other):
            self.repeats += 1
        else:
            return False
        self.last, self.end = bytes(other.data), other.end
        return True

    def with_next(self, other: Row) -> Row:
        """Return one row for two of any kinds: what they have in common, and how many they are."""
        return Row(
            self.time,
            other.end,
            self.kind if self.kind == other.kind else SEVERAL,
            self.part if self.part == other.part else None,
            None,
            bytearray(),
            self.result if self.result == other.result else "",
            self.count + other.count,
            self.repeats + other.repeats,
        )

    def _ends_with(self, other: Row) -> bool:
        if other.data != self.last or self.address is None or other.address is None:
            return False
        return other.address == self.address + len(self.data) - len(self.last)


def folded(decoded: DecodedCapture) -> Iterator[Row]:
    """Yield the rows of a capture's commands, in order of time."""
    row: Row | None = None
    for other in _joined(decoded):
        if row is not None and row.takes(other):
            continue
        if row is not None:
            yield row
        row = other
    if row is not None:
        yield row


def _joined(decoded: DecodedCapture) -> Iterator[Row]:
    """Yield a row for each command; for an address and the read that follows it one together."""
    waiting: Row | None = None
    pairs: Iterable[tuple[Command, Outcome]] = zip(decoded.commands, decoded.outcomes, strict=True)
    for command, outcome in pairs:
        row = _row(decoded, command, outcome)
        if waiting is not None:
            if (
                row.kind == "read"
                and (row.part, row.address) == (waiting.part, waiting.address)
                and row.result == waiting.result
            ):
                row.time = waiting.time
            else:
                yield waiting
            waiting = None
        if row.kind == "address":
            waiting = row
        else:
            yield row
    if waiting is not None:
        yield waiting


def _row(decoded: DecodedCapture, command: Command, outcome: Outcome) -> Row:
    kind = command.kind
    if kind == "address" and command.address is None:
        kind = "poll"
    return Row(
        command.time * decoded.unit,
        command.end * decoded.unit,
        kind,
        command.part,
        command.address,
        bytearray(command.data),
        _result(command, outcome),
        last=command.data,
    )


def _result(command: Command, outcome: Outcome) -> str:
    if command.answered is False:
        return "not answered" if command.called else "no answer"
    if command.is_cut:
        return "cut off"
    if is_change(command):
        return {True: "stored", False: "not stored", None: ""}[outcome.took] or (
            "answered" if command.answered else ""
        )
    if command.answered is None:
        return "no answer" if outcome.took is False else ""
    return "answered"


MOST_BLOCKS = 120
"""At most this many blocks: more are too narrow to be seen in print."""

PAUSE = 4
"""In lengths of the longest command: a longer pause is drawn as short as this."""


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
