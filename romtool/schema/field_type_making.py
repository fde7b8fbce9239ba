"""Kinds made from a field's table in a schema file; what can't be is refused here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from romtool.errors import InvalidValue
from romtool.schema.checksums import Checksum
from romtool.schema.image_layouts import REGIONS
from romtool.schema.field_types import (
    Check,
    Choice,
    Constant,
    Count,
    Flag,
    Flags,
    Hex,
    FieldType,
    Lines,
    Number,
    Pins,
    Range,
    Reserved,
    CompressedAscii,
    CompressedAsciiCode,
    Text,
    whole_number,
)
from romtool.schema.numbers import one_of, parse_hex
from romtool.schema.tables import describe

Raw = Mapping[str, Any]


class FieldTypeMaker:
    """Makes the kind of a field; it knows the checksums and spellings that a field can name."""

    def __init__(
        self, checksums: Mapping[str, Checksum], spellings: Mapping[str, CompressedAsciiCode]
    ) -> None:
        self.checksums = checksums
        self.spellings = spellings
        self.makers: dict[str, Callable[[Raw, int], FieldType]] = {
            "number": self._number,
            "range": self._range,
            "flag": self._flag,
            "choice": self._choice,
            "flags": self._flags,
            "lines": self._lines,
            "pins": self._pins,
            "spelled": self._spelled,
            "text": self._text,
            "hex": lambda raw, bits: Hex(bits=bits),
            "constant": lambda raw, bits: Constant(bits=bits, value=_constant(raw["value"], bits)),
            "reserved": lambda raw, bits: Reserved(bits=bits),
            "count": self._count,
            "checksum": self._check,
        }

    def kind(self, raw: Raw, bits: int) -> FieldType:
        """Return the kind of a field `bits` wide (0: to the end); raises InvalidValue, or KeyError for a
        key that its type needs.
        """
        return self.makers[raw["type"]](raw, bits)

    def _number(self, raw: Raw, bits: int) -> FieldType:
        return Number(
            bits=bits,
            unit=whole_number(raw.get("unit", 1)),
            form=raw.get("show", "decimal"),
            none=_optional_number(raw.get("none")),
            zero_means=_optional_number(raw.get("zero_means")),
        )

    def _range(self, raw: Raw, bits: int) -> FieldType:
        unit, form = whole_number(raw.get("unit", 1)), raw.get("show", "decimal")
        return Range(bits=bits, unit=unit, form=form, single=raw.get("single", False))

    def _flag(self, raw: Raw, bits: int) -> FieldType:
        if bits != 1:
            raise InvalidValue(f"a flag is one bit, not {bits}", 'write bits = "7" or the like')
        return Flag(bits=bits)

    def _choice(self, raw: Raw, bits: int) -> FieldType:
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
        return Choice(bits=bits, names=names, numbers=raw.get("numbers", False))

    def _flags(self, raw: Raw, bits: int) -> FieldType:
        names = raw["names"]
        if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
            raise InvalidValue(
                "names: flags have a list of names", 'write names = ["byte", "word"]'
            )
        if len(names) != bits:
            raise InvalidValue(
                f"names: {len(names)} names for {bits} bits", "one name a bit, bit 0 first"
            )
        return Flags(bits=bits, names=tuple(names))

    def _lines(self, raw: Raw, bits: int) -> FieldType:
        return Lines(bits=bits, first=raw["first"], form=raw.get("show", "decimal"))

    def _pins(self, raw: Raw, bits: int) -> FieldType:
        pin_bits = raw.get("pin_bits", 4)
        if bits % pin_bits:
            hint = "give the rest of the bits to a field of their own"
            raise InvalidValue(f"{bits} bits are no whole number of {pin_bits}-bit pins", hint)
        unconnected = raw["unconnected"]
        if unconnected >= 1 << pin_bits:
            raise InvalidValue(
                f"unconnected: {unconnected} doesn't fit {pin_bits} bits a pin", "0 or 4"
            )
        return Pins(bits=bits, bus=raw["bus"], unconnected=unconnected, pin_bits=pin_bits)

    def _spelled(self, raw: Raw, bits: int) -> FieldType:
        spelling = self.spellings.get(raw["spelling"])
        if spelling is None or spelling.bits != bits:
            known = [f"{s.name} ({s.bits} bits)" for s in self.spellings.values()]
            hint = f"known are {one_of(known)}"
            raise InvalidValue(f"no spelling of {bits} bits is called {raw['spelling']}", hint)
        return CompressedAscii(bits=bits, spelling=spelling)

    def _text(self, raw: Raw, bits: int) -> FieldType:
        if bits:
            raise InvalidValue(
                "a text runs to the end of its item", 'write bytes = "rest", or type hex'
            )
        return Text(bits=bits, encoding=raw["encoding"])

    def _count(self, raw: Raw, bits: int) -> FieldType:
        accepts = raw.get("accepts", {})
        for name, words in [("counts", raw["counts"]), *accepts.items()]:
            hint = f"it takes a list of {' and '.join(REGIONS)}"
            if not isinstance(words, list) or not words:
                raise InvalidValue(f"{name}: {describe(words)} can't be counted", hint)
            for word in words:
                if word not in REGIONS:
                    raise InvalidValue(f"{name}: {describe(word)} can't be counted", hint)
        ways = {name: tuple(words) for name, words in accepts.items()}
        return Count(bits=bits, counts=tuple(raw["counts"]), accepts=ways)

    def _check(self, raw: Raw, bits: int) -> FieldType:
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
        return Check(
            bits=bits,
            form="hex",
            checksum=checksum,
            covers=covers,
            unchecked=raw.get("unchecked"),
            left_out=raw.get("left_out"),
        )


def _covers(text: str, at: int) -> tuple[int, int]:
    first, _, last = text.partition("-")
    last = last or first
    if not (first + last).isascii() or not (first.isdigit() and last.isdigit()):
        raise InvalidValue(f'covers: "{text}" is not like "0-10"', "the first and the last byte")
    if not int(first) <= int(last) < at:
        hint = f'write covers = "0-{at - 1}" for all of them'
        raise InvalidValue("a checksum covers bytes that stand before it", hint)
    return int(first), int(last)


def _optional_number(value: int | str | None) -> int | None:
    return None if value is None else whole_number(value)


def _constant(value: Any, bits: int) -> bytes | int:
    if isinstance(value, str):
        data = parse_hex(value)
        if len(data) * 8 != bits:
            hint = f"write bytes = {len(data)}, or fix the value"
            raise InvalidValue(f"value: {len(data)} bytes, but the field has {bits} bits", hint)
        return data
    if isinstance(value, bool) or not isinstance(value, int):
        raise InvalidValue("value: a constant is bytes or a number", 'write value = "55 BB"')
    if not 0 <= value < 1 << bits:
        raise InvalidValue(f"value: {value} doesn't fit {bits} bits", 'write bytes as "55 BB"')
    return value
