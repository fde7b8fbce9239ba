"""Where an image comes from: the input as it was taken, its size, its SHA-256."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from romtool.formats import FORMATS, WRITTEN
from romtool.image.model import Image
from romtool.rules.findings import Finding
from romtool.schema.numbers import clip

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
