"""How far a long work is: one line on standard error, on a terminal only.

Not click's bar: that is there from the first moment, stays at the end, may be wider than the
terminal, and can't make room for a message in between.
"""

from __future__ import annotations

import os
import stat
import sys
import time
from types import TracebackType

from romtool.text.page import width

AFTER = 1.0
"""Seconds of work before it is worth a line."""

EVERY = 0.1
"""Seconds between two looks of it."""

BAR = 30
"""Characters of the bar itself."""

CLEAR = "\r\x1b[K"


class Progress:
    """Counts the steps of a work; shows them once it lasts.

    What is written to the terminal meanwhile goes between `hide` and the next `step`.
    """

    def __init__(self, doing: str, total: int) -> None:
        self._doing = doing
        self._total = total
        self._done = 0
        self._started = time.monotonic()
        self._next = self._started + AFTER
        self._is_shown = False
        self.is_wanted = total > 1 and _is_wanted()

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.hide()

    @property
    def is_due(self) -> bool:
        """Whether it is time for another look."""
        return self.is_wanted and time.monotonic() >= self._next

    def step(self, count: int = 1) -> None:
        """Count what was done; show it if it is time."""
        self._done += count
        if self.is_due:
            now = time.monotonic()
            self._next = now + EVERY
            self._is_shown = True
            sys.stderr.write(CLEAR + self._line(now - self._started))
            sys.stderr.flush()

    def hide(self) -> None:
        """Take the line away."""
        if self._is_shown:
            self._is_shown = False
            sys.stderr.write(CLEAR)
            sys.stderr.flush()

    def _line(self, seconds: float) -> str:
        full = BAR * self._done // self._total
        bar = "#" * full + "." * (BAR - full)
        left = round(seconds * (self._total - self._done) / self._done)
        words = f"{self._doing} [{bar}] {self._done} of {self._total}, {_span(left)} left"
        return words[: width() - 1]


def _span(seconds: int) -> str:
    return f"{seconds} s" if seconds < 100 else f"{round(seconds / 60)} min"


def _is_wanted() -> bool:
    """Whether standard error is a terminal that nobody else writes to.

    A pipe's reader may (`| less`), so there is no line beside a pipe.
    """
    try:
        if sys.stderr is None or not sys.stderr.isatty() or sys.stdout is None:
            return False
        return not stat.S_ISFIFO(os.fstat(sys.stdout.fileno()).st_mode)
    except (OSError, ValueError):
        return False
