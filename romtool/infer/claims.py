"""What bytes before the PnP data are, as far as dumps tell: claims, each with its evidence.

Places are in bytes from the first one; a span is (first, one past the last).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from romtool.infer.sample import Sample
from romtool.schema.bus import Resource
from romtool.schema.checksums import Checksum
from romtool.schema.image_layouts import REGIONS
from romtool.schema.numbers import hex_text

COUNT_BYTES = 2
NIBBLE = 4
LONGEST_WIRING = 4
"""Bytes of the longest wiring that is looked for: eight pins."""
SURE = 4
"""Bits that a wiring must show beyond the number of places looked at: chance gives 1 in 16."""
SURE_BESIDE = 5
"""The same for a wiring that stands next to another one, where nothing else is looked at."""
RARE = 0.02
"""How often chance may make a checksum seen in several dumps."""


@dataclass(frozen=True)
class Claim:
    """What some bytes are: the keys of their fields in a schema, and why it is believed.

    `size` in bytes; `fields`: one or two fields, as their keys and values in the schema.
    """

    at: int
    size: int
    fields: tuple[Mapping[str, Any], ...]
    why: tuple[str, ...] = ()

    @property
    def span(self) -> range:
        """The bytes that it takes."""
        return range(self.at, self.at + self.size)


@dataclass
class Evidence:
    """What the dumps have in common: their fronts, equally long, and which bytes are claimed.

    `samples`: those that differ in front or card; copies say nothing more.
    """

    samples: Sequence[Sample]
    claims: list[Claim] = field(default_factory=list)

    @property
    def size(self) -> int:
        """The bytes before the PnP data."""
        return len(self.samples[0].front)

    @property
    def fronts(self) -> list[bytes]:
        """The different fronts, in the order of the dumps."""
        return list(dict.fromkeys(sample.front for sample in self.samples))

    def free(self, span: Iterable[int]) -> bool:
        """Whether no byte of a span is claimed yet."""
        return not any(at in claim.span for claim in self.claims for at in span)


def claims_of(
    samples: Sequence[Sample],
    checksums: Mapping[str, Checksum],
    resources: Mapping[str, Resource],
    unconnected: Mapping[str, int],
) -> list[Claim]:
    """Return what every byte before the PnP data of these dumps is, in order, none left out."""
    distinct = {(sample.front, sample.card): sample for sample in reversed(samples)}
    found = Evidence(list(reversed(distinct.values())))
    found.claims += counts(found)
    found.claims += frontal_checksums(found, checksums)
    found.claims += wirings(found, resources, unconnected)
    found.claims += constants(found)
    found.claims += kept(found)
    return sorted(found.claims, key=lambda claim: claim.at)


# --- the count


@dataclass(frozen=True)
class _CountPlace:
    at: int
    endian: str
    counts: tuple[str, ...]

    @property
    def where(self) -> str:
        last = self.at + COUNT_BYTES - 1
        order = "high" if self.endian == "big" else "low"
        whole = "identifier included" if len(self.counts) > 1 else "identifier left out"
        return f"bytes {self.at}-{last}, {order} byte first, {whole}"


def counts(found: Evidence) -> Iterator[Claim]:
    """Yield the 16-bit numbers that are the count of PnP bytes in every dump.

    Several dumps of unequal length make it sure; of one length, the only place is taken. Two
    places that share the byte which tells are one: the usual order, high byte first, is taken.
    """
    places = [place for place in _count_places(found.size) if _counted(found.samples, place)]
    lengths = {sum(sample.regions.values()) for sample in found.samples}
    groups: list[list[_CountPlace]] = []
    for place in sorted(places, key=lambda place: place.at):
        if groups and place.at <= groups[-1][-1].at + 1:
            groups[-1].append(place)
        else:
            groups.append([place])
    if len(lengths) == 1 and len(groups) > 1:
        return
    for number, group in enumerate(groups):
        group.sort(key=lambda place: (place.endian != "big", place.at))
        taken, *others = group
        why = [f"count of the PnP bytes, {taken.where.partition(', ')[2]}: {_lengths(lengths)}"]
        why += [
            f"as well it could be {other.where}: a card of 256 bytes or more tells"
            for other in others
        ]
        key = f"count_{number + 1}" if number else "count"
        spec = {"at": taken.at, "bytes": COUNT_BYTES, "key": key, "type": "count"}
        spec |= {"endian": "big"} if taken.endian == "big" else {}
        spec |= {"counts": list(taken.counts), "title": "byte count"}
        yield Claim(taken.at, COUNT_BYTES, (spec,), tuple(why))


def _lengths(lengths: set[int]) -> str:
    if len(lengths) > 1:
        return f"right for {len(lengths)} dumps of unequal length"
    return "right here, and the only such number; a dump of another length would make it sure"


def _count_places(size: int) -> Iterator[_CountPlace]:
    for at in range(size - COUNT_BYTES + 1):
        for endian, names in itertools.product(("big", "little"), (REGIONS, REGIONS[1:])):
            yield _CountPlace(at, endian, names)


def _counted(samples: Sequence[Sample], place: _CountPlace) -> bool:
    """Whether this place holds the count in every dump."""
    span = slice(place.at, place.at + COUNT_BYTES)
    return all(
        int.from_bytes(sample.front[span], "big" if place.endian == "big" else "little")
        == sum(sample.regions[name] for name in place.counts)
        for sample in samples
    )


# --- checksums


def frontal_checksums(found: Evidence, checksums: Mapping[str, Checksum]) -> Iterator[Claim]:
    """Yield the checksum that covers the front: of one dump only in its last byte."""
    best: tuple[int, int, str] | None = None
    for first, at, name in _checksum_places(found, checksums):
        wider = best is None or at - first > best[1] - best[0]
        if wider and _summed(found, checksums[name], first, at):
            best = first, at, name
    if best is None:
        return
    first, at, name = best
    many = len(found.fronts)
    why = f"checksum over bytes {first}-{at - 1}: right in "
    why += f"{many} fronts that differ" if many > 1 else "the one front there is; chance would do"
    spec = {"at": at, "bytes": 1, "key": "front_checksum", "type": "checksum", "checksum": name}
    spec |= {"covers": f"{first}-{at - 1}", "title": "checksum"}
    yield Claim(at, 1, (spec,), (why,))


def _checksum_places(
    found: Evidence, checksums: Mapping[str, Checksum]
) -> Iterator[tuple[int, int, str]]:
    """Yield (first byte covered, place, name) of the checksums that may be looked for."""
    names = [name for name, known in checksums.items() if not known.taps]
    last = found.size - 1
    if len(found.fronts) == 1:
        places = [(0, last)]
    else:
        places = [(0, at) for at in range(COUNT_BYTES, last + 1)]
        inner = [(first, at) for at in range(last + 1) for first in range(1, at - 1)]
        if len(inner) * len(names) < RARE * 256 ** len(found.fronts):
            places += inner
    for (first, at), name in itertools.product(places, names):
        if at > 1 and found.free([at]):
            yield first, at, name


def _summed(found: Evidence, checksum: Checksum, first: int, at: int) -> bool:
    """Whether this place holds this checksum in every front, and the bytes covered say so."""
    covered = {front[first:at] for front in found.fronts}
    if len(covered) < len(found.fronts) or min(_telling(part) for part in covered) < 2:
        return False
    return all(checksum.of(front[first:at]) == front[at] for front in found.fronts)


def _telling(part: bytes) -> int:
    return len(part) - part.count(0)


# --- wiring


@dataclass(frozen=True)
class _WiringPlace:
    at: int
    size: int
    pins: int
    bits: float


def wirings(
    found: Evidence, resources: Mapping[str, Resource], unconnected: Mapping[str, int]
) -> Iterator[Claim]:
    """Yield where nibbles, low one first, are lines of a bus that the card offers.

    What stands between two wirings, and is nothing but pins that are not connected, belongs to
    the first.
    """
    places: dict[str, _WiringPlace] = {}
    for bus, value in unconnected.items():
        best = _best_wiring(found, resources[bus], value, places, unconnected)
        if best is not None:
            places[bus] = best
    for bus, place in list(places.items()):
        ends = [other.at for other in places.values() if other.at > place.at]
        stop = place.at + place.size
        if ends and stop < ends[0] <= _unconnected_until(found, stop, unconnected[bus]):
            size = ends[0] - place.at
            places[bus] = _WiringPlace(place.at, size, 2 * size, place.bits)
    for bus, place in places.items():
        yield _wiring_claim(found, place, resources[bus], unconnected[bus])


def _best_wiring(
    found: Evidence,
    resource: Resource,
    value: int,
    others: Mapping[str, _WiringPlace],
    unconnected: Mapping[str, int],
) -> _WiringPlace | None:
    """Return the likeliest wiring of a bus, if it is likely enough, apart from the `others`."""
    taken = {at for other in others.values() for at in range(other.at, other.at + other.size)}
    beside = {
        at
        for bus, other in others.items()
        for stop in [other.at + other.size]
        for at in range(stop, _unconnected_until(found, stop, unconnected[bus]) + 1)
    }
    places = [
        (at, size)
        for size in range(1, LONGEST_WIRING + 1)
        for at in range(found.size - size + 1)
        if found.free(range(at, at + size)) and taken.isdisjoint(range(at, at + size))
    ]
    best: _WiringPlace | None = None
    for at, size in places:
        near = at in beside or at + size in {other.at for other in others.values()}
        least = SURE_BESIDE if near else SURE + math.log2(len(places))
        for pins in (size * 2, size * 2 - 1):
            bits = _wiring_bits(found, at, pins, resource, value)
            if bits >= least and (best is None or bits > best.bits):
                best = _WiringPlace(at, size, pins, bits)
    return best


def _unconnected_until(found: Evidence, at: int, value: int) -> int:
    """Return up to where, from `at` on, every front holds nothing but pins not connected."""
    byte = value | value << NIBBLE
    while at < found.size and all(front[at] == byte for front in found.fronts):
        at += 1
    return at


def nibbles(part: bytes) -> list[int]:
    """Return the nibbles of some bytes, the low one of each byte first."""
    return [byte >> shift & 0xF for byte in part for shift in (0, NIBBLE)]


def _wiring_bits(
    found: Evidence, at: int, pins: int, resource: Resource, unconnected: int
) -> float:
    """Return how much speaks for a wiring of so many pins, in bits: what chance doesn't give.

    0 where it can't be one: a line twice, no line, a line that neither the card offers nor the
    bus has.
    """
    seen: dict[bytes, frozenset[int]] = {}
    for sample in found.samples:
        part = sample.front[at : at + (pins + 1) // 2]
        seen[part] = seen.get(part, frozenset()) | sample.offered[resource.name]
    total = 0.0
    for part, offered in seen.items():
        wired = [line for line in nibbles(part)[:pins] if line != unconnected]
        ways = _ways(set(wired), offered, resource) if wired else 0
        if not ways or len(set(wired)) < len(wired):
            return 0.0
        # A nibble of 0 stands everywhere, and says nothing.
        telling = sum(line != 0 for line in wired)
        total += telling * NIBBLE - math.log2(ways * math.perm(pins, len(wired)))
    return total


def _ways(wired: set[int], offered: frozenset[int], resource: Resource) -> int:
    """Return how many sets of so many lines would fit the card as well; 0: this one doesn't."""
    if wired <= offered:
        return math.comb(len(offered), len(wired))
    on_bus = set(range(1 << NIBBLE)) - set(resource.not_on_slot)
    if offered <= wired <= on_bus:
        return math.comb(len(on_bus) - len(offered), len(wired) - len(offered))
    return 0


def _wiring_claim(
    found: Evidence, place: _WiringPlace, resource: Resource, unconnected: int
) -> Claim:
    first = found.samples[0]
    bus = resource.name
    part = first.front[place.at : place.at + place.size]
    lines = nibbles(part)[: place.pins]
    wired = {line for line in lines if line != unconnected}
    offered = first.offered[bus]
    title = f"{resource.short} wiring"
    words = "all and only those" if wired == offered else "lines"
    if wired > offered:
        words = "all those"
    elif wired < offered:
        words = "some of those"
    why = [f"{resource.short} {_listed(wired)}: {words} that the card offers; likely, not proven"]
    missing = offered - wired
    if missing:
        why.append(f"the card also offers {_listed(missing)}, which would have no pin here")
    spec: dict[str, Any] = {"at": place.at, "bytes": place.size}
    whole = place.pins == place.size * 2
    if not whole:
        spec["bits"] = f"{place.pins * NIBBLE - 1}:0"
    spec |= {"key": f"{bus}_wiring", "type": "pins", "bus": bus, "unconnected": unconnected}
    spec |= {"default": lines, "title": title}
    specs = [spec]
    if not whole:
        bits = f"{place.size * 8 - 1}:{place.pins * NIBBLE}"
        specs.append(
            {
                "at": place.at,
                "bytes": place.size,
                "bits": bits,
                "key": f"{bus}_unused",
                "type": "number",
                "default": nibbles(part)[-1],
                "title": "unused nibble",
            }
        )
    return Claim(place.at, place.size, tuple(specs), tuple(why))


def _listed(lines: Iterable[int]) -> str:
    return ", ".join(map(str, sorted(lines)))


# --- the rest


def constants(found: Evidence) -> Iterator[Claim]:
    """Yield the runs of bytes that several cards agree in."""
    cards = {sample.card for sample in found.samples}
    if len(cards) < 2:
        return
    for run in _runs(found, lambda at: len({front[at] for front in found.fronts}) == 1):
        part = found.fronts[0][run.start : run.stop]
        key = "signature" if not run.start else f"fixed_{run.start}"
        title = "signature" if not run.start else "always the same"
        spec = {"at": run.start, "bytes": len(part), "key": key, "type": "constant"}
        spec |= {"value": hex_text(part), "title": title}
        yield Claim(run.start, len(part), (spec,), (f"the same in dumps of {len(cards)} cards",))


def kept(found: Evidence) -> Iterator[Claim]:
    """Yield what is left, as bytes to keep."""
    for run in _runs(found, lambda at: True):
        parts = [front[run.start : run.stop] for front in found.fronts]
        spec = {"at": run.start, "bytes": len(run), "key": f"bytes_{run.start}", "type": "hex"}
        spec |= {"default": hex_text(parts[0]), "title": "not known: keep the donor's"}
        different = list(dict.fromkeys(map(hex_text, parts)))
        why = ["meaning not known"]
        if len(different) > 1:
            why.append(f"in these dumps: {'; '.join(different[:4])}")
        yield Claim(run.start, len(run), (spec,), tuple(why))


def _runs(found: Evidence, alike: Any) -> Iterator[range]:
    """Yield the runs of unclaimed bytes for which `alike` holds."""
    start: int | None = None
    for at in range(found.size + 1):
        inside = at < found.size and found.free([at]) and alike(at)
        if inside and start is None:
            start = at
        elif not inside and start is not None:
            yield range(start, at)
            start = None
