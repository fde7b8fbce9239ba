"""What a profile asks for, checked and encoded piece by piece, and what fills it from tables."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from romtool.errors import InvalidValue, Path, Problem
from romtool.profile.variants import Variant
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Stored
from romtool.schema.fields import Field
from romtool.schema.image_layouts import ImageLayout, Part


class Piece(NamedTuple):
    """Bytes of the PnP data, the place in the profile that they come from, and what they are."""

    raw: bytes
    path: Path
    owner: Path
    """The table (card or device) whose cost they are."""


class Plan:
    """What a profile asks for; `assemble` makes the image of it."""

    def __init__(
        self, catalog: Catalog, layout: ImageLayout, variant: Variant | None = None
    ) -> None:
        self.catalog = catalog
        self.layout = layout
        self.part: Part | None = None
        self.size: int | None = None
        self.fill = 0xFF
        self.lead = b""
        self.patch = b""
        self.tail: list[tuple[int, bytes, Path]] = []
        self.raw: bytes | None = None
        self.config: dict[str, Stored] = {}
        self.identifier: dict[str, Stored] = {}
        self.pieces: list[Piece] = []
        self.override: dict[str, Stored | str] = {}
        self.whole_identifier: bytes | None = None
        self.has_end = True
        self.owners: dict[Path, str] = {}
        self.variant = variant

    def place(self, path: Path) -> Path:
        """Return where a value of the plan's tables stands in the profile."""
        return path if self.variant is None else self.variant.place(path) or path


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
