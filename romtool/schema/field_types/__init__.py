"""What a field can hold: each kind turns the stored bits into a value for people, and back.

A stored value is a number (or bytes, for texts and hex); a value is what stands in profiles and
JSON. `to_value` raises NotRepresentable where the stored bits mean nothing that a profile can say: the
bytes then stay raw. `to_stored` raises InvalidValue where a person wrote what the field can't take.
"""

from romtool.schema.field_types.base import FieldType, Stored, NotRepresentable, Value, whole_number
from romtool.schema.field_types.choices import Choice, Flag, Flags, Lines, Pins
from romtool.schema.field_types.numbers import Check, Count, Number, Range
from romtool.schema.field_types.texts import (
    Constant,
    Group,
    Hex,
    Reserved,
    CompressedAscii,
    CompressedAsciiCode,
    Text,
)

__all__ = [
    "Check",
    "Choice",
    "Constant",
    "Count",
    "Flag",
    "Flags",
    "Group",
    "Hex",
    "FieldType",
    "Lines",
    "Number",
    "Pins",
    "Range",
    "Reserved",
    "CompressedAscii",
    "CompressedAsciiCode",
    "Stored",
    "Text",
    "NotRepresentable",
    "Value",
    "whole_number",
]
