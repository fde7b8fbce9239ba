"""Two images to their differences."""

from __future__ import annotations

from collections.abc import Sequence

from romtool.diff.changes import Differences
from romtool.diff.devices import compare_devices
from romtool.diff.fields import (
    CARD,
    END,
    compare_fields,
    compare_frames,
    compare_identifiers,
    end_field,
)
from romtool.diff.items import as_list, compare_lists, span_of
from romtool.diff.ledger import Ledger
from romtool.diff.outside import compare_all_bytes, compare_outside, compare_shapes
from romtool.image.card import Card, card_of
from romtool.image.model import Image
from romtool.image.walk import Descriptor


def compare(a: Image, b: Image, parts: tuple[str | None, str | None] = (None, None)) -> Differences:
    """Return what differs between two images, whatever their bytes.

    `parts`: the names of their EEPROM parts, where settled. Both images are of one catalogue.
    B compared with A is the same with its sides swapped: ties between equally short answers
    are settled by the bytes, not by which image comes first.
    """
    if _order(a) > _order(b):
        return compare(b, a, (parts[1], parts[0])).swapped()
    if bool(a.identifier_size) != bool(b.identifier_size):
        return _compare_items(a, b)
    same = a.data == b.data
    ledger = Ledger(list(compare_shapes(a, b, parts)))
    if a.layout is None or b.layout is None:
        ledger.runs += compare_all_bytes(a, b)
    elif not same:
        compare_frames(ledger, a, b)
        compare_identifiers(ledger, a, b)
        _compare_cards(ledger, card_of(a), card_of(b))
        _compare_ends(ledger, a, b)
        compare_outside(ledger, a, b)
    consequences = (*ledger.consequences, *ledger.moves())
    return Differences(
        same,
        tuple(ledger.changes),
        consequences,
        tuple(ledger.runs),
        tuple(ledger.renumbered),
        tuple(ledger.drivers),
    )


def _compare_items(a: Image, b: Image) -> Differences:
    """Return what differs between resource data alone and an image: in the PnP data only."""
    ledger = Ledger()
    _compare_cards(ledger, card_of(a), card_of(b))
    _compare_ends(ledger, a, b)
    same = a.items_raw == b.items_raw
    return Differences(same, tuple(ledger.changes), tuple(ledger.consequences))


def _order(image: Image) -> tuple[bytes, str]:
    return image.data, image.layout.name if image.layout else ""


def _compare_cards(ledger: Ledger, a: Card, b: Card) -> None:
    for one, other in zip(_before(a), _before(b), strict=True):
        compare_lists(ledger, CARD, CARD, one, other)
    compare_devices(ledger, a.devices, b.devices)


def _before(card: Card) -> tuple[Sequence[Descriptor], ...]:
    """Return what belongs to no device: version, name, what else stands before the devices."""
    version, name, rest = card.leading
    return as_list(version), as_list(name), rest


def _compare_ends(ledger: Ledger, a: Image, b: Image) -> None:
    """Enter what differs in the end items: that there is one, or its checksum."""
    one, other = end_field(a), end_field(b)
    if one is not None and other is not None:
        ends = [image.end_item for image in (a, b)]
        spans = [span_of([end]) for end in ends if end is not None]
        ledger.keep(END, END, spans[0], spans[1])
        compare_fields(ledger, one, other)
        return
    ends_a, ends_b = (as_list(card_of(image).end) for image in (a, b))
    compare_lists(ledger, END, END, ends_a, ends_b)
