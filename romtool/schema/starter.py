"""The card that a new profile begins with: tables of a profile, and what to say about them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from romtool.schema.described import Described

Table = Mapping[str, Any]

TEXT = "text"
CHOICE = "choice"
RESOURCES = "resources"
NAME = "name"
FUNCTION = "function"
"""What of the card a device, or an item of one, belongs to: `new --without` leaves it out."""


class StarterTable(Described, choices="choice"):
    """A device or a choice: the comment above it, its keys, and the choices below it."""

    text: str
    keys: Table
    choices: tuple[StarterTable, ...]


class Starter(Described, devices="device"):
    """The card that a new profile describes.

    `expect`: the expectation that it meets. `wiring`: for each bus the lines to wire, the most
    wanted first, where a layout's typical wiring won't do. `names_without`: for a function that is
    left out, the devices that are then named otherwise, and how.
    """

    title: str
    text: str
    source: str
    expect: str
    wiring: Mapping[str, tuple[int, ...]]
    names_without: Mapping[str, Table]
    card: Table
    devices: tuple[StarterTable, ...]
