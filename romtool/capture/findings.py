"""Findings of a capture: what it says of chip, part and image, in the builder's words."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from romtool.capture.against import chip_observations, many, unlike, unread
from romtool.capture.commands import is_change
from romtool.capture.model import BusFinding, BusPart, DecodedCapture, bus_finding
from romtool.image.model import Image
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import address
from romtool.verify import together

MOST_PLACES = 6
"""At most this many places are told in one sentence."""

MOST_DIFFERENCES = 40
"""At most this many runs of differing bytes are told."""


def findings(
    catalog: Catalog, decoded: DecodedCapture, image: Image | None = None, number: int | None = None
) -> list[BusFinding]:
    """Return what a capture shows.

    `image`: what should stand in the part, which is the one of the 7-bit address `number`, or else
    the one of which most was read.
    """
    return [
        *_quality(catalog, decoded),
        *_bus(catalog, decoded),
        *_answers(catalog, decoded),
        *_reads(catalog, decoded, image, number),
        *_writes(catalog, decoded),
    ]


def _quality(catalog: Catalog, decoded: DecodedCapture) -> Iterator[BusFinding]:
    """Yield how good the capture is."""
    quality, bus = decoded.quality, decoded.bus
    if decoded.wiring.turned:
        yield bus_finding(catalog, "turned-channels", evidence=decoded.wiring.evidence)
    few = quality.samples is not None and quality.samples < bus.samples * 0.99
    if few and decoded.commands:
        samples = f"{quality.samples:.1f}".removesuffix(".0")
        yield bus_finding(catalog, "undersampled", samples=samples, least=bus.samples)
    if quality.begins_inside:
        yield bus_finding(catalog, "cut-start")
    if quality.glitches:
        time = None if quality.first_glitch is None else quality.first_glitch * decoded.unit
        words: dict[str, object] = {"count": many(quality.glitches, "pulse"), "share": bus.glitch}
        yield bus_finding(catalog, "glitches", time, **words)
    if quality.broken:
        count = many(len(quality.broken), "transfer")
        yield bus_finding(catalog, "broken-off", quality.broken[0] * decoded.unit, count=count)
    if decoded.ends_inside:
        last = decoded.commands[-1]
        yield bus_finding(catalog, "cut-end", last.time * decoded.unit, what=last.kind)
    if quality.cut:
        yield bus_finding(catalog, "cut-file")
    if quality.quiet:
        change = "changes" if len(quality.quiet) == 1 else "change"
        names = _listed(quality.quiet)
        yield bus_finding(catalog, "quiet", channels=names, change=change)


def _bus(catalog: Catalog, decoded: DecodedCapture) -> Iterator[BusFinding]:
    """Yield what kind of part it is."""
    if decoded.is_early:
        yield bus_finding(catalog, "early-part")
    if decoded.is_wide:
        yield bus_finding(catalog, "wide-addresses")
    for part in decoded.parts:
        if part.part is not None and not part.is_eeprom:
            count = sum(command.part == part.part for command in decoded.commands)
            words = {"address": address(part.part), "count": many(count, "transfer")}
            yield bus_finding(catalog, "other-device", **words)
    verdict = decoded.verdict
    if verdict is None or not verdict.is_told:
        return
    bits, word = verdict.organisation
    names = [
        part.name
        for part in catalog.parts.values()
        if (bits, word) in zip(part.address_bits, part.organisation, strict=True)
    ]
    evidence = [f"{verdict.fits} of {many(verdict.selections, 'command')} end there"]
    if verdict.reads:
        evidence.append(f"the dummy bit is 0 in {verdict.dummies} of {many(verdict.reads, 'read')}")
    width = {"address_bits": bits, "word": word}
    yield bus_finding(
        catalog, "organisation", parts=" or ".join(names), evidence=", ".join(evidence), **width
    )
    if verdict.expected is not None:
        meant_bits, meant = verdict.expected
        yield bus_finding(
            catalog, "wrong-organisation", meant=meant, meant_bits=meant_bits, **width
        )


def _answers(catalog: Catalog, decoded: DecodedCapture) -> Iterator[BusFinding]:
    """Yield whether anything asked, and whether a part answered."""
    own = {part.part for part in decoded.parts if part.is_eeprom}
    asked = [command for command in decoded.commands if decoded.is_early or command.part in own]
    if not asked:
        yield bus_finding(catalog, "nothing-asked", why=_why_nothing(decoded))
        return
    if decoded.bus.name == "two-wire":
        is_answered = any(command.called for command in asked)
        hint = (
            "no part, no supply (pin 8), SDA and SCL (pins 5 and 6) changed round, "
            "or other levels at the address pins (1 to 3)"
        )
    else:
        if "do" not in decoded.wiring.channels and not any(one.took for one in asked):
            yield bus_finding(catalog, "no-data-line")
            return
        reads = [command for command in asked if command.kind == "read"]
        told = [
            o.took for c, o in zip(decoded.commands, decoded.outcomes, strict=True) if is_change(c)
        ]
        is_answered = any(command.took for command in reads) or True in told or not reads
        hint = (
            "no part, no supply (pin 8), or CS, CLK and DI (pins 1 to 3) don't reach it: "
            "measure at the part's own pins"
        )
    if not is_answered:
        times = "once" if len(asked) == 1 else f"{len(asked)} times"
        yield bus_finding(
            catalog, "no-answer", asked[0].time * decoded.unit, times=times, hint=hint
        )
    busy = [one.busy_for for one in decoded.outcomes if one.busy_for is not None]
    if busy:
        milliseconds = f"{max(busy) * decoded.unit * 1000:.1f}"
        yield bus_finding(catalog, "busy", milliseconds=milliseconds)


def _why_nothing(decoded: DecodedCapture) -> str:
    """Return why there is no command to an EEPROM."""
    lines = {decoded.channels[place]: name for name, place in decoded.wiring.channels.items()}
    still = [name for name in decoded.quality.quiet if lines.get(name) in ("scl", "clk", "cs")]
    if still:
        return f"{_listed(still)} never change{'s' if len(still) == 1 else ''}"
    if decoded.commands:
        return "no EEPROM's address was called"
    return f"no command in {many(decoded.quality.clocks, 'clock')}"


def _reads(
    catalog: Catalog, decoded: DecodedCapture, image: Image | None, number: int | None
) -> Iterator[BusFinding]:
    """Yield what was read, and, with an image, how that compares."""
    word = decoded.organisation.word // 8 if decoded.organisation else 1
    parts = [part for part in decoded.parts if part.is_eeprom and part.contents.read]
    meant = max(parts, key=lambda part: len(part.contents.read), default=None)
    if number is not None:
        meant = next((part for part in parts if part.part == number), None)
    for part in parts:
        contents = part.contents
        is_told = decoded.verdict is None or decoded.verdict.expected is None
        if is_told and not contents.written:
            expected = image if part is meant else None
            yield from chip_observations(catalog, contents.read, part.size, word, expected)
        if contents.unsteady:
            count = many(len(contents.unsteady), "byte")
            yield bus_finding(catalog, "unsteady", None, min(contents.unsteady), count=count)
        if image is not None and part is meant:
            yield from _against(catalog, decoded, part, image)


def _against(
    catalog: Catalog, decoded: DecodedCapture, part: BusPart, image: Image
) -> Iterator[BusFinding]:
    """Yield how what was read compares with an image, and what was never read."""
    read = part.contents.read
    other = next((p for p in catalog.parts_of(len(image.data)) if p.bus == decoded.bus.name), None)
    if decoded.part is None and other is not None and len(image.data) > part.size:
        sizes: dict[str, object] = {"size": len(image.data), "have": part.size, "part": other.name}
        yield bus_finding(catalog, "other-size", **sizes)
    different = together(unlike(read, image))
    for run in different[:MOST_DIFFERENCES]:
        first = run[0].offset
        place = address(first) if len(run) == 1 else f"{address(first)}-{address(run[-1].offset)}"
        have, wanted = (_hex(run, side) for side in ("found", "expected"))
        words = {"place": place, "have": have, "wanted": wanted, "field": run[0].field}
        yield bus_finding(catalog, "unlike", None, first, **words)
    inside = sum(at < len(image.data) for at in read)
    if not different:
        yield bus_finding(catalog, "alike", count=many(inside, "byte"))
    places = [
        f"{address(one.start)}-{address(one.stop - 1)} ({one.name})" for one in unread(read, image)
    ]
    if places:
        yield bus_finding(catalog, "unread", places=_listed(places))


def _hex(run: Sequence[object], side: str) -> str:
    values = [f"{getattr(one, side):02X}" for one in run]
    return " ".join(values) if len(values) <= 4 else " ".join([*values[:3], "…"])


def _writes(catalog: Catalog, decoded: DecodedCapture) -> Iterator[BusFinding]:
    """Yield what became of writes, one finding for each way in which they went wrong."""
    found: dict[str, list[int]] = {}
    stored = 0
    for place, command in enumerate(decoded.commands):
        stored += is_change(command) and decoded.outcomes[place].took is True
        if command.part is None or decoded.is_early or decoded.bus.is_eeprom(command.part):
            for name in _went_wrong(decoded, place):
                found.setdefault(name, []).append(place)
    for name, places in found.items():
        first = decoded.commands[places[0]]
        at = "" if first.address is None else f" at {address(first.address)}"
        count = f"1 {first.kind}{at}"
        if len(places) > 1:
            count = f"{len(places)} commands (the first a {first.kind}{at})"
        words = _words(decoded, name, places) | {"count": count}
        time = first.time * decoded.unit
        yield bus_finding(catalog, name, time, first.address, **words)
    if stored:
        yield bus_finding(catalog, "stored", count=many(stored, "command"))


def _words(decoded: DecodedCapture, name: str, places: Sequence[int]) -> dict[str, object]:
    """Return what fills the words of an observation about writes."""
    first = decoded.commands[places[0]]
    lock = next(line for line in decoded.bus.lines if line.locks)
    page = next((part.page for part in decoded.parts if part.part == first.part), 0)
    made: dict[str, Callable[[], dict[str, object]]] = {
        "write-protected": lambda: {
            "line": lock.text,
            "level": lock.locks,
            "other": "low" if lock.locks == "high" else "high",
            "pin": lock.pin,
        },
        "still-busy": lambda: {"milliseconds": decoded.bus.write_time},
        "page-wrap": lambda: {"page": page},
        "not-stored": lambda: {"answered": "answered, " if first.answered else ""},
        "stored-otherwise": lambda: {
            "bytes": many(sum(decoded.outcomes[place].differs for place in places), "byte")
        },
        "write-unfinished": lambda: {
            "why": "no STOP followed" if first.whole else "its data are not all there"
        },
    }
    return made.get(name, dict)()


def _went_wrong(decoded: DecodedCapture, place: int) -> Iterator[str]:
    """Yield the names of what went wrong with one command."""
    command, outcome = decoded.commands[place], decoded.outcomes[place]
    if outcome.busy and not command.called and (command.data or outcome.took is False):
        if command.data or decoded.gave_up(place):
            yield "still-busy"
        return
    if not is_change(command):
        return
    is_three_wire = command.part is None and not decoded.is_early
    if command.answered is False:
        if command.called:
            yield "write-unanswered"
    elif outcome.took is False:
        if not command.whole or (command.took is False and not is_three_wire):
            yield "write-unfinished"
        elif command.locked:
            yield "write-protected"
        elif is_three_wire and not command.enabled:
            yield "no-write-enable"
        else:
            yield "not-stored"
    else:
        if outcome.took is None and is_three_wire and command.enabled is None:
            yield "perhaps-not-enabled"
        if outcome.crossed:
            yield "page-wrap"
        if outcome.differs:
            yield "stored-otherwise"


def _listed(words: Sequence[str]) -> str:
    """Return words as `A, B and C`; of very many the first."""
    if len(words) > MOST_PLACES:
        return f"{', '.join(words[:MOST_PLACES])} and {len(words) - MOST_PLACES} more"
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
