"""What happens during a power-up, step by step, as data."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Step:
    """One step: its name, and what is to be said of it."""

    name: str
    facts: Mapping[str, Any]


@dataclass
class Steps:
    """The steps so far; calling it adds one."""

    taken: list[Step] = field(default_factory=list)

    def __call__(self, name: str, /, **facts: Any) -> None:
        """Add a step."""
        self.taken.append(Step(name, facts))


Note = Callable[..., None]
"""Takes the name of a step and its facts."""


def unheard(name: str, /, **facts: Any) -> None:
    """Take a step that nobody wants to know of."""
