"""Which dumps of a pile belong together: from the same bytes to the same card."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from romtool.diff.compare import compare
from romtool.image.decode import decode
from romtool.image.model import Image
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import hex_text
from romtool.survey.dump import Dump, without_serial

BYTES, FILL, SERIAL, CARD = "bytes", "all but fill", "all but the serial number", "card"
"""What is the same in a group, each kind wider than the one before it."""


@dataclass(frozen=True)
class Difference:
    """What a dump has that isn't as in the first one of its group.

    `lead`: how the words on both sides begin, which need not be said twice.
    """

    file: str
    where: str
    a: str | int | None
    b: str | int | None
    lead: str = ""

    def as_json(self) -> dict[str, Any]:
        """Return it as in the JSON answers; `a` stands in the first file of the group."""
        return {"file": self.file, "where": self.where, "a": self.a, "b": self.b}


@dataclass(frozen=True)
class Group:
    """Dumps, two or more, that are the `same` in something; `differences`: in what they aren't."""

    same: str
    dumps: tuple[Dump, ...]
    differences: tuple[Difference, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Return the group as in the JSON answers."""
        return {
            "same": self.same,
            "files": [dump.file for dump in self.dumps],
            "differences": [one.as_json() for one in self.differences],
        }


def groups_of(catalog: Catalog, dumps: Sequence[Dump]) -> Iterator[Group]:
    """Yield the groups, the narrowest kind first; one that a narrower one equals is left out."""
    keys: dict[str, Callable[[Dump], Hashable]] = {
        BYTES: lambda dump: dump.sha256,
        FILL: lambda dump: dump.used,
        SERIAL: lambda dump: dump.board,
        CARD: lambda dump: dump.card if dump.card is not None else dump.board,
    }
    narrower: Callable[[Dump], Hashable] | None = None
    for same, key in keys.items():
        found: dict[Hashable, list[Dump]] = {}
        for dump in dumps:
            found.setdefault(key(dump), []).append(dump)
        for members in found.values():
            parts: dict[Hashable, list[Dump]] = {}
            for dump in members:
                parts.setdefault(narrower(dump) if narrower else dump.file, []).append(dump)
            if len(parts) > 1:
                apart = [
                    min(alike, key=lambda one: _unlike(members[0], one)) for alike in parts.values()
                ]
                told = tuple(_differences(catalog, same, apart))
                yield Group(same, tuple(members), told)
        narrower = key


def _unlike(first: Dump, other: Dump) -> tuple[bool, bool]:
    """Return in what another dump differs that doesn't matter: its size, its fill."""
    return len(first.data) != len(other.data), first.data[-1:] != other.data[-1:]


def _differences(catalog: Catalog, same: str, apart: Sequence[Dump]) -> Iterator[Difference]:
    """Yield what differs between the first dump and the others, all of them unlike each other."""
    first, *others = apart
    if same == SERIAL:
        where = f"card: {catalog.identifier.serial_field.title}"
        for other in others:
            yield Difference(other.file, where, first.serial, other.serial)
    elif same != BYTES:
        image = decode(catalog, first.data, first.layout)
        for other in others:
            yield from _compared(catalog, image, other, same)


def _compared(catalog: Catalog, first: Image, other: Dump, same: str) -> Iterator[Difference]:
    image = decode(catalog, other.data, other.layout)
    if same == CARD:  # its serial number is no matter
        image = Image(catalog, without_serial(image, first.identifier_raw), image.layout)
    found = compare(first, image)
    for change in found.changes:
        a, b = (side.words if side else None for side in (change.a, change.b))
        lead = change.a.lead if change.a and change.b and change.a.lead == change.b.lead else ""
        yield Difference(other.file, change.where, a, b, lead)
    for run in found.bytes:
        a, b = (None if raw is None else hex_text(raw) for raw in (run.a, run.b))
        yield Difference(other.file, run.where, a, b)
