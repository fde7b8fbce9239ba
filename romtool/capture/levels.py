"""Levels over time: of channels, as a file tells them; of a bus's lines, without glitches."""

from __future__ import annotations

import itertools
import statistics
from collections.abc import Iterable, Iterator, Sequence

LOW, HIGH, FLOATING, UNKNOWN = range(4)
"""The levels of a channel: `FLOATING` is z, `UNKNOWN` is x."""

LEVELS = {"0": LOW, "1": HIGH, "z": FLOATING, "Z": FLOATING, "x": UNKNOWN, "X": UNKNOWN}
"""How files write them."""


Change = tuple[float, int, int]
"""A channel takes another level: time in the recording's units, channel, level.

A plain tuple, as a capture has millions of them.
"""


class Recording:
    """The channels of a capture and how their levels change, in order of time.

    `unit`: seconds of one unit of time. `changes` can be read only once. While it is read, `end`
    holds the last time that the file names, and `cut` whether the file breaks off in a line.
    """

    def __init__(self, channels: tuple[str, ...], unit: float) -> None:
        self.channels = channels
        self.unit = unit
        self.end: float = 0
        self.cut = False
        self.changes: Iterator[Change] = iter(())


Lines = Iterable[str]
"""Lines of a text, each with its line end; only the last one may lack it."""


PERIODS = 8
"""Clocks in a row from which a clock's period is taken: a byte's."""


Levels = tuple[float, int, int]
"""What the lines hold from a time on: the time, a bit a line that is high, a bit a line that
nothing drives.
"""


def shortest_period(rises: Sequence[float]) -> float | None:
    """Return the period of the clock where it is fastest; None where it hardly ever runs.

    `rises`: times of its rising edges. A glitch cuts a period in two; so it is the median of some
    periods in a row that counts.
    """
    periods = [later - earlier for earlier, later in itertools.pairwise(rises)]
    if len(periods) < PERIODS:
        return statistics.median(periods) if periods else None
    runs = range(len(periods) - PERIODS + 1)
    return min(statistics.median_high(periods[n : n + PERIODS]) for n in runs)


class GlitchFilter:
    """Leaves out pulses shorter than `shortest`; `count` and `first` tell of those."""

    def __init__(self, shortest: float) -> None:
        self._shortest = shortest
        self.count = 0
        self.first: float | None = None

    def clean(self, changes: Iterable[Change]) -> Iterator[Change]:
        """Yield the changes that last, in their order.

        A change waits until it has lasted. One of the same channel before that takes it back.
        """
        shortest = self._shortest
        waiting: list[Change] = []
        levels: dict[int, int] = {}  # of each channel: the level that has lasted
        for change in changes:
            time, channel, level = change
            if waiting and time - waiting[-1][0] >= shortest:
                for one in waiting:
                    levels[one[1]] = one[2]
                yield from waiting
                waiting = [change]
                continue
            while waiting and time - waiting[0][0] >= shortest:
                one = waiting.pop(0)
                levels[one[1]] = one[2]
                yield one
            for place, one in enumerate(waiting):
                if one[1] == channel and channel in levels:
                    del waiting[place]
                    self.count += 1
                    if self.first is None:
                        self.first = one[0]
                    break
            if levels.get(channel) != level:
                waiting.append(change)
        yield from waiting


def levels_of(
    changes: Iterable[Change], lines: Sequence[int], pulled_up: int = 0, flipped: int = 0
) -> Iterator[Levels]:
    """Yield the levels of these channels, bit 0 the first, once for each moment of a change.

    A channel may stand for several lines; -1 is none: its line is never driven. A line that nothing
    drives is high where it is pulled up (`pulled_up`: a bit a line); else, as where its level isn't
    known, it holds its last one. `flipped`: lines that are told the other way round.
    """
    masks: dict[int, int] = {}
    for place, channel in enumerate(lines):
        masks[channel] = masks.get(channel, 0) | 1 << place
    high, undriven = 0, masks.get(-1, 0)
    moment: float | None = None
    for time, channel, level in changes:
        mask = masks.get(channel)
        if mask is None:
            continue
        if time != moment:
            if moment is not None:
                yield moment, high ^ flipped, undriven
            moment = time
        if level == HIGH:
            high |= mask
            undriven &= ~mask
        elif level == LOW:
            high &= ~mask
            undriven &= ~mask
        elif level == FLOATING:
            high |= mask & pulled_up
            undriven |= mask & ~pulled_up
        elif level == UNKNOWN:
            undriven |= mask
    if moment is not None:
        yield moment, high ^ flipped, undriven
