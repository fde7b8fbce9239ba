"""A PC without the cards in question: what is taken in it already."""

from __future__ import annotations

from dataclasses import dataclass

from romtool.wants.collide import Placed


@dataclass(frozen=True)
class Host:
    """What a PC has taken: lines, channels, ports and memory. Left out: an empty PC."""

    name: str = "empty PC"
    irq: frozenset[int] = frozenset()
    dma: frozenset[int] = frozenset()
    io: tuple[Placed, ...] = ()
    memory: tuple[Placed, ...] = ()


EMPTY_PC = Host()
