"""What the readers of a profile's tables share: the plan they fill, the faults they collect."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from romtool.errors import Fault, Path, Wrong
from romtool.profile.plan import Plan
from romtool.schema.fields import Field
from romtool.schema.kinds import Stored


class Reader:
    """Reads tables into a plan and goes on after a fault, so that all of them are told at once."""

    def __init__(self, plan: Plan, data: Mapping[str, Any], faults: list[Fault]) -> None:
        self.catalog = plan.catalog
        self.tables = plan.catalog.tables
        self.data = data
        self.faults = faults
        self.result = plan

    def fault(self, message: str, hint: str, path: Path, *, on_key: bool = False) -> None:
        """Remember a fault at a place."""
        self.faults.append(Fault(message, hint, path, on_key=on_key))

    def stored(self, field: Field, value: Any, path: Path) -> Stored:
        """Return the bits to store for a value; None, and a fault, where it can't be."""
        try:
            return field.stored_of(value)
        except Wrong as wrong:
            self.fault(wrong.message, wrong.hint, (*path, *wrong.inside))
            return None
