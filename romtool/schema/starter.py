"""The card that a new profile begins with: tables of a profile, and what to say about them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

Table = Mapping[str, Any]

TEXT = "text"
CHOICE = "choice"
RESOURCES = "resources"


@dataclass(frozen=True)
class StarterTable:
    """A device or a choice: the comment above it, its keys, and the choices below it."""

    text: str
    keys: Table
    choices: tuple[StarterTable, ...] = ()


@dataclass(frozen=True)
class Starter:
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
        raw["title"],
        raw["text"],
        source,
        raw["expect"],
        {bus: tuple(lines) for bus, lines in raw["wiring"].items()},
        raw["card"],
        tuple(_table(device) for device in raw["device"]),
    )


def _table(raw: Table) -> StarterTable:
    keys = {key: value for key, value in raw.items() if key not in (TEXT, CHOICE)}
    return StarterTable(
        raw.get(TEXT, ""), keys, tuple(_table(choice) for choice in raw.get(CHOICE, ()))
    )
