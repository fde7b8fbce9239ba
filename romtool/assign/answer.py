"""An assignment: what each device gets, or what stands in the way."""

from __future__ import annotations

from dataclasses import dataclass

from romtool.wants.collide import Placed


@dataclass(frozen=True)
class Given:
    """What one device gets. `card` is the place of its image in the call, `number` its own on it.

    `choice` counts from 0, None for a device without choices. The lists are in the order of the
    items; None for an item that asks for nothing.
    """

    card: int
    device: str
    number: int
    choice: int | None
    irq: tuple[int | None, ...]
    dma: tuple[int | None, ...]
    io: tuple[Placed | None, ...]
    memory: tuple[Placed | None, ...]


@dataclass(frozen=True)
class Assignment:
    """The best set of what the devices can be given; where not all can, of the most that can.

    `score` is the sum of the ranks of the chosen choices, None where it is not feasible.
    `conflict`: device IDs and entries of the host (such as `host irq 5`) of which nothing can be
    left out without it becoming possible. `left_out`: (card, number) of devices that get nothing.
    """

    feasible: bool
    score: int | None
    devices: tuple[Given, ...]
    conflict: tuple[str, ...] = ()
    left_out: tuple[tuple[int, int], ...] = ()
