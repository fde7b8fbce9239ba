"""What a profile asks for, checked and encoded piece by piece, before it is laid out."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from romtool.errors import Path
from romtool.profile.variants import Variant
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Stored
from romtool.schema.image_layouts import ImageLayout, Part


class Piece(NamedTuple):
    """Bytes of the PnP data, the place in the profile that they come from, and what they are."""

    raw: bytes
    path: Path
    owner: Path
    """The table (card or device) whose cost they are."""


@dataclass
class Plan:
    """What a profile asks for; `assemble` makes the image of it."""

    catalog: Catalog
    layout: ImageLayout
    part: Part | None = None
    size: int | None = None
    fill: int = 0xFF
    lead: bytes = b""
    patch: bytes = b""
    tail: list[tuple[int, bytes, Path]] = field(default_factory=list)
    raw: bytes | None = None
    config: dict[str, Stored] = field(default_factory=dict)
    identifier: dict[str, Stored] = field(default_factory=dict)
    pieces: list[Piece] = field(default_factory=list)
    override: dict[str, Stored | str] = field(default_factory=dict)
    whole_identifier: bytes | None = None
    has_end: bool = True
    owners: dict[Path, str] = field(default_factory=dict)
    variant: Variant | None = None

    def place(self, path: Path) -> Path:
        """Return where a value of the plan's tables stands in the profile."""
        return path if self.variant is None else self.variant.place(path) or path
