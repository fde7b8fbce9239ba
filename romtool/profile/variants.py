"""Variants of one board: what each leaves out of its profile, and which keys it replaces."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from romtool.errors import InputError, Path, Problem
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import clip, describe, did_you_mean, one_of
from romtool.schema.tables import check_table, unknown_keys

ALL = "all"
"""What `build --variant` calls the profile itself and every variant."""

REPLACED = ("config", "card")
"""The tables whose keys a variant can replace."""

SECOND = "/"
"""What stands between a device's ID and its place among those of that ID, from 1."""

Tables = Mapping[str, Any]


class Variant(NamedTuple):
    """An assembly of a board: `without` are the places of devices, from 0, that it leaves out."""

    name: str
    without: frozenset[int]
    replaced: Mapping[str, Tables]

    def tables(self, data: Tables) -> dict[str, Any]:
        """Return the profile's tables with the keys that the variant replaces."""
        changed = {table: {**data.get(table, {}), **keys} for table, keys in self.replaced.items()}
        return {**data, **changed}

    def place(self, path: Path | None) -> Path | None:
        """Return where the value at `path` of the changed tables stands in the profile."""
        if path and len(path) > 1 and path[1] in self.replaced.get(str(path[0]), {}):
            return ("variant", self.name, *path)
        return path

    def about(self, problem: Problem) -> Problem:
        """Return a problem of the changed tables as one of the profile, with the variant named."""
        message = f"variant {self.name}: {problem.message}"
        return problem._replace(message=message, path=self.place(problem.path))


def variant_names(data: Tables) -> list[str]:
    """Return the names of a profile's variants, in order."""
    found = data.get("variant", {})
    return list(found) if isinstance(found, dict) else []


def variant_of(catalog: Catalog, data: Tables, name: str) -> Variant:
    """Return a variant of a profile whose variants have no problems; raises InputError."""
    names = variant_names(data)
    if name not in names:
        hint = f"it has {one_of(names)}" if names else "add it as [variant.NAME]"
        message = f"the profile has no variant {clip(name)}"
        raise InputError([Problem(message, did_you_mean(name, names) or hint)])
    table = data["variant"][name]
    ids = device_ids(catalog, data.get("device", []))
    without = frozenset(ids.index(wanted) for wanted in map(numbered, table.get("without", [])))
    return Variant(name, without, {key: table[key] for key in REPLACED if key in table})


def device_ids(catalog: Catalog, devices: Sequence[Any]) -> list[tuple[str, int]]:
    """Return each device's ID with its place among those of that ID, from 1."""
    key, ids = catalog.by_role["device"].key_field.key, list[str]()
    for device in devices:
        ids.append(str(device.get(key, "")) if isinstance(device, dict) else "")
    return [(id_, ids[: at + 1].count(id_)) for at, id_ in enumerate(ids)]


def numbered(name: str) -> tuple[str, int]:
    """Return the ID and the place that a device's name says: `QRL0403` is the first, `/1`."""
    id_, mark, number = name.rpartition(SECOND)
    return (id_, int(number)) if mark and number.isascii() and number.isdigit() else (name, 1)


def variant_problems(catalog: Catalog, data: Tables) -> Iterator[Problem]:
    """Yield what is wrong with a profile's variants, the shape of their values apart."""
    found = data.get("variant", {})
    spec = catalog.tables["variant"]
    ids = device_ids(catalog, data.get("device", []))
    names = [id_ if place == 1 else f"{id_}{SECOND}{place}" for id_, place in ids]
    for name, table in found.items() if isinstance(found, dict) else ():
        path = ("variant", name)
        if name == ALL:
            message = f"a variant can't be called {ALL}"
            hint = "`build --variant all` builds the profile itself and every variant"
            yield Problem(message, hint, path, on_key=True)
        problems = list(check_table(table, spec, catalog.tables, path))
        yield from problems
        if problems:
            continue
        yield from unknown_keys(table.get("card", {}), catalog.tables["card"], (*path, "card"))
        for index, wanted in enumerate(table.get("without", [])):
            if numbered(wanted) not in ids:
                hint = did_you_mean(wanted, names) or f"its devices are {', '.join(names)}"
                message = f"variant {name}: no device is called {describe(wanted)}"
                yield Problem(message, hint, (*path, "without", index))
