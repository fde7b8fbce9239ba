"""File formats: how the bytes of an image stand in a file. A module each, told by its content.

A format's module has `recognises(text)` (is this such a text?), `read(text)` and, where romtool
writes it, `write(data)`; `raw` has bytes where the others have a text. What the formats are called
stands here once, for options, completion, help and messages; a module is imported when a file of
its kind is read or written.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Collection
from typing import TYPE_CHECKING, Any, NamedTuple

from romtool.errors import refuse
from romtool.formats.plain_text import foreign_text, is_plain, plain_text
from romtool.schema.numbers import sizes

if TYPE_CHECKING:
    from romtool.formats.contents import Contents

MAX_IMAGE = 64 << 10
"""Bytes of an image."""

MAX_RECORDS = 512 << 10
"""Bytes of a text of records, or of a listing."""

MAX_TOML = 1 << 20
"""Bytes of a profile, a host file or a schema file."""


class Format(NamedTuple):
    """A file format: its name (that of its module), what people call it, its files' suffixes.

    The first suffix is what `build --format` calls it, if that writes it; `limit` is in bytes.
    `shared`: suffixes that other texts have, too, so that only the content tells.
    """

    name: str
    title: str
    suffixes: tuple[str, ...]
    limit: int
    is_written: bool = False
    shared: tuple[str, ...] = ()

    @property
    def module(self) -> Any:
        """The module that recognises, reads and writes it."""
        return importlib.import_module(f"romtool.formats.{self.name}")

    def read(self, data: bytes) -> Contents:
        """Return what the bytes of a file hold; raises InputError with the line of each fault."""
        self.refuse_longer(len(data))
        contents: Contents = self.module.read(data if self is RAW else _text_of(data))
        return contents

    def write(self, data: bytes) -> bytes:
        """Return the content of a file that holds these bytes, from address 0."""
        write: Callable[[bytes], bytes] = self.module.write
        return write(data)

    def refuse_longer(self, size: int) -> None:
        """Refuse a file that is longer than any of its kind."""
        if size > self.limit:
            limit = f"limit {self.limit} bytes, {sizes(self.limit)}"
            message = f"{size} bytes are too many for {self.title} ({limit})"
            raise refuse(message, "is this the right file?")


def _text_of(data: bytes) -> str:
    """Return a text of records; raises InputError where the bytes are none."""
    if is_plain(data):
        return plain_text(data)
    foreign = foreign_text(data)
    if foreign is not None:
        raise foreign.refusal()
    raise refuse("is no text", "leave --input out, or say raw")


RAW = Format("raw", "raw binary", (".bin", ".rom", ".eep", ".raw"), MAX_IMAGE, is_written=True)
TOML = Format("toml", "a card profile", (".toml",), MAX_TOML)
FORMATS = {
    one.name: one
    for one in (
        RAW,
        Format("hex", "Intel HEX", (".hex", ".ihx"), MAX_RECORDS, is_written=True),
        Format("srec", "S-record", (".srec", ".s19"), MAX_RECORDS, is_written=True),
        Format("listing", "a listing", (".lst",), MAX_RECORDS, shared=(".txt",)),
        TOML,
    )
}
"""The formats by name; a text is asked in this order whether it is one of them."""

WRITTEN = {one.suffixes[0][1:]: one for one in FORMATS.values() if one.is_written}
"""The formats that `build` writes, as `--format` calls them."""

SUFFIXES = tuple(suffix for one in FORMATS.values() for suffix in one.suffixes)
"""What the name of an image or a profile in a folder ends in."""

SHARED = {suffix: one for one in FORMATS.values() for suffix in one.shared}
"""What it may end in, too, by the format that its content must be in then."""

LIMITS = (
    f"{sizes(MAX_IMAGE)} is the limit of an image, {sizes(MAX_RECORDS)} of a HEX, S-record or"
    f" listing text, {sizes(MAX_TOML)} of a profile"
)


def format_of(
    data: bytes, tables: Callable[[], Collection[str]], *, named_toml: bool = False
) -> Format:
    """Return the format that the bytes of a file are in; what no other one recognises is raw.

    `tables` returns those of a profile. A text whose file is named as TOML is, is a profile, if
    with faults. Raises InputError for such a text in an encoding that is not read.
    """
    if is_plain(data):
        found = _format_of_text(plain_text(data), tables)
        return TOML if found is RAW and named_toml else found
    foreign = foreign_text(data)
    if foreign is not None:
        found = _format_of_text(foreign.text, tables)
        if foreign.is_wide and (found is not RAW or named_toml):
            raise foreign.refusal()
        return found
    if data.lstrip()[:1] in (b"[", b"#") and TOML.module.begins(data, tables()):
        return TOML
    return RAW


def _format_of_text(text: str, tables: Callable[[], Collection[str]]) -> Format:
    for one in FORMATS.values():
        if one is TOML and one.module.recognises(text, tables()):
            return one
        if one not in (RAW, TOML) and text.isascii() and one.module.recognises(text):
            return one
    return RAW
