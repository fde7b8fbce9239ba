"""What `verify` compares readbacks with: a series, where EXPECTED is its manifest or its folder."""

from __future__ import annotations

import functools
import hashlib
import os
from collections.abc import Callable
from pathlib import Path

from romtool.commands.call import Call
from romtool.commands.loading import LoadedImage
from romtool.errors import refuse
from romtool.files.inputs import expand
from romtool.files.manifests import (
    DAMAGED,
    ManifestEntry,
    is_manifest,
    manifests_in,
    read_manifest,
)
from romtool.files.reading import name_text
from romtool.image.corruption import swapped_pairs
from romtool.image.decode import decode
from romtool.image.model import Image
from romtool.readback.cards import serial_of
from romtool.readback.series import Series


def series_at(call: Call, expected: str) -> Series | None:
    """Return the series whose manifest or folder this is; None for a single image.

    Raises InputError where it holds no image with a serial number, or two of one number.
    """
    path = Path(expected)
    if expected == "-" or not (path.is_dir() or is_manifest(path)):
        return None
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
    image = call.load(str(entry.path), by_content=True).image
    if entry.swapped:
        image = decode(call.catalog, swapped_pairs(image.data), call.layout)
    if hashlib.sha256(entry.path.read_bytes()).hexdigest() != entry.sha256:
        message = "is not what its manifest lists: the SHA-256 is another"
        raise refuse(message, DAMAGED).in_file(name_text(entry.path))
    return image


def _in_folder(call: Call, folder: str) -> dict[int, Callable[[], Image]]:
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
