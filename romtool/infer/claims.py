"""What bytes before the PnP data are, as far as dumps tell: claims, each with its evidence.

Places are in bytes from the first one; a span is (first, one past the last).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from romtool.infer.sample import Claim, Evidence, Sample
from romtool.infer.wiring import wirings
from romtool.schema.bus import Resource
from romtool.schema.checksums import Checksum
from romtool.schema.image_layouts import REGIONS
from romtool.schema.numbers import hex_text

COUNT_BYTES = 2
RARE = 0.02
"""How often chance may make a checksum seen in several dumps."""


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
    def how(self) -> str:
        order = "high" if self.endian == "big" else "low"
        whole = "identifier included" if len(self.counts) > 1 else "identifier left out"
        return f"{order} byte first, {whole}"


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
        why = [f"count of the PnP bytes, {taken.how}: {_lengths(lengths)}"]
        for other in others:
            bytes_ = f"bytes {other.at}-{other.at + COUNT_BYTES - 1}"
            why.append(
                f"as well it could be {bytes_}, {other.how}: a card of 256 bytes or more tells"
            )
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
    if len(covered) < len(found.fronts) or min(len(part) - part.count(0) for part in covered) < 2:
        return False
    return all(checksum.of(front[first:at]) == front[at] for front in found.fronts)


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
