"""JSON Schema of a profile's keys and entries, from the fields and records that they name."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

from romtool.schema.catalog import Catalog
from romtool.schema.field_types.texts import hex_schema
from romtool.schema.fields import MISSING, Field
from romtool.schema.records import DescriptorType
from romtool.schema.spelt_numbers import number_schema
from romtool.schema.tables import KeySpec, TableSpec

Json = dict[str, Any]

TOP = (1 << 64) - 1
"""The greatest number that a profile can hold at all."""


def table_schema(catalog: Catalog, spec: TableSpec) -> Json:
    """Return the schema of a table: its keys, which of them must be there, and no others."""
    return {
        "type": "object",
        "description": spec.text,
        "properties": {key.name: key_schema(catalog, key) for key in spec.keys.values()},
        "required": [key.name for key in spec.keys.values() if key.required],
        "additionalProperties": False,
    }


def key_schema(catalog: Catalog, key: KeySpec) -> Json:
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
    value = field_value(field, owner)
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
    return {"type": "string"} if key.type in ("word", "text") else {}


def field_value(field: Field, record: DescriptorType | None = None) -> Json:
    """Return the schema of a field's value; `record`: the item in which it stands."""
    value = field.kind.json_schema()
    if record is not None and field.size is None:
        room = record.header.top_length - field.at
        value |= field.kind.json_limits(field.at_least, room)
    return value


def described(field: Field, record: DescriptorType | None = None) -> Json:
    """Return the schema of a field, with its name, its meaning and its default."""
    words = f"{field.title}: {field.text}" if field.text else field.title
    return {**field_value(field, record), **_default(field), "description": words}


def _default(field: Field) -> Json:
    stated = field.default is not MISSING and field.default is not None
    return {"default": field.default} if stated else {}


def either(found: list[Json]) -> Json:
    """Return the schema of what several layouts call by one name."""
    distinct = [one for index, one in enumerate(found) if one not in found[:index]]
    return distinct[0] if len(distinct) == 1 else {"anyOf": distinct}


def part_names(names: Iterable[str]) -> Json:
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


def entries_schema(catalog: Catalog) -> Json:
    """Return the schema of an entry of a list of resources."""
    return {"anyOf": [*_entries(catalog), _raw_entry(catalog)]}


def _entries(catalog: Catalog) -> Iterator[Json]:
    for rivals in catalog.entries.values():
        for record in rivals:
            yield _entry(record, catalog.tables["entry"].keys["form"])


def _entry(record: DescriptorType, form: KeySpec) -> Json:
    properties = {field.key: described(field, record) for field in record.profile_fields}
    if record.form:
        properties[form.name] = {"const": record.form, "description": form.text}
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
