"""What the standard asks, requirement by requirement, and what checks each of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple, Protocol

from romtool.schema.described import Described


class StandardRequirement(Described):
    """Something that the standard asks.

    `on`: who has to see to it; `check`: whether an image or a rehearsal can show it, or "none" for
    a `reason`. `build`: what building sees to; `shown_by`: tests that show it.
    """

    name: str
    section: str
    on: str
    level: str
    check: str
    text: str
    reason: str | None
    build: str | None
    shown_by: tuple[str, ...]


class Standing(Protocol):
    """A rule or a remark: it names the requirements that it stands for."""

    @property
    def name(self) -> str: ...

    @property
    def requirements(self) -> tuple[str, ...]: ...


class Checked(NamedTuple):
    """A requirement and what checks it: names of rules and of a rehearsal's remarks."""

    requirement: StandardRequirement
    rules: list[str]
    remarks: list[str]

    @property
    def is_checked(self) -> bool:
        """Whether anything checks it."""
        found = self.requirement
        return bool(self.rules or self.remarks or found.build or found.shown_by)


def checked(
    standard: Mapping[str, StandardRequirement],
    rules: Iterable[Standing],
    remarks: Iterable[Standing],
) -> list[Checked]:
    """Return every requirement with what checks it, in the standard's order."""
    rules, remarks = list(rules), list(remarks)
    return [
        Checked(
            requirement,
            [rule.name for rule in rules if requirement.name in rule.requirements],
            [remark.name for remark in remarks if requirement.name in remark.requirements],
        )
        for requirement in standard.values()
    ]
