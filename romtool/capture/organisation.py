"""How many address bits and which word a three-wire part has: told from all its commands together.

A command is a start bit, two bits of command, the address, and data. Neither the address's width
nor the word's is said anywhere; but CS falls where commands end, and a read's data follow a dummy
bit 0 that the part gives with the last address bit.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from romtool.capture.three_wire import Selection
from romtool.schema.bench import SerialBus, SerialCommand
from romtool.schema.image_layouts import Part

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
