"""Any bytes to an image: the layout recognised by what speaks for it, the items walked."""

from __future__ import annotations

from collections.abc import Sequence

from romtool.errors import refuse
from romtool.image.evidence import evidence, first_lead, holds, most_evidence
from romtool.image.model import Image
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout, lead_of
from romtool.schema.numbers import clip


def read_as(catalog: Catalog, data: bytes, layout: ImageLayout) -> Image | None:
    """Return `data` read with this layout; None if it is too short for that and the identifier."""
    if len(data) < layout.size + (catalog.identifier.size if layout.identifier else 0):
        return None
    return Image(catalog, data, layout)


def decode(catalog: Catalog, data: bytes, layout: str | ImageLayout | None = None) -> Image:
    """Return the image that `data` is; `layout` settles the layout, otherwise evidence does.

    Every string of bytes decodes: where no layout is believed, all bytes lie in the tail. Bytes
    before PnP data that no known layout explains are its lead. Raises InputError for a layout
    that isn't known, or that doesn't fit so few bytes.
    """
    if layout is not None:
        wanted = layout_named(catalog, layout) if isinstance(layout, str) else layout
        image = read_as(catalog, data, wanted)
        if image is None:
            least = wanted.size + (catalog.identifier.size if wanted.identifier else 0)
            message = f"{len(data)} bytes are too few for layout {wanted.name}"
            raise refuse(message, f"its frame and the identifier take {least}")
        return image
    return _known(catalog, data) or _led(catalog, data) or Image(catalog, data, None)


def _known(catalog: Catalog, data: bytes) -> Image | None:
    """Return the image read with the known layout for which most speaks; None if none holds."""
    found = [read_as(catalog, data, layout) for layout in catalog.all_layouts.values()]
    return _likeliest([image for image in found if image is not None])


def _led(catalog: Catalog, data: bytes) -> Image | None:
    """Return the image read with what stands before its PnP data as its lead; None without any."""
    size = first_lead(catalog, data)
    return Image(catalog, data, lead_of(size)) if size else None


def _likeliest(images: Sequence[Image]) -> Image | None:
    """Return the image for which most speaks, the first of equals; None if none holds.

    One that can't reach the evidence of another, whatever its items, isn't walked.
    """
    bounds = {image: most_evidence(image) for image in images}
    weighed: dict[Image, int] = {}
    for image in sorted(images, key=bounds.__getitem__, reverse=True):
        if weighed and bounds[image] < max(weighed.values()):
            break
        if holds(image):
            weighed[image] = evidence(image)
    believed = [image for image in images if image in weighed]
    return max(believed, key=weighed.__getitem__, default=None)


def layout_named(catalog: Catalog, layout: str) -> ImageLayout:
    """Return the layout of this name; raises InputError."""
    if layout not in catalog.all_layouts:
        known = ", ".join(catalog.all_layouts)
        hint = f"known are {known}; your own need --schemas DIR"
        raise refuse(f"no layout is called {clip(layout)}", hint)
    return catalog.all_layouts[layout]
