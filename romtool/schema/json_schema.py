"""The JSON Schema of a card profile, made from the schemas: for editors that complete TOML.

It objects to what `build` refuses for its keys, types and ranges, and to nothing else. Out of its
reach, and so for `build` to tell, is:

- what doesn't fit: image, part and size; a tail on top of the PnP data; PnP data longer than the
  frame's count can say; a text or bytes longer than an item, or than 64 KiB for a raw image; an
  `id_length` shorter than the device's registers need;
- `raw` in an entry that isn't whole items;
- a number with a point and no fraction (5.0), which JSON holds to be the same as 5;
- one line twice in a list in two spellings (5 and "5h"); a text in decimal that is no multiple of
  its unit;
- characters of a Unicode name that can't be printed, but for control characters.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from romtool.schema.catalog import RAW_ID, Catalog
from romtool.schema.codec import RESERVED
from romtool.schema.field_types import Constant, Count
from romtool.schema.field_types.texts import bits_schema, hex_schema
from romtool.schema.fields import MISSING, Field
from romtool.schema.image_layouts import ImageLayout
from romtool.schema.records import DescriptorType
from romtool.schema.spelt_numbers import number_schema
from romtool.schema.tables import KeySpec, TableSpec

DRAFT = "https://json-schema.org/draft/2020-12/schema"

Json = dict[str, Any]

TOP = (1 << 64) - 1
"""The greatest number that a profile can hold at all."""


def profile_schema(catalog: Catalog) -> Json:
    """Return the JSON Schema (draft 2020-12) of a profile."""
    tables = {name: _table_schema(catalog, catalog.tables[name]) for name in _reached(catalog)}
    root = tables.pop("profile")
    config = catalog.tables["profile"].keys["config"]
    root["properties"]["config"] = {"$ref": "#/$defs/config", "description": config.text}
    for name in ("card", "device"):
        _raw_id(catalog, tables[name])
    needed = tables["card"].pop("oneOf")
    _image(catalog, tables["image"])
    variant = tables["variant"]["properties"]
    variant["config"] |= {"$ref": "#/$defs/config"}
    variant["card"] |= {"properties": tables["card"]["properties"], "additionalProperties": False}
    override = tables["override"]["properties"]
    whole = catalog.identifier.name
    override[whole] |= hex_schema(catalog.identifier.size, catalog.identifier.size)
    own = dict(override)
    layouts = catalog.all_layouts.values()
    override |= _together([_overrides(layout) for layout in layouts])
    return {
        "$schema": DRAFT,
        "title": "romtool card profile",
        **root,
        "allOf": [
            _raw_or_card(root["properties"]),
            _card_of(catalog, needed),
            *(_layout(layout, own) for layout in layouts),
        ],
        "$defs": {
            **tables,
            "config": {
                "type": "object",
                "properties": _together([_config(layout) for layout in layouts]),
                "additionalProperties": False,
            },
            "entry": _entries_schema(catalog),
        },
    }


def _reached(catalog: Catalog) -> list[str]:
    """Return the names of the profile's tables, the profile itself first."""
    names = ["profile"]
    for name in names:
        for key in catalog.tables[name].keys.values():
            if key.table is not None and key.table not in names:
                names.append(key.table)
    return names


def _image(catalog: Catalog, image: Json) -> None:
    """Add what the catalogue knows of [image]: layouts, parts, what can't stand together."""
    keys = image["properties"]
    names = list(catalog.all_layouts)
    keys["layout"] |= {"enum": names, "default": catalog.default_layout.name}
    keys["lead"] |= hex_schema(1)
    keys["part"] |= _part_names(catalog.parts)
    keys["raw"] |= hex_schema(1)
    apart = (["part", "size"], ["lead", "layout"])
    image["not"] = {"anyOf": [{"required": pair} for pair in apart]}


def _together(found: list[Json]) -> Json:
    """Return the keys of all layouts, each with what any of them takes."""
    keys = dict.fromkeys(key for one in found for key in one)
    return {key: _either([one[key] for one in found if key in one]) for key in keys}


def _config(layout: ImageLayout) -> Json:
    return {field.key: _described(field) for field in layout.config_fields}


def _overrides(layout: ImageLayout) -> Json:
    """Return what of a frame can be overridden: a constant that is part of a byte can't."""
    return {
        field.key: _computed(field)
        for field in layout.computed_fields
        if not isinstance(field.kind, Constant) or field.kind.is_bytes
    }


def _computed(field: Field) -> Json:
    value = field.kind.json_schema()
    if isinstance(field.kind, Count) and field.kind.accepts:
        value = {"anyOf": [{"enum": list(field.kind.accepts)}, *value["anyOf"]]}
    return {**value, "description": f"{field.title}: the stored value"}


def _raw_or_card(tables: Json) -> Json:
    """Say what must stand: [card], or the whole image as raw bytes and nothing else."""
    others: dict[str, Any] = {name: False for name in tables if name != "image"}
    return {
        "if": {"required": ["image"], "properties": {"image": {"required": ["raw"]}}},
        "then": {"properties": {"image": {"maxProperties": 1}, **others}},
        "else": {"required": ["card"]},
    }


def _raw_id(catalog: Catalog, table: Json) -> None:
    """Say that the bytes of an ID can stand for it, and that one of the two must stand."""
    size = catalog.identifier.id_field.size
    table["properties"][RAW_ID] |= hex_schema(size or 0, size)
    (key,) = table.pop("required")
    table["oneOf"] = [{"required": [key]}, {"required": [RAW_ID]}]


def _card_of(catalog: Catalog, needed: list[Json]) -> Json:
    """Say what [card] must hold: an ID, or nothing of an identifier.

    It is overridden whole, or the layout has none.
    """
    stated = {"required": [catalog.identifier.name]}
    bare = {"properties": {"layout": {"enum": list(catalog.read_layouts)}}, "required": ["layout"]}
    fields = [f.key for f in catalog.identifier.field_layout.fields if not f.kind.is_computed]
    fields.append(RAW_ID)
    without = {"properties": dict.fromkeys(fields, False)}
    return {
        "properties": {"card": {"allOf": _versions(catalog)}},
        "if": {
            "anyOf": [
                {"properties": {"override": stated}, "required": ["override"]},
                {"properties": {"image": bare}, "required": ["image"]},
            ]
        },
        "then": {"properties": {"card": without}},
        "else": {"properties": {"card": {"oneOf": needed}}},
    }


def _versions(catalog: Catalog) -> list[Json]:
    """Say what has no place in [card] where an item is left out by a word."""
    found = []
    for key in catalog.tables["card"].keys.values():
        if key.absent is not None and key.field is not None:
            record = catalog.records[key.field.partition(".")[0]]
            others = [f.key for f in record.profile_fields if f.key != key.name]
            left_out = {"properties": {key.name: {"const": key.absent}}, "required": [key.name]}
            found.append({"if": left_out, "then": {"properties": dict.fromkeys(others, False)}})
    return found


def _layout(layout: ImageLayout, own: Json) -> Json:
    """Say what a layout's configuration and its overrides may hold."""
    chosen: Json = {"properties": {"layout": {"const": layout.name}}}
    condition: Json = {"properties": {"image": chosen}}
    if not layout.default:
        chosen["required"] = ["layout"]
        condition["required"] = ["image"]
    override = own | _overrides(layout)
    tables = {"config": _config(layout), "override": override}
    closed = {
        name: {"properties": keys, "additionalProperties": False} for name, keys in tables.items()
    }
    return {"if": condition, "then": {"properties": closed}}


# --- keys and entries


def _table_schema(catalog: Catalog, spec: TableSpec) -> Json:
    """Return the schema of a table: its keys, which of them must be there, and no others."""
    return {
        "type": "object",
        "description": spec.text,
        "properties": {key.name: _key_schema(catalog, key) for key in spec.keys.values()},
        "required": [key.name for key in spec.keys.values() if key.required],
        "additionalProperties": False,
    }


def _key_schema(catalog: Catalog, key: KeySpec) -> Json:
    """Return the schema of one key, with its meaning."""
    if key.field is not None:
        return _field_key(catalog, key, key.field)
    if key.table is not None:
        target: Json = {"$ref": f"#/$defs/{key.table}"}
        if key.type == "tables":
            target = {"type": "array", "items": target}
        elif key.type == "named":
            target = {"type": "object", "additionalProperties": target}
        return {**target, "description": key.text}
    return {**_plain(catalog, key), "description": key.text}


def _field_key(catalog: Catalog, key: KeySpec, name: str) -> Json:
    field, owner = catalog.field(name), catalog.records.get(name.partition(".")[0])
    value = _field_value(field, owner)
    if key.absent is not None:
        value = {"anyOf": [value, {"const": key.absent}]}
    if key.type == "list":
        value = {"type": "array", "items": value}
    return {**value, **_default(field), "description": key.text or field.text}


def _plain(catalog: Catalog, key: KeySpec) -> Json:
    """Return the schema of a key that names no field: by its type."""
    for record in catalog.records.values():
        if record.length_key == key.name:
            return number_schema(*((length, length) for length in record.field_layout.lengths()))
    if key.type == "number":
        highest = TOP if key.maximum is None else key.maximum
        return number_schema((key.minimum or 0, highest))
    if key.type == "entries":
        return {"type": "array", "items": {"$ref": "#/$defs/entry"}}
    if key.type == "hex":
        return hex_schema()
    if key.type == "bytes":
        named = {"file": {"type": "string"}}
        file = {"type": "object", "properties": named, "required": ["file"]}
        return {"anyOf": [hex_schema(), {**file, "additionalProperties": False}]}
    if key.type == "list":
        return {"type": "array", "items": {"type": "string"}}
    if key.type == "names":
        return {"type": "object"}
    return {"type": "string"} if key.type in ("word", "text") else {}


def _field_value(field: Field, record: DescriptorType | None = None) -> Json:
    """Return the schema of a field's value; `record`: the item in which it stands."""
    value = field.kind.json_schema()
    if record is not None and field.size is None:
        room = record.header.top_length - field.at
        value |= field.kind.json_limits(field.at_least, room)
    return value


def _described(field: Field, record: DescriptorType | None = None) -> Json:
    """Return the schema of a field, with its name, its meaning and its default."""
    words = f"{field.title}: {field.text}" if field.text else field.title
    return {**_field_value(field, record), **_default(field), "description": words}


def _default(field: Field) -> Json:
    stated = field.default is not MISSING and field.default is not None
    return {"default": field.default} if stated else {}


def _either(found: list[Json]) -> Json:
    """Return the schema of what several layouts call by one name."""
    distinct = [one for index, one in enumerate(found) if one not in found[:index]]
    return distinct[0] if len(distinct) == 1 else {"anyOf": distinct}


def _part_names(names: Iterable[str]) -> Json:
    """Return the schema of a part's name, in capitals or small letters; editors list capitals."""
    known = list(names)
    signs = (
        "".join(
            f"[{char.upper()}{char.lower()}]" if char.isalpha() else re.escape(char)
            for char in name
        )
        for name in known
    )
    # A line end at the end would pass `$`.
    any_case = {"pattern": f"^({'|'.join(signs)})$", "not": {"pattern": r"\n"}}
    return {"type": "string", "anyOf": [{"enum": known}, any_case]}


def _entries_schema(catalog: Catalog) -> Json:
    """Return the schema of an entry of a list of resources."""
    return {"anyOf": [*_entries(catalog), _raw_entry(catalog)]}


def _entries(catalog: Catalog) -> Iterator[Json]:
    for rivals in catalog.entries.values():
        for record in rivals:
            yield _entry(record, catalog.tables["entry"].keys)


def _entry(record: DescriptorType, keys: Mapping[str, KeySpec]) -> Json:
    properties = {field.key: _described(field, record) for field in record.profile_fields}
    if record.form:
        properties["form"] = {"const": record.form, "description": keys["form"].text}
    if record.reserved_mask:
        bits = bits_schema(record.reserved_mask)
        properties[RESERVED] = {**bits, "description": keys[RESERVED].text}
    return {
        "type": "object",
        "title": record.title,
        "properties": properties,
        "required": [f.key for f in record.profile_fields if not f.may_be_left_out],
        "additionalProperties": False,
    }


def _raw_entry(catalog: Catalog) -> Json:
    raw = catalog.tables["entry"].keys["raw"]
    return {
        "type": "object",
        "title": raw.text,
        "properties": {raw.name: {**hex_schema(), "description": raw.text}},
        "required": [raw.name],
        "additionalProperties": False,
    }
