"""The map of I/O ports: each range that a card can ask for as a strip over the same 400h ports.

What lies above them, or is one of several places, is drawn differently; where a device decodes
too few address bits, its ports answer at every alias.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from romtool.assign.host import Host
from romtool.image.model import Image
from romtool.report.given import GivenTo
from romtool.requirements.collide import Placed
from romtool.requirements.model import CardRequirements, DeviceRequirements, RangeRequirement
from romtool.schema.bus import Bus
from romtool.schema.numbers import address

MOST_LANES = 96
MOST_RANGES = 24
"""So many strips are drawn; so many ranges of a host are named."""

Run = tuple[int, int]
"""The first port of a run, and how many it has."""

Asked = tuple[RangeRequirement, int | None]
"""A range, and the choice (from 1) that asks for it; None: it always applies."""


@dataclass(frozen=True)
class Lane:
    """One strip of ports: those of a range with one place, and those where it may be put.

    `far`: ports of ranges that lie above the strip, where they are equal modulo its length;
    `given`: what an assignment gave. `words` say the range, `who` asks for it, `note` what can't
    be drawn.
    """

    words: str
    who: str
    note: str = ""
    fixed: tuple[Run, ...] = ()
    may_be: tuple[Run, ...] = ()
    far: tuple[Run, ...] = ()
    given: tuple[Run, ...] = ()
    given_words: str = ""


@dataclass(frozen=True)
class Owner:
    """The strips of one owner: the PC itself, a host, or a device (from 0)."""

    title: str
    lanes: tuple[Lane, ...]
    name: str = ""
    device: int | None = None


@dataclass(frozen=True)
class PortMap:
    """All strips over `width` ports; `left_out`: strips too many."""

    width: int
    owners: tuple[Owner, ...]
    left_out: int
    source: str


class _Strip:
    """Ports painted into a strip: those in it, and those above it, folded back."""

    def __init__(self, width: int) -> None:
        self.near, self.far = bytearray(width), bytearray(width)

    def paint(self, base: int, length: int) -> None:
        """Paint a range of ports."""
        width = len(self.near)
        for at in range(base, base + length):
            (self.near if at < width else self.far)[at % width] = 1

    @property
    def folded(self) -> bytes:
        """All that is painted, where it stands modulo the width."""
        return bytes(near | far for near, far in zip(self.near, self.far, strict=True))


def port_map(
    image: Image, requirements: CardRequirements, given: GivenTo, host: Host | None
) -> PortMap:
    """Return the strips of a card's devices, beneath those of the PC."""
    bus = image.catalog.bus
    kind = image.catalog.port_resource.name
    owners = [Owner("the PC itself", tuple(_bus_lanes(bus)))]
    if host is not None and host.ranges(kind):
        owners.append(Owner(host.name, tuple(_host_lanes(bus, host.ranges(kind)))))
    room, left_out = MOST_LANES, 0
    for device in requirements.devices:
        asked = _asked(device, kind)
        lanes = [_lane(bus, asking, given) for asking in list(asked.values())[:room]]
        left_out += len(asked) - len(lanes)
        if lanes:
            owners.append(Owner(device.id, tuple(lanes), device.name or "", device.number))
        room -= len(lanes)
    return PortMap(bus.alias_step, tuple(owners), left_out, bus.source)


def _bus_lanes(bus: Bus) -> Iterator[Lane]:
    board = bus.system_ports_below
    yield Lane(Placed(0, board, 0).in_words(), "system board", fixed=((0, board),))
    strip = _Strip(bus.alias_step)
    for port in (bus.address_port, bus.write_port):
        strip.paint(port, 1)
    words = f"{address(bus.address_port)} and {address(bus.write_port)}"
    note = "only written to: a card may answer reads there"
    yield Lane(words, "PnP software", note, fixed=_runs(strip.near), far=_runs(strip.far))


def _host_lanes(bus: Bus, ranges: Sequence[Placed]) -> Iterator[Lane]:
    for one in ranges[:MOST_RANGES]:
        words = f"{one.in_words()}{_decode(bus, one.bits)}"
        yield _taken(bus, [one], words, _aliases(bus, one.base, one.bits))
    if len(ranges) > MOST_RANGES:
        rest = ranges[MOST_RANGES:]
        yield _taken(bus, rest, f"{len(rest)} more ranges", "")


def _taken(bus: Bus, ranges: Sequence[Placed], words: str, note: str) -> Lane:
    strip = _Strip(bus.alias_step)
    for one in ranges:
        strip.paint(one.base, one.length)
    return Lane(words, "taken", note, fixed=_runs(strip.near), far=_runs(strip.far))


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


def _lane(bus: Bus, asked: Sequence[Asked], given: GivenTo) -> Lane:
    """Return the strip of one range, for all that ask for it."""
    span = asked[0][0]
    got = (given.to(one) for one, _ in asked)
    placed = next((value for value in got if isinstance(value, Placed)), None)
    strip, chosen = _Strip(bus.alias_step), _Strip(bus.alias_step)
    # So many bases cover all that lie in the strip; as many again, all places of those above it.
    for base in span.bases[: 2 * bus.alias_step]:
        strip.paint(base, span.length)
    if placed is not None:
        chosen.paint(placed.base, placed.length)
    single = len(span.bases) == 1
    near = _runs(strip.near)
    return Lane(
        span.item.words if span.item is not None else "",
        _who([choice for _, choice in asked]),
        _aliases(bus, span.low, span.bits) if single else _aliases(bus, None, span.bits),
        fixed=near if single else (),
        may_be=() if single else near,
        far=_runs(strip.far),
        given=_runs(chosen.folded),
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


def _runs(strip: bytes | bytearray) -> tuple[Run, ...]:
    """Return the runs of what is painted in a strip."""
    found, at = [], 0
    for painted, group in groupby(strip):
        length = len(list(group))
        if painted:
            found.append((at, length))
        at += length
    return tuple(found)
