"""Every byte of an image with its meaning: where it belongs, what it is, what it says."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from romtool.image.card import card_of
from romtool.image.model import Compared, Image
from romtool.image.walk import Descriptor
from romtool.schema.field_types import AnyKind, Constant, NotRepresentable, Pins, Reserved, Stored
from romtool.schema.fields import FieldLayout, Unit
from romtool.schema.numbers import hex_text, sizes


class Row(NamedTuple):
    """A run of bytes that belong together: `owner` is what they are part of.

    `record` is the title of the item that they are in; empty outside the items. `parts`: what
    each bit belongs to, as a name and a mask over the bytes; empty where all are of one kind.
    """

    offset: int
    raw: bytes
    owner: str
    meanings: tuple[str, ...]
    record: str = ""
    parts: tuple[tuple[str, bytes], ...] = ()

    def field_at(self, offset: int, bits: int = 0xFF) -> str:
        """Return what these bits of the byte at `offset` belong to, in one line."""
        index = offset - self.offset
        names = [name for name, mask in self.parts if mask[index] & bits]
        words = ", ".join(names) or self.meanings[0].partition(":")[0]
        record = f"{self.record}, " if self.record else ""
        return f"{self.owner}: {record}{words}"


NO_LAYOUT = "bytes that no layout explains"
RUN_WORDS = {
    "patch": "firmware patch area or other bytes",
    "data": "bytes after the PnP data",
    "fill": "fill",
}


def explain(image: Image) -> list[Row]:
    """Return the rows for all bytes of an image, in order; none is left out."""
    rows: list[Row] = []
    if image.layout is not None:
        layout = image.layout.field_layout
        rows += _layout_rows(layout, 0, image.data[: image.layout.size], "frame", image.computed)
        identifier = image.catalog.identifier
        checks = (
            {} if image.id_checksum is None else {identifier.check_field.key: image.id_checksum}
        )
        rows += _layout_rows(
            identifier.field_layout, image.identifier_at, image.identifier_raw, "identifier", checks
        )
        owners = item_owners(image)
        for item in image.items:
            rows += _item_rows(image, item, owners[item.offset])
    for run in image.tail:
        words = RUN_WORDS[run.kind] if image.layout is not None else NO_LAYOUT
        rows.append(Row(run.offset, run.raw, "outside", (f"{words}: {sizes(len(run.raw))}",)))
    return rows


def rows_by_byte(rows: Sequence[Row]) -> list[Row]:
    """Return the row of each byte, in order."""
    return [row for row in rows for _ in row.raw]


def item_owners(image: Image) -> dict[int, str]:
    """Return what each item (by its offset) is part of: the card, a device, a choice of one."""
    card = card_of(image)
    owners = {item.offset: "card" for item in image.items}
    for offset, (device, choice) in card.places().items():
        which = "" if choice is None else f", choice {choice + 1}"
        owners[offset] = f"device {card.devices[device].start.key_value}{which}"
    return owners


def _item_rows(image: Image, item: Descriptor, owner: str) -> Iterator[Row]:
    record = item.record
    size = record.header.size
    length = len(item.content)
    follow = "1 byte follows" if length == 1 else f"{length} bytes follow"
    head = f"{record.title}: {follow}" if length else record.title
    yield Row(item.offset, item.raw[:size], owner, (head,))
    if not length:
        return
    at = item.offset + size
    if not record.takes(length):
        words = f"odd content: {length} bytes, not {record.lengths_in_words()}"
        yield Row(at, item.content, owner, (words,), record.title)
        return
    end = image.end_checksum if item is image.end_item else None
    checks = {} if end is None else {record.key_field.key: end}
    yield from _layout_rows(record.field_layout, at, item.content, owner, checks, record.title)


def _layout_rows(
    layout: FieldLayout,
    at: int,
    data: bytes,
    owner: str,
    checks: Mapping[str, Compared],
    title: str = "",
) -> Iterator[Row]:
    stored = layout.parse(data)
    for unit in layout.units:
        raw = data[unit.at :] if unit.size is None else data[unit.at : unit.at + unit.size]
        if raw:
            meanings = tuple(_meanings(unit, stored, checks))
            yield Row(at + unit.at, raw, owner, meanings, title, tuple(_parts(unit, len(raw))))


def _parts(unit: Unit, there: int) -> Iterator[tuple[str, bytes]]:
    """Yield what each bit of a unit belongs to: fields, of a wiring each pin."""
    if unit.size is None:
        yield unit.fields[0].title, b"\xff" * there
        return
    for field in unit.fields:
        kind = field.kind
        if isinstance(kind, Pins):
            for pin in range(kind.pins):
                mask = field.byte_mask(pin * kind.pin_bits, kind.pin_bits)
                yield f"{field.title} pin {kind.pin_name(pin)}", mask[:there]
        else:
            yield field.title, field.byte_mask()[:there]


def _meanings(
    unit: Unit, stored: Mapping[str, Stored], checks: Mapping[str, Compared]
) -> Iterator[str]:
    for field in unit.fields:
        raw = stored[field.key]
        if isinstance(field.kind, Reserved) and not raw:
            continue
        bits = f" ({field.bit_range})" if field.bit_range else ""
        found = checks.get(field.key)
        yield f"{field.title}{bits}: {stated(field.kind, raw, found)}"


def stated(kind: AnyKind, raw: Stored, found: Compared | None) -> str:
    """Return a stored value in words; with `found`, also whether it is what it should be."""
    if isinstance(raw, bytes) and isinstance(kind, Constant):
        words = hex_text(raw)
    else:
        try:
            words = kind.show(kind.to_value(raw))
        except NotRepresentable as error:
            words = hex_text(raw) if isinstance(raw, bytes) else f"{raw} ({error})"
    if found is None:
        return words
    if found.stored == found.computed:
        return f"{words}, right"
    right = found.computed
    should = hex_text(right) if isinstance(right, bytes) else kind.show(right)
    if found.way is not None:
        return f"{words}, counted {found.way.replace('-', ' ')}; usual is {should}"
    return f"{words}, not checked" if found.ok else f"{words}, should be {should}"
