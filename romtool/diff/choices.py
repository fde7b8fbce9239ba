"""The choices of two devices: which belong together, and what differs between those that do."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from romtool.diff.align import align
from romtool.diff.changes import Side, Where
from romtool.diff.items import compare_lists, kind_of, span_of
from romtool.diff.ledger import Ledger
from romtool.image.card import Choice, Device
from romtool.image.walk import Descriptor
from romtool.schema.numbers import hex_text

CHOICE = "choice"


def placed(where: Where, number: int, items: Sequence[Descriptor]) -> Side:
    """Return the side of a thing that only stands in another place, counted from 1."""
    return Side(where, f"place {number}", (span_of(items),), "place ")


def compare_start(
    ledger: Ledger, a_where: Where, b_where: Where, a: Descriptor, b: Descriptor
) -> None:
    """Enter what differs in the items that begin two devices or choices, field by field."""
    spans = span_of([a]), span_of([b])
    ledger.keep(a_where, b_where, *spans)
    if a.raw == b.raw:
        return
    told = False
    fields = a.record.profile_fields if a.values and b.values else ()
    for field in fields:
        values = a.values[field.key], b.values[field.key]
        if values[0] != values[1]:
            shown = [field.absent if v is None else field.kind.show(v) for v in values]
            words = [text or "none" for text in shown]
            ledger.change(
                Side(a_where.of(field.title), words[0], (spans[0],)),
                Side(b_where.of(field.title), words[1], (spans[1],)),
            )
            told = True
    if not told:
        title = a.record.title
        ledger.change(
            Side(a_where.of(title), hex_text(a.raw), (spans[0],)),
            Side(b_where.of(title), hex_text(b.raw), (spans[1],)),
        )


def compare_choices(
    ledger: Ledger, a_where: Where, b_where: Where, a: Sequence[Choice], b: Sequence[Choice]
) -> None:
    """Enter which choices were added, taken out or moved, and what differs in the others."""
    for pair in align(a, b, _choice_content, _choice_cost):
        here = a_where.inside(CHOICE, str((pair.a or 0) + 1))
        there = b_where.inside(CHOICE, str((pair.b or 0) + 1))
        one = None if pair.a is None else a[pair.a]
        other = None if pair.b is None else b[pair.b]
        if one is None or other is None:
            ledger.change(_choice_side(here, one), _choice_side(there, other))
            continue
        if pair.moved:
            ledger.change(
                placed(here, (pair.a or 0) + 1, one.all_items),
                placed(there, (pair.b or 0) + 1, other.all_items),
            )
        compare_start(ledger, here, there, one.start, other.start)
        compare_lists(ledger, here, there, one.items, other.items)


def _choice_side(where: Where, choice: Choice | None) -> Side | None:
    if choice is None:
        return None
    return Side(where, choice.words, (span_of(choice.all_items),))


def _choice_content(choice: Choice) -> bytes:
    return b"".join(item.raw for item in choice.all_items)


def _choice_cost(one: Choice, other: Choice) -> float:
    """Return how much lies between two choices: 2 where nothing that they ask for is alike.

    What is alike in kind only counts half; another priority makes it more.
    """
    priority = 0.5 if one.start.raw != other.start.raw else 0
    most = max(len(one.items), len(other.items))
    if not most:
        return priority
    same = Counter(i.raw for i in one.items) & Counter(i.raw for i in other.items)
    kinds = Counter(map(kind_of, one.items)) & Counter(map(kind_of, other.items))
    return 2 - (same.total() + kinds.total()) / most + priority


def compare_closed(ledger: Ledger, a_where: Where, b_where: Where, a: Device, b: Device) -> None:
    """Enter whether the choices are closed; where one device has none, that follows from it."""
    found = Ledger()
    last = [
        where.inside(CHOICE, str(len(device.choices))) if device.choices else where
        for where, device in ((a_where, a), (b_where, b))
    ]
    compare_lists(found, last[0], last[1], a.ends, b.ends)
    ledger.kept += found.kept
    told = ledger.changes if a.choices and b.choices else ledger.consequences
    told += found.changes
