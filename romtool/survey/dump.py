"""One dump of a pile: what a line says of it, and what it is told apart from others by."""

from __future__ import annotations

import hashlib
from collections.abc import Hashable, Sequence
from typing import Any, NamedTuple

from romtool.image.card import card_of
from romtool.image.model import Image
from romtool.rules.findings import Finding

NO_FILL = b"\0\xff"
"""Bytes of which a run at the end of a dump that no layout describes is taken for fill."""


class Dump(NamedTuple):
    """What a dump holds. `devices`: their IDs; `errors`, `warnings`: how many were found.

    `is_read`: PnP data was found in it, be it after bytes that no known layout explains.

    `used`: equal in dumps that are the same but for fill; `board`: also in those that are the
    same but for the serial number; `card`: in all of one card, None where it isn't known.
    """

    file: str
    data: bytes
    layout: str | None
    is_read: bool
    id: str | None
    serial: int | None
    devices: tuple[str, ...]
    errors: int
    warnings: int
    sha256: str
    used: Hashable
    board: Hashable
    card: str | None

    def as_json(self) -> dict[str, Any]:
        """Return the dump as in the JSON answers."""
        names = ("file", "layout", "id", "serial", "devices", "errors", "sha256")
        return {name: getattr(self, name) for name in names}


def dump_of(file: str, image: Image, findings: Sequence[Finding]) -> Dump:
    """Return what an image that was read from `file` holds, and what the rules found in it."""
    severities = [finding.severity for finding in findings]
    is_card = image.layout is not None and image.identifier_size > 0
    serial_key = image.catalog.identifier.serial_field.key
    return Dump(
        file=file,
        data=image.data,
        layout=image.layout_name,
        is_read=image.layout is not None,
        id=image.card_id if is_card else None,
        serial=image.identifier_values[0][serial_key] if is_card else None,
        devices=tuple(device.id for device in card_of(image).devices),
        errors=severities.count("error"),
        warnings=severities.count("warning"),
        sha256=hashlib.sha256(image.data).hexdigest(),
        used=_used(image, image.data),
        board=_used(image, without_serial(image)),
        card=image.card_id if is_card else None,
    )


def without_serial(image: Image, other: bytes | None = None) -> bytes:
    """Return the image with zeros for its serial identifier but the ID, or with an `other` one."""
    if image.layout is None or not image.identifier_size:
        return image.data
    start, stop = image.identifier_at, image.items_at
    field = image.catalog.identifier.id_field
    kept = image.identifier_raw[field.at : field.at + (field.size or 0)]
    identifier = other or kept.ljust(stop - start, b"\0")
    return image.data[:start] + identifier + image.data[stop:]


def _used(image: Image, data: bytes) -> Hashable:
    """Return all that isn't fill, with its place."""
    if image.layout is None:
        last = data[-1:]
        return None, data.rstrip(last) if last in NO_FILL else data
    runs = tuple((run.offset, run.raw) for run in image.tail if run.kind != "fill")
    return image.layout.name, data[: image.items_end], runs
