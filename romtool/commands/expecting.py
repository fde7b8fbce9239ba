"""The option --expect: software whose conventions are checked, by name or by schema file."""

from __future__ import annotations

from pathlib import Path

import click

from romtool.commands import completing
from romtool.commands.common import catalog_of
from romtool.errors import refuse
from romtool.schema.catalog import Catalog
from romtool.schema.expect import Expectation

SUFFIX = ".toml"
"""What tells a file from a name."""

expect_option = click.option(
    "--expect",
    "expected",
    metavar="NAME",
    shell_complete=completing.expectations,
    help="Check the conventions of some software too, such as dos-games; or a schema FILE.toml.",
)


def with_expectations(
    schemas: tuple[Path, ...], expected: str | None
) -> tuple[Catalog, list[Expectation]]:
    """Return the catalogue, and what --expect names in it; raises InputError."""
    if expected is None or not expected.endswith(SUFFIX):
        catalog = catalog_of(schemas)
        return catalog, [] if expected is None else [_named(catalog, expected)]
    path = Path(expected)
    catalog = catalog_of(schemas, [path])
    found = [one for one in catalog.expectations.values() if Path(one.file).samefile(path)]
    if not found:
        hint = "copy one: `romtool schema show` names its file"
        raise refuse("no [[expectation]] in this file", hint).in_file(expected)
    return catalog, found


def _named(catalog: Catalog, name: str) -> Expectation:
    if name not in catalog.expectations:
        known = ", ".join(catalog.expectations)
        hint = f"known are {known}; your own: --schemas DIR, or --expect FILE{SUFFIX}"
        raise refuse(f"--expect: nothing called {name}", hint)
    return catalog.expectations[name]
