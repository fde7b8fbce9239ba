"""What a device was given, held beside what it asked for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.assign.answer import Given
from romtool.requirements.collide import Placed
from romtool.requirements.model import Alternative, Requirement

Value = int | Placed | None


def chosen(alternatives: Sequence[Alternative], given: Given) -> Alternative:
    """Return the alternative that a device was given."""
    return next(one for one in alternatives if one.number == given.choice)


def paired(alternative: Alternative, given: Given) -> Iterator[tuple[Requirement, Value]]:
    """Yield each need of an alternative with what it was given, in item order."""
    queues = {kind: iter(getattr(given, kind)) for kind in {n.kind for n in alternative.needs}}
    for need in alternative.needs:
        yield need, next(queues[need.kind])
