"""A run of bytes read and built by a layout: where each field lies is worked out once for a length.

Reading takes all the bytes as one number. Building goes by a structure of `construct`, which can
parse them too; it is imported where something is built, since a start without it is faster. The
tests hold the two ways of reading against each other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

from romtool.schema.field_types import Choice, Flag, NotRepresentable, Number, Stored, Value
from romtool.schema.numbers import hex_text

if TYPE_CHECKING:
    from romtool.schema.fields import Field, Unit

BIG = "big"

RESERVED = "reserved"
"""The key of reserved bits that are set: the bytes in which such bits are, all others 0."""


K = TypeVar("K")
V = TypeVar("V")


class OnDemand(dict[K, V]):
    """What a function returns for each key, found when it is first asked for."""

    def __init__(self, find: Callable[[K], V]) -> None:
        super().__init__()
        self.find = find

    def __missing__(self, key: K) -> V:
        self[key] = found = self.find(key)
        return found


class Step(NamedTuple):
    """How one field is read: `mask` of the number, moved down by `shift` bits; or a run of bytes.

    A field that isn't there has an empty mask.
    """

    key: str
    to_value: Callable[[Stored], Value]
    shift: int = 0
    mask: int = 0
    run: slice | None = None


class Reader:
    """Reads content of one length.

    All of it is taken as one number, little-endian; where a field is big-endian, the content in
    that byte order stands above it.
    """

    def __init__(self, units: Sequence[Unit], fields: Sequence[Field], length: int) -> None:
        unit_of = {field.key: unit for unit in units for field in unit.fields}
        self.length = length
        self.both_orders = any(field.endian == BIG for field in fields)
        self.absent: dict[str, None] = {}
        self.steps = [self._step(field, unit_of[field.key]) for field in fields]
        reserved = {field.key for field in fields if field.kind.is_reserved}
        self.shown = [step for step in self.steps if step.key not in reserved]
        self.reserved = sum(s.mask << s.shift for s in self.steps if s.key in reserved)
        self.reserved_masks = [
            (unit.at, mask[: unit.there(length)])
            for unit in units
            if any(mask := reserved_mask(unit)) and unit.there(length)
        ]

    def _step(self, field: Field, unit: Unit) -> Step:
        there = unit.there(self.length)
        width = max(0, min(field.kind.bits, there * 8 - field.low))
        if field.optional and not width and unit.size is not None:
            self.absent[field.key] = None
            return Step(field.key, _nothing)
        if field.kind.is_bytes or unit.size is None:
            return Step(field.key, field.kind.to_value, run=slice(field.at, field.at + there))
        before = field.at if field.endian != BIG else 2 * self.length - field.at - there
        to_value: Callable[[Any], Value] = field.kind.to_value
        if isinstance(field.kind, Choice | Flag | Number) and width <= 8:
            to_value = OnDemand(to_value).__getitem__  # few values, and they never change
        return Step(field.key, to_value, before * 8 + field.low, (1 << width) - 1)

    def stored(self, data: bytes) -> dict[str, Stored]:
        """Return what is stored under each key, None for a field that is not there."""
        number = int.from_bytes(data, "little")
        if self.both_orders:
            number |= int.from_bytes(data, "big") << 8 * self.length
        found: dict[str, Stored] = {
            key: number >> shift & mask if run is None else data[run]
            for key, _, shift, mask, run in self.steps
        }
        return found | self.absent if self.absent else found

    def values(self, data: bytes) -> tuple[dict[str, Value], bool]:
        """Return the values, and whether all of them could be explained.

        Reserved bits stand under a key of their own, if any is set.
        """
        number = int.from_bytes(data, "little")
        if self.both_orders:
            number |= int.from_bytes(data, "big") << 8 * self.length
        values: dict[str, Value] = {}
        representable = True
        for key, to_value, shift, mask, run in self.shown:
            stored = number >> shift & mask if run is None else data[run]
            try:
                values[key] = to_value(stored)
            except NotRepresentable:
                values[key] = raw_value(stored)
                representable = False
        if number & self.reserved:
            values[RESERVED] = hex_text(
                bytes(
                    data[at + place] & bits
                    for at, mask in self.reserved_masks
                    for place, bits in enumerate(mask)
                )
            )
        return values, representable


def reserved_mask(unit: Unit) -> bytes:
    """Return the bytes of a unit with a 1 for each reserved bit; none where it has none."""
    masks = [field.byte_mask() for field in unit.fields if field.kind.is_reserved]
    return bytes(sum(bits) for bits in zip(*masks, strict=True))


def raw_value(stored: Stored) -> Value:
    """Return what stands for stored bits that can't be explained."""
    return stored.hex(" ").upper() if isinstance(stored, bytes) else stored


def _nothing(_stored: Stored) -> None:
    return None


class Structure:
    """The structure of content of one length: constructs one after the other, a flat result.

    `construct.Struct` would nest what stands in one byte; here every field has its own key.
    """

    def __init__(self, units: Sequence[Unit], length: int) -> None:
        import construct

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
    import construct

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
