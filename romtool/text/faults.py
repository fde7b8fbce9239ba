"""Faults for the person at the bench: placed in their text, and told in one line."""

from __future__ import annotations

from dataclasses import replace

from romtool.errors import Fault
from romtool.toml.places import place_of


def located(fault: Fault, text: str) -> Fault:
    """Return the fault with line and column, where it has a path into this TOML text."""
    if fault.path is None or fault.line is not None:
        return fault
    place = place_of(text, fault.path, key=fault.on_key)
    return replace(fault, line=place.line, column=place.column)


def fault_line(fault: Fault) -> str:
    """Return a fault as one line: file, place, what is wrong, what to do."""
    where = fault.file or ""
    if fault.line is not None:
        where += f":{fault.line}" + (f":{fault.column}" if fault.column is not None else "")
    if fault.offset is not None:
        where += f": at {fault.offset:X}h"
    words = fault.message + (f"; {fault.hint}" if fault.hint else "")
    line = f"{where}: {words}" if where else words
    return one_line(line)


def one_line(text: str) -> str:
    """Return a text on one line, without characters that would steer a terminal."""
    plain = (
        char if char.isprintable() else f"\\x{ord(char):02x}" for char in " ".join(text.split())
    )
    return "".join(plain)
