"""An image as the tables of a profile: nothing lost, nothing said that is computed or default."""

from __future__ import annotations

from typing import Any

from romtool.image.card import Choice, Device, Group, card_of, entry_of
from romtool.image.model import Image
from romtool.schema.catalog import RAW_ID, Catalog
from romtool.schema.fields import Field
from romtool.schema.image_layouts import Part
from romtool.schema.numbers import hex_text

Table = dict[str, Any]


def raw_tables(image: Image) -> Table:
    """Return the coarsest profile: the whole image as bytes."""
    return {"image": {"raw": hex_text(image.data)}}


def tables_of(image: Image, part: Part | None = None, *, item_runs: bool = False) -> Table:
    """Return the finest profile of an image; `item_runs`: all its items as one run of bytes.

    An image without a layout is raw as a whole.
    """
    if image.layout is None:
        return raw_tables(image)
    tables: Table = {"image": _image(image, part)}
    config = {
        f.key: image.config[f.key]
        for f in image.layout.config_fields
        if not f.is_default(image.config[f.key])
    }
    if config:
        tables["config"] = config
    override = _override(image)
    tables["card"] = _identifier(image)
    if item_runs:
        tables["card"] |= _no_version(image.catalog)
        if image.items:
            items = image.data[image.items_at : image.items_end]
            tables["card"]["resources"] = [{"raw": hex_text(items)}]
        override[image.catalog.end_field.key] = image.catalog.no_end
    else:
        override |= _items(image, tables)
    if override:
        tables["override"] = override
    return tables


def guessed_part(catalog: Catalog, size: int) -> Part | None:
    """Return the first part of this size in bytes, None where it is no part's length."""
    return next(iter(catalog.parts_of(size)), None)


def _image(image: Image, part: Part | None) -> Table:
    layout = image.layout
    assert layout is not None
    table: Table = {}
    if image.lead is not None:
        table["lead"] = hex_text(image.lead)
    elif not layout.default:
        table["layout"] = layout.name
    part = part or guessed_part(image.catalog, len(image.data))
    if part is not None:
        table["part"] = part.name
    else:
        table["size"] = len(image.data)
    if image.fill != layout.fill:
        table["fill"] = image.fill
    patches = image.runs("patch")
    if patches:
        table["patch"] = hex_text(patches[0].raw)
    tail = [{"at": run.offset, "raw": hex_text(run.raw)} for run in image.runs("data")]
    if tail:
        table["tail"] = tail
    return table


def _identifier(image: Image) -> Table:
    """Return what [card] says of the identifier."""
    if not image.identifier_size:
        return {}
    values = image.identifier_values[0]
    own, *others = image.catalog.identifier.field_layout.fields
    return _id(own, values[own.key], image.identifier_raw) | {
        f.key: values[f.key]
        for f in others
        if not f.kind.is_computed and not f.is_default(values[f.key])
    }


def _id(field: Field, value: object, content: bytes) -> Table:
    """Return what a profile says of an ID: its bytes, where it isn't spelt."""
    if isinstance(value, str):
        return {field.key: value}
    return {RAW_ID: hex_text(content[field.at :][: field.size])}


def _no_version(catalog: Catalog) -> Table:
    """Return the key that says: there is no version item."""
    keys = catalog.tables["card"].keys.values()
    return {key.name: key.absent for key in keys if key.absent is not None}


def _override(image: Image) -> Table:
    override: Table = {}
    assert image.layout is not None
    for field in image.layout.computed_fields:
        found = image.computed[field.key]
        if found.verdict != "right":
            override[field.key] = found.way or field.kind.to_value(found.stored)
    found_id = image.id_checksum
    if found_id is not None and found_id.verdict != "right":
        override[image.catalog.identifier.check_field.key] = found_id.stored
    return override


def _items(image: Image, tables: Table) -> Table:
    """Put the items into the tables; return what must be overridden for them."""
    card = card_of(image)
    table = tables["card"]
    version, name, items = card.leading
    if name is not None:
        table[name.record.key_field.key] = name.key_value
    if version is None:
        table |= _no_version(image.catalog)
    else:
        table |= version.record.entry_of(version.values)
        head = version.record.key_field
        if head.is_default(table[head.key]):
            del table[head.key]
    devices: list[Device] = []
    for device in card.devices:
        if device.start.values:
            devices.append(device)
        elif devices:
            devices[-1] = devices[-1].with_items(device.all_items)
        else:
            items += device.all_items
    if card.end is not None and not card.end.representable:
        (devices[-1].take if devices else items.append)(card.end)
    if items:
        table["resources"] = [entry_of(image, item) for item in items]
    if devices:
        tables["device"] = [_device(image, device) for device in devices]
    if card.end is None or not card.end.representable:
        return {image.catalog.end_field.key: image.catalog.no_end}
    found = image.end_checksum
    if found is not None and found.verdict != "right":
        return {image.catalog.end_field.key: found.stored}
    return {}


def _device(image: Image, device: Device) -> Table:
    record = device.start.record
    content = device.start.content
    table = _id(record.key_field, device.start.key_value, content)
    ids, name, items = device.leading
    if name is not None:
        table[name.record.key_field.key] = name.key_value
    if ids:
        table[ids[0].record.key_field.key] = [item.key_value for item in ids]
    for field in record.profile_fields[1:]:
        if not field.is_default(device.values[field.key]):
            table[field.key] = device.values[field.key]
    values = device.values | {record.key_field.key: content[: record.key_field.size]}
    if not record.writes(values, device.start.raw) and record.length_key:
        table[record.length_key] = len(content)
    first, *others = device.groups or [Group()]
    if not _regular(first):
        # A profile closes the choices that it has: these are entries among the others.
        items += [*first.all_items]
    else:
        table["choice"] = [_choice(image, choice) for choice in first.choices]
    if items:
        table["resources"] = [entry_of(image, item) for item in items]
    after = [*first.after] if _regular(first) else []
    after += (item for group in others for item in group.all_items)
    if after:
        table["resources_after"] = [entry_of(image, item) for item in after]
    return table


def _regular(group: Group) -> bool:
    """Whether a profile can say all of what opens the choices, and of what closes them."""
    bounds = [choice.start for choice in group.choices]
    return group.end is not None and all(item.representable for item in (*bounds, group.end))


def _choice(image: Image, choice: Choice) -> Table:
    table: Table = choice.start.record.entry_of(choice.start.values, always_head=False)
    if choice.items:
        table["resources"] = [entry_of(image, item) for item in choice.items]
    return table
