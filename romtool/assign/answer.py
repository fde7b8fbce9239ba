"""An assignment: what each device gets, or what stands in the way."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from romtool.assign.host import Entry
from romtool.requirements.collide import Placed
from romtool.requirements.model import Alternative, LineRequirement, Requirement

Value = int | Placed | None
"""A line or channel, or a range at its place; None for what asks for nothing."""


@dataclass(frozen=True)
class Given:
    """What one device gets. `card` is the place of its image in the call, `number` its own on it.

    `choice` counts from 0, None for a device without choices. `values`: by the kind of resource,
    in the order of the items; None for an item that asks for nothing.
    """

    card: int
    device: str
    number: int
    choice: int | None
    values: Mapping[str, tuple[Value, ...]]

    def of(self, alternatives: Sequence[Alternative]) -> Alternative:
        """Return which of its alternatives the device gets."""
        return next(one for one in alternatives if one.number == self.choice)

    def paired(self, alternative: Alternative) -> Iterator[tuple[Requirement, Value]]:
        """Yield each need of the alternative with what it was given, in the order of the items."""
        left = {kind: iter(values) for kind, values in self.values.items()}
        for need in alternative.needs:
            yield need, next(left[need.kind])

    def settled(self, alternative: Alternative) -> Alternative:
        """Return the alternative as one that asks for nothing but what was given."""
        pairs = self.paired(alternative)
        needs = (need if value is None else _only(need, value) for need, value in pairs)
        return alternative._replace(own=(), needs=tuple(needs))

    def as_json(self) -> dict[str, Any]:
        """Return what the device gets as in the JSON answers."""
        return {
            "card": self.card,
            "device": self.device,
            "number": self.number,
            "choice": self.choice,
            **{kind: list(map(_json, values)) for kind, values in self.values.items()},
        }


def _only(need: Requirement, value: int | Placed) -> Requirement:
    """Return a need of one value only."""
    if isinstance(need, LineRequirement):
        return need._replace(lines=(value,)) if isinstance(value, int) else need
    base = value if isinstance(value, int) else value.base
    return need._replace(low=base, high=base, held=None)


def _json(value: Value) -> Any:
    return {"base": value.base, "length": value.length} if isinstance(value, Placed) else value


class Side(NamedTuple):
    """A device that is party to a conflict, and what it accepts of what the conflict is about."""

    card: int
    number: int
    id: str
    accepts: Mapping[str, tuple[Requirement, ...]]


@dataclass(frozen=True)
class Conflict:
    """What can't be together, and could if any one of it were left out.

    `entries`: of the host. `kinds`: the resources that it is about, without any one of which there
    would be no conflict; all of them where no single one is it.
    """

    sides: tuple[Side, ...]
    entries: tuple[Entry, ...]
    kinds: tuple[str, ...]

    def names(self) -> list[str]:
        """Return device IDs and entries such as `host irq 5`."""
        return [*(side.id for side in self.sides), *map(str, self.entries)]


@dataclass(frozen=True)
class Assignment:
    """The best set of what the devices can be given; where not all can, of the most that can.

    `score` is the sum of the ranks of the chosen choices, None where it is not feasible.
    `conflict`: what stands in the way. `left_out`: (card, number) of devices that get nothing.
    """

    feasible: bool
    score: int | None
    devices: tuple[Given, ...]
    conflict: Conflict | None = None
    left_out: tuple[tuple[int, int], ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Return the assignment as in the JSON answers."""
        return {
            "feasible": self.feasible,
            "score": self.score,
            "devices": [given.as_json() for given in self.devices],
            "conflict": self.conflict.names() if self.conflict is not None else [],
            "left_out": [{"card": card, "number": number} for card, number in self.left_out],
        }
