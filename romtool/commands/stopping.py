"""Requests to end: Ctrl-C, a polite kill, a terminal that is closed. All of them interrupt."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterator

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP")


class Stopped(KeyboardInterrupt):
    """The process was asked to end, by the signal of this number."""

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__()


class Stops:
    """As a context, turns requests to end into Stopped; `deferred` puts them off for a while."""

    def __init__(self) -> None:
        known = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]
        before = {number: signal.getsignal(number) for number in known}
        usual = (signal.SIG_DFL, signal.default_int_handler)  # not what nohup has it ignore
        self._before = {number: before[number] for number in known if before[number] in usual}
        self._is_deferred = False
        self._asked: int | None = None

    def __enter__(self) -> Stops:
        for number in self._before:
            signal.signal(number, self._stop)
        return self

    def __exit__(self, *error: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    @contextlib.contextmanager
    def deferred(self) -> Iterator[None]:
        """What is begun here is done before a request to end is heard."""
        self._is_deferred = True
        try:
            yield
        finally:
            self._is_deferred = False
        if self._asked is not None:
            raise Stopped(self._asked)

    def _stop(self, number: int, frame: object) -> None:
        if self._is_deferred:
            self._asked = number
        else:
            raise Stopped(number)
