"""What stands for a key that is left out says schemas/schema.toml, and nothing else does.

Each default is changed there in turn: what is loaded from the same files must change with it.
"""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from romtool.errors import InputError
from romtool.files.schemas import schema_files, shipped_folder
from romtool.schema.described import Described
from romtool.schema.loading import Parsed, SchemaFile, catalog_of

# Tables that leave out what the shipped ones state.
BARE = """
title = "Tables that say no more than they must"
source = "invented"
[[frame]]
name = "bare"
title = "one byte"
size = 2
field = [
  { at = 0, key = "byte", type = "number", default = 1 },
  { at = 1, key = "count", type = "count", counts = ["items"] },
]
[[checksum]]
name = "bare"
algorithm = "xor8"
seed = 0
[[part]]
name = "bare"
bus = "two-wire"
bytes = 16
[[expectation]]
name = "bare"
title = "bare"
function = [{ name = "bare", text = "bare", length = [1, 1], bases = [1] }]
[[table]]
name = "bare"
keys = { bare = {} }
"""

FILES = [
    *schema_files(shipped_folder(), own=False),
    SchemaFile("bare.toml", BARE, own=False),
]
PARSED: Parsed = [(file, tomllib.loads(file.text)) for file in FILES]
SPECS: list[dict[str, Any]] = next(
    data["table"] for file, data in PARSED if file.name.endswith("schema.toml")
)
DEFAULTS = [
    (table["name"], name)
    for table in SPECS
    for name, key in table["keys"].items()
    if "default" in key
]
OTHERS: dict[tuple[str, str], Any] = {
    ("checksum", "taps"): [3],
    ("descriptor-cell", "setting"): [{"field": "width", "values": {"8": 1}}],
    ("expected-lines", "widths"): ["8"],
    ("field", "accepts"): {"another": ["items"]},
    ("field", "bytes"): 2,
    ("function", "compatible"): ["PNPB000"],
    ("function", "lines"): [{"resource": "irq", "first": [5]}],
    ("function", "near"): [{"lowest": 1, "highest": 2, "step": 1}],
    ("key", "choices"): ["another"],
    ("key", "only"): ["number"],
    ("key", "type"): "boolean",
    ("read_fault", "pattern"): "55",
    ("part", "organisation"): [8],
    ("record", "refuses"): [1],
    ("register", "bits"): {"another": 7},
    ("resource", "never"): [3],
    ("resource", "renamed"): {"3": 4},
    ("resource", "widths"): {"8": [3]},
}
"""A default that a key could have instead, where it doesn't follow from the one that it has."""


def another(table: str, name: str, key: dict[str, Any]) -> Any:
    """Another default that the key could have."""
    default = key["default"]
    if isinstance(default, bool):
        return not default
    if isinstance(default, int):
        return default + 1 if default < key.get("maximum", 1 << 16) else default - 1
    if "choices" in key:
        return next(one for one in key["choices"] if one != default)
    return OTHERS.get((table, name), f"another {default}")


def loaded(specs: list[dict[str, Any]]) -> object:
    """Everything that the files say, as values that can be compared; what is refused, if any.

    The schema for the schemas itself is left out: there the default has changed of course.
    """
    files = [
        (file, {**data, "table": specs} if data.get("table") is SPECS else data)
        for file, data in PARSED
    ]
    try:
        catalog = catalog_of(files)
    except InputError as refused:
        return refused.problems
    own = {table["name"] for table in SPECS}
    tables = {name: spec for name, spec in catalog.tables.items() if name not in own}
    return plain(catalog.altered(tables=tables))


def plain(thing: object) -> object:
    """The same, of plain values."""
    if isinstance(thing, Described):
        return {name: plain(value) for name, value in vars(thing).items()}
    if isinstance(thing, dict):
        return {key: plain(value) for key, value in thing.items()}
    return [plain(value) for value in thing] if isinstance(thing, list | tuple) else thing


AS_IT_IS = loaded(SPECS)


def test_the_files_load() -> None:
    assert isinstance(AS_IT_IS, dict)


@pytest.mark.parametrize(("table", "name"), DEFAULTS, ids=str)
def test_a_default_is_what_the_schema_for_the_schemas_says(table: str, name: str) -> None:
    specs = [
        {**spec, "keys": {**spec["keys"]}} if spec["name"] == table else spec for spec in SPECS
    ]
    keys = next(spec["keys"] for spec in specs if spec["name"] == table)
    keys[name] = {**keys[name], "default": another(table, name, keys[name])}
    assert loaded(specs) != AS_IT_IS
