"""The structure of a layout: `construct` builds its bytes, and can parse them.

Imported where something is built: reading images needs only `romtool.schema.fields`, and starts
faster without `construct`. The tests hold the two against each other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import construct

from romtool.schema.fields import Unit
from romtool.schema.field_types import Stored


class Structure:
    """The structure of content of one length: constructs one after the other, a flat result.

    `construct.Struct` would nest what stands in one byte; here every field has its own key.
    """

    def __init__(self, units: Sequence[Unit], length: int) -> None:
        parts = [(unit, unit.there(length)) for unit in units]
        made = [_construct(unit, there) for unit, there in parts if there or unit.size is None]
        self.struct = construct.Struct(
            *(part if part.name else f"#{index}" / part for index, part in enumerate(made))
        )
        self.nested = [f"#{index}" for index, part in enumerate(made) if not part.name]

    def build(self, stored: Mapping[str, Stored]) -> bytes:
        """Return the bytes for stored values."""
        return bytes(self.struct.build({**stored, **dict.fromkeys(self.nested, stored)}))

    def parse(self, data: bytes) -> dict[str, Stored]:
        """Return what is stored under each key; fields after the last byte are left out."""
        found: dict[str, Any] = dict(self.struct.parse(data))
        for name in self.nested:
            found |= found.pop(name)
        return {key: value for key, value in found.items() if key != "_io"}


def _construct(unit: Unit, size: int) -> Any:
    """Return the construct for a unit where `size` bytes of it are there."""
    first = unit.fields[0]
    if first.kind.is_bytes or unit.size is None:
        return first.key / construct.Bytes(size)
    little = first.endian == "little"
    if len(unit.fields) == 1 and first.kind.bits == size * 8:
        return first.key / construct.BytesInteger(size, swapped=little)
    bits = []
    for field in unit.fields:
        width = min(field.kind.bits, size * 8 - field.low)
        if width > 0:
            bits.append(field.key / construct.BitsInteger(width))
    inner = construct.BitStruct(*bits)
    return construct.ByteSwapped(inner) if little and size > 1 else inner
