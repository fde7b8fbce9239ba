"""Checks of the order of the items: version, name, devices, choices opened and closed, end."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.model import Image
from romtool.image.walk import Item
from romtool.rules.findings import Finding, finding
from romtool.schema.kinds import Choice

MISPLACED_IN_CHOICES = ("version", "compatible", "name")


def order_findings(image: Image) -> Iterator[Finding]:
    """Yield what is wrong with the order of the items."""
    if image.frame is None:
        return
    catalog, items = image.catalog, image.items
    if not items or items[0].record.role != "version":
        key = catalog.by_role["version"].head.key
        yield finding(catalog, "no-version", image.items_at, ("card", key))
    for item in items[1:]:
        if item.record.role == "version":
            yield finding(catalog, "version-again", item.offset)
    yield from _before_devices(image)
    if not any(item.record.role == "device" for item in items):
        yield finding(catalog, "no-device", image.items_at)
    yield from _choices(image)
    yield from _end(image)


def _before_devices(image: Image) -> Iterator[Finding]:
    catalog, named = image.catalog, False
    for index, item in enumerate(image.items):
        if item.record.role == "device":
            break
        if item.record.role == "name":
            if not named and index > 1:
                yield finding(catalog, "name-order", item.offset)
            named = True
        elif item.record.role in ("resource", "compatible") and item.record.form is None:
            words = {"record": item.record.title}
            yield finding(catalog, "before-devices", item.offset, **words)
    if not named:
        yield finding(catalog, "no-name", image.items_at)


def _choices(image: Image) -> Iterator[Finding]:
    catalog = image.catalog
    opened: Item | None = None
    closed_before = False
    for item in image.items:
        role = item.record.role
        if role == "choice":
            if opened is None and closed_before:
                yield finding(catalog, "choices-again", item.offset)
            opened = opened or item
            yield from _priority(image, item)
        elif role == "choices-end":
            if opened is None:
                yield finding(catalog, "choices-not-opened", item.offset)
            else:
                closed_before = True
            opened = None
        elif role in ("device", "end"):
            if opened is not None:
                yield finding(catalog, "choices-not-closed", opened.offset)
            opened, closed_before = None, False
        elif opened is not None and role in MISPLACED_IN_CHOICES:
            words = {"record": item.record.title}
            yield finding(catalog, "choices-nested", item.offset, **words)
    if opened is not None:
        yield finding(catalog, "choices-not-closed", opened.offset)


def _priority(image: Image, item: Item) -> Iterator[Finding]:
    for field in item.record.profile_fields:
        value = item.values.get(field.key)
        named = isinstance(field.kind, Choice) and value in field.kind.names.values()
        if value is not None and not named:
            yield finding(image.catalog, "priority", item.offset, priority=value)


def _end(image: Image) -> Iterator[Finding]:
    catalog = image.catalog
    if image.end_item is None:
        yield from _dead_end(image)
        return
    found = image.end_checksum
    if found is None:
        return
    words = {"stored": f"{found.stored:02X}h", "computed": f"{found.computed:02X}h"}
    if not found.ok:
        yield finding(catalog, "end-checksum", image.end_item.end - 1, **words)
    elif found.stored != found.computed:
        yield finding(catalog, "end-unchecked", image.end_item.end - 1, **words)


def _dead_end(image: Image) -> Iterator[Finding]:
    """Say why the walk stopped: an item runs past the last byte, or none begins here."""
    at = image.items_end
    cut = image.cut_item
    if cut is not None and image.data[at] != image.fill:
        record, wanted = cut
        words = {"record": record.title, "wanted": wanted, "there": len(image.data) - at}
        yield finding(image.catalog, "item-cut", at, **words)
    yield finding(image.catalog, "no-end", at, ("override", image.catalog.end_field.key))
