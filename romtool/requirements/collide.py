"""When two ranges of addresses, or two needs, get in each other's way."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from romtool.requirements.model import LineRequirement, RangeRequirement, Requirement
from romtool.schema.bus import Bus
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import address


class Placed(NamedTuple):
    """A range at its place: `length` addresses from `base`, of which `bits` bits are decoded."""

    base: int
    length: int
    bits: int

    def in_words(self) -> str:
        """Return the range as the trade writes it: 220h-22Fh."""
        last = self.base + self.length - 1
        return address(self.base) + (f"-{address(last)}" if last > self.base else "")


def ports_collide(bus: Bus, one: Placed, other: Placed) -> bool:
    """Whether two ranges of ports answer at the same address.

    One that decodes too few bits answers at every alias, and so collides with everything there;
    two that decode all bits collide only where they overlap (common practice, no source).
    """
    if not one.length or not other.length:
        return False
    if bus.aliases(one.bits) or bus.aliases(other.bits):
        # How far from each to the next alias of the other?
        ahead = (other.base - one.base) % bus.alias_step
        return ahead < one.length or -ahead % bus.alias_step < other.length
    return memory_collides(one, other)


def memory_collides(one: Placed, other: Placed) -> bool:
    """Whether two ranges of addresses overlap."""
    if not one.length or not other.length:
        return False
    return one.base < other.base + other.length and other.base < one.base + one.length


def answers_at(bus: Bus, one: Placed, port: int) -> bool:
    """Whether a range of ports answers at `port`, aliases counted."""
    ahead = port - one.base
    return (ahead % bus.alias_step if bus.aliases(one.bits) else ahead) in range(one.length)


def never_together(catalog: Catalog, one: Requirement, other: Requirement) -> bool:
    """Whether two needs can't both be met, whatever is picked for each.

    Needs of two different resources never stand in each other's way, nor does an empty one.
    """
    if one.kind != other.kind or one.is_empty or other.is_empty:
        return False
    if isinstance(one, LineRequirement) or isinstance(other, LineRequirement):
        assert isinstance(one, LineRequirement)
        assert isinstance(other, LineRequirement)
        on_bus = catalog.resources[one.kind].on_bus
        return len({on_bus(line) for line in (*one.lines, *other.lines)}) == 1
    if not one.bases or not other.bases:
        return False
    bus = catalog.bus
    folded = bus.aliases(one.bits) or bus.aliases(other.bits)
    if folded and catalog.resources[one.kind].is_io:
        return _always_at_aliases(bus, one, other)
    before = one.bases[0] + one.length <= other.bases[-1]
    stop = other.bases[0] + other.length <= one.bases[-1]
    return not before and not stop


def _always_at_aliases(bus: Bus, one: RangeRequirement, other: RangeRequirement) -> bool:
    """Whether two ranges collide at every pair of bases, where aliases count.

    They are clear of each other where the way from one to the next alias of the other is at
    least its length, both ways round.
    """
    clear = range(one.length, bus.alias_step - other.length + 1)
    theirs = _folded(bus, other.bases)
    return not any(
        (base - start) % bus.alias_step in clear
        for start in _folded(bus, one.bases)
        for base in theirs
    )


def _folded(bus: Bus, bases: range) -> Sequence[int]:
    """Return one base for each place between two aliases that these bases can take."""
    return bases[: bus.alias_step // math.gcd(bases.step, bus.alias_step)]
