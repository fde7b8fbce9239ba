"""Which lines of the bus the pins of a board's chip are wired to."""

from __future__ import annotations

from romtool.image.model import Image
from romtool.schema.bus import Resource


def wired(image: Image, resource: Resource) -> frozenset[int] | None:
    """Return the lines of a resource that have a pin; None where the frame doesn't say.

    A line that goes by another number stands under that number too.
    """
    fields = image.layout.wiring(resource.name) if image.layout is not None else []
    if not fields:
        return None
    lines = set[int]()
    for field in fields:
        lines |= field.kind.connected(image.config[field.key])
    return frozenset(lines | {resource.renamed.get(line, line) for line in lines})
