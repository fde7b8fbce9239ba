"""Profiles for people: the keys of one, table by table; what was taken out of one to fit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.profile.fitting import Removal
from romtool.schema.catalog import Catalog
from romtool.schema.fields import MISSING, Field
from romtool.schema.records import DescriptorType
from romtool.schema.tables import KeySpec
from romtool.text.page import line, title

MARKS = {"table": "[{}]", "tables": "[[{}]]", "named": "[{}.NAME]"}
KEY = 18


def profile_lines(catalog: Catalog) -> Iterator[str]:
    """Yield every table of a profile with its keys, then the entries of `resources`."""
    yield from title("A card profile", "[value]: what holds where a key is left out")
    for key in catalog.tables["profile"].keys.values():
        yield ""
        yield from title(MARKS.get(key.type, "[{}]").format(key.name), "")
        yield from line("", key.text, indent=2)
        if key.table is not None:
            yield from _keys(catalog, key.table, key.name)
        if key.table == "override":
            own = dict.fromkeys(
                f.key for fr in catalog.layouts.values() for f in fr.computed_fields
            )
            yield from line(
                ", ".join(own), "what the layout's frame computes", indent=2, column=KEY
            )
    yield ""
    yield from title("Entries of resources")
    keys = catalog.tables["entry"].keys
    for rivals in catalog.entries.values():
        yield ""
        forms = [record.form for record in rivals if record.form]
        yield from _entry(rivals[0], forms, keys["form"].text)
    yield ""
    yield from line("raw", keys["raw"].text, indent=2, column=KEY)


def _keys(catalog: Catalog, table: str, where: str) -> Iterator[str]:
    inner: list[KeySpec] = []
    for key in catalog.tables[table].keys.values():
        yield from line(key.name, _meaning(catalog, key), indent=2, column=KEY)
        if key.type in MARKS:
            inner.append(key)
    for key in inner:
        if key.table is not None:
            yield ""
            yield from title(MARKS[key.type].format(f"{where}.{key.name}"))
            yield from line("", key.text, indent=2)
            yield from _keys(catalog, key.table, f"{where}.{key.name}")


def _meaning(catalog: Catalog, key: KeySpec) -> str:
    field = catalog.field(key.field) if key.field else None
    words = key.text or (field.text or field.title if field else "")
    if key.required:
        return f"{words} (required)"
    return words + (_default(field) if field is not None else "")


def _words(field: Field) -> str:
    """Return what a key beside the head of an entry means, what it takes, and its default."""
    words = field.text or field.title
    if field.kind.is_named:
        words += f": {field.kind.takes()}"
    return words + _default(field)


def _default(field: Field) -> str:
    if field.default is MISSING or field.default is None or field.default == []:
        return ""
    return f" [{field.kind.show(field.default)}]"


def _entry(record: DescriptorType, forms: list[str], form: str) -> Iterator[str]:
    head, *others = record.profile_fields
    yield from line(head.key, f"{record.title}: {head.text}", indent=2, column=KEY)
    for field in others:
        yield from line(field.key, _words(field), indent=4, column=KEY + 4)
    if forms:
        words = f"{' or '.join(forms)}: {form}"
        yield from line("form", words, indent=4, column=KEY + 4)


def removal_lines(catalog: Catalog, removed: Sequence[Removal]) -> Iterator[str]:
    """Yield a line for each thing that was taken out; of a device counted from 1."""
    for one in removed:
        where = f"device {one.number + 1}, {one.device}"
        if one.lines:
            choice = "" if one.choice is None else f", choice {one.choice + 1}"
            title = catalog.resources[one.kind].short
            lines = ", ".join(str(line) for line in one.lines)
            yield f"  {where}{choice}: {title} {lines} taken out, no pin is wired to it"
        elif one.choice is not None:
            yield f"  {where}, choice {one.choice + 1}: taken out, no line is left for it"
        else:
            yield f"  {where}: taken out"
