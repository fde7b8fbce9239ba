"""What the readers of a profile's tables share: the plan they fill, the faults they collect."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from romtool.errors import InvalidValue, Path, Problem
from romtool.profile.plan import Plan
from romtool.schema.field_types import Stored
from romtool.schema.fields import Field


class Reader:
    """Reads tables into a plan and goes on after a fault, so that all of them are told at once."""

    def __init__(self, plan: Plan, data: Mapping[str, Any], problems: list[Problem]) -> None:
        self.catalog = plan.catalog
        self.tables = plan.catalog.tables
        self.data = data
        self.problems = problems
        self.result = plan

    def problem(self, message: str, hint: str, path: Path, *, on_key: bool = False) -> None:
        """Remember a fault at a place."""
        self.problems.append(Problem(message, hint, path, on_key=on_key))

    def stored(self, field: Field, value: Any, path: Path) -> Stored:
        """Return the bits to store for a value; None, and a fault, where it can't be."""
        try:
            return field.stored_of(value)
        except InvalidValue as wrong:
            self.problem(wrong.message, wrong.hint, (*path, *wrong.inside))
            return None
