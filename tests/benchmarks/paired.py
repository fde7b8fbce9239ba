"""Ratios of times, measured in turns: what disturbs one run disturbs its neighbour too."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

ROUNDS = 15
Work = Callable[[], object]
NOWHERE = subprocess.DEVNULL


def in_turns(
    works: Mapping[str, Work], rounds: int = ROUNDS, clock: Callable[[], float] = time.perf_counter
) -> dict[str, float]:
    """Return how long each takes as a multiple of the first: the median over all rounds.

    `clock`: `time.process_time` for work of this process, so that other programs don't count.
    """
    for work in works.values():
        work()
    found: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(rounds):
        times = {name: _seconds(work, clock) for name, work in works.items()}
        first = next(iter(times.values()))
        for name, seconds in times.items():
            found[name].append(seconds / first)
    return {name: statistics.median(ratios) for name, ratios in found.items()}


def _seconds(work: Work, clock: Callable[[], float]) -> float:
    start = clock()
    work()
    return clock() - start


def repeated(work: Work, times: int = 20) -> Callable[[], None]:
    """Return work that does another many times over, so that the clock is fine enough."""

    def repeat() -> None:
        for _ in range(times):
            work()

    return repeat


def process(*words: str, cwd: Path | None = None) -> Callable[[], None]:
    """Return work that runs a program to its end; any exit code but 2 is an answer."""

    def run() -> None:
        done = subprocess.run(
            words, cwd=cwd, env=clean(), stdout=NOWHERE, stderr=NOWHERE, check=False
        )
        assert done.returncode in (0, 1), words

    return run


def peak(words: Sequence[str], cwd: Path) -> tuple[float, int]:
    """Return the time (seconds) and the most memory (KiB) of a program's largest process."""
    if sys.platform == "win32":
        raise NotImplementedError("the memory of a child is not told here")
    start = time.perf_counter()
    child = subprocess.Popen(words, cwd=cwd, env=clean(), stdout=NOWHERE, stderr=NOWHERE)
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    assert child.returncode in (0, 1), words
    return time.perf_counter() - start, usage.ru_maxrss


def clean() -> dict[str, str]:
    """The environment without what would change the program under test."""
    changes = ("ROMTOOL_SCHEMAS", "PYTHONPATH", "PYTHONDONTWRITEBYTECODE")
    return {name: value for name, value in os.environ.items() if name not in changes}
