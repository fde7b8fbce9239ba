"""What a device was given, held beside what it asked for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.assign.answer import Given
from romtool.requirements.collide import Placed
from romtool.requirements.model import Alternative, LineRequirement, Requirement

Value = int | Placed | None


def chosen(alternatives: Sequence[Alternative], given: Given) -> Alternative:
    """Return the alternative that a device was given."""
    return next(one for one in alternatives if one.number == given.choice)


def settled(alternative: Alternative, given: Given) -> Alternative:
    """Return an alternative that asks for nothing but what it was given."""
    needs = tuple(
        need if value is None else _only(need, value) for need, value in paired(alternative, given)
    )
    return alternative._replace(own=(), needs=needs)


def _only(need: Requirement, value: int | Placed) -> Requirement:
    if isinstance(need, LineRequirement):
        return need._replace(lines=(value,)) if isinstance(value, int) else need
    base = value if isinstance(value, int) else value.base
    return need._replace(low=base, high=base)


def paired(alternative: Alternative, given: Given) -> Iterator[tuple[Requirement, Value]]:
    """Yield each need of an alternative with what it was given, in item order."""
    queues = {kind: iter(getattr(given, kind)) for kind in {n.kind for n in alternative.needs}}
    for need in alternative.needs:
        yield need, next(queues[need.kind])
