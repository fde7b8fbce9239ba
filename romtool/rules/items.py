"""Checks of the items one by one: lengths, reserved names and bits, values that can't be."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.model import Image
from romtool.image.walk import Item
from romtool.rules.findings import Finding, finding
from romtool.schema.kinds import Choice, Lines, Pins, Range, Spelled
from romtool.schema.numbers import address


def item_findings(image: Image) -> Iterator[Finding]:
    """Yield what is wrong with single items."""
    for item in image.items:
        yield from _form(image, item)
        if item.explained:
            yield from _ids(image, item)
            yield from _ranges(image, item)
            yield from _widths(image, item)
            yield from _wiring(image, item)


def _form(image: Image, item: Item) -> Iterator[Finding]:
    record, catalog = item.record, image.catalog
    length = len(item.content)
    if record.role == "reserved":
        code = address(item.raw[0])
        yield finding(catalog, "item-reserved", item.offset, record=record.title, code=code)
    elif not record.takes(length):
        words = {"record": record.title, "length": length, "lengths": record.lengths_in_words()}
        yield finding(catalog, "item-length", item.offset, **words)
    elif not item.explained:
        yield finding(catalog, "item-bits", item.offset, record=record.title)


def _ids(image: Image, item: Item) -> Iterator[Finding]:
    for field in item.record.profile_fields:
        if not isinstance(field.kind, Spelled) or item.record.role == "version":
            continue
        value = str(item.values[field.key])
        words = {"what": field.title, "id": value}
        if not field.kind.spelling.is_usual(value):
            yield finding(image.catalog, "id-letters", item.offset, **words)
        elif item.record.role == "device" and field.kind.spelling.is_generic(value):
            yield finding(image.catalog, "id-generic", item.offset, **words)


def _ranges(image: Image, item: Item) -> Iterator[Finding]:
    head = item.record.head if item.record.layout.fields else None
    if head is None or not isinstance(head.kind, Range):
        return
    value = item.values[head.key]
    if not isinstance(value, list):
        return
    low, high = value
    words = {"record": item.record.title, "low": address(low), "high": address(high)}
    length = item.values.get(head.length or "", 0)
    if low > high:
        yield finding(image.catalog, "range-backwards", item.offset, **words)
    elif low < high and item.values.get(head.align or "") == 1 and length > 1:
        yield finding(image.catalog, "align-loose", item.offset, length=length, **words)


def _widths(image: Image, item: Item) -> Iterator[Finding]:
    """A block of fields that several records share can say more than one of them may."""
    for field in item.record.profile_fields:
        if isinstance(field.kind, Choice) and item.values[field.key] in item.record.refuses:
            words = {"record": item.record.title, "title": field.title}
            words["value"] = field.kind.show(item.values[field.key])
            yield finding(image.catalog, "memory-width", item.offset, **words)


def _wiring(image: Image, item: Item) -> Iterator[Finding]:
    if image.frame is None or not item.record.layout.fields:
        return
    head = item.record.head
    wiring = image.frame.wiring(head.key)
    if not wiring or not isinstance(head.kind, Lines):
        return
    connected: set[int] = set()
    for field in wiring:
        if isinstance(field.kind, Pins):
            connected |= field.kind.connected(image.frame_values[field.key])
    for line in item.values[head.key]:
        if line not in connected:
            words = {"record": item.record.title, "line": line, "key": wiring[0].key}
            yield finding(image.catalog, "not-wired", item.offset, **words)
