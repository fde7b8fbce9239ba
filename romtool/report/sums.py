"""What is computed or constant in an image: as stored, as it should be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from romtool.image.model import Compared, Image
from romtool.schema.field_types import Stored
from romtool.schema.fields import Field
from romtool.schema.numbers import hex_text

UNCHECKED = "not checked"


@dataclass(frozen=True)
class Sum:
    """A stored value beside the computed one; `at`: its address."""

    title: str
    at: int
    stored: str
    computed: str
    verdict: str
    way: str = ""


def sums(image: Image) -> Iterator[Sum]:
    """Yield the signature, counts and checksums of an image, in the order of their bytes."""
    if image.layout is not None:
        for field in image.layout.computed_fields:
            yield _sum("", field, field.at, image.computed[field.key])
    if image.id_checksum is not None:
        field = image.catalog.identifier.check_field
        yield _sum("", field, image.identifier_at + field.at, image.id_checksum)
    if image.end_checksum is not None and image.end_item is not None:
        item = image.end_item
        field = item.record.key_field
        at = item.offset + item.record.header.size + field.at
        yield _sum(f"{item.record.title}, ", field, at, image.end_checksum)


def _sum(before: str, field: Field, at: int, found: Compared) -> Sum:
    def show(value: Stored) -> str:
        return hex_text(value) if isinstance(value, bytes) else field.kind.show(value)

    verdict = UNCHECKED if found.verdict == "unchecked" else found.verdict
    way = f"counted {found.way_words}" if found.verdict == "other way" else ""
    title = f"{before}{field.title}"
    return Sum(title, at, show(found.stored), show(found.computed), verdict, way)
