"""Which bytes before the PnP data are wiring: nibbles that are lines of a bus the card offers."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from romtool.infer.sample import Claim, Evidence
from romtool.schema.bus import Resource

NIBBLE = 4
LONGEST_WIRING = 4
"""Bytes of the longest wiring that is looked for: eight pins."""
SURE = 4
"""Bits that a wiring must show beyond the number of places looked at: chance gives 1 in 16."""
SURE_BESIDE = 5
"""The same for a wiring that stands next to another one, where nothing else is looked at."""


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
    """Return how much speaks for a wiring of `pins` pins, in bits: what chance doesn't give.

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
    """Return how many sets of as many lines would fit the card as well; 0: this one doesn't."""
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
