"""Commands in rows for people: an address and its read in one, repeats and what goes on folded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from romtool.capture.commands import Command
from romtool.capture.decode import DecodedCapture
from romtool.capture.outcome import Outcome, is_change

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
