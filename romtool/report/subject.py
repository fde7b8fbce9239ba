"""An input, where it comes from, and how it stands: in a sentence, and sum by sum."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from romtool.formats import FORMATS, WRITTEN
from romtool.image.model import Compared, Image
from romtool.rules.check import SEVERITIES
from romtool.rules.expect import ELSEWHERE, FOUND, FunctionFound
from romtool.rules.findings import Finding
from romtool.schema.field_types import Stored
from romtool.schema.fields import Field
from romtool.schema.numbers import clip, hex_text, one_of
from romtool.text.findings import counted

LONGEST_NAME = 120


@dataclass(frozen=True)
class Subject:
    """An input as a command took it, `name` without folders.

    `profile` is its text, if it is one, and `board` what that says of the board. `expected`: what
    is not where some software looks for it, which is no fault of the image.
    """

    name: str
    format: str
    image: Image
    part: str | None
    findings: Sequence[Finding]
    profile: str = ""
    board: Mapping[str, str] = field(default_factory=dict)
    expected: Sequence[Finding] = ()


@dataclass(frozen=True)
class Origin:
    """How an input came to be: what it is, its size, its SHA-256."""

    name: str
    format: str
    size: int
    sha256: str


def origin_of(subject: Subject) -> Origin:
    """Return how an input came to be."""
    data = subject.image.data
    digest = hashlib.sha256(data).hexdigest()
    return Origin(
        clip(subject.name, LONGEST_NAME), FORMATS[subject.format].title, len(data), digest
    )


def hashes_of(subject: Subject) -> Iterator[tuple[str, int, str]]:
    """Yield the files that the image makes: what each is, its size in bytes, its SHA-256."""
    files = {one.title: one.write(subject.image.data) for one in WRITTEN.values()}
    if subject.profile:
        files["the profile"] = subject.profile.encode()
    for title, data in files.items():
        yield title, len(data), hashlib.sha256(data).hexdigest()


GOOD, DOUBTFUL, BAD, NEUTRAL = "good", "doubtful", "bad", "neutral"


@dataclass(frozen=True)
class Verdict:
    """A judgement: its level (good, doubtful, bad, neutral), a few words, a sentence."""

    level: str
    words: str
    text: str


class Expected(NamedTuple):
    """What became of the functions that some software looks for: who that is, and where."""

    title: str
    functions: tuple[FunctionFound, ...]


def expected_verdict(expected: Expected) -> Verdict:
    """Return whether that software finds the card's functions."""
    by_state = {
        state: [one.name for one in expected.functions if one.state == state]
        for state in (FOUND, ELSEWHERE)
    }
    who = expected.title[0].upper() + expected.title[1:]
    if by_state[ELSEWHERE]:
        words = f"{who} don't find all of it"
        return Verdict(BAD, words, f"Not where they look: {one_of(by_state[ELSEWHERE])}.")
    if not by_state[FOUND]:
        return Verdict(BAD, f"{who} find nothing", "The card has no function that they look for.")
    found = ", ".join(by_state[FOUND])
    return Verdict(GOOD, f"{who} find it", f"Where they look: {found}.")


def verdict_of(image: Image, findings: Sequence[Finding]) -> Verdict:
    """Return what the findings come to."""
    if image.layout is None:
        blank = len(set(image.data)) == 1
        words = "Blank, or not read" if blank else "Unreadable"
        why = f"every byte is {image.data[0]:02X}h" if blank else "no layout fits these bytes"
        return Verdict(BAD, words, f"{why[0].upper()}{why[1:]}: there is no card to be seen.")
    summary = counted(findings)
    worst = {finding.severity for finding in findings}
    if SEVERITIES[0] in worst:
        return Verdict(BAD, "Not fit to burn", f"The checks found {summary}.")
    if SEVERITIES[1] in worst:
        return Verdict(DOUBTFUL, "Look at the warnings", f"No errors; the checks found {summary}.")
    if findings:
        return Verdict(GOOD, "No faults found", f"The checks found {summary}, and no error.")
    return Verdict(GOOD, "No faults found", "All checks passed; no findings.")


@dataclass(frozen=True)
class Sum:
    """A stored value beside the computed one; `at`: its address."""

    title: str
    at: int
    stored: str
    computed: str
    verdict: str
    way: str = ""


def sums(image: Image) -> Iterator[Sum]:
    """Yield the signature, counts and checksums of an image, in the order of their bytes."""
    if image.layout is not None:
        for field in image.layout.computed_fields:
            yield _sum("", field, field.at, image.computed[field.key])
    if image.id_checksum is not None:
        field = image.catalog.identifier.check_field
        yield _sum("", field, image.identifier_at + field.at, image.id_checksum)
    if image.end_checksum is not None and image.end_item is not None:
        item = image.end_item
        field = item.record.key_field
        at = item.offset + item.record.header.size + field.at
        yield _sum(f"{item.record.title}, ", field, at, image.end_checksum)


def _sum(before: str, field: Field, at: int, found: Compared) -> Sum:
    def show(value: Stored) -> str:
        return hex_text(value) if isinstance(value, bytes) else field.kind.show(value)

    verdict = found.verdict if found.ok else "wrong"
    way = f"counted {found.way_words}" if found.verdict == "other way" else ""
    title = f"{before}{field.title}"
    return Sum(title, at, show(found.stored), show(found.computed), verdict, way)
