"""A PC without the cards in question: what is taken in it already."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from romtool.requirements.collide import Placed
from romtool.schema.numbers import address


@dataclass(frozen=True)
class Entry:
    """One thing that is taken: a line or channel, or a range of addresses (`value` its place)."""

    kind: str
    value: int | Placed

    def __str__(self) -> str:
        """Return its name in a conflict, such as `host irq 5` or `host io 3F8h`."""
        value = self.value
        return f"host {self.kind} {value if isinstance(value, int) else address(value.base)}"


@dataclass(frozen=True)
class Host:
    """What a PC has taken: lines, channels, ports and memory. Left out: an empty PC."""

    name: str = "an empty PC"
    irq: frozenset[int] = frozenset()
    dma: frozenset[int] = frozenset()
    io: tuple[Placed, ...] = ()
    memory: tuple[Placed, ...] = ()

    def entries(self) -> Iterator[Entry]:
        """Yield everything that is taken, lines and channels ascending."""
        for line in sorted(self.irq):
            yield Entry("irq", line)
        for channel in sorted(self.dma):
            yield Entry("dma", channel)
        for ports in self.io:
            yield Entry("io", ports)
        for memory in self.memory:
            yield Entry("memory", memory)


def host_with(entries: Iterable[Entry]) -> Host:
    """Return a PC that has taken just these."""
    kept = list(entries)

    def lines(kind: str) -> frozenset[int]:
        return frozenset(e.value for e in kept if e.kind == kind and isinstance(e.value, int))

    def ranges(kind: str) -> tuple[Placed, ...]:
        return tuple(e.value for e in kept if e.kind == kind and isinstance(e.value, Placed))

    return Host(irq=lines("irq"), dma=lines("dma"), io=ranges("io"), memory=ranges("memory"))


EMPTY_PC = Host()
