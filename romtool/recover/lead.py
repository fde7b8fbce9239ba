"""Bytes before PnP data that no known layout explains: part of the image, or not."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.decode import read_as
from romtool.image.evidence import holds, signature_bits
from romtool.recover.undo import is_fill
from romtool.schema.catalog import Catalog

SIGNATURE = 16
"""Bits of a signature that chance doesn't give."""


def lead_doubts(catalog: Catalog, data: bytes, size: int) -> Iterator[str]:
    """Yield the judgements that speak against `size` bytes before the PnP data as its lead.

    They are fill, or a known layout stands in the last of them whose signature shows it.
    """
    if is_fill(data[:size]):
        yield "lead-of-fill"
        return
    for layout in catalog.layouts.values():
        start = size - layout.size
        if not layout.size or start <= 0:
            continue
        image = read_as(catalog, data[start:], layout)
        is_signed = signature_bits(layout, data, start) >= SIGNATURE or is_fill(data[:start])
        if image is not None and is_signed and holds(image):
            yield "layout-in-lead"
            return
