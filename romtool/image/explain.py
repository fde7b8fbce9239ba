"""The tree of an image in words: every byte with where it belongs, what it is, what it says."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from typing import NamedTuple

from romtool.image.model import Compared, Image
from romtool.image.tree import Node
from romtool.schema.field_types import AnyKind, NotRepresentable, Stored
from romtool.schema.numbers import hex_text, sizes

NO_LAYOUT = "bytes that no layout explains"
RUN_WORDS = {
    "patch": "firmware patch area or other bytes",
    "data": "bytes after the PnP data",
    "fill": "fill",
    "unknown": NO_LAYOUT,
}


class Owner(NamedTuple):
    """What bytes are part of: `kind` is frame, identifier, card, device, or that of a tail.

    `device` and `choice` count from 0; `id` is the device's.
    """

    kind: str
    words: str
    device: int | None = None
    choice: int | None = None
    id: str = ""


class Row(NamedTuple):
    """A run of bytes that are read together: the nodes that share them, highest bits first.

    `record` is the title of the item that they are in; empty outside the items and for its tag.
    """

    offset: int
    raw: bytes
    part_of: Owner
    nodes: tuple[Node, ...]
    record: str = ""

    @property
    def owner(self) -> str:
        """What the bytes are part of, in words."""
        return self.part_of.words

    @property
    def meanings(self) -> tuple[str, ...]:
        """What the bytes mean, a line each; reserved bits that are 0 go without saying."""
        return tuple(words for node in self.nodes if (words := _meaning(node)))

    def field_at(self, offset: int, bits: int = 0xFF) -> str:
        """Return what these bits of the byte at `offset` belong to, in one line."""
        index = offset - self.offset
        leaves = [leaf for node in self.nodes for leaf in node.leaves()]
        # Of a wiring pin A comes first, though it has the lowest bits.
        leaves.sort(key=lambda leaf: leaf.label if leaf.kind == "pin" else "")
        mine = [leaf for leaf in leaves if leaf.mask is None or leaf.mask[index] & bits]
        words = ", ".join(_name(leaf) for leaf in mine)
        record = f"{self.record}, " if self.record else ""
        return f"{self.owner}: {record}{words}"


def explain(image: Image) -> list[Row]:
    """Return the rows for all bytes of an image, in order; none is left out."""
    rows: list[Row] = []
    devices = 0
    for node in image.tree.children:
        if node.kind == "header":
            rows += _rows(image, Owner("frame", "frame"), node.children)
        elif node.kind == "lead":
            rows += _rows(image, Owner("frame", "lead"), (node,))
        elif node.kind == "identifier":
            rows += _rows(image, Owner("identifier", "identifier"), node.children)
        elif node.kind == "tail":
            rows += _rows(image, Owner(node.label, "outside"), (node,))
        else:
            for part in node.children:
                if part.kind == "device":
                    rows += _device_rows(image, part, devices)
                    devices += 1
                else:
                    for item in _items(part):
                        rows += _item_rows(image, Owner("card", "card"), item)
    return rows


def _items(part: Node) -> tuple[Node, ...]:
    """Return the items of a choice, or the one item that it is."""
    return part.children if part.kind == "choice" else (part,)


def _device_rows(image: Image, device: Node, number: int) -> Iterator[Row]:
    outside = Owner("device", f"device {device.label}", number, id=device.label)
    choices = 0
    for part in device.children:
        owner = outside
        if part.kind == "choice":
            words = f"{outside.words}, choice {part.label}"
            owner = outside._replace(words=words, choice=choices)
            choices += 1
        for item in _items(part):
            yield from _item_rows(image, owner, item)


def _item_rows(image: Image, owner: Owner, item: Node) -> Iterator[Row]:
    tag, *inside = item.children
    yield from _rows(image, owner, (tag,))
    yield from _rows(image, owner, inside, item.label)


def _rows(
    image: Image, owner: Owner, nodes: tuple[Node, ...] | list[Node], record: str = ""
) -> Iterator[Row]:
    for (start, stop), group in groupby(nodes, lambda node: (node.start, node.stop)):
        yield Row(start, image.data[start:stop], owner, tuple(group), record)


def rows_by_byte(rows: list[Row]) -> list[Row]:
    """Return the row of each byte, in order."""
    return [row for row in rows for _ in row.raw]


def _name(leaf: Node) -> str:
    """Return what a leaf is called."""
    if leaf.kind == "pin" and leaf.field is not None:
        return f"{leaf.field.title} pin {leaf.label}"
    if leaf.kind == "lead":
        return NO_LAYOUT
    if leaf.kind == "tail":
        return RUN_WORDS[leaf.label]
    return "odd content" if leaf.kind == "odd" else leaf.label


def _meaning(node: Node) -> str:
    field, count = node.field, node.stop - node.start
    if node.kind == "tag":
        length = node.value
        follow = "1 byte follows" if length == 1 else f"{length} bytes follow"
        return f"{node.label}: {follow}" if length else node.label
    if node.kind in ("lead", "tail"):
        return f"{_name(node)}: {sizes(count)}"
    if field is None:
        return f"{_name(node)}: {count} bytes, not {node.value}"
    if field.kind.is_reserved and not node.stored:
        return ""
    bits = f" ({field.bit_range})" if field.bit_range else ""
    return f"{field.title}{bits}: {stated(field.kind, node.stored, node.compared)}"


def stated(kind: AnyKind, raw: Stored, found: Compared | None) -> str:
    """Return a stored value in words; with `found`, also whether it is what it should be."""
    try:
        words = kind.show(kind.to_value(raw))
    except NotRepresentable as error:
        words = hex_text(raw) if isinstance(raw, bytes) else f"{raw} ({error})"
    return words if found is None else f"{words}, {found.judgement(kind)}"
