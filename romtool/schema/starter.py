"""The card that a new profile begins with: tables of a profile, and what to say about them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from romtool.schema.described import Described

Table = Mapping[str, Any]

TEXT = "text"
CHOICE = "choice"
RESOURCES = "resources"


class StarterTable(Described):
    """A device or a choice: the comment above it, its keys, and the choices below it."""

    text: str
    keys: Table
    choices: tuple[StarterTable, ...] = ()


class Starter(Described):
    """The card that a new profile describes.

    `expect`: the expectation that it meets. `wiring`: for each bus the lines to wire, the most
    wanted first, where a layout's typical wiring won't do.
    """

    title: str
    text: str
    source: str
    expect: str
    wiring: Mapping[str, tuple[int, ...]]
    card: Table
    devices: tuple[StarterTable, ...]


def starter_of(raw: Table, source: str) -> Starter:
    """Return the starter of its table in a schema file."""
    return Starter(
        title=raw["title"],
        text=raw["text"],
        source=source,
        expect=raw["expect"],
        wiring={bus: tuple(lines) for bus, lines in raw["wiring"].items()},
        card=raw["card"],
        devices=tuple(_table(device) for device in raw["device"]),
    )


def _table(raw: Table) -> StarterTable:
    keys = {key: value for key, value in raw.items() if key not in (TEXT, CHOICE)}
    choices = tuple(_table(choice) for choice in raw.get(CHOICE, ()))
    return StarterTable(text=raw.get(TEXT, ""), keys=keys, choices=choices)
