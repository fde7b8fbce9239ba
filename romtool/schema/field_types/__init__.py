"""What a field can hold: each kind turns the stored bits into a value for people, and back.

A stored value is a number (or bytes, for texts and hex); a value is what stands in profiles and
JSON. `to_value` raises NotRepresentable where the stored bits mean nothing that a profile can say:
the bytes then stay raw. `to_stored` raises InvalidValue where a person wrote what the field can't
take.
"""

from romtool.schema.field_types.base import (
    AnyKind,
    FieldType,
    NotRepresentable,
    SizeOf,
    Stored,
    Value,
    no_region,
    number,
    whole_number,
)
from romtool.schema.field_types.choices import Choice, Flag, Flags, Lines, Pins
from romtool.schema.field_types.numbers import Check, Count, Number, Range
from romtool.schema.field_types.texts import (
    CompressedAscii,
    CompressedAsciiCode,
    Constant,
    Group,
    Hex,
    Reserved,
    Text,
)

TYPES: dict[str, type[AnyKind]] = {
    "number": Number,
    "range": Range,
    "flag": Flag,
    "choice": Choice,
    "flags": Flags,
    "lines": Lines,
    "pins": Pins,
    "spelled": CompressedAscii,
    "text": Text,
    "hex": Hex,
    "constant": Constant,
    "reserved": Reserved,
    "count": Count,
    "checksum": Check,
}
"""The kind for each word that a field's `type` can be."""

__all__ = [
    "TYPES",
    "AnyKind",
    "Check",
    "Choice",
    "CompressedAscii",
    "CompressedAsciiCode",
    "Constant",
    "Count",
    "FieldType",
    "Flag",
    "Flags",
    "Group",
    "Hex",
    "Lines",
    "NotRepresentable",
    "Number",
    "Pins",
    "Range",
    "Reserved",
    "SizeOf",
    "Stored",
    "Text",
    "Value",
    "no_region",
    "number",
    "whole_number",
]
