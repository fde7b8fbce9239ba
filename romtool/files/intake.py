"""An input to bytes: raw binary, Intel HEX, S-record or a card profile, told by its content.

What reads texts of records and profiles is imported where one is there: most inputs are raw.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from romtool.errors import InputError, Problem, refuse
from romtool.errors import Path as KeyPath
from romtool.files.reading import read_bytes, shown, unreadable
from romtool.files.texts import faults_in, text_of
from romtool.limits import MAX_IMAGE, MAX_RECORDS, MAX_TOML
from romtool.schema.catalog import Catalog

if TYPE_CHECKING:
    from romtool.files.records import Miscounted, Placed
    from romtool.profile.assemble import Assembly

FORMATS = ("raw", "hex", "srec", "toml")
IMAGE_SUFFIXES = (".bin", ".rom", ".eep", ".raw", ".hex", ".ihx", ".srec", ".s19", ".toml")
_TEXT = frozenset(range(0x20, 0x7F)) | frozenset(b"\r\n")


class InputFile(NamedTuple):
    """What was read: the image's bytes, and how they were come by.

    `offset`: the first address of a text of records; `gaps`: (first, after) pairs of bytes that
    no record gave. For a profile: its text and the assembly that knows where each byte is from.
    """

    name: str
    format: str
    data: bytes
    offset: int = 0
    gaps: tuple[tuple[int, int], ...] = ()
    text: str = ""
    assembly: Assembly | None = None

    @property
    def notes(self) -> Iterator[str]:
        """Yield what a user should know of it, a line each."""
        if self.offset:
            yield f"{self.name}: its first address is {self.offset:X}h, taken as an offset"

    def place(self, offset: int | None, path: KeyPath | None = None) -> tuple[int, int] | None:
        """Return line and column in the profile, None for no profile.

        The place is that of `path`, if the profile has it, else of the byte at `offset`.
        """
        if self.assembly is None:
            return None
        from romtool.toml.places import has_path, place_of

        if path is None or not has_path(self.text, path):
            path = self.assembly.path_at(offset or 0)
        place = place_of(self.text, path, key=True)
        return place.line, place.column


def read_input(
    catalog: Catalog, name: str, forced: str | None = None, *, gaps: bool = False
) -> InputFile:
    """Return what stands in a file (`-`: standard input).

    `forced` settles the format; `gaps` lets a text of records leave bytes out, as only `recover`
    can use it. Raises InputError, with the file and the place of each fault.
    """
    is_profile = forced == "toml" or (forced is None and name.lower().endswith(".toml"))
    try:
        if is_profile:
            return _take_profile(catalog, name, read_bytes(name, MAX_TOML))
        data = read_bytes(name, MAX_RECORDS)
        kind = forced or _told(data)
        if kind == "raw":
            return _take_raw(name, data)
        return _take_records(name, kind, data, gaps=gaps)
    except InputError as refused:
        raise refused.in_file(shown(name)) from None


def _told(data: bytes) -> str:
    """Tell the format by the content: text only if every byte is printable or a line end."""
    if data[:1] in (b":", b"S") and _TEXT.issuperset(data):
        return "hex" if data[:1] == b":" else "srec"
    return "raw"


def _take_raw(name: str, data: bytes) -> InputFile:
    if not data:
        raise refuse("is empty", "read the part again")
    if len(data) > MAX_IMAGE:
        raise refuse(
            f"{len(data)} bytes are too many for an EEPROM of this kind (limit {MAX_IMAGE})",
            "is this the right file?",
        )
    return InputFile(shown(name), "raw", data)


def _take_records(name: str, kind: str, data: bytes, *, gaps: bool) -> InputFile:
    try:
        text = data.decode("ascii")
    except UnicodeDecodeError:
        raise refuse("is no text", "leave --input out, or say raw") from None
    placed, miscounted = _placed(kind, text)
    if placed.gaps and not gaps:
        first, stop = placed.gaps[0]
        message = (
            f"no record gives addresses {placed.start + first:X}h to {placed.start + stop - 1:X}h"
        )
        hint = "`recover` can fill a gap where the checksums prove what was there"
        raise InputError([Problem(message, hint, line=placed.gap_line, column=1)])
    if miscounted is not None and not placed.gaps:
        raise miscounted
    return InputFile(shown(name), kind, placed.data, placed.start, placed.gaps)


def _placed(kind: str, text: str) -> tuple[Placed, Miscounted | None]:
    """Return the bytes of a text of records, and the refusal if it miscounts its records."""
    from romtool.files.records import Miscounted, hex_chunks, joined, srec_chunks

    chunks = []
    miscounted = None
    try:
        for chunk in (hex_chunks if kind == "hex" else srec_chunks)(text):
            chunks.append(chunk)
    except Miscounted as refused:
        miscounted = refused
    return joined(chunks), miscounted


def _take_profile(catalog: Catalog, name: str, data: bytes) -> InputFile:
    from romtool.profile.assemble import assemble
    from romtool.profile.read import read_profile
    from romtool.toml.parse import parse_toml

    hint = "a profile is a plain text (.toml); an image is read with `profile` or `inspect`"
    text = text_of(data, hint)
    with faults_in(text):
        assembly = assemble(read_profile(catalog, parse_toml(text)))
    return InputFile(shown(name), "toml", assembly.data, text=text, assembly=assembly)


def expand(names: Sequence[str]) -> tuple[list[str], list[InputError]]:
    """Return the files that names stand for, a folder's images and profiles by name.

    Beside them the refusals of folders that can't be read, or that hold none.
    """
    found: list[str] = []
    refusals = []
    for name in names:
        if name != "-" and os.path.isdir(name):
            try:
                found += _inside(name)
            except InputError as refused:
                refusals.append(refused.in_file(name))
        else:
            found.append(name)
    return found, refusals


def _inside(folder: str) -> list[str]:
    """Return the images and profiles of a folder, by name; raises InputError where it has none."""
    try:
        files = [file for file in Path(folder).iterdir() if file.suffix.lower() in IMAGE_SUFFIXES]
    except OSError as error:
        raise unreadable(error) from None
    found = sorted(str(file) for file in files if not os.path.isdir(file))
    if not found:
        hint = f"looked for {', '.join(IMAGE_SUFFIXES)}"
        raise refuse("no image or profile in this folder", hint)
    return found
