"""Unknown bits of a frame, of the identifier and of the items: what the checksums leave of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from romtool.image.decode import read_as
from romtool.image.walk import peek_tag
from romtool.recover.reading import Reading
from romtool.recover.typical import completed, computed_mask
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Check
from romtool.schema.fields import FieldOf
from romtool.schema.image_layouts import ImageLayout

MOST_BITS = 14
"""The most unknown bits that are tried in all their values."""
MOST_FITTING = 64
"""The most values that fit and are looked at, to see which of them reads best."""
MOST_NODES = 16000
"""The most tags that are tried while the walk is looked for."""
MOST_HEADER_BITS = 10
"""The most unknown bits of one tag that are tried in all their values."""
MOST_TRIES = 1 << 16
"""The most values of unknown bits that are tried in all walks together."""

Bits = Sequence[tuple[int, int]]


@dataclass
class Solved:
    """Values for some unknown bits: the readings that fit, and whether it was just one."""

    readings: list[Reading] = field(default_factory=list)
    how: str = ""
    too_many: bool = False


class _TooMany(Exception):
    """More possibilities than are looked at: that one of them fits proves nothing."""


@dataclass(frozen=True)
class _Path:
    """A walk from header to header that comes to an end item."""

    reading: Reading
    end: int


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


def frame_config(catalog: Catalog, reading: Reading, layout: ImageLayout) -> Solved | None:
    """Solve unknown configuration bits: only a checksum of the frame's own proves them."""
    own = computed_mask(layout)
    bits = [(at, bit) for at, bit in reading.open_bits(0, layout.size) if not own[at] >> bit & 1]
    if not bits:
        return None
    for check in layout.checks:
        if reading.known(check.at, check.at + 1):
            region = check.kind.region(check.at)
            if all(region.start <= at < region.stop for at, _ in bits):
                # What is computed inside the region is known by definition.
                image = read_as(catalog, reading.data, layout)
                regions = image.regions if image else {}
                return _fitting(completed(layout, reading, regions), bits, 0, check)
    if len(bits) <= 3:
        found = [_with(reading, bytes(data), bits) for data in _values(reading, bits)]
        return Solved(found, "unproven")
    return Solved(too_many=True)


def identifier(catalog: Catalog, reading: Reading, layout: ImageLayout) -> Solved | None:
    """Solve unknown bits of the identifier by its checksum; the usual spelling of IDs decides."""
    at = layout.size
    bits = reading.open_bits(at, at + catalog.identifier.size)
    if not bits:
        return None
    return _fitting(reading, bits, at, catalog.identifier.check_field)


def _fitting(reading: Reading, bits: Bits, at: int, check: FieldOf[Check]) -> Solved:
    """Return the values of `bits` with which the checksum of a layout at `at` is right."""
    solved = Solved(how="id-proves")
    if len(bits) > MOST_BITS:
        solved.too_many = True
        return solved
    region = check.kind.region(check.at)
    first, stop, stored = at + region.start, at + region.stop, at + check.at
    checksum = check.kind.checksum
    for data in _values(reading, bits):
        if checksum.of(bytes(data[first:stop])) == data[stored]:
            solved.readings.append(_with(reading, data, bits))
            if len(solved.readings) > MOST_FITTING:
                solved.too_many = True
                break
    return solved


def items(catalog: Catalog, reading: Reading, layout: ImageLayout) -> Solved | None:
    """Solve unknown bits of the items: a walk to the end item with a right end checksum."""
    start = layout.size + catalog.identifier.size
    try:
        paths = list(_paths(catalog, reading, start))
    except _TooMany:
        return Solved(too_many=True)
    if not paths:
        return None if reading.known(start) else Solved()
    if len(paths) == 1 and reading.known(start, paths[0].end):
        # Only what stands after the end item is unknown, if anything.
        return None
    solved = Solved(how="end-proves")
    open_bits = [len(path.reading.open_bits(start, path.end)) for path in paths]
    if max(open_bits) > MOST_BITS or sum(1 << bits for bits in open_bits) > MOST_TRIES:
        solved.too_many = True
        return solved
    for path in paths:
        found = _ended(catalog, path, start)
        solved.how = found.how or solved.how
        solved.readings += found.readings
        solved.too_many = solved.too_many or found.too_many
    return solved


def _ended(catalog: Catalog, path: _Path, start: int) -> Solved:
    """Solve what is unknown between the headers of one walk."""
    end = catalog.end_field
    stored_at = path.end - 1
    bits = path.reading.open_bits(start, path.end)
    reading = path.reading
    if all(at == stored_at for at, _ in bits) and len(bits) == 8:
        value = end.kind.checksum.of(reading.data[start:stored_at])
        data = bytearray(reading.data)
        data[stored_at] = value
        return Solved([_with(reading, bytes(data), bits)], "computed")
    found = Solved()
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
    nodes = 0
    while waiting:
        at, now = waiting.pop()
        nodes += 1
        if nodes > MOST_NODES:
            raise _TooMany
        if at >= len(now):
            continue
        for header in _headers(catalog, now, at):
            guessed = header is not now
            found = peek_tag(catalog, header.data, at)
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
    found = peek_tag(catalog, data[: at + 1] + bytes(longest), at)
    return found[0].header.size if found else 0
