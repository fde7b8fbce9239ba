"""Checks of the serial identifier, by which the PC tells cards apart."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.model import Image
from romtool.rules.findings import Finding, finding
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import CompressedAscii, NotRepresentable, number
from romtool.schema.fields import Field
from romtool.schema.numbers import hex_text


def identifier_findings(image: Image) -> Iterator[Finding]:
    """Yield what is wrong with the serial identifier."""
    found = image.id_checksum
    if image.layout is None or found is None:
        return
    at = image.items_at - 1
    if not found.ok:
        stored, computed = (f"{number(one):02X}h" for one in (found.stored, found.computed))
        yield finding(image.catalog, "id-checksum", at, stored=stored, computed=computed)
    elif found.computed == image.catalog.pnp_software.refused_checksum:
        yield finding(image.catalog, "id-checksum-zero", at)
    field = image.catalog.identifier.id_field
    raw = image.identifier_raw[field.at :][: field.size]
    if any(image.identifier_raw[: image.catalog.identifier.check_field.at]):
        yield from id_findings(image.catalog, image.identifier_at, field, raw)
    else:
        yield finding(image.catalog, "id-zero", image.identifier_at)
    serial = image.catalog.identifier.serial_field
    if image.identifier_values[0][serial.key] is None:
        yield finding(image.catalog, "no-serial", image.identifier_at + serial.at)


def id_findings(
    catalog: Catalog, at: int, field: Field, raw: bytes, *, generic: bool = True
) -> Iterator[Finding]:
    """Yield what is odd about an ID, stored as `raw`; `generic`: one of the published is."""
    assert isinstance(field.kind, CompressedAscii)
    stored = int.from_bytes(raw, "big")
    if field.kind.is_marked(stored):
        try:
            spelt = f"printed {field.kind.to_value(stored)}"
        except NotRepresentable:
            spelt = "no text spells it"
        words = {"what": field.title, "raw": hex_text(raw), "spelt": spelt}
        yield finding(catalog, "id-unspelt", at, **words)
        return
    spelling, value = field.kind.spelling, field.kind.to_value(stored)
    if not spelling.is_usual(value):
        yield finding(catalog, "id-letters", at, what=field.title, id=value)
    elif generic and spelling.is_generic(value):
        yield finding(catalog, "id-generic", at, what=field.title, id=value)
