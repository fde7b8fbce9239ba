"""A starter profile as TOML text: every key with what it means and what it takes."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Collection, Iterator, Mapping
from types import MappingProxyType
from typing import Any

from romtool.profile.build import built
from romtool.profile.fitting import Wiring
from romtool.profile.starter import fitted, without_functions
from romtool.profile.toml_text import EDITOR_LINE, WIDTH, comment, entry_text, scalar
from romtool.schema.catalog import Catalog
from romtool.schema.expect import RESOURCES, Starter, StarterTable
from romtool.schema.field_types import AnyKind, Number
from romtool.schema.fields import MISSING, Field
from romtool.schema.image_layouts import ImageLayout, Part
from romtool.schema.numbers import one_of
from romtool.schema.records import DescriptorType
from romtool.schema.tables import KeySpec
from romtool.toml.parse import parse_toml

HINTS = (
    "Change it to what your board has, then `romtool build` it, and `romtool check` it with "
    "--expect {expect}. A setting with # before it is left out: the value shown then holds. "
    'Numbers are written 544, 0x220 or "220h". All keys: `romtool schema show profile`.',
    "Editors that know TOML complete and underline by the file that the first line names: "
    "`romtool schema json -o profile.schema.json` makes it, in the folder of this one.",
)


_QUOTES = re.compile('"')
"""Signs in which a meaning and what a key takes differ only."""


def starter_text(
    catalog: Catalog,
    layout: ImageLayout,
    part: Part | None,
    *,
    wiring: Wiring = MappingProxyType({}),
    config: Mapping[str, Any] = MappingProxyType({}),
    without: Collection[str] = (),
) -> str:
    """Return a profile of the starter's card for a chip of this layout, with comments.

    `wiring`: the board's, by bus; `config`: other settings that are not typical; `without`:
    functions that the board doesn't have. Raises InputError where it doesn't fit the part; without
    one, a comment names the smallest that holds it.
    """
    wanted = without_functions(catalog.starter, without)
    starter, wired = fitted(catalog, wanted, layout, wiring)
    writer = _Writer(catalog, layout, starter, {**config, **wired})
    if part is not None:
        text = writer.text(part, stated=True)
        built(catalog, parse_toml(text))
        return text
    smallest = next(iter(catalog.parts.values()))
    text = writer.text(smallest, stated=False)
    size = len(built(catalog, parse_toml(text)).data)
    return writer.text(catalog.parts_of(size)[0], stated=False)


class _Writer:
    """Writes tables key by key; what a key means stands where it comes first."""

    def __init__(
        self,
        catalog: Catalog,
        layout: ImageLayout,
        starter: Starter,
        config: Mapping[str, Any],
    ) -> None:
        self.catalog = catalog
        self.layout = layout
        self.starter = starter
        self.config = config
        self.told: set[str] = set()

    def text(self, part: Part, *, stated: bool) -> str:
        """Return the profile with this part: `stated`, or in a comment."""
        self.told.clear()
        lines = [EDITOR_LINE, "", *self._heading(), "", *self._image(part, stated)]
        lines += [*self._config(), "", *self._card()]
        for device in self.starter.devices:
            lines += ["", *self._device(device)]
        return "\n".join(lines) + "\n"

    def _heading(self) -> Iterator[str]:
        yield from comment(f"{self.starter.title}: {self.starter.text} ({self.starter.source}).")
        for hint in HINTS:
            yield "#"
            yield from comment(hint.format(expect=self.starter.expect))

    def _image(self, part: Part, stated: bool) -> Iterator[str]:
        catalog, layout = self.catalog, self.layout
        keys = catalog.tables["image"].keys
        yield from comment(catalog.tables["image"].text)
        yield "[image]"
        yield ""
        yield from _remark(keys["layout"].text, one_of(list(catalog.layouts)))
        yield from comment(f"{layout.name}: {layout.title} ({layout.source})")
        yield f"layout = {scalar(layout.name)}"
        yield ""
        yield from _remark(keys["part"].text, one_of(list(catalog.parts)))
        yield _setting("part", part.name, stated=stated)
        yield ""
        byte = Number(bits=8, unit=1, form="hex", none=None, zero_means=None)
        yield from _remark(keys["fill"].text, byte.takes())
        yield _setting("fill", layout.fill, byte, stated=False)

    def _config(self) -> Iterator[str]:
        """Yield the configuration: what is the board's own is stated, such as its wiring."""
        if not self.layout.config_fields:
            return
        yield ""
        yield from comment(self.catalog.tables["profile"].keys["config"].text)
        yield "[config]"
        for field in self.layout.config_fields:
            yield ""
            yield from _remark(_meaning(field), field.kind.takes())
            value = self.config.get(field.key, field.default)
            yield _setting(field.key, value, field.kind, stated=field.key in self.config)

    def _card(self) -> Iterator[str]:
        yield from comment(self.catalog.tables["card"].text)
        yield "[card]"
        yield from self._table("card", self.starter.card)

    def _device(self, device: StarterTable) -> Iterator[str]:
        yield from comment(device.text)
        yield "[[device]]"
        yield from self._table("device", device.keys)
        for choice in device.choices:
            yield ""
            if "choice" not in self.told:
                yield from comment(self.catalog.tables["device"].keys["choice"].text)
            yield from comment(choice.text)
            yield "[[device.choice]]"
            yield from self._table("choice", choice.keys)

    def _table(self, table: str, values: Mapping[str, Any]) -> Iterator[str]:
        """Yield the keys of a table: those stated, and in the first one those at a default."""
        first = table not in self.told
        for key in self.catalog.tables[table].keys.values():
            field = self.catalog.field(key.field) if key.field else None
            if key.name == RESOURCES and RESOURCES in values:
                yield from self._resources(key, values[RESOURCES])
            elif field is not None and key.name in values:
                yield from self._meant(table, key, field)
                yield _setting(key.name, values[key.name], field.kind)
            elif field is not None and first and _has_default(field):
                yield from self._meant(table, key, field)
                yield _setting(key.name, field.default, field.kind, stated=False)
        self.told.add(table)

    def _meant(self, table: str, key: KeySpec, field: Field) -> Iterator[str]:
        """Yield what a key means, where it comes first."""
        name = f"{table}.{key.name}"
        if name not in self.told:
            self.told.add(name)
            takes = field.kind.takes()
            yield ""
            yield from _remark(
                key.text or field.text, f"a list, each {takes}" if key.type == "list" else takes
            )

    def _resources(self, key: KeySpec, entries: list[dict[str, Any]]) -> Iterator[str]:
        if key.name not in self.told:
            self.told.add(key.name)
            yield ""
            yield from comment(key.text)
        yield f"{key.name} = ["
        for entry in entries:
            head = next(one for one in entry if one in self.catalog.entries)
            if head not in self.told:
                self.told.add(head)
                yield from _entry_remarks(self.catalog.entries[head][0])
            yield f"  {entry_text(self.catalog, entry)},"
        yield "]"


def _entry_remarks(record: DescriptorType) -> Iterator[str]:
    """Yield what an entry of a list of resources means, and each key that may stand beside it."""
    head, *others = record.profile_fields
    yield from _remark(f"{head.key}: {head.text}", head.kind.takes(), indent="  # ")
    for field in others:
        words = f"{field.key}: {field.text or field.title}"
        if _has_default(field):
            words += f"; left out: {scalar(field.default, field.kind)}"
        yield from _remark(words, field.kind.takes(), indent="  #   ")


def _has_default(field: Field) -> bool:
    return field.default is not MISSING and field.default is not None


def _meaning(field: Field) -> str:
    return f"{field.title}: {field.text}" if field.text else field.title


def _remark(words: str, takes: str, indent: str = "# ") -> Iterator[str]:
    """Yield what a key means, and what it takes where that isn't said, as lines of comment."""
    said = _QUOTES.sub("", takes) in _QUOTES.sub("", words)
    yield from textwrap.wrap(
        words if said else f"{words} ({takes})",
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent if indent == "# " else indent + "  ",
        break_on_hyphens=False,
    )


def _setting(key: str, value: Any, kind: AnyKind | None = None, *, stated: bool = True) -> str:
    return f"{'' if stated else '#'}{key} = {scalar(value, kind)}"
