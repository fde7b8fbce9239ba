"""Entries of a profile's lists of resources: each an inline table that becomes one item."""

from __future__ import annotations

from typing import Any

from romtool.errors import Fault, Path, Refused, Wrong
from romtool.image.walk import whole_items
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import clip, did_you_mean, parse_hex
from romtool.schema.records import Record
from romtool.schema.tables import describe

RAW = "raw"
FORM = "form"


def item_bytes(catalog: Catalog, entry: Any, path: Path) -> bytes:
    """Return the item (for `raw`: the items) of one entry; raises Refused with the place."""
    if not isinstance(entry, dict):
        hint = "write { irq = [5, 7] }, { io = 0x220, length = 16 } and so on"
        raise Refused([Fault(f"{describe(entry)} is not an entry", hint, path)])
    if RAW in entry:
        return _raw(catalog, entry, path)
    heads = [key for key in entry if key in catalog.entries]
    if len(heads) != 1:
        raise Refused([_headless(catalog, entry, heads, path)])
    head = heads[0]
    record = _record(catalog, head, entry, path)
    _check_keys(catalog, record, entry, path)
    return written(record, {k: v for k, v in entry.items() if k != FORM}, path)


def written(record: Record, values: dict[str, Any], path: Path, length: int | None = None) -> bytes:
    """Return the item of a record for the values of a table at `path`; raises Refused."""
    faults = []
    for field in record.profile_fields:
        if field.key in values:
            try:
                field.stored_of(values[field.key])
            except Wrong as wrong:
                place = (*path, field.key, *wrong.inside)
                faults.append(Fault(wrong.message, wrong.hint, place))
        elif not field.may_be_left_out:
            hint = f"state {field.key}" + (f": {field.text}" if field.text else "")
            faults.append(Fault(f"{record.title} has no {field.key}", hint, path))
    if faults:
        raise Refused(faults)
    try:
        return record.write(values, length)
    except Wrong as wrong:
        inside = (record.length_key,) if length is not None and record.length_key else wrong.inside
        raise Refused([Fault(wrong.message, wrong.hint, (*path, *inside))]) from None


def _raw(catalog: Catalog, entry: dict[str, Any], path: Path) -> bytes:
    faults = [
        Fault(f"{key} can't stand beside raw", "raw is whole items as they are", (*path, key))
        for key in entry
        if key != RAW
    ]
    if faults:
        raise Refused(faults)
    if not isinstance(entry[RAW], str):
        raise Refused([Fault("raw takes a text", 'bytes, as "84 03 00 01 02 03"', (*path, RAW))])
    try:
        data = parse_hex(entry[RAW])
    except Wrong as wrong:
        raise Refused([Fault(f"raw: {wrong.message}", wrong.hint, (*path, RAW))]) from None
    cut = whole_items(catalog, data)
    if cut is not None:
        message = f"raw: the item that begins with its byte {cut} ({data[cut]:02X}h) is not whole"
        hint = "raw holds whole items, each with its header and all its bytes"
        raise Refused([Fault(message, hint, (*path, RAW))])
    return data


def _headless(catalog: Catalog, entry: dict[str, Any], heads: list[str], path: Path) -> Fault:
    known = ", ".join([*catalog.entries, RAW])
    if heads:
        message = f"{' and '.join(heads)} can't stand in one entry"
        return Fault(message, "write one { } for each", (*path, heads[1]), on_key=True)
    for key in entry:
        hint = did_you_mean(key, [*catalog.entries, RAW])
        if hint:
            message = f"unknown resource {clip(key)}"
            return Fault(message, hint, (*path, key), on_key=True)
    return Fault("the entry doesn't say what it asks for", f"it needs one of {known}", path)


def _record(catalog: Catalog, head: str, entry: dict[str, Any], path: Path) -> Record:
    rivals = catalog.entries[head]
    forms = [record.form for record in rivals if record.form]
    if FORM in entry and entry[FORM] not in forms:
        message = f"form: {describe(entry[FORM])} is not one of its values"
        hint = f"write {' or '.join(str(form) for form in forms)}" if forms else "leave it out"
        raise Refused([Fault(message, hint, (*path, FORM))])
    if FORM in entry:
        return next(record for record in rivals if record.form == entry[FORM])
    try:
        return catalog.shortest(head, entry)
    except (Wrong, TypeError):
        return rivals[-1]


def _check_keys(catalog: Catalog, record: Record, entry: dict[str, Any], path: Path) -> None:
    known = [field.key for field in record.profile_fields]
    if len(catalog.entries[record.head.key]) > 1:
        known.append(FORM)
    faults = []
    for key in entry:
        if key not in known:
            hint = did_you_mean(key, known) or f"it takes {', '.join(known)}"
            message = f"unknown key {clip(key)} beside {record.head.key}"
            faults.append(Fault(message, hint, (*path, key), on_key=True))
    if faults:
        raise Refused(faults)
