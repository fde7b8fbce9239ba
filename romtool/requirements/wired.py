"""Which lines of the bus the pins of a board's chip are wired to."""

from __future__ import annotations

from romtool.image.model import Image
from romtool.schema.bus import Resource
from romtool.schema.numbers import one_of


def wired(image: Image, resource: Resource) -> frozenset[int] | None:
    """Return the lines of a resource that have a pin; None where the layout doesn't say.

    A line that goes by another number stands under that number too.
    """
    pins = pins_of(image, resource)
    return None if pins is None else frozenset(pins)


def pins_of(image: Image, resource: Resource) -> dict[int, str] | None:
    """Return the pin of the chip for each line that has one, such as `pin A`; see `pin_names`."""
    found = pin_names(image, resource)
    if found is None:
        return None
    return {line: f"pin {one_of(names)}" for line, names in found.items()}


def pin_names(image: Image, resource: Resource) -> dict[int, list[str]] | None:
    """Return the names of the chip's pins for each line that has one, such as `A`.

    None where the layout doesn't say. A line that goes by another number stands under that number
    too.
    """
    fields = image.layout.wiring(resource.name) if image.layout is not None else []
    if not fields:
        return None
    found: dict[int, list[str]] = {}
    for field in fields:
        for pin, line in enumerate(image.config[field.key]):
            if line != field.kind.unconnected:
                for number in {line, resource.on_bus(line)}:
                    found.setdefault(number, []).append(field.kind.pin_name(pin))
    return found
