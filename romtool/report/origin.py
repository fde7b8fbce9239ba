"""Where an image comes from: the input as it was taken, its size, its SHA-256."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from romtool.formats import FORMATS
from romtool.image.model import Image
from romtool.rules.findings import Finding
from romtool.schema.numbers import clip

LONGEST_NAME = 120


@dataclass(frozen=True)
class Subject:
    """An input as a command took it: `profile` is its text, if it is one."""

    name: str
    format: str
    image: Image
    part: str | None
    findings: Sequence[Finding]
    profile: str = ""


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
