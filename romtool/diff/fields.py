"""Fields outside the items compared with each other: those of the frame and of the identifier."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import NamedTuple

from romtool.diff.changes import Ledger, Side, Span, Where
from romtool.diff.items import apart
from romtool.image.explain import stated
from romtool.image.model import Compared, Image
from romtool.schema.field_types import Pins, Stored, number
from romtool.schema.fields import Field
from romtool.schema.image_layouts import ImageLayout

FRAME, CARD, END = Where((("frame", ""),)), Where((("card", ""),)), Where((("end", ""),))


class Held(NamedTuple):
    """A field as one image holds it: where it is called what, its bits, its bytes, its check."""

    where: Where
    field: Field
    stored: Stored
    raw: bytes
    at: int
    found: Compared | None = None

    @property
    def span(self) -> Span:
        """Its bytes, which other fields may share."""
        return self.at, self.at + len(self.raw)

    def side(self, words: str) -> Side:
        """Return its part of a change."""
        return Side(self.where, words, (self.span,))


def compare_fields(ledger: Ledger, a: Held, b: Held) -> None:
    """Enter what differs in a field: as a consequence where it follows from what it covers.

    A value that stays, and is no longer what it should be, is a consequence too.
    """
    kind, other, stays = a.field.kind, b.field.kind, bool(a.stored == b.stored)
    if not stays and isinstance(kind, Pins) and isinstance(other, Pins) and kind.pins == other.pins:
        words = _pins((kind, other), (a.stored, b.stored))
    else:
        words = _words(a), _words(b)
    if stays and words[0] == words[1]:
        return
    words = apart(*words, a.raw, b.raw)
    ledger.change(a.side(words[0]), b.side(words[1]), follows=stays or _follows(a.found, b.found))


def _follows(a: Compared | None, b: Compared | None) -> bool:
    """Whether both values are what the rest of their image makes them."""
    if a is None or b is None:
        return False
    if "other way" in (a.verdict, b.verdict):
        return a.way == b.way
    return a.verdict == b.verdict == "right"


def _words(held: Held) -> str:
    """Return a field's value; whether it is right only where it isn't."""
    found = held.found
    if found is not None and found.verdict == "right":
        found = None
    return stated(held.field.kind, held.stored, found)


def _pins(kinds: tuple[Pins, Pins], stored: tuple[Stored, Stored]) -> tuple[str, str]:
    """Return what two wirings of as many pins connect to those in which they differ."""
    one, other = (kind.to_value(number(side)) for kind, side in zip(kinds, stored, strict=True))
    pins = [pin for pin in range(kinds[0].pins) if one[pin] != other[pin]]

    def words(kind: Pins, lines: list[int]) -> str:
        return ", ".join(kind.show_pin(pin, lines[pin]) for pin in pins)

    return words(kinds[0], one), words(kinds[1], other)


def compare_frames(ledger: Ledger, a: Image, b: Image) -> None:
    """Enter what differs in the frames; of two layouts, in the settings that both have."""
    assert a.layout is not None
    assert b.layout is not None
    fields = _frame_fields(a, a.layout), _frame_fields(b, b.layout)
    for key, one in fields[0].items():
        other = fields[1].get(key)
        if other is None or type(one.field.kind) is not type(other.field.kind):
            continue
        if a.layout is b.layout or one.found is None:
            compare_fields(ledger, one, other)


def _frame_fields(image: Image, layout: ImageLayout) -> dict[str, Held]:
    titles = Counter(field.title for field in layout.field_layout.fields)
    held = {}
    for field in layout.field_layout.fields:
        title = field.title if titles[field.title] == 1 else f"{field.title} ({field.key})"
        held[field.key] = _held(
            image,
            FRAME.of(title),
            field,
            image.layout_stored,
            0,
            image.computed.get(field.key),
        )
    return held


def _held(
    image: Image,
    where: Where,
    field: Field,
    stored: Mapping[str, Stored],
    start: int,
    found: Compared | None,
) -> Held:
    at = start + field.at
    raw = image.data[at : at + (field.size or 0)]
    return Held(where, field, stored[field.key], raw, at, found)


def compare_identifiers(ledger: Ledger, a: Image, b: Image) -> None:
    """Enter what differs in the serial identifiers."""
    sides = [_identifier(image) for image in (a, b)]
    where = Where(((a.catalog.identifier.name, ""),))
    spans = [(image.identifier_at, image.items_at) for image in (a, b)]
    ledger.keep(where, where, spans[0], spans[1])
    for one, other in zip(*sides, strict=True):
        compare_fields(ledger, one, other)


def _identifier(image: Image) -> list[Held]:
    identifier = image.catalog.identifier
    stored = identifier.field_layout.parse(image.identifier_raw)
    held = []
    for field in identifier.field_layout.fields:
        found = image.id_checksum if field is identifier.check_field else None
        where = CARD.of(field.title)
        held.append(_held(image, where, field, stored, image.identifier_at, found))
    return held


def end_field(image: Image) -> Held | None:
    """Return the end item's checksum as an image holds it; None without an end item."""
    end = image.end_item
    if end is None or not end.representable:
        return None
    field = end.record.key_field
    at = end.offset + end.record.header.size
    stored = end.record.field_layout.parse(end.content)[field.key]
    return Held(END.of(field.title), field, stored, end.content, at, image.end_checksum)
