"""`romtool verify`: is this readback what should have been burnt?"""

from __future__ import annotations

import functools
import os
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import click

from romtool.commands import completing
from romtool.commands.call import DONE, NO, Call, declare
from romtool.commands.loading import LoadedImage
from romtool.commands.many import Answer, answer_each, is_single, summary
from romtool.commands.options import IMAGE, JSON
from romtool.commands.printing import echo, echo_lines
from romtool.errors import refuse
from romtool.files.inputs import InputFile, expand
from romtool.files.manifests import (
    DAMAGED,
    ManifestEntry,
    is_manifest,
    manifests_in,
    read_manifest,
)
from romtool.files.reading import name_text
from romtool.formats import TOML
from romtool.image.corruption import swapped_pairs
from romtool.image.decode import decode
from romtool.image.model import Image
from romtool.text.page import title
from romtool.text.problems import visible
from romtool.verify import Difference, differences

if TYPE_CHECKING:  # loaded where something differs, or a series is given
    from romtool.readback.diagnosis import Diagnosis
    from romtool.readback.series import Series

MATCHING, DIFFERENT = "as expected", "different"
Note = Callable[[str], None]


@declare("verify", *IMAGE, JSON, example="romtool verify readback.bin hollow-lane.toml")
@click.argument(
    "readbacks", nargs=-1, required=True, metavar="READBACK...", shell_complete=completing.files
)
@click.argument("expected", shell_complete=completing.files)
@click.option("--swap-pairs", is_flag=True, help="The readback has its byte pairs swapped.")
def command(call: Call, readbacks: tuple[str, ...], expected: str, swap_pairs: bool) -> int:
    """Tell whether READBACK is what EXPECTED (an image or a profile) should have put there.

    Names the field of each byte that differs, and the fault that explains them all: of the read,
    such as byte pairs swapped, or of the burn, such as page writes that wrapped. Several readbacks,
    or a folder of them, are answered one by one. EXPECTED may be the manifest or the folder of a
    series: each READBACK is then compared with the card whose serial number it carries. Exit code 1
    where a byte differs. --input says what READBACK is.
    """
    if [*readbacks, expected].count("-") > 1:
        raise refuse("standard input can be read only once", "name a file for one of the two")
    single = is_single(readbacks)
    series = series_at(call, expected)
    marks: list[Any] = []
    if series is not None:
        work = functools.partial(_of_series, call, series, swap_pairs, single)
    else:
        want = call.load(expected, by_content=True)
        work = functools.partial(_of_image, call, want, swap_pairs, single)
    counts = answer_each(call, readbacks, work, doing="comparing", marks=marks)
    if not call.as_json and counts.total() > 1:
        echo(summary(counts, (MATCHING, DIFFERENT)))
        if series is not None:
            from romtool.text.verify import series_notes

            echo_lines(series_notes(series.serials, marks))
    return NO if counts[DIFFERENT] else DONE


def _read(call: Call, name: str, note: Note, swap_pairs: bool) -> tuple[InputFile, bytes]:
    """Return a readback, and its bytes as they should be compared."""
    source = call.read(name)
    for words in source.notes:
        note(words)
    return source, swapped_pairs(source.data) if swap_pairs else source.data


def _of_image(
    call: Call, expected: LoadedImage, swap_pairs: bool, single: bool, name: str, note: Note
) -> Answer:
    """Return the answer for one readback of an image."""
    source, read = _read(call, name, note, swap_pairs)
    want = expected.image
    found = differences(read, want)
    if not found:
        what = f"all {len(read)} bytes" if read == want.data else "the items"
        words = f"match: {what} of {source.name} are as {expected.title} has them"
        lines = [visible(words)] if single else list(title(source.name, "match"))
        data = _data(found, None) if single else {"file": source.name, **_data(found, None)}
        return Answer(MATCHING, lines, data)
    from romtool.readback.diagnosis import diagnose, swapped_arguments

    wrong_way = source.format == TOML.name and expected.input.format != TOML.name
    like = None if wrong_way else diagnose(read, want)
    like = like or swapped_arguments(read, want, is_certain=wrong_way)
    if call.as_json:
        data = _data(found, like)
        return Answer(DIFFERENT, data=data if single else {"file": source.name, **data})
    heading = "no match" if single else source.name
    return Answer(DIFFERENT, _lines(heading, read, want, found, like, swapped=swap_pairs))


def _of_series(
    call: Call, series: Series, swap_pairs: bool, single: bool, name: str, note: Note
) -> Answer:
    """Return the answer for one readback of a card of a series: one line, if there are several."""
    from romtool.readback.diagnosis import diagnose, hopeless
    from romtool.text.verify import series_line, stranger_words

    source, read = _read(call, name, note, swap_pairs)
    nothing = hopeless(series.catalog, read)
    serial = None if nothing else series.card_of(read)
    if serial is None:
        like = nothing or series.stranger(read)
        words = stranger_words(like)
        data = {"file": source.name, "match": False, "card": None, "differences": []}
        data |= like.as_json() if like else {"mishaps": []}
        return Answer(DIFFERENT, [series_line(source.name, None, words)], data)
    want = series.image(serial)
    found = differences(read, want)
    like = diagnose(read, want) if found else None
    data = {"file": source.name, "card": serial, **_data(found, like)}
    kind = DIFFERENT if found else MATCHING
    if found and single:
        heading = f"{source.name}: card {serial}"
        lines = list(_lines(heading, read, want, found, like, swapped=swap_pairs))
    else:
        differing = "1 byte differs" if len(found) == 1 else f"{len(found)} bytes differ"
        words = (like.title if like else differing) if found else "match"
        lines = [series_line(source.name, serial, words)]
    return Answer(kind, lines, data, mark=(source.name, serial))


def _data(found: list[Difference], like: Diagnosis | None) -> dict[str, Any]:
    answer = {"match": not found, "differences": [one.as_json() for one in found]}
    return answer | (like.as_json() if like else {"mishaps": []})


def _lines(
    name: str,
    read: bytes,
    want: Image,
    found: list[Difference],
    like: Diagnosis | None,
    *,
    swapped: bool,
) -> Iterator[str]:
    """Yield what people read; `swapped`: --swap-pairs was given, and has been done to `read`."""
    from romtool.text.verify import verify_lines

    option = ""
    if swapped_pairs(read) == want.data:
        option = ", or leave --swap-pairs out" if swapped else ", or --swap-pairs"
    return verify_lines(found, len(want.data), like, option, name)


def series_at(call: Call, expected: str) -> Series | None:
    """Return the series whose manifest or folder this is; None for a single image.

    Raises InputError where it holds no image with a serial number, or two of one number.
    """
    if expected == "-" or not (os.path.isdir(expected) or is_manifest(expected)):
        return None
    from pathlib import Path

    from romtool.readback.series import Series

    path = Path(expected)
    listed = manifests_in(path) if path.is_dir() else [path]
    if not listed:
        return Series(_in_folder(call, expected))
    cards: dict[int, Callable[[], Image]] = {}
    for manifest in listed:
        for entry in read_manifest(manifest):
            if entry.serial in cards:
                raise _twice(entry.serial, expected)
            cards[entry.serial] = functools.partial(_listed, call, entry)
    if not cards:
        raise refuse("lists no image", DAMAGED).in_file(expected)
    return Series(cards)


def _listed(call: Call, entry: ManifestEntry) -> Image:
    """Return the image of a manifest's entry; raises InputError where it is another one."""
    import hashlib

    image = call.load(str(entry.path), by_content=True).image
    if entry.swapped:
        image = decode(call.catalog, swapped_pairs(image.data), call.layout)
    if hashlib.sha256(entry.path.read_bytes()).hexdigest() != entry.sha256:
        message = "is not what its manifest lists: the SHA-256 is another"
        raise refuse(message, DAMAGED).in_file(name_text(entry.path))
    return image


def _in_folder(call: Call, folder: str) -> dict[int, Callable[[], Image]]:
    from romtool.readback.diagnosis import serial_of

    found: dict[int, LoadedImage] = {}
    files, refusals = expand([folder])
    for refused in refusals:
        raise refused
    for name in files:
        one = call.load(name, by_content=True)
        serial = None if one.image.layout is None else serial_of(one.image)
        if serial is None:
            continue
        other = found.setdefault(serial, one)
        if other.image.data != one.image.data:
            raise _twice(serial, folder)
    if not found:
        hint = "name the image that each part should hold"
        raise refuse("no image with a serial number in this folder", hint).in_file(folder)
    return {serial: functools.partial(_image, one) for serial, one in found.items()}


def _image(one: LoadedImage) -> Image:
    return one.image


def _twice(serial: int, where: str) -> Exception:
    message = f"two images with serial number {serial}"
    return refuse(message, "name the manifest of one series").in_file(os.fspath(where))
