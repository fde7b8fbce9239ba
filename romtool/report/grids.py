"""The grids of lines and channels: which choice offers which, what is wired, taken, given."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from romtool.assign.host import Host
from romtool.image.card import priority_words
from romtool.image.model import Image
from romtool.report.pc import GivenTo
from romtool.requirements.model import (
    CardRequirements,
    DeviceRequirements,
    LineRequirement,
    Requirement,
)
from romtool.requirements.read import pin_names
from romtool.schema.bus import Resource
from romtool.schema.field_types import Lines as LinesKind

MOST_ROWS = 200
"""The most rows of a grid that are shown."""

OFFERED, TAKEN, NO_PIN, NO_SLOT = "offered", "taken", "no-pin", "no-slot"
GIVEN, UNDRIVEN = "given", "undriven"
MARKS = (OFFERED, GIVEN, UNDRIVEN, TAKEN, NO_PIN, NO_SLOT)
"""How a line can stand to a choice that offers it: free, taken by the host, on no pin of the chip,
in no slot of the PC; given to it, or given though it is on no pin."""


@dataclass(frozen=True)
class Column:
    """A line or channel of the bus.

    `pins`: the letters of the chip's pins on it, None where nothing tells; `reaches`: whether a
    slot has it; `taken`: whether the host has it, None where no host was named.
    """

    number: int
    pins: str | None
    reaches: bool
    taken: bool | None


@dataclass(frozen=True)
class Row:
    """What one choice offers: a mark for each column, empty where it isn't offered."""

    label: str
    marks: tuple[str, ...]


@dataclass(frozen=True)
class Group:
    """The rows of one device, which is counted from 1."""

    number: int
    id: str
    name: str | None
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Grid:
    """A kind of resource: its lines, and which choice offers which; `left_out`: rows too many."""

    kind: str
    title: str
    columns: tuple[Column, ...]
    groups: tuple[Group, ...]
    left_out: int
    renamed: tuple[tuple[int, int], ...]
    source: str

    @property
    def wiring_known(self) -> bool:
        """Whether the image says which lines have a pin."""
        return self.columns[0].pins is not None

    @property
    def has_host(self) -> bool:
        """Whether a host was named."""
        return self.columns[0].taken is not None

    @property
    def marks(self) -> list[str]:
        """Which marks stand in it."""
        found = {mark for group in self.groups for row in group.rows for mark in row.marks}
        return [mark for mark in MARKS if mark in found]


def grids(
    image: Image, requirements: CardRequirements, given: GivenTo, host: Host | None
) -> tuple[Grid, ...]:
    """Return a grid for each kind of line that a device can ask for."""
    made = []
    for resource in image.catalog.resources.values():
        kind = _lines_kind(image, resource)
        if kind is not None:
            made.append(_Maker(image, resource, given, host).grid(requirements, kind))
    return tuple(made)


def _lines_kind(image: Image, resource: Resource) -> LinesKind | None:
    """Return how an item lists the lines of a resource; None for one that has no lines."""
    for record in image.catalog.records.values():
        if record.requires is not None and record.requires.kind == resource.name:
            return record.key_field.kind if isinstance(record.key_field.kind, LinesKind) else None
    return None


class _Maker:
    """Makes the grid of one resource."""

    def __init__(self, image: Image, resource: Resource, given: GivenTo, host: Host | None) -> None:
        self.image, self.resource, self.given = image, resource, given
        self.taken = None if host is None else host.lines(resource.name)
        self.pins = pin_names(image, resource)

    def grid(self, requirements: CardRequirements, kind: LinesKind) -> Grid:
        """Return the grid of what these devices want."""
        lines = range(kind.first, kind.first + kind.bits)
        columns = tuple(self._column(line) for line in lines)
        groups, left_out, room = [], 0, MOST_ROWS
        for device in requirements.devices:
            rows = list(self._rows(device, columns))
            left_out += max(0, len(rows) - room)
            if rows[:room]:
                shown = tuple(rows[:room])
                groups.append(Group(device.number + 1, device.id, device.name, shown))
            room = max(0, room - len(rows))
        resource = self.resource
        renamed = tuple(sorted(resource.renamed.items()))
        return Grid(
            resource.name,
            resource.title,
            columns,
            tuple(groups),
            left_out,
            renamed,
            resource.source,
        )

    def _column(self, line: int) -> Column:
        pins = None if self.pins is None else "".join(self.pins.get(line, ()))
        taken = None if self.taken is None else line in self.taken
        return Column(line, pins, line not in self.resource.not_on_slot, taken)

    def _rows(self, device: DeviceRequirements, columns: Sequence[Column]) -> Iterator[Row]:
        """Yield a row for each need that always applies, then for each of a choice."""
        for need in (*device.before, *device.after):
            yield from self._row("always", need, columns)
        field = self.image.catalog.by_role["choice"].key_field
        for one in device.alternatives:
            for need in one.own:
                number = 0 if one.number is None else one.number + 1
                label = f"{number} {priority_words(field, one.priority)}"
                yield from self._row(label, need, columns)

    def _row(self, label: str, need: Requirement, columns: Sequence[Column]) -> Iterator[Row]:
        if isinstance(need, LineRequirement) and need.kind == self.resource.name:
            yield Row(label, tuple(self._mark(need, column) for column in columns))

    def _mark(self, need: LineRequirement, column: Column) -> str:
        on_bus = self.resource.renamed.get(column.number, column.number)
        no_pin = self.pins is not None and on_bus not in self.pins
        if self.given.to(need) == column.number:
            return UNDRIVEN if no_pin else GIVEN
        if column.number not in need.lines:
            return ""
        if not column.reaches:
            return NO_SLOT
        if no_pin:
            return NO_PIN
        return TAKEN if column.taken else OFFERED
