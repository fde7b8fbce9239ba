"""The map of I/O ports: each range that a card can ask for as a strip over the ports of slots.

What is one of several places is drawn differently; what lies outside the strip is said, and not
drawn. Where a device decodes too few address bits, its ports answer at every alias.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from romtool.assign.host import Entry, Host
from romtool.image.model import Image
from romtool.report.pc import GivenTo
from romtool.requirements.collide import Placed
from romtool.requirements.model import CardRequirements, DeviceRequirements, RangeRequirement
from romtool.schema.bus import Bus
from romtool.schema.numbers import address

MOST_ROWS = 96
MOST_RANGES = 24
"""The most rows of ports that are drawn; the most ranges of a host that are named."""

Run = tuple[int, int]
"""The first port of a run, and how many it has."""

Asked = tuple[RangeRequirement, int | None]
"""A range, and the choice (from 1) that asks for it; None: it always applies."""


@dataclass(frozen=True)
class PortRow:
    """One strip of ports: those of a range with one place, and those where it may be put.

    `given`: what an assignment gave. `words` say the range, `who` asks for it, `note` what can't
    be drawn. Runs count from the strip's first port.
    """

    words: str
    who: str
    note: str = ""
    fixed: tuple[Run, ...] = ()
    may_be: tuple[Run, ...] = ()
    given: tuple[Run, ...] = ()
    given_words: str = ""


@dataclass(frozen=True)
class Owner:
    """The strips of one owner: the PC itself, a host, or a device (from 0)."""

    title: str
    port_rows: tuple[PortRow, ...]
    name: str = ""
    device: int | None = None


@dataclass(frozen=True)
class Together:
    """What one device (from 0), or the PC (None), takes in the picture of all of them.

    `is_outside`: it takes ports that are not drawn.
    """

    title: str
    device: int | None
    runs: tuple[Run, ...]
    is_outside: bool = False


@dataclass(frozen=True)
class PortMap:
    """All strips over the ports from `first` on, `width` of them; `left_out`: strips too many.

    `together`: one picture of all, devices at what they are given, or at what they like best.
    """

    first: int
    width: int
    together: tuple[Together, ...]
    owners: tuple[Owner, ...]
    left_out: int
    source: str

    @property
    def has_given(self) -> bool:
        """Whether an assignment gave any of these ranges."""
        return any(row.given for owner in self.owners for row in owner.port_rows)

    @property
    def ticks(self) -> list[str]:
        """The ports at which the eighths of the strips begin."""
        return [address(self.first + self.width * eighth // 8) for eighth in range(8)]


class _Strip:
    """The ports of a strip, those painted marked; `outside`: some were painted that it hasn't."""

    def __init__(self, ports: range) -> None:
        self.ports, self.marks, self.outside = ports, bytearray(len(ports)), False

    def paint(self, base: int, length: int) -> None:
        """Paint a range of ports."""
        first, last = self.ports[0], self.ports[-1]
        start, stop = max(base, first), min(base + length, last + 1)
        self.outside |= base < first or base + length > last + 1
        if start < stop:
            self.marks[start - first : stop - first] = b"\1" * (stop - start)

    @property
    def runs(self) -> tuple[Run, ...]:
        """The runs of what is painted."""
        found, at = [], 0
        for painted, group in groupby(self.marks):
            length = len(list(group))
            if painted:
                found.append((at, length))
            at += length
        return tuple(found)

    @property
    def note(self) -> str:
        """What to say of what is not drawn."""
        whole = f"outside {address(self.ports[0])} to {address(self.ports[-1])}: not drawn"
        return whole if self.outside else ""


def _slot_ports(bus: Bus) -> range:
    """Return the ports that are drawn: those where READ_DATA can be, from the first 100h of them.

    They are what cards in slots have; below are the system board's (Spec 3.1; common practice).
    """
    return range(bus.read_ports.start & -0x100, bus.alias_step)


def port_map(
    image: Image, requirements: CardRequirements, given: GivenTo, host: Host | None
) -> PortMap:
    """Return the strips of a card's devices, beneath those of the PC."""
    bus = image.catalog.bus
    kind = image.catalog.port_resource.name
    ports = _slot_ports(bus)
    taken = sorted(host.entries(kind), key=_base) if host is not None else []
    owners = [Owner("the PC itself", (_bus_row(bus, ports),))]
    if host is not None and taken:
        owners.append(Owner(host.name, tuple(_host_rows(bus, ports, taken))))
    room, left_out = MOST_ROWS, 0
    for device in requirements.devices:
        asked = _asked(device, kind)
        port_rows = [_port_row(bus, ports, asking, given) for asking in list(asked.values())[:room]]
        left_out += len(asked) - len(port_rows)
        if port_rows:
            owners.append(Owner(device.id, tuple(port_rows), device.name or "", device.number))
        room -= len(port_rows)
    together = tuple(_together(ports, requirements, kind, given, taken, host))
    return PortMap(ports[0], len(ports), together, tuple(owners), left_out, bus.source)


def _base(entry: Entry) -> int:
    return entry.value.base if isinstance(entry.value, Placed) else entry.value


def _together(
    ports: range,
    requirements: CardRequirements,
    kind: str,
    given: GivenTo,
    taken: Sequence[Entry],
    host: Host | None,
) -> Iterator[Together]:
    """Yield what the PC and each device take: what it is given, or else its first choice's best."""
    strip = _Strip(ports)
    for entry in taken:
        if isinstance(entry.value, Placed):
            strip.paint(entry.value.base, entry.value.length)
    if host is not None and strip.runs:
        yield Together(host.name, None, strip.runs)
    for device in requirements.devices[:MOST_ROWS]:
        strip = _Strip(ports)
        alternatives = device.alternatives
        got = [one for one in alternatives if any(given.to(need) for need in one.own)]
        for need in (got or alternatives)[0].needs if alternatives else ():
            if need.kind == kind and isinstance(need, RangeRequirement) and not need.is_empty:
                placed = given.to(need)
                base = placed.base if isinstance(placed, Placed) else need.low
                strip.paint(base, need.length)
        if strip.runs or strip.outside:
            yield Together(device.id, device.number, strip.runs, is_outside=strip.outside)


def _bus_row(bus: Bus, ports: range) -> PortRow:
    strip = _Strip(ports)
    strip.paint(bus.address_port, 1)
    words = f"{address(bus.address_port)} and {address(bus.write_port)}"
    note = "only written to: a card may answer reads there"
    return PortRow(words, "PnP software", note, fixed=strip.runs)


def _host_rows(bus: Bus, ports: range, taken: Sequence[Entry]) -> Iterator[PortRow]:
    for entry in taken[:MOST_RANGES]:
        one = entry.value
        if isinstance(one, Placed):
            words = f"{one.in_words()}{_decode(bus, one.bits)}"
            yield _taken(ports, [one], words, entry.what, _aliases(bus, one.base, one.bits))
    if len(taken) > MOST_RANGES:
        rest = [entry.value for entry in taken[MOST_RANGES:] if isinstance(entry.value, Placed)]
        yield _taken(ports, rest, f"{len(rest)} more ranges", "", "")


def _taken(ports: range, ranges: Sequence[Placed], words: str, what: str, note: str) -> PortRow:
    strip = _Strip(ports)
    for one in ranges:
        strip.paint(one.base, one.length)
    notes = "; ".join(words for words in (note, strip.note) if words)
    return PortRow(words, what or "taken", notes, fixed=strip.runs)


def _asked(device: DeviceRequirements, kind: str) -> dict[RangeRequirement, list[Asked]]:
    """Return each different range that a device asks for, with all that ask for it."""
    asked: dict[RangeRequirement, list[Asked]] = {}
    for span, choice in _spans(device):
        if span.kind == kind and not span.is_empty:
            asked.setdefault(span, []).append((span, choice))
    return asked


def _spans(device: DeviceRequirements) -> Iterator[Asked]:
    """Yield each range with the choice that asks for it."""
    for need in (*device.before, *device.after):
        if isinstance(need, RangeRequirement):
            yield need, None
    for one in device.alternatives:
        for need in one.own:
            if isinstance(need, RangeRequirement):
                yield need, (one.number or 0) + 1


def _who(choices: Sequence[int | None]) -> str:
    """Return which choices these are, in words."""
    numbers = [str(choice) for choice in dict.fromkeys(choices) if choice is not None]
    if None in choices:
        return "always"
    if len(numbers) > MOST_RANGES:
        numbers[MOST_RANGES:] = [f"{len(numbers) - MOST_RANGES} more"]
    return f"choice{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}"


def _port_row(bus: Bus, ports: range, asked: Sequence[Asked], given: GivenTo) -> PortRow:
    """Return the strip of one range, for all that ask for it."""
    span = asked[0][0]
    got = (given.to(one) for one, _ in asked)
    placed = next((value for value in got if isinstance(value, Placed)), None)
    strip, chosen = _Strip(ports), _Strip(ports)
    # As many bases as cover all that lie in the row.
    for base in span.bases[: 2 * bus.alias_step]:
        strip.paint(base, span.length)
    if placed is not None:
        chosen.paint(placed.base, placed.length)
    single = len(span.bases) == 1
    aliases = _aliases(bus, span.low if single else None, span.bits)
    return PortRow(
        span.item.words if span.item is not None else "",
        _who([choice for _, choice in asked]),
        "; ".join(words for words in (aliases, strip.note) if words),
        fixed=strip.runs if single else (),
        may_be=() if single else strip.runs,
        given=chosen.runs,
        given_words=placed.in_words() if placed is not None else "",
    )


def _aliases(bus: Bus, base: int | None, bits: int) -> str:
    """Return where a range also answers, in words, if it decodes too few bits."""
    if not bus.aliases(bits):
        return ""
    every = f"every {address(bus.alias_step)} above"
    if base is None:
        return f"also answers {every}"
    first = [address(base + bus.alias_step * times) for times in (1, 2, 3)]
    return f"also answers at {', '.join(first)}: {every}"


def _decode(bus: Bus, bits: int) -> str:
    return f", {bits}-bit decode" if bus.aliases(bits) else ""
