"""The JSON Schema of a card profile, made from the schemas: for editors that complete TOML."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from romtool.schema.catalog import Catalog
from romtool.schema.fields import Field
from romtool.schema.kinds import NUMBER_SCHEMA, Count
from romtool.schema.records import Record
from romtool.schema.tables import KeySpec, TableSpec

HEX: dict[str, Any] = {"type": "string", "pattern": "^[0-9A-Fa-f\\s]*$"}
PLAIN: dict[str, dict[str, Any]] = {
    "word": {"type": "string"},
    "text": {"type": "string"},
    "hex": HEX,
    "integer": {"type": "integer"},
    "number": NUMBER_SCHEMA,
    "boolean": {"type": "boolean"},
    "entries": {"type": "array", "items": {"$ref": "#/$defs/entry"}},
    "any": {},
}


def profile_schema(catalog: Catalog) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a profile."""
    tables = {name: _table(catalog, catalog.tables[name]) for name in _reached(catalog)}
    root = tables.pop("profile")
    root["properties"]["config"] = {"$ref": "#/$defs/config"}
    tables["image"]["properties"]["layout"]["enum"] = list(catalog.frames)
    tables["image"]["properties"]["part"]["enum"] = list(catalog.parts)
    override = tables["override"]["properties"]
    needed = tables["card"].pop("required")
    for frame in catalog.frames.values():
        for field in frame.computed_fields:
            override.setdefault(field.key, _computed(field))
    config: dict[str, Any] = {}
    for frame in catalog.frames.values():
        for field in frame.config_fields:
            config.setdefault(field.key, []).append(_described(field))
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "romtool card profile",
        **root,
        "allOf": [_card_of(catalog, needed), *(_config_of(catalog, n) for n in catalog.frames)],
        "$defs": {
            **tables,
            "config": {
                "type": "object",
                "properties": {key: _either(found) for key, found in config.items()},
                "additionalProperties": False,
            },
            "entry": {"anyOf": [*_entries(catalog), _raw_entry(catalog)]},
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


def _table(catalog: Catalog, spec: TableSpec) -> dict[str, Any]:
    return {
        "type": "object",
        "description": spec.text,
        "properties": {key.name: _key(catalog, key) for key in spec.keys.values()},
        "required": [key.name for key in spec.keys.values() if key.required],
        "additionalProperties": False,
    }


def _key(catalog: Catalog, key: KeySpec) -> dict[str, Any]:
    if key.field is not None:
        field = catalog.field(key.field)
        value = field.kind.json_schema()
        if key.absent is not None:
            value = {"anyOf": [value, {"const": key.absent}]}
        if key.type == "list":
            value = {"type": "array", "items": value}
        return {**value, "description": key.text or field.text}
    if key.table is not None:
        target = {"$ref": f"#/$defs/{key.table}"}
        return target if key.type == "table" else {"type": "array", "items": target}
    limits = {"minimum": key.minimum, "maximum": key.maximum}
    found = {name: limit for name, limit in limits.items() if limit is not None}
    if key.type == "number":
        number, text = NUMBER_SCHEMA["anyOf"]
        return {"anyOf": [number | found, text], "description": key.text}
    return {**PLAIN[key.type], **found, "description": key.text}


def _described(field: Field) -> dict[str, Any]:
    words = f"{field.title}: {field.text}" if field.text else field.title
    return {**field.kind.json_schema(), "description": words}


def _computed(field: Field) -> dict[str, Any]:
    value = field.kind.json_schema()
    if isinstance(field.kind, Count):
        value = {"anyOf": [value, {"enum": list(field.kind.accepts)}]}
    return {**value, "description": f"{field.title}: the stored value"}


def _either(found: list[dict[str, Any]]) -> dict[str, Any]:
    distinct = [one for index, one in enumerate(found) if one not in found[:index]]
    return distinct[0] if len(distinct) == 1 else {"anyOf": distinct}


def _card_of(catalog: Catalog, needed: list[str]) -> dict[str, Any]:
    """Say what [card] must hold, where the identifier isn't overridden as a whole."""
    whole = {"required": [catalog.identifier.name]}
    return {
        "if": {"properties": {"override": whole}, "required": ["override"]},
        "else": {"properties": {"card": {"required": needed}}},
    }


def _config_of(catalog: Catalog, name: str) -> dict[str, Any]:
    """Say which configuration keys a layout has."""
    frame = catalog.frames[name]
    properties = {field.key: _described(field) for field in frame.config_fields}
    chosen: dict[str, Any] = {"properties": {"layout": {"const": name}}}
    if not frame.default:
        chosen["required"] = ["layout"]
    condition: dict[str, Any] = {"properties": {"image": chosen}}
    if not frame.default:
        condition["required"] = ["image"]
    config = {"properties": properties, "additionalProperties": False}
    return {"if": condition, "then": {"properties": {"config": config}}}


def _entries(catalog: Catalog) -> Iterable[dict[str, Any]]:
    for rivals in catalog.entries.values():
        forms = [record.form for record in rivals if record.form]
        yield _entry(rivals[0], forms)


def _entry(record: Record, forms: list[str]) -> dict[str, Any]:
    properties = {field.key: _described(field) for field in record.profile_fields}
    if forms:
        properties["form"] = {"enum": forms}
    required = [f.key for f in record.profile_fields if not f.may_be_left_out]
    return {
        "type": "object",
        "title": record.title,
        "properties": properties,
        "required": required,
        "additionalProperties": False,
    }


def _raw_entry(catalog: Catalog) -> dict[str, Any]:
    return {
        "type": "object",
        "title": catalog.tables["entry"].keys["raw"].text,
        "properties": {"raw": HEX},
        "required": ["raw"],
        "additionalProperties": False,
    }
