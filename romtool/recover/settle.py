"""Unknown bits settled: by the checksums inside the PnP data, by the fill after it.

Nothing is invented. Where the checksums leave several values, all of them are handed on; where
they leave too many, the places that stay open are named.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from romtool.image.decode import read_as
from romtool.image.evidence import usual_id
from romtool.image.model import Image
from romtool.recover.reading import Reading
from romtool.recover.solve import MOST_FITTING, Bits, frame_config, identifier, items
from romtool.recover.typical import completed
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout
from romtool.schema.numbers import address

MOST_ANSWERS = 8
"""The most answers that are worth showing; more settle nothing."""


@dataclass(frozen=True)
class Settled:
    """An image with every bit settled.

    `doubts`: settled, but not proven: the names of judgements that say why.
    `filled`: (words for the place, how) of what was put in. `open`: places that nothing settles;
    then the image is not to be trusted there.
    """

    image: Image
    filled: tuple[tuple[str, str], ...] = ()
    doubts: tuple[str, ...] = ()
    open: tuple[str, ...] = ()
    fill: int | None = None


def settle(catalog: Catalog, reading: Reading, layout: ImageLayout) -> list[Settled]:
    """Return the images, at most MOST_ANSWERS, that a read can be.

    An empty list: the read is too short for the frame and an identifier.
    """
    id_at = layout.size
    items_at = id_at + catalog.identifier.size
    if len(reading) < items_at:
        return []
    if reading.known():
        image = read_as(catalog, reading.data, layout)
        return [] if image is None else [Settled(image)]
    filled: list[tuple[str, str]] = []
    readings, how = [reading], ""
    for first, stop, solve in (
        (0, id_at, frame_config),
        (id_at, items_at, identifier),
        (items_at, len(reading), items),
    ):
        solved: list[Reading] = []
        for candidate in readings:
            found = solve(catalog, candidate, layout)
            bits = candidate.open_bits(first, stop)
            if found is None:
                solved.append(candidate)
                continue
            if found.too_many or not found.readings:
                return _given_up(catalog, candidate, layout, bits)
            solved += found.readings
            how = found.how
        if len(solved) > MOST_FITTING:
            return _given_up(catalog, readings[0], layout, bits)
        for where in _where(readings[0], solved[0]):
            filled.append((where, catalog.judgement(how)))
        readings = solved
    answers = [_finished(catalog, candidate, layout, filled) for candidate in readings]
    ranked = _ranked(reading, [answer for answer in answers if answer is not None])
    if len(ranked) > MOST_ANSWERS:
        return _given_up(catalog, reading, layout, reading.open_bits())
    return ranked


def _given_up(catalog: Catalog, reading: Reading, layout: ImageLayout, bits: Bits) -> list[Settled]:
    """Return the image with what could be settled, and the places that could not."""
    places = tuple(_spans(sorted({at for at, _ in bits})))
    answer = _finished(catalog, reading, layout, [], places=places)
    return [] if answer is None else [answer]


def _finished(
    catalog: Catalog,
    reading: Reading,
    layout: ImageLayout,
    filled: list[tuple[str, str]],
    *,
    places: tuple[str, ...] = (),
) -> Settled | None:
    """Return the image with its computed fields and its fill."""
    image = read_as(catalog, reading.data, layout)
    if image is None:
        return None
    end = image.items_end
    before = reading
    reading = completed(layout, reading, image.regions)
    filled = list(filled)
    for where in _where(before, reading):
        filled.append((where, catalog.judgement("computed")))
    fill = fill_of(reading, end, layout)
    before = reading
    doubts: tuple[str, ...] = ()
    if not places:
        gaps = _gaps(reading, end)
        beside = [_beside_data(reading, end, fill, first, last) for first, last in gaps]
        places = tuple(itertools.chain.from_iterable(beside))
        doubts = ("gap-in-fill",) if gaps and not places else ()
    if not places:
        reading = reading.overlaid(bytes([fill]) * (len(reading) - end), at=end)
        for where in _where(before, reading):
            filled.append((where, catalog.judgement("fill", fill=address(fill))))
    image = read_as(catalog, reading.data, layout)
    return None if image is None else Settled(image, tuple(filled), doubts, places, fill)


def _gaps(reading: Reading, end: int) -> list[tuple[int, int]]:
    """Return the runs of bytes after `end` of which no bit is known, as (first, last)."""
    places = [at for at in range(end, len(reading)) if reading.unknown[at] == 0xFF]
    groups = itertools.groupby(enumerate(places), lambda pair: pair[1] - pair[0])
    runs = [[place for _, place in group] for _, group in groups]
    return [(run[0], run[-1]) for run in runs]


def _beside_data(reading: Reading, end: int, fill: int, first: int, last: int) -> list[str]:
    """Return a gap in words if other data than fill stands beside it: no checksum covers that."""
    before = first == end or reading.data[first - 1] == fill
    stop = last + 1 == len(reading) or reading.data[last + 1] == fill
    return [] if before and stop else _spans(range(first, last + 1))


def fill_of(reading: Reading, end: int, layout: ImageLayout) -> int:
    """Return the byte that fills unused places after `end`: the frame's if it ends the read.

    Otherwise the commonest that was read whole; where bytes read in part gainsay that (the last
    of a late read), or none was read whole, one that agrees with them.
    """
    stop = list(zip(reading.data[end:], reading.unknown[end:], strict=True))
    partly = [(byte, mask) for byte, mask in stop if 0 < mask < 0xFF]
    whole = [byte for byte, mask in stop if not mask]
    counts = Counter(whole)
    usual = [layout.fill] if whole[-1:] == [layout.fill] else []
    common = sorted(counts, key=lambda byte: (-counts[byte], byte != layout.fill, byte))[:1]
    tried = [*usual, *common, layout.fill, 0xFF, 0x00]
    for fill in tried:
        if all(not (byte ^ fill) & ~mask for byte, mask in partly):
            return fill
    return tried[0]


def _where(before: Reading, after: Reading) -> list[str]:
    """Return the places where bytes with unknown bits became known."""
    masks = enumerate(zip(before.unknown, after.unknown, strict=True))
    return _spans([at for at, (was, now) in masks if was and not now])


def _spans(places: Sequence[int]) -> list[str]:
    """Return places in words, runs of them as `10h-1Fh`."""
    spans: list[str] = []
    for _, group in itertools.groupby(enumerate(places), lambda pair: pair[1] - pair[0]):
        run = [place for _, place in group]
        last = f"-{address(run[-1])}" if len(run) > 1 else ""
        spans.append(address(run[0]) + last)
    return spans


def _ranked(reading: Reading, answers: list[Settled]) -> list[Settled]:
    """Return the answers, best first; only the best where the others read less well."""
    if len(answers) < 2:
        return answers
    ranked = sorted(answers, key=lambda answer: reads_well(answer.image), reverse=True)
    best = reads_well(ranked[0].image)
    # A byte of which no bit was read is proven or left open: how well it reads is no proof.
    image = ranked[0].image
    bare = any(mask == 0xFF for mask in reading.unknown[: image.items_end])
    if not bare and best > reads_well(ranked[1].image):
        return [replace(ranked[0], doubts=(*ranked[0].doubts, "reads-best"))]
    return [
        replace(answer, doubts=(*answer.doubts, "unsure-bit"))
        for answer in ranked
        if reads_well(answer.image) == best
    ]


def reads_well(image: Image) -> tuple[int, ...]:
    """Return how well an image reads, for comparing: what chance wouldn't give."""
    items = image.items
    return (
        int(image.end_item is not None),
        int(all(found.ok for found in image.computed.values())),
        -sum(item.record.role == "reserved" for item in items),
        -sum(not item.representable for item in items),
        int(usual_id(image)),
    )
