"""Remarks on a card in a PC; their words stand in the schema."""

from __future__ import annotations

from dataclasses import dataclass

from romtool.schema.catalog import Catalog


@dataclass(frozen=True)
class Said:
    """A remark with its words filled in."""

    name: str
    text: str


def say(catalog: Catalog, name: str, /, **words: object) -> Said:
    """Return the remark of this name with these words filled in."""
    return Said(name, catalog.protocol.remarks[name].text.format_map(words))
