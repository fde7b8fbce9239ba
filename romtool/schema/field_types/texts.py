"""Texts and bytes: characters, packed spellings, hex digits, what is constant or reserved."""

from __future__ import annotations

import functools
import re
from typing import Any

from romtool.errors import InvalidValue
from romtool.schema.described import Described
from romtool.schema.field_types.base import FieldType, NotRepresentable, SizeOf, no_region
from romtool.schema.numbers import describe, hex_text, parse_hex, shorten


class Group(Described):
    """Some characters of a spelled text: all of one alphabet and width."""

    count: int
    bits: int
    alphabet: str
    before: str


class CompressedAsciiCode(Described, groups="group"):
    """A text packed into bits, highest bits first; `unused` highest bits are 0."""

    name: str
    title: str
    bits: int
    unused: int
    usual: str
    endian: str
    groups: tuple[Group, ...]
    generic: str | None

    def is_usual(self, text: str) -> bool:
        """Whether a text is spelt as it usually is."""
        return re.fullmatch(self.usual, text) is not None

    def is_generic(self, text: str) -> bool:
        """Whether a text is one of the published generic ones."""
        return self.generic is not None and text.startswith(self.generic)

    def characters(self) -> list[tuple[str, int, str]]:
        """Return what stands before each character, its width in bits, and its alphabet."""
        return [
            (group.before if index == 0 else "", group.bits, group.alphabet)
            for group in self.groups
            for index in range(group.count)
        ]

    @functools.cached_property
    def places(self) -> list[tuple[int, int, list[str]]]:
        """Where each character is packed (shift and mask), and what its codes stand for."""
        found, left = [], self.bits - self.unused
        for before, bits, alphabet in self.characters():
            left -= bits
            found.append((left, (1 << bits) - 1, [before + char for char in alphabet]))
        return found

    @functools.cached_property
    def marked(self) -> dict[str, str]:
        """How the first character is written where the one unused bit is set, by what it is else.

        In lower case, as software of the field prints it; left out is what doesn't print so.
        """
        first = self.groups[0].alphabet if self.unused == 1 and not self.groups[0].before else ""
        moved = {char: chr(ord(char) + LOWER_CASE) for char in first}
        return {char: mark for char, mark in moved.items() if mark.isascii() and mark.isprintable()}


LOWER_CASE = 0x20
"""How far a letter in lower case lies behind its capital in ASCII."""


class CompressedAscii(FieldType[int, str]):
    """A short text packed into bits, such as a vendor's letters and a product's digits."""

    spelling: CompressedAsciiCode

    def to_value(self, stored: int) -> str:
        places = self.spelling.places
        try:
            text = "".join([chars[stored >> shift & mask] for shift, mask, chars in places])
        except IndexError:
            codes = ((stored >> shift & mask, chars) for shift, mask, chars in places)
            code = next(code for code, chars in codes if code >= len(chars))
            raise NotRepresentable(f"character code {code} has no meaning") from None
        if not stored >> self.bits - self.spelling.unused:
            return text
        if text[0] not in self.spelling.marked:
            raise NotRepresentable("a bit is set that no character uses")
        return self.spelling.marked[text[0]] + text[1:]

    def is_marked(self, stored: int) -> bool:
        """Whether a bit is set that no character uses."""
        return bool(stored >> self.bits - self.spelling.unused)

    def to_stored(self, value: object) -> int:
        problem = InvalidValue(f"{describe(value)} is not {self.spelling.title}")
        if isinstance(value, bytes):
            return int.from_bytes(value, "big")
        if not isinstance(value, str) or not value.isascii():
            raise problem
        stored = place = 0
        # An ID in lower case throughout is one that somebody typed so.
        lower = value[: self.spelling.groups[0].count]
        unmarked = {mark: char for char, mark in self.spelling.marked.items()}
        if value[:1] in unmarked and lower[1:] == lower[1:].upper():
            stored, value = 1, unmarked[value[0]] + value[1:]
        for before, bits, alphabet in self.spelling.characters():
            if not value.startswith(before, place):
                raise problem
            place += len(before)
            code = alphabet.find(value[place : place + 1].upper()) if place < len(value) else -1
            if code < 0:
                raise problem
            stored = stored << bits | code
            place += 1
        if place != len(value):
            raise problem
        return stored

    def takes(self) -> str:
        return self.spelling.title

    def json_schema(self) -> dict[str, Any]:
        pattern, length = "", 0
        for before, _, alphabet in self.spelling.characters():
            either = dict.fromkeys(alphabet + alphabet.lower())
            if not length:
                either |= dict.fromkeys(self.spelling.marked.values())
            pattern += re.escape(before) + f"[{''.join(re.escape(char) for char in either)}]"
            length += len(before) + 1
        # The length keeps a line end out, which `$` alone would let pass.
        return {"type": "string", "pattern": f"^{pattern}$", "maxLength": length}


class Text(FieldType[bytes, str]):
    """Characters to the end of the item."""

    encoding: str
    is_bytes = True

    def to_value(self, stored: bytes) -> str:
        try:
            text = bytes(stored).decode(self.encoding)
        except UnicodeDecodeError:
            raise NotRepresentable(f"bytes that are not {self.encoding}") from None
        if not self._plain(text):
            raise NotRepresentable("characters that can't be printed")
        return text

    def _plain(self, text: str) -> bool:
        return text.isprintable() and (text.isascii() or self.encoding != "ascii")

    def to_stored(self, value: object) -> bytes:
        if not isinstance(value, str):
            raise InvalidValue(f"{describe(value)} is not a text", "put it in quotes")
        for place, char in enumerate(value, 1):
            if not self._plain(char):
                raise InvalidValue(
                    f"{shorten(value)}: character {place} ({char!r}) is not printable"
                    + (" ASCII" if self.encoding == "ascii" else ""),
                    "use letters, digits, spaces and the signs of a plain keyboard"
                    if self.encoding == "ascii"
                    else "leave control characters out",
                )
        return value.encode(self.encoding, "surrogatepass")

    def takes(self) -> str:
        return "printable ASCII" if self.encoding == "ascii" else "a text"

    def json_schema(self) -> dict[str, Any]:
        wrong = "[^ -~]" if self.encoding == "ascii" else r"[\x00-\x1F\x7F-\x9F]"
        return {"type": "string", "not": {"pattern": wrong}}

    def json_limits(self, least: int, most: int) -> dict[str, Any]:
        return {"maxLength": most} if self.encoding == "ascii" else {}


MOST_COUNTED = 255
"""The most bytes that a pattern counts: editors' patterns count no further."""


def hex_schema(least: int = 0, most: int | None = None) -> dict[str, Any]:
    """Return the JSON Schema of `least` to `most` bytes in hex digits, white space between."""
    end = most if most is not None and most <= MOST_COUNTED else ""
    byte = r"[0-9A-Fa-f]\s*[0-9A-Fa-f]\s*"
    return {"type": "string", "pattern": rf"^\s*({byte}){{{least},{end}}}$"}


def bits_schema(mask: bytes) -> dict[str, Any]:
    """Return the JSON Schema of bytes in hex digits that have no bits but those of a mask."""
    pattern = ""
    for nibble in mask.hex():
        digits = [f"{digit:X}" for digit in range(16) if not digit & ~int(nibble, 16)]
        pattern += f"[{''.join(dict.fromkeys(''.join(digits) + ''.join(digits).lower()))}]\\s*"
    return {"type": "string", "pattern": rf"^\s*{pattern}$"}


def bytes_of(value: object, bits: int) -> bytes:
    """Return bytes written as hex digits, of a field so wide (0: any); raises InvalidValue."""
    if not isinstance(value, str):
        raise InvalidValue(f"{describe(value)} is not bytes in hex digits", 'write "55 BB 00"')
    data = parse_hex(value)
    if bits and len(data) * 8 != bits:
        raise InvalidValue(f"{bits // 8} bytes belong here, {len(data)} given")
    return data


class Hex(FieldType[bytes, str]):
    """Bytes as they are."""

    is_bytes = True

    def to_value(self, stored: bytes) -> str:
        return hex_text(stored)

    def to_stored(self, value: object) -> bytes:
        return bytes_of(value, self.bits)

    def takes(self) -> str:
        return (f"{self.bits // 8} bytes" if self.bits else "bytes") + " in hex digits"

    def json_schema(self) -> dict[str, Any]:
        return hex_schema(self.bits // 8, self.bits // 8) if self.bits else hex_schema()

    def json_limits(self, least: int, most: int) -> dict[str, Any]:
        return hex_schema(least, most)


class Constant(FieldType[bytes | int, str | int]):
    """Bytes, or bits of one, that are always the same."""

    value: bytes | int
    is_constant = True
    is_computed = True

    @property
    def is_bytes(self) -> bool:  # type: ignore[override]
        """Whether whole bytes are fixed, not bits of one."""
        return isinstance(self.value, bytes)

    def expected(self, at: int, data: bytes, size_of: SizeOf = no_region) -> bytes | int:
        return self.value

    def to_value(self, stored: bytes | int) -> str | int:
        return hex_text(stored) if isinstance(stored, bytes) else stored

    def to_stored(self, value: object) -> bytes:
        return bytes_of(value, self.bits)

    def takes(self) -> str:
        return f"{self.bits // 8} bytes in hex digits"

    def json_schema(self) -> dict[str, Any]:
        return hex_schema(self.bits // 8, self.bits // 8)


class Reserved(FieldType[int, int]):
    """Bits that are 0; an item in which they are not stays raw."""

    is_reserved = True

    def to_value(self, stored: int) -> int:
        if stored:
            raise NotRepresentable("a reserved bit is set")
        return 0

    def to_stored(self, value: object) -> int:
        return 0
