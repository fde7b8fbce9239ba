"""What lies outside the card compared with each other: part, fill, patch area, other bytes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from romtool.diff.changes import ByteRun, Change, Side, Where, differing_runs
from romtool.diff.ledger import Ledger
from romtool.image.explain import NO_LAYOUT, RUN_WORDS
from romtool.image.model import Image, Run
from romtool.schema.numbers import sizes

LAYOUT, PART, SIZE = (Where(((word, ""),)) for word in ("layout", "part", "size"))
PATCH, DATA, FILL = "patch", "data", "fill"


def compare_shapes(a: Image, b: Image, parts: tuple[str | None, str | None]) -> Iterator[Change]:
    """Yield what differs as a whole: the layout, the part or the size."""
    if a.layout is not b.layout:
        yield Change(*(_layout(image) for image in (a, b)))
    if len(a.data) != len(b.data):
        yield Change(_size(a, b, parts[0]), _size(b, a, parts[1]))
    elif parts[0] and parts[1] and parts[0] != parts[1]:
        yield Change(*(Side(PART, part) for part in parts if part))


def _layout(image: Image) -> Side:
    if image.layout is None:
        return Side(LAYOUT, "none fits")
    return Side(LAYOUT, image.layout.name, ((0, image.layout.size),))


def _size(image: Image, other: Image, part: str | None) -> Side:
    words = sizes(len(image.data)) + (f" ({part})" if part else "")
    return Side(SIZE, words, ((min(len(image.data), len(other.data)), len(image.data)),))


def compare_all_bytes(a: Image, b: Image) -> Iterator[ByteRun]:
    """Yield the runs in which two images differ of which one has no layout."""
    yield from _runs(NO_LAYOUT, a, b, range(max(len(a.data), len(b.data))))


def compare_outside(ledger: Ledger, a: Image, b: Image) -> None:
    """Enter what differs after the PnP data of two images with a layout."""
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
        places = {at for image in (a, b) for run in image.runs(kind) for at in _places(run)}
        ledger.runs += _runs(RUN_WORDS[kind], a, b, sorted(places))


def _places(run: Run) -> range:
    return range(run.offset, run.end)


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
