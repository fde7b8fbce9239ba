"""What software expects of a card: functions, how they are known, where they first have to be."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from romtool.errors import Problem, Path, InvalidValue
from romtool.schema.described import Described
from romtool.schema.field_types import FieldType, whole_number
from romtool.schema.numbers import one_of


class ExpectedLines(Described):
    """Lines or channels that a function has: `first` are the conventional ones.

    `resource` names the kind (irq, dma); `widths`: the bits that it has to move at a time, any
    where it is empty.
    """

    resource: str
    first: frozenset[int]
    widths: frozenset[str]


class Function(Described):
    """One thing that software looks for in a card.

    `length`: fewest and most ports; `near`: bases where they usually stand; `bases`: the
    conventional ones. `required`: the software can't do without it.
    """

    name: str
    text: str
    source: str
    required: bool
    compatible: frozenset[str]
    length: tuple[int, int]
    near: tuple[range, ...]
    bases: frozenset[int]
    lines: tuple[ExpectedLines, ...]


class Expectation(Described):
    """The conventions of some software; `file` is the schema file that tells them."""

    name: str
    title: str
    text: str
    source: str
    functions: tuple[Function, ...]
    file: str


def expectation_of(raw: Mapping[str, Any], source: str, file: str) -> Expectation:
    """Return the expectation of a table of a schema file in which `function_faults` finds none."""
    functions = tuple(_function(one, one.get("source", source)) for one in raw["function"])
    return Expectation(
        name=raw["name"],
        title=raw["title"],
        text=raw.get("text", ""),
        source=source,
        functions=functions,
        file=file,
    )


def _function(raw: Mapping[str, Any], source: str) -> Function:
    fewest, most = raw["length"][0], raw["length"][-1]
    lines = (
        ExpectedLines(
            resource=one["resource"],
            first=frozenset(one["first"]),
            widths=frozenset(one.get("widths", ())),
        )
        for one in raw.get("lines", ())
    )
    return Function(
        name=raw["name"],
        text=raw["text"],
        source=source,
        required=raw.get("required", False),
        compatible=frozenset(known.upper() for known in raw.get("compatible", ())),
        length=(fewest, most),
        near=tuple(_bases(one) for one in raw.get("near", ())),
        bases=frozenset(whole_number(base) for base in raw["bases"]),
        lines=tuple(lines),
    )


def _bases(raw: Mapping[str, Any]) -> range:
    lowest, highest = whole_number(raw["lowest"]), whole_number(raw["highest"])
    return range(lowest, highest + 1, whole_number(raw["step"]))


def function_faults(
    raw: Mapping[str, Any], path: Path, ids: FieldType, lines: Mapping[str, Collection[str]]
) -> Iterator[Problem]:
    """Yield what is wrong in the table of a function at `path`.

    `ids`: how IDs are spelt; `lines`: the resources of which a device takes lines, each with the
    widths that it knows.
    """
    if raw["length"] != sorted(raw["length"]) or len(raw["length"]) != 2:
        hint = "write [16, 16] for exactly 16"
        yield Problem("length is not [fewest, most]", hint, (*path, "length"))
    if not raw["bases"]:
        yield Problem("there is no base to look at", "write [0x220] or the like", (*path, "bases"))
    for index, known in enumerate(raw.get("compatible", ())):
        try:
            ids.to_stored(known)
        except InvalidValue as wrong:
            yield Problem(
                wrong.message, "IDs by which software knows it", (*path, "compatible", index)
            )
    for index, wanted in enumerate(raw.get("lines", ())):
        yield from _lines_faults(wanted, (*path, "lines", index), lines)


def _lines_faults(
    raw: Mapping[str, Any], path: Path, lines: Mapping[str, Collection[str]]
) -> Iterator[Problem]:
    kind = raw["resource"]
    if kind not in lines:
        hint = f"known are {one_of(sorted(lines))}"
        yield Problem(f"a device takes no lines called {kind}", hint, (*path, "resource"))
        return
    if not raw["first"]:
        yield Problem("there is no line to look for", "write [5, 7] or the like", (*path, "first"))
    for index, width in enumerate(raw.get("widths", ())):
        if width not in lines[kind]:
            hint = f"known are {one_of(list(lines[kind]))}" if lines[kind] else "leave widths out"
            yield Problem(f"{kind} has no width {width}", hint, (*path, "widths", index))
