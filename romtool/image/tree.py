"""The annotated tree of an image: what every bit is part of, what it says, what it should be.

The leaves stand in the order of their bytes and tile them: each bit lies in exactly one leaf.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from typing import Literal, NamedTuple

from romtool.image.card import Section, card_of
from romtool.image.model import Compared, Image
from romtool.image.walk import Descriptor
from romtool.schema.field_types import NotRepresentable, Pins, Stored, Value, number
from romtool.schema.fields import Field, FieldLayout

NodeKind = Literal[
    "image",
    "header",
    "lead",
    "identifier",
    "card",
    "device",
    "choice",
    "item",
    "tag",
    "field",
    "pin",
    "odd",
    "tail",
]
"""`header`: what the layout puts before the PnP data; `lead`: bytes there that no layout explains;
`tag`: how an item begins, its name and length; `odd`: content of a length that its item can't
have; `tail`: a run of bytes after the PnP data."""


class Node(NamedTuple):
    """Bytes from `start` up to `stop` (exclusive), and what they are.

    `label` names it: an ID, a number from 1, a title; of a tail its kind. `mask` has a 1 for each
    bit of its bytes that is its own, None where all are. `value` is for people, None where the
    stored bits stand for none; of an item it is the `Item`. `compared` is None where nothing
    computes the stored value.
    """

    kind: NodeKind
    label: str
    start: int
    stop: int
    mask: bytes | None = None
    field: Field | None = None
    value: Value | Descriptor = None
    stored: Stored = None
    compared: Compared | None = None
    children: tuple[Node, ...] = ()

    @property
    def expected(self) -> Stored:
        """What should be stored; None where nothing computes it."""
        return None if self.compared is None else self.compared.computed

    def leaves(self) -> Iterator[Node]:
        """Yield the leaves, in the order of their bytes, of shared bytes the highest bits first."""
        if not self.children:
            yield self
        for child in self.children:
            yield from child.leaves()


def tree_of(image: Image) -> Node:
    """Return the tree of an image; its leaves are all bits of it."""
    nodes: list[Node] = []
    if image.layout is not None:
        layout, identifier = image.layout, image.catalog.identifier
        if image.lead is not None:
            nodes.append(Node("lead", "lead", 0, layout.size, stored=image.lead))
        elif layout.size:
            fields = _fields(layout.field_layout, 0, image.data[: layout.size], image.computed)
            nodes.append(_over("header", layout.name, fields))
        check = image.id_checksum
        if check is not None:
            checks, at = {identifier.check_field.key: check}, image.identifier_at
            fields = _fields(identifier.field_layout, at, image.identifier_raw, checks)
            nodes.append(_over("identifier", identifier.name, fields))
        if image.items:
            nodes.append(_over("card", image.card_id or "", _sections(image)))
    for run in image.tail:
        kind = run.kind if image.layout is not None else "unknown"
        nodes.append(Node("tail", kind, run.offset, run.end, stored=run.raw))
    return Node("image", "", 0, len(image.data), children=tuple(nodes))


def _over(kind: NodeKind, label: str, children: Iterator[Node]) -> Node:
    """Return a node of these children, which follow one another."""
    inside = tuple(children)
    return Node(kind, label, inside[0].start, inside[-1].stop, children=inside)


def _sections(image: Image) -> Iterator[Node]:
    card = card_of(image)
    yield from _section(image, card.outside)
    for device in card.devices:
        items = itertools.chain([_item(image, device.start)], _section(image, device))
        yield _over("device", device.id, items)
    if card.end is not None:
        yield _item(image, card.end)


def _section(image: Image, section: Section) -> Iterator[Node]:
    for item in section.before:
        yield _item(image, item)
    number = 0
    for group in section.groups:
        for choice in group.choices:
            number += 1
            items = (_item(image, item) for item in choice.all_items)
            yield _over("choice", str(number), items)
        if group.end is not None:
            yield _item(image, group.end)
        for item in group.after:
            yield _item(image, item)


def _item(image: Image, item: Descriptor) -> Node:
    return _over("item", item.record.title, _parts_of(image, item))._replace(value=item)


def _parts_of(image: Image, item: Descriptor) -> Iterator[Node]:
    record, content = item.record, item.content
    at = item.offset + record.header.size
    tag = item.raw[: record.header.size]
    yield Node("tag", record.title, item.offset, at, value=len(content), stored=tag)
    if not content:
        return
    if not record.takes(len(content)):
        lengths = record.lengths_in_words()
        yield Node("odd", record.title, at, item.end, value=lengths, stored=content)
        return
    end = image.end_checksum if item is image.end_item else None
    yield from _fields(
        record.field_layout, at, content, {} if end is None else {record.key_field.key: end}
    )


def _fields(
    layout: FieldLayout, at: int, data: bytes, checks: Mapping[str, Compared]
) -> Iterator[Node]:
    """Yield the fields of a layout that stand in `data`, whose first byte is at address `at`."""
    stored = layout.parse(data)
    for unit in layout.units:
        there = unit.there(len(data))
        for field in unit.fields if there else ():
            mask = field.byte_mask()[:there] if len(unit.fields) > 1 else None
            if mask is not None and not any(mask):
                continue
            raw, first = stored[field.key], at + unit.at
            yield Node(
                "field",
                field.title,
                first,
                first + there,
                mask,
                field,
                _value(field, raw),
                raw,
                checks.get(field.key),
                tuple(_pins(field, first, number(raw))) if isinstance(field.kind, Pins) else (),
            )


def _value(field: Field, stored: Stored) -> Value:
    try:
        return field.value_of(stored)
    except NotRepresentable:
        return None


def _pins(field: Field, start: int, stored: int) -> Iterator[Node]:
    """Yield the pins of a wiring, the highest bits first."""
    kind = field.kind
    assert isinstance(kind, Pins)
    lines = kind.to_value(stored)
    for pin in reversed(range(kind.pins)):
        first = pin * kind.pin_bits
        mask = field.byte_mask(first, kind.pin_bits)
        bits = stored >> first & (1 << kind.pin_bits) - 1
        label = kind.pin_name(pin)
        yield Node("pin", label, start, start + len(mask), mask, field, lines[pin], bits)
