"""Checks of the order of the items: version, name, devices, choices opened and closed, end."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from romtool.image.card import Device
from romtool.image.model import Image
from romtool.image.walk import Descriptor
from romtool.rules.findings import Finding, finding
from romtool.rules.view import View
from romtool.schema.field_types import Choice, number

MISPLACED_IN_CHOICES = ("version", "compatible", "name")


def order_findings(view: View) -> Iterator[Finding]:
    """Yield what is wrong with the order of the items."""
    image = view.image
    if image.layout is None:
        return
    catalog, items = image.catalog, image.items
    if not items or items[0].record.role != "version":
        key = catalog.by_role["version"].key_field.key
        yield finding(catalog, "no-version", image.items_at, ("card", key))
    for item in items[1:]:
        if item.record.role == "version":
            yield finding(catalog, "version-again", item.offset)
    yield from _before_devices(image)
    if image.end_item is not None:
        yield from _missing(image)
    for device in view.card.devices:
        for item in _late(device):
            yield _told(view, "compatible-order", item, record=item.record.title)
    yield from _choices(view)
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


def _missing(image: Image) -> Iterator[Finding]:
    """Yield what a card lacks; not of one whose items are cut: it may have stood there."""
    roles = [item.record.role for item in image.items]
    if "device" not in roles:
        yield finding(image.catalog, "no-device", image.items_at)
    first = roles.index("device") if "device" in roles else len(roles)
    if "name" not in roles[:first]:
        yield finding(image.catalog, "no-name", image.items_at)


def _late(device: Device) -> Iterator[Descriptor]:
    """Yield the compatible IDs of a device that stand after what it asks for."""
    asked = False
    for item in device.before:
        asked = asked or item.record.requires is not None
        if asked and item.role == "compatible":
            yield item
    yield from (item for item in device.after if item.role == "compatible")


def _choices(view: View) -> Iterator[Finding]:
    for section in (view.card.outside, *view.card.devices):
        yield from _unopened(view, section.before)
        for index, group in enumerate(section.groups):
            if index:
                yield _told(view, "choices-again", group.choices[0].start)
            for choice in group.choices:
                yield from _priority(view, choice.start)
                for item in choice.items:
                    if item.record.role in MISPLACED_IN_CHOICES:
                        yield _told(view, "choices-nested", item, record=item.record.title)
            if group.end is None:
                yield _told(view, "choices-unclosed", group.choices[0].start)
            yield from _unopened(view, group.after)


def _unopened(view: View, items: Iterable[Descriptor]) -> Iterator[Finding]:
    for item in items:
        if item.role == "choices-end":
            yield _told(view, "choices-unopened", item)


def _told(view: View, rule: str, item: Descriptor, **words: object) -> Finding:
    return finding(view.catalog, rule, item.offset, where=view.where([item]), **words)


def _priority(view: View, item: Descriptor) -> Iterator[Finding]:
    for field in item.record.field_layout.of_type(Choice):
        value = item.values.get(field.key)
        if value is not None and value not in field.kind.names.values():
            yield _told(view, "priority", item, priority=value)


def _end(image: Image) -> Iterator[Finding]:
    catalog = image.catalog
    if image.end_item is None:
        yield from _dead_end(image)
        return
    found = image.end_checksum
    if found is None:
        return
    words = {"stored": f"{number(found.stored):02X}h", "computed": f"{number(found.computed):02X}h"}
    if not found.ok:
        yield finding(catalog, "end-checksum", image.end_item.end - 1, **words)
    elif found.verdict == "not checked":
        yield finding(catalog, "end-unchecked", image.end_item.end - 1, **words)


def _dead_end(image: Image) -> Iterator[Finding]:
    """Say why the walk stopped: an item runs past the last byte, or none begins here."""
    at = image.items_end
    cut = image.cut_item
    if cut is not None and image.data[at] != image.fill:
        record, wanted = cut
        words = {"record": record.title, "wanted": wanted, "there": len(image.data) - at}
        yield finding(image.catalog, "item-cut", at, **words)
        return
    yield finding(image.catalog, "no-end", at, ("override", image.catalog.end_field.key))
