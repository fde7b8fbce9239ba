"""Unknown bits settled: by the checksums inside the PnP data, by the fill behind it.

Nothing is invented. Where the checksums leave several values, all of them are handed on; where
they leave too many, the places that stay open are named.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from romtool.image.decode import read_as, usual_id
from romtool.image.model import Image
from romtool.image.walk import announced
from romtool.recover.reading import Reading
from romtool.recover.typical import completed, computed_mask
from romtool.schema.catalog import Catalog
from romtool.schema.fields import Field
from romtool.schema.frames import Frame
from romtool.schema.kinds import Check
from romtool.schema.numbers import address

MOST_BITS = 14
"""So many unknown bits are tried in all their values, at most."""
MOST_ANSWERS = 8
"""So many answers are worth showing; more settle nothing."""
MOST_FITTING = 64
"""So many values that fit are looked at, to see which of them reads best."""
MOST_NODES = 4000
"""So many headers are tried while the walk is looked for."""
MOST_PATHS = 256
"""So many walks to an end item are looked at."""
MOST_HEADER_BITS = 10
"""So many unknown bits of one header are tried in all their values."""
MOST_TRIES = 1 << 16
"""So many values of unknown bits are tried in all walks together."""

Bits = Sequence[tuple[int, int]]


@dataclass(frozen=True)
class Settled:
    """An image with every bit settled. `doubts`: settled, but not proven, and why.

    `filled`: (words for the place, how) of what was put in. `open`: places that nothing settles;
    then the image is not to be trusted there.
    """

    image: Image
    filled: tuple[tuple[str, str], ...] = ()
    doubts: tuple[str, ...] = ()
    open: tuple[str, ...] = ()
    fill: int | None = None


@dataclass
class _Solved:
    """Values for some unknown bits: the readings that fit, and whether it was just one."""

    readings: list[Reading] = field(default_factory=list)
    how: str = ""
    too_many: bool = False


def settle(catalog: Catalog, reading: Reading, frame: Frame, size: int) -> list[Settled]:
    """Return the images, at most MOST_ANSWERS, that a read of `size` bytes can be.

    An empty list: the read is too short for the frame and an identifier. `size` is that of the
    part; bytes behind the end of the read take the fill.
    """
    id_at = frame.size
    items_at = id_at + catalog.identifier.size
    if len(reading) < items_at:
        return []
    if reading.known() and len(reading) == size:
        image = read_as(catalog, reading.data, frame)
        return [] if image is None else [Settled(image)]
    filled: list[tuple[str, str]] = []
    readings = [reading]
    for first, behind, solve in (
        (0, id_at, _frame_config),
        (id_at, items_at, _identifier),
        (items_at, len(reading), _items),
    ):
        solved: list[Reading] = []
        for candidate in readings:
            found = solve(catalog, candidate, frame)
            bits = candidate.open_bits(first, behind)
            if found is None:
                solved.append(candidate)
                continue
            if found.too_many or not found.readings:
                return _given_up(catalog, candidate, frame, size, bits)
            solved += found.readings
        if len(solved) > MOST_FITTING:
            return _given_up(catalog, readings[0], frame, size, bits)
        for where in _where(readings[0], solved[0], first, behind):
            filled.append((where, found.how if found else ""))
        readings = solved
    answers = [_finished(catalog, candidate, frame, size, filled) for candidate in readings]
    ranked = _ranked(reading, [answer for answer in answers if answer is not None])
    if len(ranked) > MOST_ANSWERS:
        return _given_up(catalog, reading, frame, size, reading.open_bits(0, len(reading)))
    return ranked


def _given_up(
    catalog: Catalog, reading: Reading, frame: Frame, size: int, bits: Bits
) -> list[Settled]:
    """Return the image with what could be settled, and the places that could not."""
    places = tuple(_spans(sorted({at for at, _ in bits})))
    answer = _finished(catalog, reading, frame, size, [], places=places)
    return [] if answer is None else [answer]


def _finished(
    catalog: Catalog,
    reading: Reading,
    frame: Frame,
    size: int,
    filled: list[tuple[str, str]],
    *,
    places: tuple[str, ...] = (),
) -> Settled | None:
    """Return the image with its computed fields and its fill."""
    image = read_as(catalog, reading.data, frame)
    if image is None:
        return None
    end = image.items_end
    before = reading
    reading = completed(frame, reading, image.regions)
    filled = list(filled)
    for where in _where(before, reading, 0, frame.size):
        filled.append((where, "computed"))
    fill = fill_of(reading, end, frame)
    before = reading
    if not places:
        reading = reading.overlaid(bytes([fill]) * (len(reading) - end), at=end)
        for where in _where(before, reading, end, len(reading)):
            filled.append((where, f"fill {address(fill)}"))
    data = reading.data[:size].ljust(size, bytes([fill]))
    image = read_as(catalog, data, frame)
    return None if image is None else Settled(image, tuple(filled), (), places, fill)


def fill_of(reading: Reading, end: int, frame: Frame) -> int:
    """Return the byte that fills unused places behind `end`: the frame's if it ends the read.

    Otherwise the commonest that was read whole; without any, one that agrees with what was read.
    """
    whole = [at for at in range(len(reading) - 1, end - 1, -1) if not reading.unknown[at]][:1]
    if whole and reading.data[whole[0]] == frame.fill:
        return frame.fill
    counts = Counter(
        byte
        for byte, mask in zip(reading.data[end:], reading.unknown[end:], strict=True)
        if not mask
    )
    if not counts:
        partly = list(zip(reading.data[end:], reading.unknown[end:], strict=True))
        for fill in (frame.fill, 0xFF, 0x00):
            if all(not (byte ^ fill) & ~mask for byte, mask in partly):
                return fill
    if not counts or counts[frame.fill] == max(counts.values()):
        return frame.fill
    most = max(counts.values())
    return min(byte for byte, count in counts.items() if count == most)


def _where(before: Reading, after: Reading, first: int, behind: int) -> list[str]:
    """Return the places where bits became known."""
    if before.unknown == after.unknown:
        return []
    places = [
        at
        for at in range(first, min(behind, len(before), len(after)))
        if before.unknown[at] and not after.unknown[at]
    ]
    return _spans(places)


def _spans(places: Sequence[int]) -> list[str]:
    """Return places in words, runs of them as `10h-1Fh`."""
    spans: list[str] = []
    for _, group in itertools.groupby(enumerate(places), lambda pair: pair[1] - pair[0]):
        run = [place for _, place in group]
        last = f"-{address(run[-1])}" if len(run) > 1 else ""
        spans.append(address(run[0]) + last)
    return spans


def _values(reading: Reading, bits: Bits) -> Iterator[bytearray]:
    """Yield the reading's bytes with the bits in all their values; one buffer, one flip a time."""
    data = bytearray(reading.data)
    yield data
    for count in range(1, 1 << len(bits)):
        # A Gray code: each value differs from the one before in a single bit.
        at, bit = bits[(count & -count).bit_length() - 1]
        data[at] ^= 1 << bit
        yield data


def _with(reading: Reading, data: bytes | bytearray, bits: Bits) -> Reading:
    unknown = bytearray(reading.unknown)
    for at, bit in bits:
        unknown[at] &= ~(1 << bit) & 0xFF
    return Reading(bytes(data), bytes(unknown))


def _fitting(reading: Reading, bits: Bits, at: int, check: Field) -> _Solved:
    """Return the values of `bits` with which the checksum of a layout at `at` is right."""
    solved = _Solved(how="the checksum proves it")
    if len(bits) > MOST_BITS:
        solved.too_many = True
        return solved
    assert isinstance(check.kind, Check)
    first, last = check.kind.covers or (0, check.at - 1)
    first, behind, stored = at + first, at + last + 1, at + check.at
    checksum = check.kind.checksum
    for data in _values(reading, bits):
        if checksum.of(bytes(data[first:behind])) == data[stored]:
            solved.readings.append(_with(reading, data, bits))
            if len(solved.readings) > MOST_FITTING:
                solved.too_many = True
                break
    return solved


def _frame_config(catalog: Catalog, reading: Reading, frame: Frame) -> _Solved | None:
    """Solve unknown configuration bits: only a checksum of the frame's own proves them."""
    own = computed_mask(frame)
    bits = [(at, bit) for at, bit in reading.open_bits(0, frame.size) if not own[at] >> bit & 1]
    if not bits:
        return None
    for check in frame.computed_fields:
        if isinstance(check.kind, Check) and reading.known(check.at, check.at + 1):
            first, last = check.kind.covers or (0, check.at - 1)
            if all(first <= at <= last for at, _ in bits):
                # What is computed inside the region is known by definition.
                image = read_as(catalog, reading.data, frame)
                regions = image.regions if image else {}
                return _fitting(completed(frame, reading, regions), bits, 0, check)
    if len(bits) <= 3:
        found = [_with(reading, bytes(data), bits) for data in _values(reading, bits)]
        return _Solved(found, "nothing proves it")
    return _Solved(too_many=True)


def _identifier(catalog: Catalog, reading: Reading, frame: Frame) -> _Solved | None:
    """Solve unknown bits of the identifier by its checksum; the usual spelling of IDs decides."""
    at = frame.size
    bits = reading.open_bits(at, at + catalog.identifier.size)
    if not bits:
        return None
    for check in catalog.identifier.layout.fields:
        if isinstance(check.kind, Check):
            return _fitting(reading, bits, at, check)
    return _Solved(too_many=True)


class _TooMany(Exception):
    """More possibilities than are looked at: that one of them fits proves nothing."""


@dataclass(frozen=True)
class _Path:
    """A walk from header to header that comes to an end item."""

    reading: Reading
    end: int


def _items(catalog: Catalog, reading: Reading, frame: Frame) -> _Solved | None:
    """Solve unknown bits of the items: a walk to the end item with a right end checksum."""
    start = frame.size + catalog.identifier.size
    try:
        paths = list(_paths(catalog, reading, start))
    except _TooMany:
        return _Solved(too_many=True)
    if not paths:
        return None if reading.known(start) else _Solved()
    if len(paths) == 1 and reading.known(start, paths[0].end):
        # Only what stands behind the end item is unknown, if anything.
        return None if paths[0].reading == reading else _Solved([paths[0].reading])
    solved = _Solved(how="the end checksum proves it")
    open_bits = [len(path.reading.open_bits(start, path.end)) for path in paths]
    if max(open_bits) > MOST_BITS or sum(1 << bits for bits in open_bits) > MOST_TRIES:
        solved.too_many = True
        return solved
    for path in paths:
        found = _ended(catalog, path, start)
        solved.readings += found.readings
        solved.too_many = solved.too_many or found.too_many
    return solved


def _ended(catalog: Catalog, path: _Path, start: int) -> _Solved:
    """Solve what is unknown between the headers of one walk."""
    end = catalog.by_role["end"].layout.fields[0]
    assert isinstance(end.kind, Check)
    stored_at = path.end - 1
    bits = path.reading.open_bits(start, path.end)
    reading = path.reading
    if all(at == stored_at for at, _ in bits) and len(bits) == 8:
        value = end.kind.checksum.of(reading.data[start:stored_at])
        data = bytearray(reading.data)
        data[stored_at] = value
        return _Solved([_with(reading, bytes(data), bits)], "computed")
    found = _Solved()
    checksum, unchecked = end.kind.checksum, end.kind.unchecked
    for data in _values(reading, bits):
        # A stored "not checked" proves nothing, whatever it happens to sum to.
        if data[stored_at] == unchecked:
            continue
        if checksum.of(bytes(data[start:stored_at])) == data[stored_at]:
            found.readings.append(_with(reading, bytes(data), bits))
            if len(found.readings) > MOST_FITTING:
                found.too_many = True
                break
    return found


def _paths(catalog: Catalog, reading: Reading, start: int) -> Iterator[_Path]:
    """Yield each walk to an end item that the unknown bits of headers allow; raises _TooMany."""
    waiting: list[tuple[int, Reading]] = [(start, reading)]
    nodes = paths = 0
    while waiting:
        at, now = waiting.pop()
        nodes += 1
        if nodes > MOST_NODES or paths > MOST_PATHS:
            raise _TooMany
        if at >= len(now):
            continue
        for header in _headers(catalog, now, at):
            guessed = header is not now
            found = announced(catalog, header.data, at)
            if found is None:
                continue
            record, size = found
            end = at + size
            length = size - record.header.size
            if end > len(header):
                continue
            if guessed and (record.role == "reserved" or not record.takes(length)):
                continue
            if record.role == "end":
                if record.takes(length):
                    paths += 1
                    yield _Path(header, end)
                continue
            waiting.append((end, header))


def _headers(catalog: Catalog, reading: Reading, at: int) -> Iterator[Reading]:
    """Yield the reading with each value of the unknown bits in the header at `at`.

    Raises _TooMany.
    """
    sizes = {header.size for header in catalog.headers.values()}
    if reading.known(at, at + max(sizes)):
        yield reading
        return
    first = reading.open_bits(at, at + 1)
    for data in _values(reading, first):
        now = _with(reading, bytes(data), first) if first else reading
        for size in sorted(sizes):
            if _header_size(catalog, now.data, at) != size:
                continue
            rest = now.open_bits(at + 1, min(at + size, len(now)))
            if len(first) + len(rest) > MOST_HEADER_BITS:
                raise _TooMany
            for filled in _values(now, rest):
                yield _with(now, bytes(filled), rest) if rest else now


def _header_size(catalog: Catalog, data: bytes, at: int) -> int:
    longest = max(header.size for header in catalog.headers.values())
    found = announced(catalog, data[: at + 1] + bytes(longest), at)
    return found[0].header.size if found else 0


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
        doubt = "several values fit the checksums: the one that reads best was taken"
        first = ranked[0]
        return [Settled(first.image, first.filled, (*first.doubts, doubt), (), first.fill)]
    return [answer for answer in ranked if reads_well(answer.image) == best]


def reads_well(image: Image) -> tuple[int, ...]:
    """Return how well an image reads, for comparing: what chance wouldn't give."""
    items = image.items
    return (
        int(image.end_item is not None),
        int(all(found.ok for found in image.computed.values())),
        -sum(item.record.role == "reserved" for item in items),
        -sum(not item.explained for item in items),
        int(usual_id(image)),
        int(bool(items) and items[0].has_role("version")),
    )
