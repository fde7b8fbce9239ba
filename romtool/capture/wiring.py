"""Which bus a capture shows, and which channel is which line of it.

By the names that are usual in the trade; else by behaviour: each way of taking channels for lines
is tried on the first changes, and the one under which most of them make sense is taken.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from romtool.capture.levels import Change, Levels, levels_of
from romtool.capture.three_wire import Organisation, SelectionReader, likelihood, parse
from romtool.capture.two_wire import TransferReader
from romtool.schema.bench import SerialBus, SerialLine

MOST_TRIED = 8
"""Channels that are tried by behaviour: those that change most often."""

MOST_CHANGES = 6_000
"""Changes that are looked at for that."""

_WORDS = re.compile(r"[a-z]+")


class Wiring(NamedTuple):
    """A bus, and the channel of each of its lines that has one; `evidence` in words."""

    bus: SerialBus
    channels: Mapping[str, int]
    evidence: str
    turned: bool = False
    """Its channels behave otherwise than they are named."""

    def levels(self, changes: Iterable[Change]) -> Iterator[Levels]:
        """Yield the levels of the bus's lines, in its order; a lock's bit is set while it locks.

        Without a channel for the data from the part they are looked for on that to it: on many
        boards both pins are joined.
        """
        channels = dict(self.channels)
        if "di" in channels:
            channels.setdefault("do", channels["di"])
        pulled = flipped = 0
        for place, line in enumerate(self.bus.lines):
            pulled |= line.pull_up << place
            flipped |= (line.locks == "low" and line.name in channels) << place
        lines = [channels.get(line.name, -1) for line in self.bus.lines]
        return levels_of(changes, lines, pulled, flipped)


def by_name(buses: Sequence[SerialBus], names: Sequence[str]) -> list[Wiring]:
    """Return the ways in which the names of channels name all that a bus needs."""
    found = []
    for bus in buses:
        channels: dict[str, int] = {}
        for line in bus.lines:
            place = _named(line, names, set(channels.values()))
            if place is not None:
                channels[line.name] = place
        if all(line.name in channels for line in bus.lines if line.required):
            found.append(Wiring(bus, channels, "by the channels' names"))
    return found


def _named(line: SerialLine, names: Sequence[str], taken: set[int]) -> int | None:
    """Return the channel that a line's names fit best; whole names before parts of one."""
    for test in (_is_whole, _has_word):
        for known in line.names:
            for place, name in enumerate(names):
                if place not in taken and test(known, name):
                    return place
    return None


def _is_whole(known: str, name: str) -> bool:
    return "".join(_WORDS.findall(name.lower())) == known


def _has_word(known: str, name: str) -> bool:
    return known in _WORDS.findall(name.lower()) and len(known) > 1


def score_of(one: Wiring, changes: Sequence[Change], known: Sequence[Organisation]) -> float:
    """Return how much makes sense if the channels are taken so.

    `known`: the organisations that three-wire parts have.
    """
    changes = changes[:MOST_CHANGES]
    if one.bus.name == "two-wire":
        return _two_wire_score(one, changes)[0]
    return _three_wire_score(one, changes, known)[0]


def turned(
    score: float,
    one: Wiring,
    names: Sequence[str],
    changes: Sequence[Change],
    known: Sequence[Organisation],
) -> Wiring | None:
    """Return the wiring in which lines of a bus are changed round, where only that makes sense.

    None where the one by names, with its score, makes sense itself.
    """
    required = [line.name for line in one.bus.lines if line.name in one.channels and not line.locks]
    best, found = score, None
    for order in itertools.permutations(required):
        if score > 0 and len(required) > 2:
            break
        channels = {
            **one.channels,
            **{name: one.channels[other] for name, other in zip(required, order, strict=True)},
        }
        other = one._replace(channels=channels)
        other_score = score_of(other, changes, known)
        if other_score > 4 * score and other_score > best:
            best, found = other_score, other
    if found is None:
        return None
    moved = [name for name in required if found.channels[name] != one.channels[name]]
    words = ", ".join(
        f"{names[found.channels[name]]} is {found.bus.line(name).text}" for name in moved
    )
    return found._replace(
        evidence=f"by behaviour, against the channels' names: {words}", turned=True
    )


def by_behaviour(
    buses: Mapping[str, SerialBus],
    names: Sequence[str],
    changes: Sequence[Change],
    known: Sequence[Organisation],
) -> list[tuple[float, Wiring]]:
    """Return the ways of taking channels for lines that make sense, the best first, with its score.

    The score is the number of bytes or commands that come out whole, less those that don't.
    """
    changes = changes[:MOST_CHANGES]
    counts: dict[int, int] = {}
    for _, channel, _ in changes:
        counts[channel] = counts.get(channel, 0) + 1
    busiest = sorted((c for c in counts if counts[c] > 1), key=lambda c: -counts[c])[:MOST_TRIED]
    tried = [
        *_two_wire(buses, names, changes, busiest),
        *_three_wire(buses, names, changes, busiest, known),
    ]
    return sorted((one for one in tried if one[0] > 0), key=lambda one: -one[0])


def _two_wire(
    buses: Mapping[str, SerialBus],
    names: Sequence[str],
    changes: Sequence[Change],
    channels: Sequence[int],
) -> Iterator[tuple[float, Wiring]]:
    for clock, data in itertools.permutations(channels, 2):
        one = Wiring(buses["two-wire"], {"scl": clock, "sda": data}, "")
        score, transfers, whole = _two_wire_score(one, changes)
        words = (
            f"by behaviour: {names[clock]} is a clock, and {names[data]} holds still while it is "
            f"high but for STARTs and STOPs, which frame {transfers} transfers of {whole} bytes"
        )
        yield score, one._replace(evidence=words)


def _two_wire_score(one: Wiring, changes: Sequence[Change]) -> tuple[float, int, int]:
    """Return how much makes sense, how many transfers there are, and of how many whole bytes."""
    reader = TransferReader()
    found = list(reader.read(one.levels(changes)))
    sound = [transfer for transfer in found if not transfer.bits or not transfer.ended]
    whole = sum(len(transfer.data) for transfer in sound)
    calls = sum(bool(t.data) and one.bus.is_eeprom(t.data[0] >> 1) for t in sound)
    stable = 9 * whole / max(1, reader.clocks)
    return (whole + 5 * calls) * stable**2 * (1 if calls else 0.3), len(found), whole


def _three_wire(
    buses: Mapping[str, SerialBus],
    names: Sequence[str],
    changes: Sequence[Change],
    channels: Sequence[int],
    known: Sequence[Organisation],
) -> Iterator[tuple[float, Wiring]]:
    for select, clock in itertools.permutations(channels, 2):
        if not _is_framed(changes, select, clock):
            continue
        others = [channel for channel in channels if channel not in (select, clock)]
        for into, out in itertools.permutations([*others, -1], 2):
            if into < 0:
                continue
            lines = {"cs": select, "clk": clock, "di": into} | ({} if out < 0 else {"do": out})
            one = Wiring(buses["three-wire"], lines, "")
            score, selections = _three_wire_score(one, changes, known)
            if out < 0:
                score *= 0.5
            words = (
                f"by behaviour: {names[select]} frames {selections} groups of clocks on "
                f"{names[clock]}, in which {names[into]} begins with a start bit and a command"
            )
            if out >= 0:
                words += f"; {names[out]} changes as the clock rises"
            yield score, one._replace(evidence=words)


def _is_framed(changes: Sequence[Change], select: int, clock: int) -> bool:
    """Whether most clocks stand in groups while `select` is high."""
    is_high = False
    inside = outside = groups = 0
    for _, channel, level in changes:
        if channel == select:
            is_high = level == 1
            groups += is_high
        elif channel == clock and level == 1:
            inside += is_high
            outside += not is_high
    return groups > 0 and inside > 8 * outside and inside >= 8 * groups / 2


def _three_wire_score(
    one: Wiring, changes: Sequence[Change], known: Sequence[Organisation]
) -> tuple[float, int]:
    """Return how much of the selections makes sense, and how many there are."""
    lines = one.channels
    if not _is_framed(changes, lines["cs"], lines["clk"]):
        return 0, 0
    selections = [part for part in SelectionReader().read(one.levels(changes)) if part.clocks]
    if not selections:
        return 0, 0
    parsed = [found for found in (parse(one.bus, part) for part in selections) if found]
    begin = sum(found.selection.di.bit_length() == found.selection.clocks for found in parsed)
    late = _late_share(changes, lines["clk"], lines.get("do"))
    early = _late_share(changes, lines["clk"], lines["di"])
    sense = likelihood(parsed, known) + (late - early) / 4
    return (begin + (len(parsed) - begin) / 4) * max(0.0, sense), len(selections)


def _late_share(changes: Sequence[Change], clock: int, data: int | None) -> float:
    """Return the share of a channel's changes that come while the clock is high."""
    if data is None:
        return 0.0
    is_high = False
    moment = None
    high = count = 0
    for time, channel, level in changes:
        if channel == clock:
            is_high, moment = level == 1, time
        elif channel == data:
            count += 1
            high += is_high and (moment is None or time > moment)
    return high / count if count else 0.0
