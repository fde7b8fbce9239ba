"""Items of the PnP data compared with each other: lists of them, and two of one kind."""

from __future__ import annotations

from collections.abc import Sequence

from romtool.diff.align import align
from romtool.diff.changes import Ledger, Side, Span, Where
from romtool.image.walk import Descriptor
from romtool.schema.numbers import hex_text


def span_of(items: Sequence[Descriptor]) -> Span:
    """Return the bytes of items that stand one after the other."""
    return items[0].offset, items[-1].end


def kind_of(item: Descriptor) -> str:
    """Return what kind of thing an item asks for or says, whatever its form."""
    fields = item.record.field_layout.fields
    return fields[0].key if fields else item.record.name


def as_list(item: Descriptor | None) -> list[Descriptor]:
    """Return the item, if there is one, as a list."""
    return [] if item is None else [item]


def compare_lists(
    ledger: Ledger, a_where: Where, b_where: Where, a: Sequence[Descriptor], b: Sequence[Descriptor]
) -> None:
    """Enter what differs between two lists of items, and which of them are in both."""
    for pair in align(a, b, lambda item: item.raw, _cost):
        if pair.a is None or pair.b is None:
            ledger.change(
                None if pair.a is None else _side(a_where, a[pair.a], a[pair.a].words),
                None if pair.b is None else _side(b_where, b[pair.b], b[pair.b].words),
            )
            continue
        one, other = a[pair.a], b[pair.b]
        ledger.keep(a_where, b_where, span_of([one]), span_of([other]))
        if one.raw != other.raw:
            words = told_apart(one, other)
            ledger.change(
                _side(a_where, one, words[0], _lead(one)),
                _side(b_where, other, words[1], _lead(other)),
            )
        elif pair.moved:
            lead = f"{one.words}, "
            ledger.change(
                _side(a_where, one, f"{lead}place {pair.a + 1}", lead),
                _side(b_where, other, f"{lead}place {pair.b + 1}", lead),
            )


def _side(where: Where, item: Descriptor, words: str, lead: str = "") -> Side:
    return Side(where, words, (span_of([item]),), lead)


def _lead(item: Descriptor) -> str:
    """Return the words that every item of its kind begins with: `IRQ `, `compatible with `."""
    return item.record.say_first if item.representable else ""


def _cost(one: Descriptor, other: Descriptor) -> float | None:
    """Return how much lies between two items: the less, the more of their bytes are the same."""
    if kind_of(one) != kind_of(other):
        return None
    same = sum(a == b for a, b in zip(one.raw, other.raw, strict=False))
    return 1 - same / (2 * max(len(one.raw), len(other.raw)))


def told_apart(one: Descriptor, other: Descriptor) -> tuple[str, str]:
    """Return two items in words that differ: with fields that usually go without saying."""
    words = [one.words, other.words]
    if words[0] == words[1] and one.record is other.record:
        for field in one.record.profile_fields:
            values = [item.values[field.key] for item in (one, other)]
            if values[0] != values[1]:
                words = [
                    f"{text}, {field.title} {field.kind.show(value)}"
                    for text, value in zip(words, values, strict=True)
                ]
    return apart(words[0], words[1], one.raw, other.raw)


def apart(a: str, b: str, a_raw: bytes, b_raw: bytes) -> tuple[str, str]:
    """Return words for two things; with their bytes where the words alone are the same."""
    if a != b:
        return a, b
    return f"{a} ({hex_text(a_raw)})", f"{b} ({hex_text(b_raw)})"
