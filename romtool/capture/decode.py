"""A recording to the commands on an EEPROM's bus, and to what became of them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence

from romtool.capture import three_wire, two_wire, wiring
from romtool.capture.commands import (
    Command,
    Outcome,
    commands_by_part,
    likely_page,
    outcomes_of,
    size_seen,
)
from romtool.capture.levels import (
    FLOATING,
    HIGH,
    Change,
    GlitchFilter,
    Levels,
    Recording,
    shortest_period,
)
from romtool.capture.model import BusPart, DecodedCapture, Quality
from romtool.capture.wiring import Wiring
from romtool.errors import refuse
from romtool.schema.bench import SerialBus
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import Part
from romtool.schema.numbers import one_of

PREFIX = 100_000
"""Changes from which bus, channels and clock are worked out."""


def decode(
    catalog: Catalog,
    recording: Recording,
    channels: Mapping[str, str] | None = None,
    part: Part | None = None,
) -> DecodedCapture:
    """Return what a recording shows of an EEPROM's bus.

    `channels`: the name of each line's channel, where it is settled (`org` may be a number of
    bits); `part`: the part on the bus. Raises InputError where it can't be told what is what.
    """
    start = list(itertools.islice(recording.changes, PREFIX))
    if not start and not recording.channels:
        raise refuse("has no channels", "capture the EEPROM's lines")
    buses = catalog.serial_buses
    word = None
    if channels and "org" in channels and channels["org"] in ("8", "16"):
        word = int(channels["org"])
        channels = {name: channel for name, channel in channels.items() if name != "org"}
    if part is not None:
        buses = {part.bus: buses[part.bus]}
    if channels:
        wires = _settled(buses, recording, channels)
    else:
        wires = _found(catalog, buses, recording, start)
    quality = Quality()
    clock = _clock(wires, start)
    if clock:
        quality.samples = _samples(start, clock)
    filtered = GlitchFilter(clock / wires.bus.glitch if clock else 0)
    counts = [0] * len(recording.channels)
    used = frozenset(wires.channels.values())
    changes = _used(itertools.chain(start, recording.changes), used, counts)
    levels = wires.levels(filtered.clean(changes))
    if wires.bus.name == "two-wire":
        decoded = _two_wire(catalog, recording, wires, levels, part, quality, clock)
    else:
        decoded = _three_wire(catalog, recording, wires, levels, part, quality, clock, word)
    quality.glitches, quality.first_glitch = filtered.count, filtered.first
    quality.quiet = tuple(
        name for name, count in zip(recording.channels, counts, strict=True) if count < 2
    )
    quality.cut = recording.cut
    return decoded


def _used(changes: Iterable[Change], used: frozenset[int], counts: list[int]) -> Iterator[Change]:
    """Yield the changes of the bus's channels; count those of all."""
    for change in changes:
        channel = change[1]
        counts[channel] += 1
        if channel in used:
            yield change


def _settled(
    buses: Mapping[str, SerialBus], recording: Recording, channels: Mapping[str, str]
) -> Wiring:
    """Return the wiring that a user names; raises InputError."""
    fits = [
        bus
        for bus in buses.values()
        if channels.keys() <= {line.name for line in bus.lines}
        and {line.name for line in bus.lines if line.required} <= channels.keys()
    ]
    if len(fits) != 1:
        ways = [
            f"{','.join(f'{line.name}=…' for line in bus.lines if line.required)} ({bus.title})"
            for bus in buses.values()
        ]
        raise refuse(f"--channels names {one_of(list(channels))}", f"name {' or '.join(ways)}")
    names = list(recording.channels)
    folded = [name.lower() for name in names]
    found = {}
    for line, name in channels.items():
        if name in names:
            found[line] = names.index(name)
        elif folded.count(name.lower()) == 1:
            found[line] = folded.index(name.lower())
        else:
            hint = f"the channels are {', '.join(names)}"
            raise refuse(f"--channels {line}={name}: no channel is called so", hint)
    if len(set(found.values())) < len(found):
        raise refuse("--channels names a channel twice", "each line has a channel of its own")
    return Wiring(fits[0], found, "as --channels says")


def _found(
    catalog: Catalog,
    buses: Mapping[str, SerialBus],
    recording: Recording,
    start: Sequence[Change],
) -> Wiring:
    """Return the wiring by names, or by behaviour; raises InputError where neither tells it."""
    names = recording.channels
    known = three_wire.organisations(catalog.parts.values())
    named = wiring.by_name(list(buses.values()), names)
    scored = [(wiring.score_of(one, start, known), one) for one in named]
    if scored:
        best = max(scored, key=lambda one: one[0])
        return wiring.turned(*best, names, start, known) or best[1]
    behaves = [
        one
        for one in wiring.by_behaviour(catalog.serial_buses, names, start, known)
        if one[1].bus.name in buses
    ]
    if behaves:
        return behaves[0][1]
    hint = "name them: --channels scl=…,sda=… or cs=…,clk=…,di=…,do=…"
    have = f"the channels are {', '.join(names)}" if names else "it has no channels"
    raise refuse(f"which channel is which line can't be told; {have}", hint)


def _clock(wires: Wiring, start: Sequence[Change]) -> float | None:
    """Return the clock's period in units; None where it never ran."""
    name = "scl" if "scl" in wires.channels else "clk"
    channel = wires.channels[name]
    up = (HIGH, FLOATING) if wires.bus.line(name).pull_up else (HIGH,)
    return shortest_period([time for time, one, level in start if one == channel and level in up])


def _samples(start: Sequence[Change], clock: float) -> float | None:
    """Return how many samples a clock has: the times of changes are multiples of a sample's."""
    steps = {later[0] - earlier[0] for earlier, later in itertools.pairwise(start)} - {0}
    if not steps:
        return None
    whole = [step for step in steps if isinstance(step, int)]
    step = math.gcd(*whole) if len(whole) == len(steps) else min(steps)
    return clock / step


def _two_wire(
    catalog: Catalog,
    recording: Recording,
    wires: Wiring,
    levels: Iterable[Levels],
    part: Part | None,
    quality: Quality,
    clock: float | None,
) -> DecodedCapture:
    reader = two_wire.TransferReader()
    transfers = list(reader.read(levels))
    quality.clocks, quality.stray = reader.clocks, len(reader.early)
    # Clocks side by side: as supply comes up, the lines may go up and down once.
    quality.begins_inside = clock is not None and any(
        later - earlier < 4 * clock for earlier, later in itertools.pairwise(reader.early)
    )
    quality.broken = [transfer.end for transfer in transfers if transfer.bits and transfer.ended]
    early = (part is None or part.size == two_wire.EARLY_SIZE) and (
        two_wire.is_early(wires.bus, transfers)
    )
    known = {one.page for one in catalog.parts.values() if one.bus == wires.bus.name and one.page}
    pages = tuple(sorted(known))
    layout = two_wire.TwoWireParts.of(wires.bus, pages, part)
    wide = part is None and not early and two_wire.is_wide(wires.bus, transfers)
    if early:
        layout = layout._replace(size=two_wire.EARLY_SIZE, early=True)
    if wide:  # no such part is known, nor its page: none wraps then
        size = two_wire.WIDE_SIZE
        layout = layout._replace(size=size, wide=True, pages=(size,))
        pages = layout.pages
    commands = list(two_wire.commands_of(layout, transfers))
    del transfers
    pages = layout.pages + tuple(page for page in pages if page not in layout.pages)
    return _judged(
        recording, wires, commands, quality, clock, layout.size, pages,
        part=part, is_early=early, is_wide=wide,
    )  # fmt: skip


def _three_wire(
    catalog: Catalog,
    recording: Recording,
    wires: Wiring,
    levels: Iterable[Levels],
    part: Part | None,
    quality: Quality,
    clock: float | None,
    word: int | None,
) -> DecodedCapture:
    reader = three_wire.SelectionReader()
    selections: list[three_wire.Selection] = list(reader.read(levels))
    quality.clocks, quality.stray = reader.clocks, reader.clocks_outside
    quality.begins_inside = reader.starts_selected and bool(selections) and selections[0].clocks > 0
    if quality.begins_inside:
        selections = selections[1:]
    parsed = [
        one for one in (three_wire.parse(wires.bus, selection) for selection in selections) if one
    ]
    quality.polls = len(selections) - len(parsed)
    if word is None and "org" in wires.channels and parsed:
        word = 16 if sum(one.selection.wide for one in parsed) * 2 > len(parsed) else 8
    known = [one for one in catalog.parts.values() if one.bus == wires.bus.name]
    verdict = three_wire.decide(parsed, three_wire.organisations([part] if part else known), word)
    one = verdict.organisation
    sizes = [p.size for p in known if one.address_bits in p.address_bits]
    size = part.size if part else max(sizes)
    del parsed
    commands = list(
        three_wire.commands_of(
            wires.bus,
            selections,
            one,
            size=size,
            write_time=wires.bus.write_time / 1000 / recording.unit,
            clock=clock or 0,
        )
    )
    return _judged(
        recording, wires, commands, quality, clock, size, [size], part=part, verdict=verdict
    )


def _judged(
    recording: Recording,
    wires: Wiring,
    commands: list[Command],
    quality: Quality,
    clock: float | None,
    size: int,
    pages: Sequence[int],
    *,
    part: Part | None,
    verdict: three_wire.Verdict | None = None,
    is_early: bool = False,
    is_wide: bool = False,
) -> DecodedCapture:
    """Return the commands with what became of them, part by part."""
    write_time = wires.bus.write_time / 1000 / recording.unit
    outcomes = [Outcome(None)] * len(commands)
    parts = []
    for number, places in commands_by_part(commands).items():
        own = [commands[place] for place in places]
        its_size = size if part is not None else size_seen(own, size)
        page = likely_page(own, its_size, pages, is_known=part is not None)
        found, contents = outcomes_of(own, its_size, page, write_time)
        for place, outcome in zip(places, found, strict=True):
            outcomes[place] = outcome
        is_eeprom = number is None or is_early or wires.bus.is_eeprom(number)
        parts.append(BusPart(None if is_early else number, is_eeprom, its_size, page, contents))
    return DecodedCapture(
        bus=wires.bus,
        wiring=wires,
        unit=recording.unit,
        end=recording.end,
        clock=clock,
        commands=commands,
        outcomes=outcomes,
        parts=tuple(parts),
        quality=quality,
        channels=recording.channels,
        verdict=verdict,
        is_early=is_early,
        is_wide=is_wide,
        part=part,
    )
