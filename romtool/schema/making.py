"""Fields made from their tables in a schema file: place, type, default."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from romtool.errors import InputError, InvalidValue, Path, Problem
from romtool.schema.checksums import Checksum
from romtool.schema.described import Described, MissingKey, Specs, make
from romtool.schema.field_layouts import layout_of
from romtool.schema.field_types import TYPES, AnyKind, CompressedAsciiCode
from romtool.schema.fields import MISSING, Field
from romtool.schema.image_layouts import REGIONS
from romtool.schema.numbers import describe, one_of, parse_hex

Raw = Mapping[str, Any]
Given = dict[str, Any]

KEY = re.compile(r"[a-z][a-z0-9_]*")
"""What a field's key looks like: it stands bare in profiles."""


class Block(Described, fields="field"):
    """Fields that several layouts share: the tables of its fields, and their file and place."""

    name: str
    source: str
    size: int
    fields: tuple[dict[str, Any], ...]
    file: str
    path: Path


class FieldMaker:
    """Makes fields; it knows the blocks, checksums and spellings that they can name.

    `specs` describes the tables: what each key means, and for which types of fields it is.
    """

    def __init__(
        self,
        specs: Specs,
        blocks: Mapping[str, Block],
        checksums: Mapping[str, Checksum],
        spellings: Mapping[str, CompressedAsciiCode],
    ) -> None:
        self.specs = specs
        self.keys = specs["field"].keys
        self.blocks = blocks
        self.checksums = checksums
        self.spellings = spellings
        self.found: dict[str, Callable[[Raw, int], Given]] = {
            "flag": _flag,
            "choice": _choice,
            "flags": _flags,
            "pins": self._pins,
            "spelled": self._spelled,
            "text": _text,
            "constant": _constant,
            "count": self._count,
            "checksum": self._check,
        }
        """What of a type follows from several keys, or from other tables; raises InvalidValue."""

    def stated(self, raw: Raw, name: str) -> Any:
        """Return the value of a field's key, or its default."""
        return raw.get(name, self.keys[name].default)

    def fields(self, raws: Sequence[dict[str, Any]], path: Path, source: str) -> Iterator[Field]:
        """Yield the fields of these tables at `path`; raises InputError at the first fault."""
        for index, raw in enumerate(raws):
            place = (*path, index)
            if "use" in raw:
                yield from self._block(raw, place)
            else:
                yield self._field(raw, place, source)

    def _block(self, raw: Raw, path: Path) -> Iterator[Field]:
        block = self.blocks.get(raw["use"])
        if block is None:
            hint = f"known are {one_of(list(self.blocks))}" if self.blocks else ""
            raise InputError([Problem(f"no block is called {raw['use']}", hint, (*path, "use"))])
        if self.stated(raw, "bytes") != block.size:
            message = f"block {block.name} has {block.size} bytes"
            raise InputError([Problem(message, f"write bytes = {block.size}", path)])
        try:
            inner = list(self.fields(block.fields, (*block.path, "field"), block.source))
            layout_of(inner, block.size, block.path)
        except InputError as refused:
            raise refused.in_file(block.file) from None
        for field in inner:
            yield field.altered(at=field.at + raw["at"], path=path)

    def _field(self, raw: Raw, path: Path, source: str) -> Field:
        if "type" not in raw:
            raise InputError([Problem("the field has no type", "or write use = a block", path)])
        for name in raw:
            if self.keys[name].only and raw["type"] not in self.keys[name].only:
                message = f"{name} means nothing for a field of type {raw['type']}"
                hint = f"{self.keys[name].text}; leave it out"
                raise InputError([Problem(message, hint, (*path, name), on_key=True)])
        size = self.stated(raw, "bytes")
        if size != "rest" and (isinstance(size, bool) or not isinstance(size, int) or size < 1):
            hint = 'a number of bytes, or "rest"'
            raise InputError([Problem(f"bytes: {size} is not a size", hint, (*path, "bytes"))])
        low, bits = 0, 0 if size == "rest" else size * 8
        if "bits" in raw:
            low, bits = _bits(raw["bits"], (*path, "bits"), bits)
        cls = TYPES[raw["type"]]
        if "key" not in raw and not cls.is_reserved:
            raise InputError([Problem("the field has no key", "its name in profiles", path)])
        key = raw.get("key", f"reserved_{raw['at']}_{low}")
        if not KEY.fullmatch(key):
            hint = "lower-case letters, digits and _, a letter first: it is a key of profiles"
            raise InputError([Problem(f'key: "{key}" is not a key', hint, (*path, "key"))])
        try:
            kind = self._kind(cls, raw, bits)
            default = raw.get("default", None if "none" in raw else MISSING)
            if kind.is_reserved:
                default = 0
            if default is not MISSING:
                kind.to_stored(default)
        except InvalidValue as wrong:
            hint = wrong.hint or "fix its default"
            raise InputError([Problem(f"{key}: {wrong.message}", hint, path)]) from None
        except MissingKey as missing:
            name = missing.args[0]
            message = f"{key}: a field of type {raw['type']} needs {name}"
            raise InputError([Problem(message, self.keys[name].text, path)]) from None
        spelling = self.spellings.get(raw.get("spelling", ""))
        return make(
            Field,
            self.specs,
            "field",
            raw,
            source,
            key=key,
            title=raw.get("title", key.replace("_", " ")),
            kind=kind,
            size=None if size == "rest" else size,
            low=low,
            endian=spelling.endian if spelling else self.stated(raw, "endian"),
            default=default,
            path=path,
        )

    def _kind(self, cls: type[AnyKind], raw: Raw, bits: int) -> AnyKind:
        """Return what `bits` (0: to the end) hold; raises InvalidValue or MissingKey."""
        found = self.found.get(raw["type"])
        try:
            given = found(raw, bits) if found is not None else {}
        except KeyError as missing:
            raise MissingKey(*missing.args) from None
        return make(cls, self.specs, "field", raw, bits=bits, **given)

    def _pins(self, raw: Raw, bits: int) -> Given:
        pin_bits = self.stated(raw, "pin_bits")
        if bits % pin_bits:
            hint = "give the rest of the bits to a field of their own"
            raise InvalidValue(f"{bits} bits are no whole number of {pin_bits}-bit pins", hint)
        if raw["unconnected"] >= 1 << pin_bits:
            message = f"unconnected: {raw['unconnected']} doesn't fit {pin_bits} bits a pin"
            raise InvalidValue(message, "0 or 4")
        return {}

    def _spelled(self, raw: Raw, bits: int) -> Given:
        spelling = self.spellings.get(raw["spelling"])
        if spelling is None or spelling.bits != bits:
            known = [f"{s.name} ({s.bits} bits)" for s in self.spellings.values()]
            hint = f"known are {one_of(known)}"
            raise InvalidValue(f"no spelling of {bits} bits is called {raw['spelling']}", hint)
        return {"spelling": spelling}

    def _count(self, raw: Raw, bits: int) -> Given:
        ways = {"counts": raw["counts"], **self.stated(raw, "accepts")}
        hint = f"it takes a list of {' and '.join(REGIONS)}"
        for name, words in ways.items():
            if not isinstance(words, list) or not words:
                raise InvalidValue(f"{name}: {describe(words)} can't be counted", hint)
            for word in words:
                if word not in REGIONS:
                    raise InvalidValue(f"{name}: {describe(word)} can't be counted", hint)
        return {}

    def _check(self, raw: Raw, bits: int) -> Given:
        checksum = self.checksums.get(raw["checksum"])
        if checksum is None:
            hint = f"known are {one_of(list(self.checksums))}"
            raise InvalidValue(f"no checksum is called {raw['checksum']}", hint)
        if bits != 8:
            raise InvalidValue("a checksum takes one byte", "write bytes = 1, or leave bytes out")
        covers = _covers(raw["covers"], raw["at"]) if "covers" in raw else None
        if covers is None and not raw["at"] and "unchecked" not in raw:
            raise InvalidValue(
                "a checksum in the first byte covers nothing", "it covers what is before it"
            )
        return {"form": "hex", "checksum": checksum, "covers": covers}


def _flag(raw: Raw, bits: int) -> Given:
    if bits != 1:
        raise InvalidValue(f"a flag is one bit, not {bits}", 'write bits = "7" or the like')
    return {}


def _choice(raw: Raw, bits: int) -> Given:
    hint = 'write names = { 0 = "off", 1 = "on" }'
    if not isinstance(raw["names"], dict) or not raw["names"]:
        raise InvalidValue("names: a choice has a name for each value", hint)
    names: dict[int, str | int] = {}
    for word, name in raw["names"].items():
        stored = int(word) if word.isascii() and word.isdigit() else -1
        if not 0 <= stored < 1 << bits:
            raise InvalidValue(f"names: {word} is no value of {bits} bits", hint)
        if isinstance(name, bool) or not isinstance(name, str | int):
            raise InvalidValue(f"names: the name of {word} is no text", hint)
        names[stored] = name
    return {"names": names}


def _flags(raw: Raw, bits: int) -> Given:
    names = raw["names"]
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise InvalidValue("names: flags have a list of names", 'write names = ["byte", "word"]')
    if len(names) != bits:
        raise InvalidValue(
            f"names: {len(names)} names for {bits} bits", "one name a bit, bit 0 first"
        )
    return {}


def _text(raw: Raw, bits: int) -> Given:
    if bits:
        raise InvalidValue(
            "a text runs to the end of its item", 'write bytes = "rest", or type hex'
        )
    return {}


def _covers(text: str, at: int) -> tuple[int, int]:
    first, _, last = text.partition("-")
    last = last or first
    if not (first + last).isascii() or not (first.isdigit() and last.isdigit()):
        raise InvalidValue(f'covers: "{text}" is not like "0-10"', "the first and the last byte")
    if not int(first) <= int(last) < at:
        hint = f'write covers = "0-{at - 1}" for all of them'
        raise InvalidValue("a checksum covers bytes that stand before it", hint)
    return int(first), int(last)


def _constant(raw: Raw, bits: int) -> Given:
    value = raw["value"]
    if isinstance(value, str):
        data = parse_hex(value)
        if len(data) * 8 != bits:
            hint = f"write bytes = {len(data)}, or fix the value"
            raise InvalidValue(f"value: {len(data)} bytes, but the field has {bits} bits", hint)
        return {"value": data}
    if isinstance(value, bool) or not isinstance(value, int):
        raise InvalidValue("value: a constant is bytes or a number", 'write value = "55 BB"')
    if not 0 <= value < 1 << bits:
        raise InvalidValue(f"value: {value} doesn't fit {bits} bits", 'write bytes as "55 BB"')
    return {"value": value}


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
