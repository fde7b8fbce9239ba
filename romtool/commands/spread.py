"""Work on many things, spread over the cores; the answers come in order, as if one did it all."""

from __future__ import annotations

import os
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from concurrent.futures import Future, ProcessPoolExecutor

T = TypeVar("T")
Work = Callable[[str], T]

MANY = 256
"""Fewer things are not worth the start of other processes, which takes as long as 130 checks."""

BATCH = 8
"""Things that are handed to a process at once."""

AHEAD = 8
"""Batches a process that are asked for before an earlier one is told: what bounds the memory."""


def in_order(work: Work[T], names: Sequence[str], lost: Work[T]) -> Iterator[T]:
    """Yield `work(name)` for each name, in their order.

    Many are spread over the cores, where the system can copy a process that runs. `lost(name)` is
    the answer for one whose process died over it: it hides no other.
    """
    count = min(_cores(), len(names) // BATCH)
    if len(names) < MANY or count < 2 or not sys.platform.startswith("linux"):
        yield from map(work, names)
        return
    told = 0
    try:
        batches = deque(names[at : at + BATCH] for at in range(0, len(names), BATCH))
        for answers in _spread(work, batches, lost, count):
            yield from answers
            told += len(answers)
    except OSError:  # no more processes: this one does it
        from multiprocessing import active_children

        for process in active_children():
            process.terminate()
        yield from map(work, names[told:])


def _cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _spread(
    work: Work[T], batches: deque[Sequence[str]], lost: Work[T], count: int
) -> Iterator[list[T]]:
    """Yield the answers to each batch; raises OSError where no process can be started."""
    from concurrent.futures.process import BrokenProcessPool

    while batches:
        pool = _pool(work, count)
        asked: deque[Future[list[T]]] = deque()
        try:
            while batches:
                while len(asked) < min(count * AHEAD, len(batches)):
                    asked.append(pool.submit(_answers, batches[len(asked)]))
                answers = asked[0].result()
                asked.popleft()
                batches.popleft()
                yield answers
        except BrokenProcessPool:  # a process died over this batch, or over a later one
            first = batches.popleft()
            if len(first) == 1:
                yield [lost(first[0])]
            else:
                yield from _spread(work, deque([[name] for name in first]), lost, 1)
        finally:
            pool.shutdown(cancel_futures=True)


def _pool(work: Work[Any], count: int) -> ProcessPoolExecutor:
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    return ProcessPoolExecutor(count, get_context("fork"), _begin, (work,))


def _begin(work: Work[Any]) -> None:
    """Begin as another process: Ctrl-C is for the first one; where that is killed, end too."""
    import signal
    from multiprocessing import parent_process
    from threading import Thread

    _own.append(work)
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def end_with_first() -> None:
        first = parent_process()
        if first is not None:
            first.join()
        os._exit(1)

    Thread(target=end_with_first, daemon=True).start()


_own: list[Work[Any]] = []
"""What such a process does with a name; a function made in a function can't be sent to it."""


def _answers(names: Sequence[str]) -> list[Any]:
    try:
        return list(map(_own[-1], names))
    except MemoryError:  # as where the system kills it for that
        os._exit(1)
