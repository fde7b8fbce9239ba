"""A profile's tables to a plan of the image: every value checked, every fault with its place."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from romtool.errors import InputError, Problem
from romtool.profile.plan import Plan
from romtool.profile.read_card import CardReader
from romtool.profile.read_image import ImageReader
from romtool.profile.variants import Variant, variant_of, variant_problems
from romtool.schema.catalog import Catalog
from romtool.schema.tables import check_table, unknown_keys


def read_profile(catalog: Catalog, data: Mapping[str, Any], variant: str | None = None) -> Plan:
    """Return the plan for a profile's tables, or for one of its variants.

    Raises InputError with every problem that was found, in the profile's own places.
    """
    _shape(catalog, data)
    found = list(variant_problems(catalog, data))
    if variant is None or found:
        return _read(catalog, data, found)
    chosen = variant_of(catalog, data, variant)
    try:
        return _read(catalog, chosen.tables(data), [], chosen)
    except InputError as refused:
        raise InputError([chosen.about(problem) for problem in refused.problems]) from None


def _read(
    catalog: Catalog,
    data: Mapping[str, Any],
    problems: list[Problem],
    variant: Variant | None = None,
) -> Plan:
    plan = Plan(catalog, catalog.default_layout, variant=variant)
    board = data.get("board", {})
    problems += check_table(board, catalog.tables["board"], catalog.tables, ("board",))
    outside = ImageReader(plan, data, problems)
    if "raw" in data.get("image", {}):
        outside.read_whole()
    else:
        outside.read()
        CardReader(plan, data, problems).read()
    if problems:
        raise InputError(problems)
    return plan


def _shape(catalog: Catalog, data: Mapping[str, Any]) -> None:
    """Refuse what isn't a table where one belongs: nothing else can be read then."""
    problems = list(unknown_keys(data, catalog.tables["profile"], (), catalog.tables))
    for key in catalog.tables["profile"].keys.values():
        value = data.get(key.name, [] if key.type == "tables" else {})
        wanted = list if key.type == "tables" else dict
        rows = value if isinstance(value, list) else []
        if not isinstance(value, wanted) or any(not isinstance(row, dict) for row in rows):
            mark = f"[[{key.name}]]" if key.type == "tables" else f"[{key.name}]"
            message = f"{key.name} is not a table"
            problems.append(Problem(message, f"write it as {mark}", (key.name,)))
    if problems:
        raise InputError(problems)
