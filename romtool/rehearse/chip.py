"""What a chip makes of its EEPROM at reset, before anything happens on the bus.

Frames are from memory (see `schemas/frames/`); so is that a chip which finds another signature
ignores the EEPROM.
"""

from __future__ import annotations

from dataclasses import dataclass

from romtool.answers.rehearsal import Remark
from romtool.image.model import Image
from romtool.rehearse.steps import remark
from romtool.schema.field_types import Stored, number
from romtool.schema.numbers import address, hex_text


@dataclass(frozen=True)
class LoadedChip:
    """What a chip holds after reset: its PnP data, the identifier first; None: it ignores all.

    `ignores_key`: why it never responds to the key.
    """

    data: bytes | None
    ignored: Remark | None = None
    ignores_key: Remark | None = None


def load(image: Image) -> LoadedChip:
    """Return what the chip that this image's frame is for holds after reset."""
    ignored = _ignored(image)
    if ignored is not None or image.layout is None:
        return LoadedChip(None, ignored)
    stop = _count(image)
    limits = [size for size in (stop, image.layout.max_pnp_bytes) if size is not None]
    data = image.data[image.identifier_at :]
    return LoadedChip(data[: min(limits, default=None)], None, _ignores_key(image))


def _ignored(image: Image) -> Remark | None:
    """Return why the chip ignores its EEPROM: a signature or the frame's own checksum."""
    if image.layout is None:
        return remark(image.catalog, "no-layout")
    if not image.identifier_size:
        return remark(image.catalog, "no-identifier")
    for field in image.layout.computed_fields:
        found = image.computed[field.key]
        if field not in image.layout.counts and not found.ok:
            words = {"stored": _shown(found.stored), "computed": _shown(found.computed)}
            return remark(image.catalog, "eeprom-ignored", title=field.title, **words)
    return None


def _shown(stored: Stored) -> str:
    return hex_text(stored) if isinstance(stored, bytes) else address(number(stored))


def _count(image: Image) -> int | None:
    """Return how many PnP bytes the frame says there are; None where it doesn't count them.

    A chip whose count is made another accepted way adds what that way leaves out.
    """
    field = image.layout.count_field if image.layout else None
    if field is None:
        return None
    found = image.computed[field.key]
    uncounted = field.kind.uncounted(found.way) if found.way is not None else ()
    return number(found.stored) + sum(map(image.size_of, uncounted))


def _ignores_key(image: Image) -> Remark | None:
    for field in image.layout.config_fields if image.layout else ():
        if field.disables == "key" and image.config[field.key]:
            return remark(image.catalog, "key-off", title=field.title, key=field.key)
    return None
