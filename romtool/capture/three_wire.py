"""Selections of the three-wire bus: what is clocked in and out while a part is selected.

CS   __/‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾\\__
CLK  ____/‾\\_/‾\\_/‾\\_/‾\\____    DI counts as CLK rises; DO changes after that: so it is
DI   --< 1 >< a >< b >-----    taken as CLK falls.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from romtool.capture.levels import Levels

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
