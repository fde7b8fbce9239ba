"""All that a capture shows, as data: commands, parts and what they hold, findings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from romtool.capture.commands import Command, Contents, Outcome
from romtool.capture.three_wire import Organisation, Verdict
from romtool.capture.wiring import Wiring
from romtool.errors import refuse
from romtool.schema.bench import SerialBus
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import Part
from romtool.schema.numbers import address, one_of

MOST_POLLS = 1000
"""Commands that are looked at for the end of a poll."""


@dataclass
class Quality:
    """How good a capture is, and what in it belongs to no command; times in units.

    `glitches`: pulses left out; `samples`: of each clock; `quiet`: channels that never change;
    `clocks`, `stray`: clocks in all, and those before the first START or while nothing is selected;
    `broken`: times of transfers that ended in the middle of a byte; `cut`: the file breaks off;
    `polls`: selections without a command.
    """

    glitches: int = 0
    first_glitch: float | None = None
    samples: float | None = None
    quiet: tuple[str, ...] = ()
    clocks: int = 0
    stray: int = 0
    begins_inside: bool = False
    broken: list[float] = field(default_factory=list)
    cut: bool = False
    polls: int = 0


@dataclass(frozen=True)
class BusPart:
    """One part on the bus: its size and page (bytes), and what it holds."""

    part: int | None
    is_eeprom: bool
    size: int
    page: int
    contents: Contents


@dataclass(frozen=True)
class DecodedCapture:
    """All that a capture shows. `unit`: seconds of one unit of time."""

    bus: SerialBus
    wiring: Wiring
    unit: float
    end: float
    clock: float | None
    commands: Sequence[Command]
    outcomes: Sequence[Outcome]
    parts: tuple[BusPart, ...]
    quality: Quality
    channels: tuple[str, ...]
    verdict: Verdict | None = None
    is_early: bool = False
    is_wide: bool = False
    part: Part | None = None

    @property
    def organisation(self) -> Organisation | None:
        """The width of addresses and words of a three-wire part."""
        return self.verdict.organisation if self.verdict else None

    @property
    def is_answered(self) -> bool:
        """Whether an EEPROM answered anything."""
        own = {part.part for part in self.parts if part.is_eeprom}
        return any(
            command.answered or outcome.took
            for command, outcome in zip(self.commands, self.outcomes, strict=True)
            if self.is_early or command.part in own
        )

    @property
    def ends_inside(self) -> bool:
        """Whether the last command goes on when the capture stops."""
        return bool(self.commands) and self.commands[-1].is_cut

    def gave_up(self, place: int) -> bool:
        """Whether nobody asked the busy part again until it answered."""
        command = self.commands[place]
        later = self.commands[place + 1 : place + MOST_POLLS]
        own = [one for one in later if one.part == command.part]
        limit = 2 * self.bus.write_time / 1000 / self.unit
        return not any(one.called for one in own if one.time - command.end < limit)


UNSEEN = 0xFF
"""What stands where a capture shows nothing: an erased byte."""


class PartBytes(NamedTuple):
    """A part's bytes as far as they were seen, read or written; how many were not."""

    data: bytes
    unseen: int


def the_part(decoded: DecodedCapture, number: int | None) -> BusPart:
    """Return the part of a 7-bit address, or the only EEPROM; raises InputError."""
    parts = [part for part in decoded.parts if part.is_eeprom]
    if number is None and len(parts) == 1:
        return parts[0]
    names = [address(part.part) for part in parts if part.part is not None]
    for part in parts:
        if number is not None and part.part == number:
            return part
    if number is None and not parts:
        raise refuse("nothing was read or written in it", "capture while the EEPROM is read")
    seen = f"there is {one_of(names)}" if names else "no part has an address there"
    if number is None:
        raise refuse(f"has several parts: {', '.join(names)}", "choose one by --address")
    raise refuse(f"--address {address(number)}: no such part was called", seen)


def part_bytes(
    catalog: Catalog, decoded: DecodedCapture, part: BusPart, size: int | None = None
) -> PartBytes:
    """Return what was seen of a part.

    `size`: bytes of the part, where that is known; else that of the smallest one that holds all.
    """
    seen = part.contents.seen
    if size is None and decoded.part is not None:
        size = decoded.part.size
    if size is None:
        need = max(seen, default=-1) + 1
        on_bus = sorted(p.size for p in catalog.parts.values() if p.bus == decoded.bus.name)
        if decoded.organisation is not None:
            bits = decoded.organisation.address_bits
            on_bus = sorted(p.size for p in catalog.parts.values() if bits in p.address_bits)
        size = next((one for one in on_bus if one >= need), part.size)
    data = bytes(seen.get(at, UNSEEN) for at in range(size))
    return PartBytes(data, sum(at not in seen for at in range(size)))


class BusFinding(NamedTuple):
    """A finding: `time` in seconds, `offset` in the part, where it has one."""

    rule: str
    severity: str
    time: float | None
    offset: int | None
    message: str
    hint: str
    source: str

    def as_json(self) -> dict[str, Any]:
        """Return the finding as in the JSON answers."""
        return self._asdict()


def bus_finding(
    catalog: Catalog,
    name: str,
    time: float | None = None,
    offset: int | None = None,
    /,
    **words: object,
) -> BusFinding:
    """Return what the schema says of this observation, with these words filled in."""
    found = catalog.observations[name]
    return BusFinding(
        name,
        found.severity,
        time,
        offset,
        found.message.format_map(words),
        found.hint.format_map(words),
        found.source,
    )
