"""The three-wire bus: selections, in which bits are clocked in and out, and their commands.

CS   __/‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾\\__
CLK  ____/‾\\_/‾\\_/‾\\_/‾\\____    DI counts as CLK rises; DO changes after that: so it is
DI   --< 1 >< a >< b >-----    taken as CLK falls.

A command is a start bit, two bits of command, the address, and data. Neither the address's width
nor the word's is said anywhere; but CS falls where commands end, and a read's data follow a dummy
bit 0 that the part gives with the last address bit: so it is told from all commands together.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from romtool.capture.commands import Command
from romtool.capture.levels import Levels
from romtool.schema.bench import SerialBus, SerialCommand
from romtool.schema.image_layouts import Part

CS, CLK, DI, DO, ORG, LOCK = 1, 2, 4, 8, 16, 32
"""Bits of `Levels`: the lines, and the one that protects from writing."""


class Selection(NamedTuple):
    """What was clocked while CS was high: `clocks` bits of `di` and `do`, the first one highest.

    `undriven`: the bits of `do` that nothing drove. `low_for`: how long DO was low before a start
    bit; `ready_at`: since when it was high there, or high again after the last clock; `late_busy`:
    it went low there. `ended`: CS fell, not the capture ended. `locked`, `wide`: the levels of the
    protecting line and of ORG.
    """

    time: float
    end: float
    clocks: int
    di: int
    do: int
    undriven: int
    low_for: float
    ready_at: float | None
    late_busy: bool
    ended: bool
    locked: bool
    wide: bool


class _Idle:
    """What DO says of the part's state, before a start bit and after the last clock."""

    def __init__(self) -> None:
        self.low_for: float = 0
        self.ready_at: float | None = None
        self.is_late = False

    def before_start(self, earlier: Levels, time: float) -> None:
        """Take what stood from `earlier` to `time`, with no start bit so far."""
        since, high, undriven = earlier
        if undriven & DO:
            self.ready_at = None
        elif not high & DO:
            self.low_for += time - since
            self.ready_at = None
        elif self.ready_at is None:
            self.ready_at = since

    def after_last(self, earlier: Levels, now: Levels) -> None:
        """Take a change with no clock going on, after a start bit."""
        _, was, was_undriven = earlier
        time, high, undriven = now
        if (was_undriven | undriven) & DO or not high & CS:
            return
        if was & ~high & DO:
            self.is_late, self.ready_at = True, None
        elif self.is_late and high & ~was & DO:
            self.ready_at = time


class SelectionReader:
    """Reads the selections; clocks while nothing is selected are counted."""

    def __init__(self) -> None:
        self.clocks = 0
        self.clocks_outside = 0
        self.starts_selected = False

    def read(self, levels: Iterable[Levels]) -> Iterator[Selection]:
        """Yield the selections in order of time; also one that the capture's end cuts off."""
        start: float | None = None
        clocks = di = do = floating = 0
        is_sampled = True  # DO was taken for each clock so far
        idle = _Idle()

        def selection(end: float, high: int, *, ended: bool) -> Selection:
            lines = bool(high & LOCK), bool(high & ORG)
            seen = idle.low_for, idle.ready_at, idle.is_late
            return Selection(start or 0, end, clocks, di, do, floating, *seen, ended, *lines)

        before: Levels | None = None
        for now in levels:
            time, high, _ = now
            if before is None:
                before = now
                self.starts_selected = bool(high & CS)
                start = time if high & CS else None
                continue
            earlier, before = before, now
            rises = high & ~earlier[1]
            if start is not None:
                if not di:
                    idle.before_start(earlier, time)
                elif is_sampled:
                    idle.after_last(earlier, now)
                if not is_sampled and not (high & CLK and high & CS):
                    do = do << 1 | (1 if earlier[1] & DO else 0)
                    floating = floating << 1 | (1 if earlier[2] & DO else 0)
                    is_sampled = True
                if not high & CS:
                    yield selection(time, high, ended=True)
                    start = None
            elif rises & CS:
                start = time
                clocks = di = do = floating = 0
                is_sampled, idle = True, _Idle()
                rises &= ~CLK  # a clock that comes up with CS is none of this selection
            if rises & CLK:
                self.clocks += 1
                if start is None:
                    self.clocks_outside += 1
                else:
                    clocks += 1
                    di = di << 1 | (1 if high & DI else 0)
                    is_sampled, idle.is_late = False, False
        if start is not None and before is not None:
            if not is_sampled:
                do, floating = do << 1, floating << 1 | 1
            yield selection(before[0], before[1], ended=False)


EXTRA = 1
"""Clocks after a command that masters give, where they read as CLK rises."""

DISTURBED = 0.2
"""Such a share of dummy bits may be 1 where every organisation has some: something disturbs."""


class Organisation(NamedTuple):
    """A width of addresses and of words, in bits."""

    address_bits: int
    word: int


class Parsed(NamedTuple):
    """A selection with a start bit: its command, and how many clocks follow the two bits."""

    selection: Selection
    command: SerialCommand
    rest: int


class Verdict(NamedTuple):
    """The organisation of the part, and what speaks for it.

    `fits`: how many of the `selections` end where it says; `dummies`: how many of the `reads` have
    its dummy bit. `expected`: the one for which the commands are made, where the part has another.
    """

    organisation: Organisation
    selections: int
    fits: int
    reads: int
    dummies: int
    is_told: bool
    expected: Organisation | None = None


def parse(bus: SerialBus, selection: Selection) -> Parsed | None:
    """Return a selection's command; None without a start bit, or with too few bits."""
    rest = selection.di.bit_length() - 1 - 2
    if rest < 2:  # the upper two bits of the address tell some commands apart
        return None
    code, select = selection.di >> rest & 3, selection.di >> rest - 2 & 3
    for command in bus.commands:
        is_selected = not command.select or int(command.select, 2) == select
        if int(command.code, 2) == code and is_selected:
            return Parsed(selection, command, rest)
    return None


def organisations(parts: Iterable[Part]) -> list[Organisation]:
    """Return what such parts can have, each once, the widest words first."""
    found = {
        Organisation(bits, word)
        for part in parts
        for bits, word in zip(part.address_bits, part.organisation, strict=True)
    }
    return sorted(found, key=lambda one: (-one.word, one.address_bits))


def dummy(parsed: Parsed, address_bits: int) -> bool | None:
    """Return the bit that comes with the last address bit; None where nothing drives it."""
    place = parsed.rest - address_bits
    if place < 0 or parsed.selection.undriven >> place & 1:
        return None
    return bool(parsed.selection.do >> place & 1)


def _length_score(parsed: Parsed, one: Organisation) -> float:
    """Return how well a selection ends where the command does: 1, less with clocks after it, 0."""
    rest = parsed.rest - one.address_bits
    if rest < 0:
        return 0
    if parsed.command.data == "out":
        over = rest % one.word if rest >= one.word else one.word
    else:
        over = rest - (one.word if parsed.command.data == "in" else 0)
    return 1.0 if over == 0 else 0.75 if over == EXTRA else 0.0


def _address(parsed: Parsed, one: Organisation) -> int:
    return parsed.selection.di >> (parsed.rest - one.address_bits) & ((1 << one.address_bits) - 1)


def _order_score(reads: Sequence[Parsed], one: Organisation) -> float:
    """Return how many reads go on where the one before ended: 1 for all."""
    reads = [parsed for parsed in reads if parsed.rest >= one.address_bits]
    follows = 0
    for earlier, later in itertools.pairwise(reads):
        words = (earlier.rest - one.address_bits) // one.word
        follows += _address(later, one) - _address(earlier, one) == words > 0
    return follows / len(reads) if reads else 0.0


class _Case(NamedTuple):
    """What speaks for an organisation, from 0 to 1 each; `ones`: dummy bits that are none."""

    organisation: Organisation
    length: float
    fall: float
    order: float
    ones: float
    fits: int
    dummies: int

    @property
    def score(self) -> float:
        return self.length + self.fall + self.order / 2


def decide(
    parsed: Sequence[Parsed], candidates: Sequence[Organisation], word: int | None = None
) -> Verdict:
    """Return the organisation of the part that these selections address.

    `candidates`: those that it may have; `word`: the one that its ORG pin selects.
    """
    ended = [one for one in parsed if one.selection.ended]
    reads = [one for one in ended if one.command.data == "out"]
    cases = [_case(ended, reads, one) for one in candidates]
    allowed = [case for case in cases if word in (None, case.organisation.word)] or cases
    least = min(case.ones for case in allowed)
    standing = [case for case in allowed if case.ones == least <= DISTURBED]
    is_answered = bool(standing)
    best = max(standing or allowed, key=lambda case: case.score)
    by_length = max(cases, key=lambda case: (case.length, -case.ones))
    meant = None
    if len(ended) > 1 and is_answered and by_length.length >= 0.7 and best.length < 0.5:
        meant = by_length.organisation
    return Verdict(
        best.organisation,
        len(ended),
        best.fits,
        len(reads),
        best.dummies,
        is_told=bool(ended) and best.score > 0,
        expected=meant,
    )


def likelihood(parsed: Sequence[Parsed], candidates: Sequence[Organisation]) -> float:
    """Return how well the best organisation explains selections: 0 for not at all, to 2."""
    reads = [one for one in parsed if one.command.data == "out"]
    cases = (_case(parsed, reads, one) for one in candidates)
    return max((case.length + case.fall / 2 - case.ones / 2 for case in cases), default=0.0)


def _case(ended: Sequence[Parsed], reads: Sequence[Parsed], one: Organisation) -> _Case:
    scores = [_length_score(parsed, one) for parsed in ended]
    bits = [dummy(parsed, one.address_bits) for parsed in reads]
    ones = sum(bit is True for bit in bits)
    dummies = sum(bit is False for bit in bits)
    falls = sum(
        bit is False and dummy(parsed, one.address_bits + 1) is not False
        for bit, parsed in zip(bits, reads, strict=True)
    )
    return _Case(
        one,
        sum(scores) / len(scores) if scores else 0.0,
        falls / len(reads) if reads else 0.0,
        _order_score(reads, one),
        ones=ones / len(reads) if reads else 0.0,
        fits=sum(score > 0 for score in scores),
        dummies=dummies,
    )


def commands_of(
    bus: SerialBus,
    selections: Sequence[Selection],
    one: Organisation,
    *,
    size: int,
    write_time: float,
    clock: float,
) -> Iterator[Command]:
    """Yield a command for each selection that holds one.

    `size`: bytes of the part, which drops the address bits above; `write_time`: units of time in
    which a part has surely stored what was written; `clock`: those of a clock.
    """
    enabled: bool | None = None
    for place, selection in enumerate(selections):
        parsed = parse(bus, selection)
        if parsed is None or parsed.rest < one.address_bits:
            continue
        command = parsed.command
        address, data, whole = _content(parsed, one, size)
        took: bool | None = whole if selection.ended else None
        if command.data == "out":
            bit = dummy(parsed, one.address_bits)
            took = None if bit is None else not bit
        elif command.needs_enable and whole:
            took = _stored(bus, selections, place, write_time, clock)
            is_off = enabled is False or selection.locked
            took = False if took is None and is_off else took
        elif whole:
            enabled = command.kind == "write-enable"
        yield Command(
            selection.time, selection.end, command.kind, None, address, data, None, took,
            whole and selection.ended, selection.locked, one.word, enabled, not selection.ended,
        )  # fmt: skip


def _content(parsed: Parsed, one: Organisation, size: int) -> tuple[int | None, bytes, bool]:
    """Return a command's byte address, its whole bytes, and whether nothing of it is missing."""
    selection, command = parsed.selection, parsed.command
    rest = parsed.rest - one.address_bits
    address = None
    if not command.select:
        number = selection.di >> rest & ((1 << one.address_bits) - 1)
        address = number * one.word // 8 % size
    if command.data is None:
        return address, b"", True
    source, bits = (
        (selection.do, rest) if command.data == "out" else (selection.di, min(rest, one.word))
    )
    bits -= bits % 8
    value = source >> (rest - bits) & ((1 << bits) - 1)
    return address, value.to_bytes(bits // 8, "big"), bits >= one.word


def _stored(
    bus: SerialBus, selections: Sequence[Selection], place: int, write_time: float, clock: float
) -> bool | None:
    """Whether the part was busy storing after a selection; None where nobody looked.

    DO is low while it is, with CS high: in a poll, before the next start bit, or, with some parts,
    at once after the last clock. A part that is ready at once has stored nothing.
    """
    own = selections[place]
    if own.late_busy:
        return True
    is_busy = False
    for selection in selections[place + 1 :]:
        if selection.time - own.end > 2 * write_time:
            break
        is_busy |= selection.low_for > clock
        if selection.ready_at is not None:
            soon = write_time / 20
            return True if is_busy else False if selection.ready_at - own.end < soon else None
        if parse(bus, selection) is not None:
            break
    return None
