"""The commands that a capture shows, whatever the bus; what became of them, what the parts hold."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple


class Command(NamedTuple):
    """One command: when (in units of the recording), what, to which part and address.

    `part`: 7-bit address, None on a three-wire bus; `address`: of a byte, None where there is none
    or a read's start is not known; `answered`: the part acknowledged all that it should, None where
    a bus has no answers; `took`: it was carried out, None where the capture can't tell; `whole`:
    it was not broken off.
    """

    time: float
    end: float
    kind: str
    part: int | None
    address: int | None
    data: bytes
    answered: bool | None
    took: bool | None
    whole: bool = True
    locked: bool = False
    """The line that protects the part from writing was at its locking level."""
    bits: int = 8
    """Bits of a word."""
    enabled: bool | None = None
    """Writing was enabled before, as far as the capture shows; None where it doesn't."""
    is_cut: bool = False
    """The capture ends in it."""
    called: bool = True
    """The part acknowledged its own address, whatever came of the rest."""


ERASED = 0xFF
"""What an erased byte holds."""


class Outcome(NamedTuple):
    """What became of one command.

    `took`: it was carried out; `differs`: bytes that read otherwise afterwards; `crossed`: it went
    past the end of a page, and on at its start; `busy_for`: how long the part stored, in units of
    time; `busy`: the part was still storing what came before.
    """

    took: bool | None
    differs: int = 0
    crossed: bool = False
    busy_for: float | None = None
    busy: bool = False


class Contents(NamedTuple):
    """What was read from a part and written to it: the last value of each address."""

    read: dict[int, int]
    written: dict[int, int]
    seen: dict[int, int]
    """The last value, be it read or written and not known to be lost."""
    unsteady: dict[int, int]
    """Addresses that read otherwise the next time, though nothing was written: how often."""


def targets(command: Command, size: int, page: int) -> Iterator[tuple[int, int]]:
    """Yield address and value of each byte that a command reads, writes or erases."""
    if command.kind == "read" and command.address is not None:
        for place, value in enumerate(command.data):
            yield (command.address + place) % size, value
    elif command.kind == "write" and command.address is not None:
        start = command.address - command.address % page
        for place, value in enumerate(command.data):
            yield start + (command.address - start + place) % page, value
    elif command.kind == "erase" and command.address is not None:
        for place in range(command.bits // 8):
            yield command.address + place, ERASED
    elif command.kind == "erase-all":
        yield from ((address, ERASED) for address in range(size))
    elif command.kind == "write-all" and command.data:
        word = len(command.data)
        yield from ((address, command.data[address % word]) for address in range(size))


def is_change(command: Command) -> bool:
    """Whether a command would change what a part holds."""
    return command.kind in ("write", "erase", "erase-all", "write-all")


def size_seen(commands: Sequence[Command], size: int) -> int:
    """Return the bytes of a part, `size` where nothing says otherwise.

    A read that runs on past that many, and doesn't begin anew there, is of a larger part.
    """
    for command in commands:
        data, at = command.data, command.address
        if command.kind != "read" or at is None or len(data) <= size:
            continue
        if any(one != other for one, other in zip(data, data[size:], strict=False)):
            return max(size, 1 << (at + len(data) - 1).bit_length())
    return size


def _crosses(command: Command, page: int) -> bool:
    if command.kind != "write" or command.address is None or command.part is None:
        return False
    return command.address % page + len(command.data) > page


def likely_page(
    commands: Sequence[Command], size: int, pages: Sequence[int], *, is_known: bool
) -> int:
    """Return the page size (bytes) that agrees best with what was read later.

    Among equals the first where the part `is_known`; else the one that writes keep to.
    """
    if len(pages) == 1 or not any(_crosses(command, min(pages)) for command in commands):
        return pages[0]

    def contradictions(page: int) -> tuple[int, int]:
        outcomes, _ = outcomes_of(commands, size, page, write_time=0)
        crossings = 0 if is_known else sum(outcome.crossed for outcome in outcomes)
        return sum(outcome.differs for outcome in outcomes), crossings

    return min(pages, key=contradictions)


def outcomes_of(
    commands: Sequence[Command], size: int, page: int, write_time: float
) -> tuple[list[Outcome], Contents]:
    """Return what became of the commands to one part, and what it holds.

    `size` and `page`: bytes; `write_time`: units of time in which a part has surely stored.
    """
    took = [command.took for command in commands]
    differs = [0] * len(commands)
    agrees = [0] * len(commands)
    busy_for: list[float | None] = [None] * len(commands)
    is_busy = [False] * len(commands)
    contents = Contents({}, {}, {}, {})
    pending: dict[int, tuple[int, int]] = {}  # address: command that wrote it, value before or -1
    last: int | None = None  # the last write that was answered
    silent = False  # its part has not answered since
    for place, command in enumerate(commands):
        if last is not None and command.part is not None:
            since = command.time - commands[last].end
            if since <= write_time and not command.called:
                silent = is_busy[place] = True
            elif command.called:
                if silent and since <= 2 * write_time:
                    busy_for[last] = since
                    if took[last] is None:
                        took[last] = True
                last, silent = None, False
        if command.kind == "read":
            if command.took is False:
                continue
            for address, value in targets(command, size, page):
                known = contents.seen.get(address)
                writer, before = pending.pop(address, (None, -1))
                if writer is not None:
                    wanted = contents.written[address]
                    differs[writer] += value != wanted
                    agrees[writer] += value == wanted != before
                elif known is not None and known != value:
                    contents.unsteady[address] = contents.unsteady.get(address, 0) + 1
                contents.read[address] = contents.seen[address] = value
        elif is_change(command) and command.answered is not False:
            if command.part is not None:
                last, silent = place, False
            for address, value in targets(command, size, page):
                before = contents.seen.get(address, -1)
                contents.written[address] = value
                pending[address] = (place, before)
                if command.took is not False and not command.locked:
                    contents.seen[address] = value
    outcomes = []
    for place, command in enumerate(commands):
        result = took[place]
        if is_change(command) and command.answered is not False:
            if result is not True and differs[place]:
                result = False
            elif result is not True and agrees[place]:
                result = True
            elif result is None and command.locked:
                result = False
        outcomes.append(
            Outcome(
                result, differs[place], _crosses(command, page), busy_for[place], is_busy[place]
            )
        )
    return outcomes, contents


def runs(values: dict[int, int]) -> list[tuple[int, bytes]]:
    """Return values by address as runs of bytes side by side, in order."""
    found: list[tuple[int, bytearray]] = []
    for address in sorted(values):
        if found and found[-1][0] + len(found[-1][1]) == address:
            found[-1][1].append(values[address])
        else:
            found.append((address, bytearray([values[address]])))
    return [(at, bytes(run)) for at, run in found]


def commands_by_part(commands: Iterable[Command]) -> dict[int | None, list[int]]:
    """Return the places of each part's commands, in order of their first one."""
    found: dict[int | None, list[int]] = {}
    for place, command in enumerate(commands):
        found.setdefault(command.part, []).append(place)
    return found
