"""Bytes to a text: plain ASCII or UTF-8, or the name of the encoding that it is in instead."""

from __future__ import annotations

from typing import NamedTuple

from romtool.errors import InputError, Problem, refuse

_PRINTABLE = bytes(range(0x20, 0x7F)) + b"\r\n\t"
_CONTROLS = bytes(byte for byte in range(0x80) if byte not in _PRINTABLE)
_MARK = b"\xef\xbb\xbf"  # of UTF-8, as some editors write it


def is_plain(data: bytes) -> bool:
    """Whether bytes are a text: UTF-8 without a control byte but line ends and tabs."""
    if not data.translate(None, _PRINTABLE):
        return True
    if len(data.translate(None, _CONTROLS)) != len(data):
        return False
    try:
        data.decode()
    except UnicodeDecodeError:
        return False
    return True


def plain_text(data: bytes, hint: str = "save it as UTF-8") -> str:
    """Return a UTF-8 text with plain line ends.

    Raises InputError with the place of what is none and this hint, or with the encoding's name.
    """
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        foreign = foreign_text(data)
        if foreign is not None and foreign.is_wide:
            raise foreign.refusal() from None
        before = data[: error.start]
        line, column = before.count(b"\n") + 1, error.start - before.rfind(b"\n")
        if foreign is not None:
            hint = f"this may be a letter in {foreign.encoding}: save it as UTF-8"
        raise InputError([Problem("no UTF-8 text", hint, line=line, column=column)]) from None


class ForeignText(NamedTuple):
    """A text in an encoding that is not read; `is_wide`: a letter takes more than one byte."""

    text: str
    encoding: str
    is_wide: bool

    def refusal(self) -> InputError:
        """Return the refusal that names the encoding."""
        return refuse(f"is a text in {self.encoding}", "save it as UTF-8, or as plain ASCII")


_WIDE = {  # by how each begins: a mark, or the letter of two or four bytes that is ASCII
    "UTF-32": ("utf-32-le", "utf-32-be"),
    "UTF-16": ("utf-16-le", "utf-16-be"),
}


def foreign_text(data: bytes) -> ForeignText | None:
    """Return the text that bytes are in UTF-16, UTF-32 or an 8-bit code page; None if none is."""
    half_zeros = data.count(0) >= len(data) // 2 - 1  # as each letter of ASCII has in such a text
    for name, codecs in _WIDE.items() if half_zeros else ():
        for codec in codecs:
            try:
                text = data.decode(codec).removeprefix("\ufeff")
            except UnicodeDecodeError:
                continue
            if text and text.isascii() and is_plain(text.encode()):
                return ForeignText(text, name, is_wide=True)
    if len(data.translate(None, _CONTROLS)) == len(data) and not data.startswith(_MARK):
        return ForeignText(data.decode("latin-1"), "an 8-bit code page, as Latin-1", is_wide=False)
    return None
