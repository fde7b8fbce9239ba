"""How people write numbers and bytes, `544`, `0x220`, `"220h"`, `"55 BB"`; and words about such."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from romtool.errors import InvalidValue

_NUMBER = r"(?:0[xX](?P<x>[0-9A-Fa-f]+)|(?P<h>[0-9A-Fa-f]+)[hH]|(?P<d>[0-9]+))\Z"
LONGEST = 40
"""Characters of a number that is worth reading."""


def parse_number(text: str) -> int:
    """Read `544`, `0x220` or `220h`; raises InvalidValue for anything else."""
    found = re.match(_NUMBER, text.strip())
    if found is None:
        raise InvalidValue(f"{shorten(text)} is not a number", 'write 544, 0x220 or "220h"')
    if len(text) > LONGEST:
        raise InvalidValue(
            f"{shorten(text)} is too long a number", "no field is wider than 32 bits"
        )
    if found["d"] is not None:
        return int(found["d"])
    return int(found["x"] or found["h"], 16)


def spells_number(text: str) -> bool:
    """Whether a text is written as a number is, however large."""
    return re.match(_NUMBER, text.strip()) is not None


def address(value: int) -> str:
    """Return a number as the trade writes addresses: 220h."""
    return f"{value:X}h"


def parse_hex(text: str) -> bytes:
    """Read bytes written as hex digits, with or without white space; raises InvalidValue."""
    digits = "".join(text.split())
    try:
        return bytes.fromhex(digits)
    except ValueError:
        odd = len(digits) % 2 and not re.search(r"[^0-9A-Fa-f]", digits)
        what = "an odd number of hex digits" if odd else "not bytes in hex digits"
        raise InvalidValue(f"{shorten(text)} is {what}", 'write bytes as "55 BB 00"') from None


def hex_text(data: bytes) -> str:
    """Return bytes as `55 BB 00`."""
    return data.hex(" ").upper()


def shorten(text: str, limit: int = 40) -> str:
    """Quote a text for a message, cut where it is long."""
    return f'"{clip(text, limit)}"'


def clip(text: str, limit: int = 40) -> str:
    """Return a text for a message, cut where it is long."""
    return text if len(text) <= limit else f"{text[: limit - 1]}…"


def describe(value: Any) -> str:
    """Say what a TOML value is, for a message."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return shorten(value)
    if isinstance(value, list):
        return "a list"
    if isinstance(value, dict):
        return "a table"
    return clip(str(value))


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return the hint with the nearest known word, nothing where none is near."""
    import difflib

    near = difflib.get_close_matches(word, list(known), n=1)
    return f"did you mean {near[0]}?" if near else ""


def sizes(count: int) -> str:
    """Return a number of bytes in the largest unit that keeps it whole: 128 KiB."""
    for unit, name in ((1 << 20, "MiB"), (1 << 10, "KiB")):
        if count and count % unit == 0:
            return f"{count // unit} {name}"
    return f"{count} byte{'' if count == 1 else 's'}"


def one_of(words: list[str]) -> str:
    """Join choices the way one says them: 5, 7 or 9."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def all_of(words: list[str]) -> str:
    """Join what goes together the way one says it: 5, 7 and 9."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
