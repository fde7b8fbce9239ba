"""Checks of the serial identifier, by which the PC tells cards apart."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.decode import usual_id
from romtool.image.model import Image
from romtool.rules.findings import Finding, finding
from romtool.schema.numbers import hex_text


def identifier_findings(image: Image) -> Iterator[Finding]:
    """Yield what is wrong with the serial identifier."""
    found = image.id_checksum
    if image.layout is None or found is None:
        return
    at = image.items_at - 1
    if not found.ok:
        words = {"stored": f"{found.stored:02X}h", "computed": f"{found.computed:02X}h"}
        yield finding(image.catalog, "id-checksum", at, **words)
    elif found.computed == image.catalog.consumer.refused_checksum:
        yield finding(image.catalog, "id-checksum-zero", at)
    yield from _id(image)
    serial = image.catalog.identifier.serial_field
    if image.identifier_values[0][serial.key] is None:
        yield finding(image.catalog, "no-serial", image.identifier_at + serial.at)


def _id(image: Image) -> Iterator[Finding]:
    field = image.catalog.identifier.id_field
    at, words = image.identifier_at, {"what": field.title, "id": image.card_id}
    if image.card_id is None:
        raw = hex_text(image.identifier_raw[field.at :][: field.size])
        yield finding(image.catalog, "id-unspelt", at, what=field.title, raw=raw)
    elif not usual_id(image):
        yield finding(image.catalog, "id-letters", at, **words)
    elif field.kind.spelling.is_generic(image.card_id):
        yield finding(image.catalog, "id-generic", at, **words)
