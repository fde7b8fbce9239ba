"""When two ranges of addresses get in each other's way."""

from __future__ import annotations

from dataclasses import dataclass

from romtool.schema.bus import Bus
from romtool.schema.numbers import address


@dataclass(frozen=True)
class Placed:
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
    """Whether a range of ports answers at this one, aliases counted."""
    offset = port - one.base
    return 0 <= (offset % bus.alias_step if bus.aliases(one.bits) else offset) < one.length
