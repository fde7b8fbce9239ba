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

from typing import Any

from romtool.schema.catalog import Catalog
from romtool.schema.fields import Field
from romtool.schema.image_layouts import ImageLayout, is_computed
from romtool.schema.json_keys import (
    Json,
    described,
    either,
    entries_schema,
    part_names,
    table_schema,
)
from romtool.schema.field_types import Constant, Count
from romtool.schema.field_types.texts import hex_schema

DRAFT = "https://json-schema.org/draft/2020-12/schema"


def profile_schema(catalog: Catalog) -> Json:
    """Return the JSON Schema (draft 2020-12) of a profile."""
    tables = {name: table_schema(catalog, catalog.tables[name]) for name in _reached(catalog)}
    root = tables.pop("profile")
    config = catalog.tables["profile"].keys["config"]
    root["properties"]["config"] = {"$ref": "#/$defs/config", "description": config.text}
    needed = tables["card"].pop("required")
    _image(catalog, tables["image"])
    override = tables["override"]["properties"]
    whole = catalog.identifier.name
    override[whole] |= hex_schema(catalog.identifier.size, catalog.identifier.size)
    own = dict(override)
    layouts = catalog.layouts.values()
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
            "entry": entries_schema(catalog),
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
    keys["layout"] |= {"enum": list(catalog.layouts), "default": catalog.default_layout.name}
    keys["part"] |= part_names(catalog.parts)
    keys["raw"] |= hex_schema(1)
    image["not"] = {"required": ["part", "size"]}


def _together(found: list[Json]) -> Json:
    """Return the keys of all layouts, each with what any of them takes."""
    keys = dict.fromkeys(key for one in found for key in one)
    return {key: either([one[key] for one in found if key in one]) for key in keys}


def _config(layout: ImageLayout) -> Json:
    return {field.key: described(field) for field in layout.config_fields}


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


def _card_of(catalog: Catalog, needed: list[str]) -> Json:
    """Say what [card] must hold: an ID, or nothing of an identifier that is overridden whole."""
    stated = {"required": [catalog.identifier.name]}
    fields = [f.key for f in catalog.identifier.field_layout.fields if not is_computed(f)]
    without = {"properties": dict.fromkeys(fields, False)}
    return {
        "properties": {"card": {"allOf": _versions(catalog)}},
        "if": {"properties": {"override": stated}, "required": ["override"]},
        "then": {"properties": {"card": without}},
        "else": {"properties": {"card": {"required": needed}}},
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
