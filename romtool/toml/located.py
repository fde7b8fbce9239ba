"""Faults with a path into a TOML text get line and column."""

from __future__ import annotations

from romtool.errors import Fault
from romtool.toml.places import place_of


def located(fault: Fault, text: str) -> Fault:
    """Return the fault with line and column, where it has a path into this TOML text."""
    if fault.path is None or fault.line is not None:
        return fault
    place = place_of(text, fault.path, key=fault.on_key)
    return fault._replace(line=place.line, column=place.column)
