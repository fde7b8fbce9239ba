"""Listings: bytes in digits to look at, as `xxd`, `hexdump -C`, `od -A x -t x1` and C write them.

Three forms. Rows with addresses: `00000010: 464c 0301  FL..`; the colon and the column of letters
may be missing, `*` after a row repeats it up to the next address, an address alone is the end.
Addresses may be octal, as `od` writes them, and groups turned round, as `xxd -e` does: where the
addresses and the letters say so all the way. Rows of bare hex digits. Numbers in a C array. Common
practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from itertools import islice
from typing import NamedTuple

from romtool.errors import InputError
from romtool.formats import MAX_IMAGE
from romtool.formats.contents import Contents, numbered, refuse_above, refuse_line
from romtool.schema.numbers import LONGEST, clip, shorten

FEWEST = 8
"""Bytes that a text must have to be taken for a listing."""

_LONGEST_ROW = 1024
"""Characters of a row in which its column of letters begins: 256 bytes, with spaces between."""

_PAIRS = r"(?:[0-9A-Fa-f]{2})+"
_GROUPS = rf"{_PAIRS}(?: +{_PAIRS})*"
_ADDRESS = re.compile(r"([0-9A-Fa-f]{1,8})(:?)(?:\s+|(?<=:)|$)(.*)")
_ROW = re.compile(rf"[0-9A-Fa-f]{{1,8}}(?::\s*|\s+){_GROUPS}(?:\s*[|>].*|\s\s.*|\s*$)")
_SECOND = re.compile(rf"[0-9A-Fa-f]{{1,8}}(?::\s*|\s+){_PAIRS}\b|\*$|[0-9A-Fa-f]{{3,8}}:?$")
"""What comes after a first row: another, perhaps with a fault; `*`; or the end."""

_WORDS = re.compile(rf"[0-9A-Fa-f]{{6,7}}\s+(?=\S{{3}}){_GROUPS}")
"""A row of 16-bit words, which `hexdump` and `od` list in the byte order of their machine."""

_BITS = re.compile(r"[01]{8}(?: [01]{8})*")
"""Bytes in binary digits, as `xxd -b` lists them."""

_OCTAL = re.compile("[0-7]{7}")
"""An octal address, as `od` writes it; its hex ones have six digits."""

_BY_BYTE = "list it byte by byte: `hexdump -C`, `od -A x -t x1` or `xxd`"

_BARE = re.compile(rf"{_PAIRS}(?:[\s,]+{_PAIRS})*,?$")


def recognises(text: str) -> bool:
    """Whether a text is a listing: its first two rows, or the only one, and at least 8 bytes."""
    code = _code(text)
    array = _opening(code)
    if array is not None:
        return len(list(islice(_NUMBER.finditer(code, array.end()), FEWEST))) == FEWEST
    lines = [line.expandtabs() for _, line in numbered(text)]
    if not lines:
        return False
    if _has_addresses(lines):
        if not _ROW.match(lines[0]) or not all(map(_SECOND.match, lines[1:2])):
            return False
        return _enough(_ADDRESS.sub(r"\3", line) for line in lines if _ROW.match(line))
    return all(map(_BARE.match, lines[:2])) and _enough(filter(_BARE.match, lines))


def _enough(rows: Iterable[str]) -> bool:
    """Whether rows that begin with pairs of hex digits have as many bytes as a listing must."""
    total = 0
    for row in rows:
        found = re.match(rf"{_PAIRS}(?:[\s,]+{_PAIRS})*", row)
        total += len(re.sub(r"[\s,]", "", found[0])) // 2 if found else 0
        if total >= FEWEST:
            return True
    return False


def _has_addresses(lines: list[str]) -> bool:
    """Whether rows begin with an address: it has a colon, or is wider than what follows it."""
    found = re.match(r"([0-9A-Fa-f]{1,8})(:?)(?:\s+([0-9A-Fa-f]+))?", lines[0])
    return found is not None and (bool(found[2]) or len(found[1]) > len(found[3] or found[1]))


def read(text: str) -> Contents:
    """Return the bytes of a listing; raises InputError at the first fault."""
    code = _code(text)
    opening = _opening(code)
    if opening is not None:
        return _read_array(code, opening)
    lines = [(number, line.expandtabs()) for number, line in numbered(text)]
    if not lines:
        raise refuse_line(1, "the file holds no data", "is this the right file?")
    if _has_addresses([line for _, line in lines]):
        return _read_rows(lines)
    data = b"".join(_bare(line, number) for number, line in lines)
    refuse_above(len(data) - 1, lines[-1][0])
    return Contents(data)


def _bare(line: str, number: int) -> bytes:
    if not _BARE.match(line):
        raise _no_pairs(number)
    return bytes.fromhex(re.sub(r"[\s,]+", "", line))


def _no_pairs(number: int) -> InputError:
    return refuse_line(number, "not pairs of hex digits", "the listing is damaged here")


# --- rows with addresses


class _Way(NamedTuple):
    """How rows are read: the base of their addresses, whether each group is turned round."""

    base: int = 16
    is_turned: bool = False


_WAYS = (_Way(), _Way(base=8), _Way(is_turned=True))
"""From the usual on; one counts only if it holds for every row."""


def _read_rows(lines: list[tuple[int, str]]) -> Contents:
    """Return the bytes of rows with addresses, read in the one way that holds for all of them."""
    found: dict[_Way, Contents] = {}
    refusals = []
    for way in _WAYS:
        if way.is_turned and found:
            break
        try:
            found[way] = _read_as(lines, way)
        except InputError as refused:
            refusals.append(refused)
    if not found:
        raise max(refusals, key=lambda refused: refused.problems[0].line or 0)  # the likeliest way
    first, *others = found.values()
    if any(other != first for other in others):
        message = "the addresses may be hex or octal, which makes another number of bytes"
        raise refuse_line(lines[-1][0], message, _BY_BYTE)
    return first


def _read_as(lines: list[tuple[int, str]], way: _Way) -> Contents:
    """Return the bytes of rows with addresses, read in one way."""
    start, data, row, repeats = -1, bytearray(), b"", 0
    for number, line in lines:
        if line == "*" and row and not repeats:
            repeats = number
            continue
        found = _ADDRESS.fullmatch(line)
        if found is None:
            message = "no row of a listing: an address, then pairs of hex digits"
            raise refuse_line(number, message, "take the line out")
        if way.base == 8 and not _OCTAL.fullmatch(found[1] + found[2]):
            raise refuse_line(number, f"address {found[1]} is not octal", "make the listing again")
        address, rest = int(found[1], way.base), found[3]
        refuse_above(address - 1, number)
        start = address if start < 0 else start
        if not row and address != start:
            raise refuse_line(number, "a row after the end of the listing", "take it out")
        if repeats:
            data += _repeated(row, address - start - len(data), number)
            repeats = 0
        if address != start + len(data):
            message = f"address {address:X}h, where {start + len(data):X}h comes next"
            hint = "rows are missing or twice: make the listing again"
            raise refuse_line(number, message, hint)
        if _WORDS.fullmatch(line):
            raise refuse_line(number, "words whose byte order the listing doesn't say", _BY_BYTE)
        row = _row_bytes(rest, number, is_turned=way.is_turned) if rest else b""
        data += row
        refuse_above(start + len(data) - 1, number)
    if repeats:
        hint = "the address after it says how often a row repeats: it is cut short"
        raise refuse_line(repeats, "nothing after *", hint)
    return Contents(bytes(data), start)


def _repeated(row: bytes, count: int, number: int) -> bytes:
    """Return the bytes for which `*` stands: whole rows, up to the address of the next one."""
    times, rest = divmod(count, len(row))
    if times < 1 or rest:
        message = f"* repeats rows of {len(row)} bytes, which does not come to this address"
        raise refuse_line(number, message, "rows are missing or twice: make the listing again")
    return row * times


def _row_bytes(rest: str, number: int, *, is_turned: bool) -> bytes:
    """Return a row's bytes, what comes after its address; its column of letters is checked.

    `is_turned`: the bytes of each group stand from the last to the first.
    """
    for digits, letters in _columns(rest):
        if re.fullmatch(_GROUPS, digits):
            parts = map(bytes.fromhex, digits.split())
            data = b"".join(part[::-1] if is_turned else part for part in parts)
            if letters is None:
                if not is_turned:
                    return data
            elif letters.strip() == _letters(data).strip():
                return data
    if _BITS.match(rest):
        raise refuse_line(number, "bytes in binary digits", _BY_BYTE)
    digits, letters = re.split(r"\s*[|>]|  |$", rest, maxsplit=1)
    groups = digits.split()
    if not re.fullmatch(_GROUPS, " ".join(groups)):
        raise _no_pairs(number)
    read, right = shorten(letters.strip()), shorten(_letters(bytes.fromhex(digits)).strip())
    message = f"the ASCII column reads {read}, the bytes make {right}"
    raise refuse_line(number, message, "one of the two is damaged: make the listing again")


def _columns(rest: str) -> Iterator[tuple[str, str | None]]:
    """Yield how a row may divide into digits and letters, the surest way first.

    Letters may be digits too, and hexdump has a gap in the middle of a row.
    """
    near = rest[:_LONGEST_ROW]
    bar = re.match(rf"({_GROUPS})\s*([|>])(.*)[|<]$", near)
    if bar is not None:
        yield bar[1], bar[3]
    for gap in re.finditer(" {2,}", near):
        yield rest[: gap.start()], rest[gap.end() :]
    yield rest, None
    for gap in re.finditer(" ", near):  # some mailers leave one space of several
        yield rest[: gap.start()], rest[gap.end() :]


def _letters(data: bytes) -> str:
    """Return a row's column of letters: what is no printable ASCII is a dot."""
    return "".join(chr(byte) if 0x20 <= byte < 0x7F else "." for byte in data)


# --- C arrays

_NUMBER = re.compile(r"\s*+(0[xX][0-9A-Fa-f]+|0[bB][01]+|[0-9]+)[uUlL]*\s*+(?:,|(?=\})|\Z)")
_COMMENT = re.compile(r"//[^\n]*|/\*.*?(?:\*/|\Z)|^[ \t]*#[^\n]*", re.DOTALL | re.MULTILINE)
_DECLARED = re.compile(r"\s*+[A-Za-z_][\w\s]*+\[\s*+(\w*+)\s*+\][\w\s()]*+=\s*+\{")
_UNDECLARED = re.compile(r"\s*+\{?(?=\s*+0[xX][0-9A-Fa-f]{1,2}\s*,)()")
_LENGTH = re.compile(r"\b\w*(?:len|length|size)\s*=\s*(0[xX][0-9A-Fa-f]+|[0-9]+)[uUlL]*\s*;")


def _code(text: str) -> str:
    """Return a C source with blanks in place of comments and directives, lines kept."""
    return _COMMENT.sub(lambda found: re.sub(r"[^\n]", " ", found[0]), text)


def _opening(code: str) -> re.Match[str] | None:
    """Return what stands before the first number of a C array; None where a text is none."""
    found = _DECLARED.match(code) or _UNDECLARED.match(code)
    return found if found is not None and _NUMBER.match(code, found.end()) else None


def _read_array(code: str, opening: re.Match[str]) -> Contents:
    data, at = bytearray(), opening.end()
    while found := _NUMBER.match(code, at):
        value = _value(found[1])
        if value > 0xFF:
            message = f"{clip(found[1])} is more than a byte"
            raise refuse_line(_line(code, at), message, "bytes go up to 0xFF")
        data.append(value)
        at = found.end()
    refuse_above(len(data) - 1, _line(code, at))
    rest = code[at:].lstrip()
    if rest.startswith("}"):
        _check_rest(code, code.index("}", at) + 1, len(data))
    elif rest:
        hint = "numbers from 0 to 255 with commas between: the listing is damaged here"
        raise refuse_line(_line(code, at), "no number of an array", hint)
    elif "{" in opening[0]:
        raise refuse_line(_line(code, at), "the array does not end", "the file is cut short")
    if opening[1][:1].isdigit():
        _check_length(_value(opening[1]), len(data), _line(code, opening.start(1)))
    return Contents(bytes(data))


def _check_rest(code: str, at: int, count: int) -> None:
    """Refuse what must not come after the array: another one, or another length."""
    again = code.find("{", at)
    if again >= 0:
        raise refuse_line(_line(code, again), "a second array", "leave one array in the file")
    length = _LENGTH.search(code, at)
    if length is not None:
        _check_length(_value(length[1]), count, _line(code, length.start(1)))


def _check_length(stated: int, count: int, number: int) -> None:
    if stated != count:
        message = f"{stated} bytes are announced, {count} are there"
        raise refuse_line(number, message, "the listing is cut, or has bytes twice")


def _line(code: str, at: int) -> int:
    """Return the number of the line (from 1) on which the next word after a place stands."""
    found = re.compile(r"\s*+\S").match(code, at)
    return code.count("\n", 0, found.end() if found else len(code.rstrip())) + 1


def _value(number: str) -> int:
    """Return a number as C reads it: 0x46, 0b1000110, 0106, 70."""
    digits, base = number.lower(), 10
    if digits[:2] in ("0x", "0b"):
        digits, base = digits[2:], 16 if digits[1] == "x" else 2
    elif re.fullmatch("0[0-7]+", digits):
        base = 8
    digits = digits.lstrip("0") or "0"
    return int(digits, base) if len(digits) <= LONGEST else MAX_IMAGE
