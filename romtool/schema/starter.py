"""The card that a new profile begins with: tables of a profile, and what to say about them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from romtool.schema.described import Described

Table = Mapping[str, Any]

TEXT = "text"
CHOICE = "choice"
RESOURCES = "resources"


class StarterTable(Described, choices="choice"):
    """A device or a choice: the comment above it, its keys, and the choices below it."""

    text: str
    keys: Table
    choices: tuple[StarterTable, ...]


class Starter(Described, devices="device"):
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
