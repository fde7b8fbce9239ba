"""What a shell completes after options and for arguments: names of the schemas, and files.

Every command names these functions; what they need is loaded when one of them is called.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from romtool.errors import InputError

if TYPE_CHECKING:
    import click
    from click.shell_completion import CompletionItem

    from romtool.schema.catalog import Catalog


def files(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Leave it to the shell to complete the name of a file."""
    from click.shell_completion import CompletionItem

    return [CompletionItem(incomplete, type="file")]


def formats(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the last of the formats to write, with commas between."""
    from romtool.formats import WRITTEN

    before, comma, last = incomplete.rpartition(",")
    known = ((f"{before}{comma}{name}", one.title) for name, one in WRITTEN.items())
    return _items(known, f"{before}{comma}{last}")


def layouts(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the name of a layout."""
    layouts = (layout for catalog in _catalogs(ctx) for layout in catalog.all_layouts.values())
    return _items(((layout.name, layout.title) for layout in layouts), incomplete)


def parts(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the name of an EEPROM part."""
    known = (part for catalog in _catalogs(ctx) for part in catalog.parts.values())
    return _items(((part.name, f"{part.size} bytes, {part.bus}") for part in known), incomplete)


def expectations(
    ctx: click.Context, param: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Complete the name of an expectation, or else of a file with one."""
    known = (one for catalog in _catalogs(ctx) for one in catalog.expectations.values())
    named = _items(((one.name, one.title) for one in known), incomplete)
    return named or files(ctx, param, incomplete)


def symptoms(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the name of a symptom."""
    known = (one for catalog in _catalogs(ctx) for one in catalog.symptoms.values())
    return _items(((one.name, one.title) for one in known), incomplete)


def hosts(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the name of a host that comes with romtool, or else of a host file."""
    from romtool.files.shipped import shipped_hosts

    named = _items(((name, "what a PC has taken") for name in shipped_hosts()), incomplete)
    return named or files(ctx, param, incomplete)


def exported(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete whatever `schema export` can write."""
    from romtool.files.shipped import exported_names

    return _items(((name, "") for name in exported_names()), incomplete)


def names(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete whatever `schema show` can show."""
    from romtool.files.shipped import shipped_hosts

    found: list[tuple[str, str]] = []
    for catalog in _catalogs(ctx):
        found.append(("profile", catalog.tables["profile"].text))
        found.append(("cautions", "what to heed before anything is burnt"))
        found.append(("standard", "what the standard asks, and what checks it"))
        tables = (catalog.all_layouts, catalog.records, catalog.expectations)
        found += [(one.name, one.title) for table in tables for one in table.values()]
        found += [(part.name, part.bus) for part in catalog.parts.values()]
        found += [(host, "what a PC has taken") for host in shipped_hosts()]
        found += [(rule.name, rule.severity) for rule in catalog.rules.values()]
    return _items(found, incomplete)


def _catalogs(ctx: click.Context) -> Iterator[Catalog]:
    """Yield the catalogue with the folders named so far; nothing where they have faults."""
    from romtool.files.schemas import load_catalog

    folders = [
        *(ctx.find_root().params.get("schemas") or ()),
        *(ctx.params.get("schemas") or ()),
    ]
    try:
        yield load_catalog(list(dict.fromkeys(folders)))
    except InputError:
        return


def _items(words: Iterable[tuple[str, str]], incomplete: str) -> list[CompletionItem]:
    """Return the words that begin so, capitals or not, each with what it is."""
    from click.shell_completion import CompletionItem

    begun = incomplete.lower()
    return [
        CompletionItem(word, help=text) for word, text in words if word.lower().startswith(begun)
    ]
