"""What happens during a power-up, step by step, and what is remarked on: data and a sentence each.

The sentences stand in `schemas/protocol.toml`, with the section of the standard that each plays.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from romtool.schema.catalog import Catalog


@dataclass(frozen=True)
class Step:
    """One step: its name, its facts, and what is said of it, with a label before it."""

    name: str
    facts: Mapping[str, Any]
    label: str
    text: str


@dataclass
class Steps:
    """The steps so far; calling it with a name and facts adds one."""

    catalog: Catalog
    all: list[Step] = field(default_factory=list)

    def __call__(self, name: str, /, **facts: Any) -> None:
        """Add a step."""
        self.all.append(Step(name, facts, *self.catalog.protocol.steps[name].labelled(**facts)))


Note = Callable[..., None]
"""Takes the name of a step and its facts."""


def unheard(name: str, /, **facts: Any) -> None:
    """Take a step that nobody wants to know of."""


@dataclass(frozen=True)
class Remark:
    """What is to be said of a card or a device."""

    name: str
    text: str


def remark(catalog: Catalog, name: str, /, **words: object) -> Remark:
    """Return the remark of this name with these words filled in."""
    return Remark(name, catalog.protocol.remarks[name].filled(**words))
