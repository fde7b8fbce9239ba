"""What stands for a key that is left out says schemas/schema.toml, and nothing else does.

Each default is changed there in turn: what is loaded from the same files must change with it.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from romtool.errors import InputError
from romtool.files.schemas import schema_files, shipped_folder
from romtool.schema.described import Described
from romtool.schema.loading import Parsed, SchemaFile, catalog_of
from tests.support import amount

# A field of each type that the shipped ones don't have without its optional keys.
BARE = """
title = "A layout that says no more than it must"
source = "invented"
[[frame]]
name = "bare"
title = "one byte"
size = 1
field = [{ at = 0, key = "count", type = "count", counts = ["items"] }]
"""

FILES = [
    *schema_files(shipped_folder(), own=False),
    SchemaFile("bare.toml", BARE, own=False),
]
PARSED: Parsed = [(file, tomllib.loads(file.text)) for file in FILES]
SPECS: list[dict[str, Any]] = next(
    data["table"] for file, data in PARSED if file.name.endswith("schema.toml")
)
KEYS: dict[str, dict[str, Any]] = {table["name"]: table["keys"] for table in SPECS}
DEFAULTS = [
    (table["name"], name)
    for table in SPECS
    for name, key in table["keys"].items()
    if "default" in key
]
OTHERS: dict[tuple[str, str], Any] = {
    ("expected-lines", "widths"): ["8"],
    ("field", "accepts"): {"another": ["items"]},
    ("field", "bytes"): 2,
    ("function", "compatible"): ["PNPB000"],
    ("key", "choices"): ["another"],
    ("key", "only"): ["number"],
    ("key", "type"): "boolean",
    ("resource", "renamed"): {"3": 4},
    ("starter", "names_without"): {"another": {"this": "that"}},
    ("resource", "widths"): {"8": [3]},
}
"""A default that a key could have instead, where it doesn't follow from the one that it has."""


def another(table: str, name: str, key: dict[str, Any]) -> Any:
    """Another default that the key could have."""
    default = key["default"]
    if (table, name) in OTHERS:
        return OTHERS[table, name]
    if isinstance(default, bool):
        return not default
    if isinstance(default, int):
        return default + 1 if default < key.get("maximum", 1 << 16) else default - 1
    if "choices" in key:
        return next(one for one in key["choices"] if one != default)
    return some(key)


def some(key: dict[str, Any]) -> Any:
    """A value of the key's type."""
    if "choices" in key:
        return key["choices"][0]
    match key["type"]:
        case "tables":
            keys = KEYS[key["table"]].items()
            return [{name: some(inner) for name, inner in keys if inner.get("required")}]
        case "list":
            return [some({"type": key.get("of", "integer")})]
        case "integer" | "number":
            return key.get("minimum", 1)
        case "hex":
            return "55"
        case "any" | "names":
            return {"another": 1}
    return "another"


def rows(data: dict[str, Any], wanted: str, table: str = "file") -> Iterator[dict[str, Any]]:
    """Yield the tables of this name in a parsed file, or in a table of it."""
    if table == wanted:
        yield data
    for name, value in data.items():
        inner = KEYS[table].get(name, {}).get("table")
        if table == "table" and name == "keys":
            for key in value.values():
                yield from rows(key, wanted, "key")
        elif inner is not None:
            for one in value if isinstance(value, list) else [value]:
                yield from rows(one, wanted, inner)


def loaded(parsed: Parsed) -> object:
    """Everything that the files say, as values that can be compared; what is refused, if any.

    The schema for the schemas itself is left out: there the default has changed of course.
    """
    try:
        catalog = catalog_of(parsed)
    except InputError as refused:
        return refused.problems
    tables = {name: spec for name, spec in catalog.tables.items() if name not in KEYS}
    return plain(catalog.altered(tables=tables))


def plain(thing: object) -> object:
    """The same, of plain values."""
    if isinstance(thing, Described):
        return {name: plain(value) for name, value in vars(thing).items()}
    if isinstance(thing, dict):
        return {key: plain(value) for key, value in thing.items()}
    return [plain(value) for value in thing] if isinstance(thing, list | tuple) else thing


AS_IT_IS = loaded(PARSED)


def test_the_files_load() -> None:
    assert isinstance(AS_IT_IS, dict)


@pytest.mark.parametrize("key", amount.some(DEFAULTS), ids=str)
def test_a_default_is_what_the_schema_for_the_schemas_says(key: tuple[str, str]) -> None:
    """Where every table of the files states the key, it is taken out of them first."""
    table, name = key
    before, as_it_was = PARSED, AS_IT_IS
    found = [row for _, data in PARSED for row in rows(data, table)]
    if not found:
        pytest.skip("no file has such a table")  # another test says that it is of no use
    if all(name in row for row in found):
        before = copy.deepcopy(PARSED)
        for _, data in before:
            for row in rows(data, table):
                del row[name]
        as_it_was = loaded(before)
    after = [(file, copy.deepcopy(data) if "table" in data else data) for file, data in before]
    for _, data in after:
        for spec in data.get("table", []):
            if spec["name"] == table and name in spec["keys"] and "default" in spec["keys"][name]:
                described = spec["keys"][name]
                described["default"] = another(table, name, described)
    assert loaded(after) != as_it_was
