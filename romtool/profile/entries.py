"""Entries of a profile's lists of resources: each an inline table that becomes one item."""

from __future__ import annotations

from typing import Any

from romtool.errors import InputError, InvalidValue, Path, Problem
from romtool.image.walk import whole_items
from romtool.schema.catalog import Catalog
from romtool.schema.codec import RESERVED
from romtool.schema.numbers import clip, describe, did_you_mean, parse_hex
from romtool.schema.records import DescriptorType

RAW = "raw"
FORM = "form"


def item_bytes(catalog: Catalog, entry: Any, path: Path) -> bytes:
    """Return the item (for `raw`: the items) of one entry; raises InputError with the place."""
    if not isinstance(entry, dict):
        hint = "write { irq = [5, 7] }, { io = 0x220, length = 16 } and so on"
        raise InputError([Problem(f"{describe(entry)} is not an entry", hint, path)])
    if RAW in entry:
        return _raw(catalog, entry, path)
    heads = [key for key in entry if key in catalog.entries]
    if len(heads) != 1:
        raise InputError([_headless(catalog, entry, heads, path)])
    head = heads[0]
    record = _record(catalog, head, entry, path)
    _check_keys(catalog, record, entry, path)
    return written(record, {k: v for k, v in entry.items() if k != FORM}, path)


def written(
    record: DescriptorType, values: dict[str, Any], path: Path, length: int | None = None
) -> bytes:
    """Return the item of a record for the values of a table at `path`; raises InputError."""
    problems = []
    for field in record.profile_fields:
        if field.key in values:
            try:
                field.stored_of(values[field.key])
            except InvalidValue as wrong:
                place = (*path, field.key, *wrong.inside)
                problems.append(Problem(wrong.message, wrong.hint, place))
        elif not field.may_be_left_out:
            hint = f"state {field.key}" + (f": {field.text}" if field.text else "")
            problems.append(Problem(f"{record.title} has no {field.key}", hint, path))
    if problems:
        raise InputError(problems)
    try:
        return record.write(values, length)
    except InvalidValue as wrong:
        inside = (record.length_key,) if length is not None and record.length_key else wrong.inside
        raise InputError([Problem(wrong.message, wrong.hint, (*path, *inside))]) from None


def _raw(catalog: Catalog, entry: dict[str, Any], path: Path) -> bytes:
    problems = [
        Problem(f"{key} can't stand beside raw", "raw is whole items as they are", (*path, key))
        for key in entry
        if key != RAW
    ]
    if problems:
        raise InputError(problems)
    if not isinstance(entry[RAW], str):
        raise InputError(
            [Problem("raw takes a text", 'bytes, as "84 03 00 01 02 03"', (*path, RAW))]
        )
    try:
        data = parse_hex(entry[RAW])
    except InvalidValue as wrong:
        raise InputError([Problem(f"raw: {wrong.message}", wrong.hint, (*path, RAW))]) from None
    cut = whole_items(catalog, data)
    if cut is not None:
        message = f"raw: the item that begins with its byte {cut} ({data[cut]:02X}h) is not whole"
        hint = "raw holds whole items, each with its header and all its bytes"
        raise InputError([Problem(message, hint, (*path, RAW))])
    return data


def _headless(catalog: Catalog, entry: dict[str, Any], heads: list[str], path: Path) -> Problem:
    known = ", ".join([*catalog.entries, RAW])
    if heads:
        message = f"{' and '.join(heads)} can't stand in one entry"
        return Problem(message, "write one { } for each", (*path, heads[1]), on_key=True)
    for key in entry:
        hint = did_you_mean(key, [*catalog.entries, RAW])
        if hint:
            message = f"unknown resource {clip(key)}"
            return Problem(message, hint, (*path, key), on_key=True)
    return Problem("the entry doesn't say what it asks for", f"it needs one of {known}", path)


def _record(catalog: Catalog, head: str, entry: dict[str, Any], path: Path) -> DescriptorType:
    rivals = catalog.entries[head]
    forms = [record.form for record in rivals if record.form]
    if FORM in entry and entry[FORM] not in forms:
        message = f"form: {describe(entry[FORM])} is not one of its values"
        hint = f"write {' or '.join(str(form) for form in forms)}" if forms else "leave it out"
        raise InputError([Problem(message, hint, (*path, FORM))])
    if FORM in entry:
        return next(record for record in rivals if record.form == entry[FORM])
    try:
        return catalog.shortest(head, entry)
    except (InvalidValue, TypeError):
        return rivals[-1]


def _check_keys(
    catalog: Catalog, record: DescriptorType, entry: dict[str, Any], path: Path
) -> None:
    known = [field.key for field in record.profile_fields]
    if len(catalog.entries[record.key_field.key]) > 1:
        known.append(FORM)
    problems = []
    for key in entry:
        if key not in known and not (key == RESERVED and record.reserved_mask):
            hint = did_you_mean(key, known) or f"it takes {', '.join(known)}"
            message = f"unknown key {clip(key)} beside {record.key_field.key}"
            problems.append(Problem(message, hint, (*path, key), on_key=True))
    if problems:
        raise InputError(problems)
