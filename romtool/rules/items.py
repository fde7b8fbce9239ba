"""Checks of the identifier and the items one by one: lengths, reserved bits, IDs, names."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.model import Image
from romtool.image.walk import Descriptor
from romtool.rules.findings import Finding, finding
from romtool.rules.view import View, joined
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Choice, CompressedAscii, NotRepresentable, number
from romtool.schema.fields import FieldOf
from romtool.schema.numbers import address, hex_text


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
    catalog: Catalog,
    at: int,
    field: FieldOf[CompressedAscii],
    raw: bytes,
    *,
    generic: bool = True,
) -> Iterator[Finding]:
    """Yield what is odd about an ID, stored as `raw`; `generic`: one of the published is."""
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


def item_findings(view: View) -> Iterator[Finding]:
    """Yield what is wrong with single items."""
    for item in view.image.items:
        yield from _form(view, item)
        yield from _ids(view, item)
        yield from _unassigned(view, item)
        if item.representable:
            yield from _widths(view, item)
        if item.record.role == "name":
            yield from _name(view, item)


def _form(view: View, item: Descriptor) -> Iterator[Finding]:
    record, catalog = item.record, view.catalog
    length = len(item.content)
    if record.role == "reserved":
        words = {"record": record.title, "code": address(item.raw[0])}
        yield finding(catalog, "item-reserved", item.offset, where=view.where([item]), **words)
    elif not record.takes(length):
        lengths = {"length": length, "lengths": record.lengths_in_words()}
        words = {"where": view.where([item]), "record": record.title}
        yield finding(catalog, "item-length", item.offset, **lengths, **words)
    elif item.is_odd and not _told_elsewhere(item):
        words = {"where": view.where([item]), "record": record.title}
        yield finding(catalog, "item-bits", item.offset, **words)


def _told_elsewhere(item: Descriptor) -> bool:
    """Whether another rule says what is odd about an item: an ID, characters of a name."""
    return item.record.role == "name" or bool(_id_fields(item))


def _id_fields(item: Descriptor) -> tuple[FieldOf[CompressedAscii], ...]:
    """Return the IDs in an item; a version is spelt in bits too, and is none."""
    has_ids = item.record.role != "version"
    return item.record.field_layout.of_type(CompressedAscii) if has_ids else ()


def _ids(view: View, item: Descriptor) -> Iterator[Finding]:
    for field in _id_fields(item) if item.values else ():
        raw = item.content[field.at :][: field.size]
        generic = item.record.role == "device"
        yield from id_findings(view.catalog, item.offset, field, raw, generic=generic)


def _unassigned(view: View, item: Descriptor) -> Iterator[Finding]:
    """Numbers that the standard reserves, such as those of some registers."""
    for field in item.record.profile_fields if item.values else ():
        used = [n for n in field.unassigned if n in item.values.get(field.key, ())]
        if used:
            words = {"where": view.where([item]), "title": field.title, "key": field.key}
            numbers = joined([address(number) for number in used])
            yield finding(view.catalog, "registers-reserved", item.offset, numbers=numbers, **words)


def _widths(view: View, item: Descriptor) -> Iterator[Finding]:
    """A block of fields that several records share can say more than one of them may."""
    for field in item.record.field_layout.of_type(Choice):
        if item.values[field.key] in item.record.refuses:
            words = {"where": view.where([item]), "record": item.record.title}
            words |= {"title": field.title, "value": field.kind.show(item.values[field.key])}
            yield finding(view.catalog, "memory-width", item.offset, **words)


FIRST, LAST = " ", "~"
"""The first and the last printable character of ASCII."""


def _name(view: View, item: Descriptor) -> Iterator[Finding]:
    """Yield the first character of each sort that a PC doesn't print, and that a name is cut."""
    where, length = view.where([item]), len(item.content)
    codes = list(enumerate(item.content))
    control = next((one for one in codes if one[1] < ord(FIRST)), None)
    high = next((one for one in codes if one[1] > ord(LAST)), None)
    for rule, found in (("name-control", control), ("name-bytes", high)):
        if found is not None:
            place, code = found
            words = {"where": where, "code": f"{code:02X}h", "place": place + 1}
            at = item.offset + item.record.header.size + place
            yield finding(view.catalog, rule, at, **words)
    limit = view.catalog.pnp_software.name_length
    if length > limit:
        words = {"where": where, "length": length, "limit": limit}
        yield finding(view.catalog, "name-long", item.offset, **words)
