"""Tables of a TOML file compared with their description: unknown keys, missing keys, wrong types.

The descriptions are data (`schemas/schema.toml` for the schemas themselves, `schemas/profile.toml`
for card profiles); this module knows only the types that a key can have.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any

from romtool.errors import InvalidValue, Path, Problem
from romtool.schema.described import Described, make, shapes
from romtool.schema.numbers import (
    clip,
    describe,
    did_you_mean,
    one_of,
    parse_hex,
    parse_number,
    shorten,
)

TYPE_WORDS = {
    "text": "a text in quotes",
    "word": "a name in quotes",
    "hex": 'bytes in hex digits, such as "55 BB"',
    "bytes": 'bytes in hex digits, or { file = "…" }',
    "integer": "a whole number",
    "number": 'a whole number, such as 544, 0x220 or "220h"',
    "boolean": "true or false",
    "list": "a list in [ ]",
    "table": "a table",
    "tables": "a list of tables",
    "names": "a table of values",
    "named": "a table of tables",
    "any": "a value",
}


class KeySpec(Described):
    """One key of a table: its type, its limits and what it means."""

    name: str
    type: str
    of: str | None
    table: str | None
    required: bool
    choices: tuple[Any, ...]
    minimum: int | None
    maximum: int | None
    field: str | None
    default: Any
    absent: str | None
    only: tuple[str, ...]
    text: str


class TableSpec(Described):
    """A table: its keys, in the order in which they are written."""

    name: str
    text: str
    keys: Mapping[str, KeySpec]


def table_specs(
    raw: list[dict[str, Any]], known: Mapping[str, TableSpec] | None = None
) -> dict[str, TableSpec]:
    """Return the table descriptions that stand in a parsed schema file.

    `known`: those of the schema for the schemas; None for that file itself, which says what a key
    of a table is by the keys of its own table `key`.
    """
    if known is None:
        known = {table["name"]: _bare(table) for table in raw if table["name"] in ("table", "key")}
    return {
        table["name"]: make(
            TableSpec,
            known,
            "table",
            table,
            keys={
                name: make(KeySpec, known, "key", key, name=name)
                for name, key in table["keys"].items()
            },
        )
        for table in raw
    }


def _bare(table: Mapping[str, Any]) -> TableSpec:
    """Return a table's description with nothing but the defaults of its keys."""
    nothing: dict[str, Any] = dict.fromkeys([*shapes(KeySpec), *shapes(TableSpec)])
    keys = {
        name: KeySpec(**{**nothing, "name": name, "default": key.get("default")})
        for name, key in table["keys"].items()
    }
    return TableSpec(**{**nothing, "keys": keys})


def check_table(
    value: Any, spec: TableSpec, specs: Mapping[str, TableSpec], path: Path = ()
) -> Iterator[Problem]:
    """Yield every fault of `value` against `spec`, those of the tables inside included."""
    if not isinstance(value, dict):
        yield Problem(f"{_place(path)} is not a table", spec.text, path)
        return
    yield from unknown_keys(value, spec, path, specs)
    for key in spec.keys.values():
        if key.name in value:
            yield from check_value(value[key.name], key, specs, (*path, key.name))
        elif key.required:
            yield Problem(f"{_place(path)} has no {key.name}", key.text, path)


def unknown_keys(
    value: Mapping[str, Any],
    spec: TableSpec,
    path: Path,
    specs: Mapping[str, TableSpec] = MappingProxyType({}),
) -> Iterator[Problem]:
    """Yield a fault for each key that `spec` doesn't know, with the nearest one that it does."""
    for name in value:
        if name not in spec.keys:
            near = did_you_mean(name, spec.keys)
            hint = near or f"the keys here are: {', '.join(spec.keys)}"
            for key in spec.keys.values():
                inner = specs.get(key.table or "")
                if not near and inner is not None and name in inner.keys:
                    hint = "write it as " + (
                        f"[[{key.name}.{name}]]"
                        if inner.keys[name].type == "tables"
                        else f"{name} under [{key.name}]"
                    )
            where = f" in [{spec.name}]" if path else ""
            yield Problem(f"unknown key {clip(name)}{where}", hint, (*path, name), on_key=True)


def check_value(
    value: Any, key: KeySpec, specs: Mapping[str, TableSpec], path: Path
) -> Iterator[Problem]:
    """Yield every fault of one value against the type and limits of its key."""
    if key.type == "table" and key.table:
        yield from check_table(value, specs[key.table], specs, path)
    elif key.type == "tables" and key.table:
        if not isinstance(value, list):
            yield _mistyped(key, value, path)
            return
        for index, item in enumerate(value):
            yield from check_table(item, specs[key.table], specs, (*path, index))
    elif key.type == "named" and key.table:
        if not isinstance(value, dict):
            yield _mistyped(key, value, path)
            return
        for name, item in value.items():
            yield from check_table(item, specs[key.table], specs, (*path, name))
    elif key.type == "list":
        if not isinstance(value, list):
            yield _mistyped(key, value, path)
            return
        inner = key.altered(type=key.of or "any")
        for index, item in enumerate(value):
            yield from check_value(item, inner, specs, (*path, index))
    else:
        yield from _check_plain(value, key, path)


def _check_plain(value: Any, key: KeySpec, path: Path) -> Iterator[Problem]:
    try:
        number = _plain(value, key.type)
    except InvalidValue as wrong:
        yield Problem(f"{key.name}: {wrong.message}", wrong.hint, path)
        return
    except TypeError:
        yield _mistyped(key, value, path)
        return
    if key.choices and (value if number is None else number) not in key.choices:
        yield Problem(
            f"{key.name}: {shorten(str(value))} is not one of its values",
            f"write {one_of([str(choice) for choice in key.choices])}",
            path,
        )
    if number is None:
        return
    if key.minimum is not None and number < key.minimum:
        yield Problem(f"{key.name}: {number} is less than {key.minimum}", key.text, path)
    if key.maximum is not None and number > key.maximum:
        yield Problem(f"{key.name}: {number} is more than {key.maximum}", key.text, path)


def _plain(value: Any, kind: str) -> int | None:
    """Return the number that a value stands for, None for no number; TypeError: wrong type."""
    if kind == "number" and isinstance(value, str):
        return parse_number(value)
    if kind in ("integer", "number"):
        if isinstance(value, bool) or not isinstance(value, int):
            raise TypeError
        return value
    if kind == "bytes" and isinstance(value, dict):
        raise InvalidValue("no file is read here", "write the bytes in hex digits")
    if kind in ("text", "word", "hex", "bytes"):
        if not isinstance(value, str):
            raise TypeError
        if kind in ("hex", "bytes"):
            parse_hex(value)
    elif kind == "boolean":
        if not isinstance(value, bool):
            raise TypeError
    elif kind == "names" and not isinstance(value, dict):
        raise TypeError
    return None


def _mistyped(key: KeySpec, value: Any, path: Path) -> Problem:
    return Problem(
        f"{key.name} takes {TYPE_WORDS[key.type]}, not {describe(value)}", key.text, path
    )


def _place(path: Path) -> str:
    words = [step for step in path if isinstance(step, str)]
    numbered = path and isinstance(path[-1], int)
    mark = "[[{}]]" if numbered else "[{}]"
    return mark.format(".".join(words)) if words else "the file"
