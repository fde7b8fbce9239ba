"""What software expects of a card, and the card that a new profile begins with to meet it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from romtool.errors import InvalidValue, Path, Problem
from romtool.schema.described import Described
from romtool.schema.field_types import AnyKind
from romtool.schema.numbers import one_of


class ExpectedLines(Described):
    """Lines or channels that a function has: `first` are the conventional ones, and `assumed` those
    of them that software assumes unless it is told otherwise (all where it is empty).

    `resource` names the kind (irq, dma); `widths`: the bits that it has to move at a time, any
    where it is empty.
    """

    resource: str
    first: frozenset[int]
    assumed: frozenset[int]
    widths: tuple[str, ...]


class Function(Described):
    """One thing that software looks for in a card.

    `resource`: the kind of its ports; `length`: fewest and most of them; `near`: bases where they
    usually stand; `bases`: the conventional ones. `required`: the software can't do without it.
    """

    name: str
    text: str
    source: str
    required: bool
    compatible: tuple[str, ...]
    resource: str
    length: tuple[int, ...]
    near: tuple[range, ...]
    bases: frozenset[int]
    lines: tuple[ExpectedLines, ...]


class Expectation(Described, functions="function"):
    """The conventions of some software; `file` tells them, one of a user if `own`."""

    name: str
    title: str
    text: str
    source: str
    functions: tuple[Function, ...]
    file: str
    own: bool


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
    left out, the devices that are then named otherwise, and how. `example_vendor`: the letters of
    IDs that are examples; `choosing_ids`: what to say of them.
    """

    title: str
    text: str
    source: str
    expect: str
    example_vendor: str
    choosing_ids: str
    wiring: Mapping[str, tuple[int, ...]]
    names_without: Mapping[str, Table]
    card: Table
    devices: tuple[StarterTable, ...]


def function_faults(
    function: Function, path: Path, ids: AnyKind, lines: Mapping[str, Collection[str]]
) -> Iterator[Problem]:
    """Yield what is wrong with a function whose table stands at `path`.

    `ids`: how IDs are spelt; `lines`: the resources of which a device takes lines, each with the
    widths that it knows.
    """
    if function.length != tuple(sorted(function.length)) or len(function.length) != 2:
        hint = "write [16, 16] for exactly 16"
        yield Problem("length is not [fewest, most]", hint, (*path, "length"))
    if not function.bases:
        yield Problem("there is no base to look at", "write [0x220] or the like", (*path, "bases"))
    for index, known in enumerate(function.compatible):
        try:
            ids.to_stored(known)
        except InvalidValue as wrong:
            yield Problem(
                wrong.message, "IDs by which software knows it", (*path, "compatible", index)
            )
    for index, wanted in enumerate(function.lines):
        yield from _lines_faults(wanted, (*path, "lines", index), lines)


def _lines_faults(
    wanted: ExpectedLines, path: Path, lines: Mapping[str, Collection[str]]
) -> Iterator[Problem]:
    kind = wanted.resource
    if kind not in lines:
        hint = f"known are {one_of(sorted(lines))}"
        yield Problem(f"a device takes no lines called {kind}", hint, (*path, "resource"))
        return
    if not wanted.first:
        yield Problem("there is no line to look for", "write [5, 7] or the like", (*path, "first"))
    for index, width in enumerate(wanted.widths):
        if width not in lines[kind]:
            hint = f"known are {one_of(list(lines[kind]))}" if lines[kind] else "leave widths out"
            yield Problem(f"{kind} has no width {width}", hint, (*path, "widths", index))


def with_ids(function: Function, ids: AnyKind) -> Function:
    """Return a function with its IDs as they are spelt in images."""
    spelt = tuple(ids.to_value(ids.to_stored(one)) for one in function.compatible)
    return function.altered(compatible=spelt)
