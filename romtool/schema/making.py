"""Fields made from their tables in a schema file: place, kind, default."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from romtool.errors import Problem, Path, InputError, InvalidValue
from romtool.schema.checksums import Checksum
from romtool.schema.fields import MISSING, Field
from romtool.schema.field_type_making import FieldTypeMaker
from romtool.schema.field_types import CompressedAsciiCode, whole_number
from romtool.schema.field_layouts import layout_of
from romtool.schema.numbers import one_of
from romtool.schema.tables import KeySpec

KEY = re.compile(r"[a-z][a-z0-9_]*")
"""What a field's key looks like: it stands bare in profiles."""


class Block(NamedTuple):
    """Fields that several layouts share: the file and the place of the table, and the table."""

    file: str
    path: Path
    raw: Mapping[str, Any]


class FieldMaker:
    """Makes fields; it knows the blocks, checksums and spellings that they can name.

    `keys` describes the keys of a field: what each means, and for which types it is.
    """

    def __init__(
        self,
        blocks: Mapping[str, Block],
        checksums: Mapping[str, Checksum],
        spellings: Mapping[str, CompressedAsciiCode],
        keys: Mapping[str, KeySpec],
    ) -> None:
        self.blocks = blocks
        self.spellings = spellings
        self.keys = keys
        self.kinds = FieldTypeMaker(checksums, spellings)

    def fields(self, raws: Sequence[dict[str, Any]], path: Path, source: str) -> Iterator[Field]:
        """Yield the fields of these tables at `path`; raises InputError at the first fault."""
        for index, raw in enumerate(raws):
            place = (*path, index)
            if "use" in raw:
                yield from self._block(raw, place)
            else:
                yield self._field(raw, place, raw.get("source", source))

    def _block(self, raw: Mapping[str, Any], path: Path) -> Iterator[Field]:
        if raw["use"] not in self.blocks:
            hint = f"known are {one_of(list(self.blocks))}" if self.blocks else ""
            raise InputError([Problem(f"no block is called {raw['use']}", hint, (*path, "use"))])
        block, block_path = self.blocks[raw["use"]].raw, self.blocks[raw["use"]].path
        if raw.get("bytes", 1) != block["size"]:
            message = f"block {block['name']} has {block['size']} bytes"
            raise InputError([Problem(message, f"write bytes = {block['size']}", path)])
        try:
            inner = list(self.fields(block["field"], (*block_path, "field"), block["source"]))
            layout_of(inner, block["size"], block_path)
        except InputError as refused:
            raise refused.in_file(self.blocks[raw["use"]].file) from None
        for field in inner:
            yield _moved(field, raw["at"], path)

    def _field(self, raw: Mapping[str, Any], path: Path, source: str) -> Field:
        if "type" not in raw:
            raise InputError([Problem("the field has no type", "or write use = a block", path)])
        for name in raw:
            if self.keys[name].only and raw["type"] not in self.keys[name].only:
                message = f"{name} means nothing for a field of type {raw['type']}"
                hint = f"{self.keys[name].text}; leave it out"
                raise InputError([Problem(message, hint, (*path, name), on_key=True)])
        size = raw.get("bytes", 1)
        if size != "rest" and (isinstance(size, bool) or not isinstance(size, int) or size < 1):
            hint = 'a number of bytes, or "rest"'
            raise InputError([Problem(f"bytes: {size} is not a size", hint, (*path, "bytes"))])
        low, bits = 0, 0 if size == "rest" else size * 8
        if "bits" in raw:
            low, bits = _bits(raw["bits"], (*path, "bits"), bits)
        reserved = raw["type"] == "reserved"
        if "key" not in raw and not reserved:
            raise InputError([Problem("the field has no key", "its name in profiles", path)])
        key = raw.get("key", f"reserved_{raw['at']}_{low}")
        if not KEY.fullmatch(key):
            hint = "lower-case letters, digits and _, a letter first: it is a key of profiles"
            raise InputError([Problem(f'key: "{key}" is not a key', hint, (*path, "key"))])
        try:
            kind = self.kinds.kind(raw, bits)
            default = raw.get("default", None if raw.get("none") is not None else MISSING)
            if reserved:
                default = 0
            if default is not MISSING:
                kind.to_stored(default)
        except InvalidValue as wrong:
            hint = wrong.hint or "fix its default"
            raise InputError([Problem(f"{key}: {wrong.message}", hint, path)]) from None
        except KeyError as missing:
            message = f"a field of type {raw['type']} needs {missing.args[0]}"
            hint = self.keys[missing.args[0]].text
            raise InputError([Problem(f"{key}: {message}", hint, path)]) from None
        return Field(
            key=key,
            title=raw.get("title", key.replace("_", " ")),
            text=raw.get("text", ""),
            source=source,
            kind=kind,
            at=raw["at"],
            size=None if size == "rest" else size,
            min_size=raw.get("min_bytes"),
            low=low,
            endian=self._endian(raw),
            default=default,
            optional=raw.get("optional", False),
            absent=raw.get("absent"),
            absent_value=raw.get("absent_value"),
            at_least=raw.get("at_least", 0),
            phrase=raw.get("phrase"),
            phrase_always=raw.get("phrase_always", False),
            stated_with_range=raw.get("stated_with_range", False),
            length=raw.get("length"),
            align=raw.get("align"),
            unit_noun=raw.get("unit_noun"),
            disables=raw.get("disables"),
            off_value=whole_number(raw["off_value"]) if "off_value" in raw else None,
            path=path,
        )

    def _endian(self, raw: Mapping[str, Any]) -> str:
        spelling = self.spellings.get(raw.get("spelling", ""))
        return spelling.endian if spelling else raw.get("endian", "little")


def _moved(field: Field, by: int, path: Path) -> Field:
    return field.altered(at=field.at + by, path=path)


def _bits(text: str, path: Path, width: int) -> tuple[int, int]:
    """Return the lowest bit and the number of bits of `7` or `4:0`."""
    high, _, low = text.partition(":")
    low = low or high
    if (
        not (text.isascii() and high.isdigit() and low.isdigit())
        or not int(low) <= int(high) < width
    ):
        hint = f'write "7" or "4:0", the highest first, below {width}'
        raise InputError([Problem(f'bits: "{text}" is no range of bits', hint, path)])
    return int(low), int(high) - int(low) + 1
