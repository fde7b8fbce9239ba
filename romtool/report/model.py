"""The report: all that the page shows, as plain data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from romtool import __version__
from romtool.diff.compare import compare
from romtool.image.card import card_of
from romtool.image.model import Image
from romtool.report.bytemap import Key, Panel, byte_map, legend
from romtool.report.cards import CardTable, Fact, card_name, card_table
from romtool.report.grids import Grid, grids
from romtool.report.other import OtherTable, changed_spans, other_table, other_verdict
from romtool.report.pc import InThatPC, PCTable, given_to, pc_table, pc_verdict
from romtool.report.ports import PortMap, port_map
from romtool.report.regions import Marks, Region, regions
from romtool.report.subject import (
    LONGEST_NAME,
    Expected,
    Origin,
    Subject,
    Sum,
    Verdict,
    expected_verdict,
    hashes_of,
    origin_of,
    sums,
    verdict_of,
)
from romtool.requirements.read import requirements_of
from romtool.rules.check import SEVERITIES
from romtool.rules.expect import FunctionFound
from romtool.rules.findings import Finding
from romtool.schema.field_types import Pins
from romtool.schema.numbers import clip, one_of, sizes
from romtool.text.findings import place

if TYPE_CHECKING:
    from romtool.report.conversation import Conversation

MOST_FINDINGS = 200
LONGEST_PROFILE = 256 << 10
"""Characters of a profile that are shown."""


@dataclass(frozen=True)
class Told:
    """A finding, its number from 1 and its place in words; `at` links to its bytes."""

    number: int
    finding: Finding
    place: str
    at: int | None


@dataclass(frozen=True)
class PinTable:
    """Which line each pin of the chip is wired to, by the pins' letters; None: not connected."""

    title: str
    line: str
    rows: tuple[tuple[str, int | None], ...]


@dataclass(frozen=True)
class Report:
    """All of the page; what an image of no known layout doesn't have is None."""

    version: str
    dated: str
    title: str
    verdicts: tuple[Verdict, ...]
    facts: tuple[Fact, ...]
    functions: tuple[FunctionFound, ...]
    findings: tuple[Told, ...]
    findings_left_out: int
    panels: tuple[Panel, ...]
    legend: tuple[Key, ...]
    regions: tuple[Region, ...]
    conversation: Conversation | None
    pc: PCTable | None
    other: OtherTable | None
    card: CardTable | None
    pins: tuple[PinTable, ...]
    grids: tuple[Grid, ...]
    ports: PortMap | None
    sums: tuple[Sum, ...]
    origin: Origin
    hashes: tuple[tuple[str, int, str], ...]
    cautions: tuple[str, ...]
    profile: str
    profile_left_out: int


def report_of(
    subject: Subject,
    pc: InThatPC | None = None,
    other: Subject | None = None,
    *,
    expected: Sequence[Expected] = (),
    conversation: Conversation | None = None,
    dated: str = "",
) -> Report:
    """Return the report of an image.

    With `pc` also what the card gets there, with `other` also how that image differs; `expected`
    is what became of the functions that software looks for; `conversation` what a capture shows of
    the EEPROM's bus. `dated`: the day of the report.
    """
    image = subject.image
    found = None
    if other is not None:
        found = compare(image, other.image, (subject.part, other.part))
    findings = [*subject.findings, *subject.expected]
    worst_first = sorted(findings, key=lambda one: SEVERITIES.index(one.severity))
    changed = changed_spans(found) if found is not None else ()
    profile, talk = _uncommented(subject.profile), conversation
    marks = Marks(tuple(finding.offset for finding in worst_first), tuple(changed))
    cut = regions(image, marks)
    told = list(_told(worst_first, cut))
    known = image.layout is not None
    requirements, host = requirements_of(image), pc.host if pc is not None else None
    given = given_to(requirements, pc)
    in_pc = pc_table(subject, requirements, pc) if pc is not None and known else None
    others = [expected_verdict(one) for one in expected]
    if pc is not None and in_pc is not None:
        others.append(pc_verdict(pc, in_pc))
    if other is not None and found is not None:
        others.append(other_verdict(subject, other, found))
    return Report(
        __version__,
        dated,
        _title(subject),
        (verdict_of(image, subject.findings), *others),
        tuple(_facts(subject)),
        tuple(function for one in expected for function in one.functions),
        tuple(told[:MOST_FINDINGS]),
        max(0, len(told) - MOST_FINDINGS),
        byte_map(image.data, cut, *((talk.read, talk.stopped) if talk else ())),
        legend(cut),
        tuple(cut),
        conversation,
        in_pc,
        other_table(subject, other, found) if other and found else None,
        card_table(image, pc) if known else None,
        tuple(_pin_tables(image)),
        grids(image, requirements, given, host) if known else (),
        port_map(image, requirements, given, host) if known else None,
        tuple(sums(image)),
        origin_of(subject),
        tuple(hashes_of(subject)),
        tuple(caution.text for caution in image.catalog.cautions.values()),
        profile[:LONGEST_PROFILE],
        max(0, len(profile) - LONGEST_PROFILE),
    )


def _uncommented(profile: str) -> str:
    """Return a profile without lines of comment, and without the empty ones around them."""
    lines: list[str] = []
    for line in profile.splitlines():
        is_empty = not line.strip()
        if line.lstrip().startswith("#") or (is_empty and not (lines and lines[-1].strip())):
            continue
        lines.append(line)
    return "\n".join(lines).rstrip() + "\n" if lines else ""


def _told(findings: Sequence[Finding], cut: Sequence[Region]) -> Iterator[Told]:
    """Yield the findings with the rows that they are about."""
    entries = [entry for region in cut for entry in region.entries]
    rows = {number: entry.at for entry in entries for number in entry.findings}
    for number, finding in enumerate(findings, 1):
        yield Told(number, finding, place(finding), rows.get(number))


def _title(subject: Subject) -> str:
    """Return what the card is called, or the file where no card can be seen."""
    image = subject.image
    if image.layout is None:
        return clip(subject.name, LONGEST_NAME)
    return card_name(card_of(image)) or image.card_id or clip(subject.name, LONGEST_NAME)


def _size_words(image: Image, parts: Sequence[str]) -> str:
    """Return the size of an image, and what its part can be set to by a pin."""
    found = {image.catalog.parts[name].organisation for name in parts}
    ways = one_of([f"{bits}-bit" for bits in min(found)]) if found and all(found) else ""
    return sizes(len(image.data)) + (f", {ways} words by a pin" if ways else "")


def _pin_tables(image: Image) -> Iterator[PinTable]:
    """Yield what each pin of the chip is wired to, for each bus of which the layout says it."""
    for field in image.layout.config_fields if image.layout else ():
        kind = field.kind
        if isinstance(kind, Pins):
            rows = [
                (kind.pin_name(pin), None if line == kind.unconnected else line)
                for pin, line in enumerate(image.config[field.key])
            ]
            yield PinTable(field.title, image.catalog.resources[kind.bus].title, tuple(rows))


def _facts(subject: Subject) -> Iterator[Fact]:
    """Yield what to know at first sight."""
    image = subject.image
    for key in image.catalog.tables["board"].keys:
        if key in subject.board:
            words = clip(subject.board[key], LONGEST_NAME)
            yield Fact(f"board {key}" if key != "name" else "board", words)
    size = len(image.data)
    parts = [subject.part] if subject.part else [p.name for p in image.catalog.parts_of(size)]
    if image.layout is not None:
        identifier = image.catalog.identifier
        serial = image.identifier_values[0][identifier.serial_field.key]
        yield Fact(identifier.id_field.title, image.card_id or "can't be spelt")
        as_on_labels = "" if serial is None else f"{serial:08X}h"
        words = "none" if serial is None else str(serial)
        yield Fact(identifier.serial_field.title, words, as_on_labels)
        yield Fact("devices", str(len(card_of(image).devices)))
    layout = image.layout
    yield Fact("layout", layout.name if layout else "none fits", layout.source if layout else "")
    yield Fact("part", one_of(parts) if parts else "no part's length", _size_words(image, parts))
    if image.layout is not None:
        used = image.items_end
        unused = sum(len(run.raw) for run in image.runs("fill"))
        yield Fact("bytes used", str(size - unused), f"PnP data to {used - 1:X}h")
