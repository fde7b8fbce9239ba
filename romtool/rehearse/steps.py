"""What happens during a power-up, step by step, and what is remarked on.

The sentences stand in `schemas/protocol.toml`, with the section of the standard that each plays.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from romtool.answers.rehearsal import Remark, Step
from romtool.schema.catalog import Catalog


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


def remark(catalog: Catalog, name: str, /, **words: object) -> Remark:
    """Return the remark of this name with these words filled in."""
    return Remark(name, catalog.protocol.remarks[name].filled(**words))
