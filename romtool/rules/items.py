"""Checks of the items one by one: lengths, reserved names and bits, IDs, values that can't be."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.walk import Descriptor
from romtool.rules.findings import Finding, finding
from romtool.rules.identifier import id_findings
from romtool.rules.view import View, joined
from romtool.schema.field_types import Choice, CompressedAscii, Text
from romtool.schema.numbers import address


def item_findings(view: View) -> Iterator[Finding]:
    """Yield what is wrong with single items."""
    for item in view.image.items:
        yield from _form(view, item)
        yield from _ids(view, item)
        yield from _unassigned(view, item)
        if item.representable:
            yield from _widths(view, item)


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
    if item.record.role == "name":
        return any(isinstance(field.kind, Text) for field in item.record.field_layout.fields)
    return bool(_id_keys(item))


def _id_keys(item: Descriptor) -> list[str]:
    """Return the keys of the IDs in an item."""
    if item.record.role == "version":
        return []
    fields = item.record.profile_fields
    return [field.key for field in fields if isinstance(field.kind, CompressedAscii)]


def _ids(view: View, item: Descriptor) -> Iterator[Finding]:
    for key in _id_keys(item) if item.values else ():
        field = item.record.field_layout.by_key[key]
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
    for field in item.record.profile_fields:
        if isinstance(field.kind, Choice) and item.values[field.key] in item.record.refuses:
            words = {"where": view.where([item]), "record": item.record.title}
            words |= {"title": field.title, "value": field.kind.show(item.values[field.key])}
            yield finding(view.catalog, "memory-width", item.offset, **words)
