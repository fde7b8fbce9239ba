"""Fields made from their tables in a schema file: place, kind, default."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from romtool.errors import Fault, Path, Refused, Wrong
from romtool.schema.checksums import Checksum
from romtool.schema.fields import MISSING, Field, layout_of
from romtool.schema.kinds import (
    Check,
    Choice,
    Constant,
    Count,
    Flag,
    Flags,
    Hex,
    Kind,
    Lines,
    Number,
    Pins,
    Range,
    Reserved,
    Spelled,
    Spelling,
    Text,
    whole_number,
)
from romtool.schema.numbers import parse_hex

KEY = re.compile(r"[a-z][a-z0-9_]*")
"""What a field's key looks like: it stands bare in profiles."""


@dataclass(frozen=True)
class Block:
    """Fields that several layouts share: the file and the place of the table, and the table."""

    file: str
    path: Path
    raw: Mapping[str, Any]


class FieldMaker:
    """Makes fields; it knows the blocks, checksums and spellings that they can name."""

    def __init__(
        self,
        blocks: Mapping[str, Block],
        checksums: Mapping[str, Checksum],
        spellings: Mapping[str, Spelling],
    ) -> None:
        self.blocks = blocks
        self.checksums = checksums
        self.spellings = spellings

    def fields(self, raws: Sequence[dict[str, Any]], path: Path, source: str) -> Iterator[Field]:
        """Yield the fields of these tables at `path`; raises Refused at the first fault."""
        for index, raw in enumerate(raws):
            place = (*path, index)
            if "use" in raw:
                yield from self._block(raw, place)
            else:
                yield self._field(raw, place, raw.get("source", source))

    def _block(self, raw: Mapping[str, Any], path: Path) -> Iterator[Field]:
        if raw["use"] not in self.blocks:
            raise Refused([Fault(f"no block is called {raw['use']}", "", (*path, "use"))])
        block, block_path = self.blocks[raw["use"]].raw, self.blocks[raw["use"]].path
        if raw.get("bytes", 1) != block["size"]:
            message = f"block {block['name']} has {block['size']} bytes"
            raise Refused([Fault(message, f"write bytes = {block['size']}", path)])
        try:
            inner = list(self.fields(block["field"], (*block_path, "field"), block["source"]))
            layout_of(inner, block["size"], block_path)
        except Refused as refused:
            raise refused.in_file(self.blocks[raw["use"]].file) from None
        for field in inner:
            yield _moved(field, raw["at"], path)

    def _field(self, raw: Mapping[str, Any], path: Path, source: str) -> Field:
        if "type" not in raw:
            raise Refused([Fault("the field has no type", "or write use = a block", path)])
        size = raw.get("bytes", 1)
        if size != "rest" and (isinstance(size, bool) or not isinstance(size, int) or size < 1):
            hint = 'a number of bytes, or "rest"'
            raise Refused([Fault(f"bytes: {size} is not a size", hint, (*path, "bytes"))])
        low, bits = 0, 0 if size == "rest" else size * 8
        if "bits" in raw:
            low, bits = _bits(raw["bits"], (*path, "bits"), bits)
        reserved = raw["type"] == "reserved"
        if "key" not in raw and not reserved:
            raise Refused([Fault("the field has no key", "its name in profiles", path)])
        key = raw.get("key", f"reserved_{raw['at']}_{low}")
        if not KEY.fullmatch(key):
            hint = "lower-case letters, digits and _, a letter first: it is a key of profiles"
            raise Refused([Fault(f'key: "{key}" is not a key', hint, (*path, "key"))])
        try:
            kind = self._kind(raw, bits)
            default = raw.get("default", None if raw.get("none") is not None else MISSING)
            if reserved:
                default = 0
            if default is not MISSING:
                kind.to_stored(default)
        except Wrong as wrong:
            raise Refused([Fault(f"{key}: {wrong.message}", wrong.hint, path)]) from None
        except KeyError as missing:
            message = f"a field of type {raw['type']} needs {missing.args[0]}"
            raise Refused([Fault(f"{key}: {message}", "", path)]) from None
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
            at_least=raw.get("at_least", 0),
            say=raw.get("say"),
            always=raw.get("always", False),
            stated_with_range=raw.get("stated_with_range", False),
            length=raw.get("length"),
            align=raw.get("align"),
            things=raw.get("things"),
            warn=raw.get("warn", False),
            path=path,
        )

    def _endian(self, raw: Mapping[str, Any]) -> str:
        spelling = self.spellings.get(raw.get("spelling", ""))
        return spelling.endian if spelling else raw.get("endian", "little")

    def _kind(self, raw: Mapping[str, Any], bits: int) -> Kind:
        unit = whole_number(raw.get("unit", 1))
        form = raw.get("show", "decimal")
        match raw["type"]:
            case "number":
                return Number(
                    bits=bits,
                    unit=unit,
                    form=form,
                    none=_optional_number(raw.get("none")),
                    zero_means=_optional_number(raw.get("zero_means")),
                )
            case "range":
                single = raw.get("single", False)
                return Range(bits=bits, unit=unit, form=form, single=single)
            case "flag":
                return Flag(bits=bits)
            case "choice":
                names = {int(stored): name for stored, name in raw["names"].items()}
                return Choice(bits=bits, names=names, numbers=raw.get("numbers", False))
            case "flags":
                return Flags(bits=bits, names=tuple(raw["names"]))
            case "lines":
                return Lines(bits=bits, first=raw["first"], form=form)
            case "pins":
                pin_bits = raw.get("pin_bits", 4)
                if bits % pin_bits:
                    raise Wrong(f"{bits} bits are no whole number of {pin_bits}-bit pins")
                return Pins(
                    bits=bits,
                    bus=raw["bus"],
                    unconnected=raw["unconnected"],
                    pin_bits=pin_bits,
                )
            case "spelled":
                spelling = self.spellings.get(raw["spelling"])
                if spelling is None or spelling.bits != bits:
                    raise Wrong(f"no spelling of {bits} bits is called {raw['spelling']}")
                return Spelled(bits=bits, spelling=spelling)
            case "text":
                return Text(bits=bits, encoding=raw["encoding"])
            case "hex":
                return Hex(bits=bits)
            case "constant":
                return Constant(bits=bits, value=_constant(raw["value"], bits))
            case "reserved":
                return Reserved(bits=bits)
            case "count":
                accepts = {k: tuple(v) for k, v in raw.get("accepts", {}).items()}
                return Count(bits=bits, counts=tuple(raw["counts"]), accepts=accepts)
            case _:
                return self._check(raw, bits)

    def _check(self, raw: Mapping[str, Any], bits: int) -> Check:
        checksum = self.checksums.get(raw["checksum"])
        if checksum is None:
            raise Wrong(f"no checksum is called {raw['checksum']}")
        if bits != 8:
            raise Wrong("a checksum takes one byte")
        covers = None
        if "covers" in raw:
            first, _, last = raw["covers"].partition("-")
            try:
                covers = int(first), int(last or first)
            except ValueError:
                raise Wrong(f'covers: "{raw["covers"]}" is not like "0-10"') from None
            if not covers[0] <= covers[1] < raw["at"]:
                raise Wrong("a checksum covers bytes that stand before it")
        return Check(
            bits=bits,
            form="hex",
            checksum=checksum,
            covers=covers,
            unchecked=raw.get("unchecked"),
        )


def _moved(field: Field, by: int, path: Path) -> Field:
    return replace(field, at=field.at + by, path=path)


def _optional_number(value: int | str | None) -> int | None:
    return None if value is None else whole_number(value)


def _constant(value: Any, bits: int) -> bytes | int:
    if isinstance(value, str):
        data = parse_hex(value)
        if len(data) * 8 != bits:
            raise Wrong(f"value: {len(data)} bytes, but the field has {bits} bits")
        return data
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 1 << bits:
        raise Wrong(f"value: {value} doesn't fit {bits} bits")
    return value


def _bits(text: str, path: Path, width: int) -> tuple[int, int]:
    """Return the lowest bit and the number of bits of `7` or `4:0`."""
    high, _, low = text.partition(":")
    low = low or high
    if not (high.isdigit() and low.isdigit()) or not int(low) <= int(high) < width:
        hint = f'write "7" or "4:0", the highest first, below {width}'
        raise Refused([Fault(f'bits: "{text}" is no range of bits', hint, path)])
    return int(low), int(high) - int(low) + 1
