"""What else was free: the values that an item could have been given in place of its own."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

from romtool.assign.answer import Given, Value
from romtool.assign.candidates import first_from
from romtool.assign.host import Host
from romtool.requirements.collide import Placed, ports_collide
from romtool.requirements.model import Alternative, LineRequirement, RangeRequirement, Requirement
from romtool.schema.bus import Bus, Resource
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Lines as LineBits

MOST_FREE = 8
"""At most so many free bases are listed of a range."""


def still_free(
    catalog: Catalog, host: Host, given: Sequence[Given]
) -> Iterator[tuple[Resource, list[int]]]:
    """Yield the lines and channels that neither the host nor a device has taken, ascending."""
    for record in catalog.records.values():
        if record.requires is None or not isinstance(record.key_field.kind, LineBits):
            continue
        resource = catalog.resources[record.requires.kind]
        taken = set(host.lines(resource.name))
        every = (value for one in given for value in one.values[resource.name])
        taken |= {value for value in every if isinstance(value, int)}
        taken |= resource.not_on_slot | set(resource.renamed)
        yield resource, [line for line in range(record.key_field.kind.bits) if line not in taken]


def free_instead(
    catalog: Catalog, host: Host, given: Sequence[Given], mine: Given, alternative: Alternative
) -> Iterator[tuple[Requirement, list[int]]]:
    """Yield what each need of a device could have been given instead, all else as it is.

    Of a wide range only the first `MOST_FREE` bases.
    """
    for need, value in mine.paired(alternative):
        if value is None:
            continue
        others = list(_others(host, given, mine, alternative, need, value))
        yield need, _free(catalog, need, value, others)


def _others(
    host: Host,
    given: Sequence[Given],
    mine: Given,
    alternative: Alternative,
    need: Requirement,
    value: Value,
) -> Iterator[Value]:
    """Yield what else of the same kind is taken: by the host, by others, by the device itself."""
    yield from (entry.value for entry in host.entries(need.kind))
    for one in given:
        if one is not mine:
            yield from one.values[need.kind]
    for other, own in mine.paired(alternative):
        if other.kind == need.kind and own != value:
            yield own


def _free(catalog: Catalog, need: Requirement, value: Value, others: Sequence[Value]) -> list[int]:
    if isinstance(need, LineRequirement):
        renamed = catalog.resources[need.kind].renamed
        lines = (line for line in need.lines if line != value)
        return [line for line in lines if not {line, renamed.get(line, line)} & set(others)]
    taken = [other for other in others if isinstance(other, Placed)]
    assert isinstance(value, Placed)
    free = (base for base in _free_bases(catalog.bus, need, taken) if base != value.base)
    return list(itertools.islice(free, MOST_FREE))


def _free_bases(bus: Bus, need: RangeRequirement, taken: Sequence[Placed]) -> Iterator[int]:
    """Yield the bases at which a range hits nothing, ascending.

    A range in the way that has no aliases is left after in one step, however long it is.
    """
    bases = need.bases
    base = first_from(bases, bases.start)
    while base is not None:
        here = Placed(base, need.length, need.bits)
        hit = next((other for other in taken if ports_collide(bus, here, other)), None)
        if hit is None:
            yield base
        past = base + 1
        if hit is not None and not bus.aliases(need.bits) and not bus.aliases(hit.bits):
            past = hit.base + hit.length
        base = first_from(bases, past)
