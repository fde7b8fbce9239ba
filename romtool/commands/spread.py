"""Work on many things, spread over the cores; the answers come in order, as if one did it all.

Not by `concurrent.futures`: there a process that is killed takes every other answer with it, and
doesn't say over which work; and where the first process is killed, the others stay and hold its
output open.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, Generic, TypeVar

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

T = TypeVar("T")

MANY = 256
"""Fewer things are not worth the start of other processes, which takes as long as 130 checks."""

BATCH = 8
"""Things that are handed to a process at once."""

AHEAD = 8
"""Batches that may be answered before an earlier one is: what bounds the memory."""


def in_order(
    work: Callable[[str], T], names: Sequence[str], lost: Callable[[str], T]
) -> Iterator[T]:
    """Yield `work(name)` for each name, in their order.

    Many are spread over the cores, where the system can copy a process that runs. `lost(name)` is
    the answer for one whose process died over it: it hides no other.
    """
    count = min(_cores(), len(names) // BATCH)
    if len(names) < MANY or count < 2 or not sys.platform.startswith("linux"):
        yield from map(work, names)
        return
    team = _Team(work, lost, count)
    try:
        yield from team.answers(names)
    finally:
        team.end()


def _cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class _Worker:
    """Another process: this one's end of the pipe to it, and what it has still to answer."""

    def __init__(self, work: Callable[[str], object], others: Sequence[_Worker]) -> None:
        from multiprocessing import get_context

        context: Any = get_context("fork")
        self.pipe, theirs = context.Pipe()
        ours = [self.pipe, *(other.pipe for other in others)]
        self.asked: deque[int] = deque()
        self.process = context.Process(target=_serve, args=(work, theirs, ours), daemon=True)
        self.process.start()
        theirs.close()

    def end(self) -> None:
        self.pipe.close()
        self.process.terminate()
        self.process.join()


def _serve(
    work: Callable[[str], object],
    pipe: Connection[object, list[str]],
    ours: Sequence[Connection[list[str], object]],
) -> None:
    """Answer batches of names until nobody asks any more; runs in the other process.

    The ends of the pipes that belong to the first process (`ours`) are closed here, so that this
    one ends when that one is killed.
    """
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that tells
    for end in ours:
        end.close()
    try:
        while True:
            for name in pipe.recv():
                pipe.send(work(name))
    except (EOFError, OSError):
        return


class _Team(Generic[T]):
    """Processes that share the work on a list of names."""

    def __init__(self, work: Callable[[str], T], lost: Callable[[str], T], count: int) -> None:
        self._work = work
        self._lost = lost
        self._workers: list[_Worker] = []
        self._limit = count * BATCH * AHEAD
        for _ in range(count):
            self._add()

    def _add(self) -> None:
        try:
            self._workers.append(_Worker(self._work, self._workers))
        except OSError:  # no more processes: the others do it, or this one
            return

    def end(self) -> None:
        """End all processes."""
        for worker in self._workers:
            worker.end()

    def answers(self, names: Sequence[str]) -> Iterator[T]:
        """Yield the answers for these names, in order."""
        todo, ready, told = deque(range(len(names))), dict[int, T](), 0
        while told < len(names) and self._workers:
            self._ask(names, todo, told)
            self._gather(names, todo, ready)
            while told in ready:
                yield ready.pop(told)
                told += 1
        for index in range(told, len(names)):  # no process could be started
            yield ready[index] if index in ready else self._work(names[index])

    def _ask(self, names: Sequence[str], todo: deque[int], told: int) -> None:
        """Hand a batch to each worker that has answered all, not too far ahead of what is told."""
        for worker in self._workers:
            while todo and not worker.asked and todo[0] < told + self._limit:
                worker.asked.extend(todo.popleft() for _ in range(min(BATCH, len(todo))))
                with contextlib.suppress(OSError):  # it died: found when its answer is read
                    worker.pipe.send([names[index] for index in worker.asked])

    def _gather(self, names: Sequence[str], todo: deque[int], ready: dict[int, T]) -> None:
        """Take the answers that are there; wait for one if none is."""
        from multiprocessing.connection import wait

        busy = {worker.pipe: worker for worker in self._workers if worker.asked}
        for pipe in wait(list(busy)):
            worker = next(worker for end, worker in busy.items() if end is pipe)
            try:
                ready[worker.asked[0]] = worker.pipe.recv()
                worker.asked.popleft()
            except (EOFError, OSError):
                self._bury(worker, names, todo, ready)

    def _bury(
        self, worker: _Worker, names: Sequence[str], todo: deque[int], ready: dict[int, T]
    ) -> None:
        """Replace a worker that died; what it was not at yet is asked of another one."""
        index = worker.asked.popleft()
        ready[index] = self._lost(names[index])
        todo.extendleft(reversed(worker.asked))
        worker.end()
        self._workers.remove(worker)
        self._add()
