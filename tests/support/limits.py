"""Limits that a process sets itself before it runs the command; POSIX only."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest


def no_more_than(size: int, kind: str = "RLIMIT_AS") -> Callable[[], None]:
    """What limits a process to so many bytes, of all its memory unless `kind` says of what."""
    if sys.platform == "win32":
        pytest.skip("a process can't be limited here")
    import resource

    return lambda: resource.setrlimit(getattr(resource, kind), (size, size))


def little_more_memory(spare: int) -> Callable[[], None]:
    """What limits a process to the address space that it has, and so many bytes more."""
    if not sys.platform.startswith("linux"):
        pytest.skip("a process's size is not told here")
    import resource

    def limit() -> None:
        pages = int(Path("/proc/self/statm").read_text().split()[0])
        no_more_than(pages * resource.getpagesize() + spare)()

    return limit
