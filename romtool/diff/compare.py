"""Two images to their differences."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from romtool.diff.changes import ByteRun, Change, Differences, Ledger, Side, Where, differing_runs
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
from romtool.image.card import Card, card_of
from romtool.image.explain import NO_LAYOUT, RUN_WORDS
from romtool.image.model import Image, Run
from romtool.image.walk import Descriptor
from romtool.schema.image_layouts import LEAD
from romtool.schema.numbers import sizes


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
    ledger = Ledger(compare_shapes(a, b, parts))
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


# --- what lies outside the card: part, fill, patch area, other bytes


LAYOUT, PART, SIZE = (Where(((word, ""),)) for word in ("layout", "part", "size"))
PATCH, DATA, FILL = "patch", "data", "fill"


def compare_shapes(a: Image, b: Image, parts: tuple[str | None, str | None]) -> Iterator[Change]:
    """Yield what differs as a whole: the layout, the part or the size."""
    if _layout_words(a) != _layout_words(b):
        yield Change(*(_layout(image) for image in (a, b)))
    if len(a.data) != len(b.data):
        yield Change(_size(a, b, parts[0]), _size(b, a, parts[1]))
    elif parts[0] and parts[1] and parts[0] != parts[1]:
        yield Change(*(Side(PART, part) for part in parts if part))


def _layout(image: Image) -> Side:
    spans = ((0, image.layout.size),) if image.layout is not None else ()
    return Side(LAYOUT, _layout_words(image), spans)


def _layout_words(image: Image) -> str:
    if image.layout is None:
        return "none fits"
    return image.layout.name if image.lead is None else f"{LEAD}, {sizes(len(image.lead))}"


def _size(image: Image, other: Image, part: str | None) -> Side:
    words = sizes(len(image.data)) + (f" ({part})" if part else "")
    return Side(SIZE, words, ((min(len(image.data), len(other.data)), len(image.data)),))


def compare_all_bytes(a: Image, b: Image) -> Iterator[ByteRun]:
    """Yield the runs in which two images differ of which one has no layout."""
    yield from _runs(NO_LAYOUT, a, b, range(max(len(a.data), len(b.data))))


def compare_outside(ledger: Ledger, a: Image, b: Image) -> None:
    """Enter what differs outside the card of two images with a layout: a lead, what follows."""
    if a.lead is not None and b.lead is not None and len(a.lead) == len(b.lead):
        ledger.runs += _runs(LEAD, a, b, range(len(a.lead)))
    fills = a.runs(FILL), b.runs(FILL)
    if a.fill != b.fill and all(fills):
        ledger.change(*(_fill(image, runs) for image, runs in zip((a, b), fills, strict=True)))
    patches = a.runs(PATCH), b.runs(PATCH)
    both = all(patches)
    if both:
        _compare_patches(ledger, patches[0][0], patches[1][0])
    for kind in (PATCH, DATA):
        if kind == PATCH and both:
            continue
        places = {
            at for image in (a, b) for run in image.runs(kind) for at in range(run.offset, run.end)
        }
        ledger.runs += _runs(RUN_WORDS[kind], a, b, sorted(places))


def _fill(image: Image, runs: list[Run]) -> Side:
    spans = tuple((run.offset, run.end) for run in runs)
    return Side(Where(((RUN_WORDS[FILL], ""),)), f"{image.fill:02X}h", spans)


def _compare_patches(ledger: Ledger, a: Run, b: Run) -> None:
    """Enter what differs in two patch areas, byte by byte from where each begins."""
    where = Where(((RUN_WORDS[PATCH], ""),))
    ledger.keep(where, where, (a.offset, a.end), (b.offset, b.end))
    longer = range(max(len(a.raw), len(b.raw)))
    for first, stop in differing_runs(a.raw, b.raw, longer):
        one, other = (run.raw[first:stop] or None for run in (a, b))
        ledger.runs.append(
            ByteRun(RUN_WORDS[PATCH], a.offset + first, b.offset + first, one, other)
        )


def _runs(where: str, a: Image, b: Image, places: Iterable[int]) -> Iterator[ByteRun]:
    for first, stop in differing_runs(a.data, b.data, places):
        one, other = (image.data[first:stop] or None for image in (a, b))
        yield ByteRun(where, first, first, one, other)
