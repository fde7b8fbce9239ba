"""Fields to a layout, refused where they overlap or leave a bit unaccounted for."""

from __future__ import annotations

from collections.abc import Sequence

from romtool.errors import InputError, Path, Problem
from romtool.schema.fields import Field, FieldLayout, Unit


def layout_of(fields: Sequence[Field], size: int | None, path: Path) -> FieldLayout:
    """Return the layout of `fields`; raises InputError where they overlap or leave a gap.

    `size` is the number of bytes that they must fill, None for an item, which ends where its
    last field ends.
    """
    groups: dict[tuple[int, int | None, str], list[Field]] = {}
    for field in sorted(fields, key=lambda f: (f.at, -f.low)):
        groups.setdefault((field.at, field.size, field.endian), []).append(field)
    units = tuple(
        Unit(at=at, size=length, fields=tuple(group)) for (at, length, _), group in groups.items()
    )
    keys: set[str] = set()
    for field in fields:
        if field.key in keys:
            hint = "give each a key of its own"
            raise InputError([Problem(f"two fields have the key {field.key}", hint, field.path)])
        keys.add(field.key)
    at = 0
    for unit in units:
        first = unit.fields[0]
        if unit.at < at:
            raise InputError(
                [
                    Problem(
                        f"{first.key} begins at byte {unit.at}, inside the field before it",
                        f"fields must not overlap: the next free byte is {at}",
                        first.path,
                    )
                ]
            )
        if unit.at > at:
            raise InputError([_gap(at, unit.at - 1, first.path)])
        _check_bits(unit)
        if unit.size is None and unit is not units[-1]:
            hint = "only the last field of an item may run to its end"
            raise InputError(
                [Problem(f"{first.key} takes the rest, but isn't last", hint, first.path)]
            )
        if unit is not units[-1] and unit.min_size != unit.size:
            hint = "an item can end only before its last field"
            raise InputError(
                [Problem(f"{first.key} may be absent, but isn't last", hint, first.path)]
            )
        at += unit.size or 0
    if size is not None and units and units[-1].size is None:
        message = f"{units[-1].fields[0].key} takes the rest, but size says where it ends"
        raise InputError(
            [Problem(message, "write its bytes as a number", units[-1].fields[0].path)]
        )
    if size is not None and at < size:
        raise InputError([_gap(at, size - 1, path)])
    if size is not None and at > size:
        message = f"the fields end at byte {at - 1}, but size is {size}"
        raise InputError([Problem(message, f"write size = {at}", path)])
    return FieldLayout(fields=tuple(fields), units=units)


def _gap(first: int, last: int, path: Path) -> Problem:
    where = f"byte {first} is" if first == last else f"bytes {first} to {last} are"
    hint = "every byte must be in a field: name it, if only as reserved or unknown"
    return Problem(f"{where} not accounted for", hint, path)


def _check_bits(unit: Unit) -> None:
    if unit.size is None or unit.fields[0].kind.is_bytes:
        if len(unit.fields) > 1:
            message = f"{unit.fields[1].key} overlaps {unit.fields[0].key}"
            hint = "bytes that are one value have one field"
            raise InputError([Problem(message, hint, unit.fields[1].path)])
        return
    owner: dict[int, Field] = {}
    for field in unit.fields:
        for bit in range(field.low, field.low + field.kind.bits):
            if bit in owner:
                message = f"{field.key} takes bit {bit} of byte {unit.at}, as {owner[bit].key} does"
                raise InputError([Problem(message, "fields must not overlap", field.path)])
            owner[bit] = field
    free = sorted(set(range(unit.size * 8)) - set(owner))
    if free:
        high = free[0]
        while high + 1 in free:
            high += 1
        raise InputError([_bit_gap(unit, free[0], high, unit.fields[-1].path)])


def _bit_gap(unit: Unit, low: int, high: int, path: Path) -> Problem:
    where = f"bit {low} is" if low == high else f"bits {high}:{low} are"
    return Problem(
        f"{where} not accounted for in byte {unit.at}",
        "every bit must be in a field: name it, if only as reserved or unknown",
        path,
    )
