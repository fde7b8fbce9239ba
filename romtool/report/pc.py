"""What a card gets in a PC, item by item and as a table; or what stands in the way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import islice

from romtool.assign.answer import Assignment, Conflict, Given
from romtool.assign.host import Host
from romtool.assign.outcome import AssignedCard, DeviceOutcome, outcome
from romtool.report.subject import BAD, DOUBTFUL, GOOD, Subject, Verdict
from romtool.requirements.collide import Placed
from romtool.requirements.model import CardRequirements, Requirement
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import clip
from romtool.text.assignment import (
    advice,
    choice_words,
    choices_text,
    conflict_words,
    free_words,
    not_wired,
    value_words,
)


@dataclass(frozen=True)
class InThatPC:
    """A PC, and what PnP software can give there to the card alone: the answer of `assign`."""

    host: Host
    assignment: Assignment

    def given(self, device: int) -> Given | None:
        """Return what a device of the card (from 0) gets."""
        return next((one for one in self.assignment.devices if one.number == device), None)


@dataclass(frozen=True)
class GivenTo:
    """A line, a channel or a range, by the offset of the item that asked for it."""

    by_item: dict[int, int | Placed] = field(default_factory=dict)

    def to(self, need: Requirement) -> int | Placed | None:
        """Return what a need was given."""
        return self.by_item.get(need.item.offset) if need.item is not None else None


def given_to(requirements: CardRequirements, pc: InThatPC | None) -> GivenTo:
    """Return what each item of a card is given, nothing without a PC."""
    return GivenTo(dict(_pairs(requirements, pc)) if pc is not None else {})


def _pairs(requirements: CardRequirements, pc: InThatPC) -> Iterator[tuple[int, int | Placed]]:
    for device in requirements.devices:
        given = pc.given(device.number)
        if given is None:
            continue
        for need, value in given.paired(given.of(device.alternatives)):
            if need.item is not None and value is not None:
                yield need.item.offset, value


MOST_ROWS = 64
"""The most devices that are shown, and the most sides of a conflict."""

ACCEPTABLE = 1
"""What the priority of a choice counts as that is no cause for doubt, at most (Spec 6.2.2.6)."""

LONGEST_NAME = 80
LONGEST_WORDS = 300


@dataclass(frozen=True)
class GivenRow:
    """What a device (counted from 1) gets, resource by resource; `choice` is empty for none.

    `served`: whether it gets anything at all.
    """

    number: int
    id: str
    name: str
    choice: str
    cells: tuple[tuple[str, ...], ...]
    served: bool = True


@dataclass(frozen=True)
class PCTable:
    """An assignment, with the resources that some device gets.

    `undriven`: lines given that no pin is wired to, a sentence each. `conflict`: of what nothing
    can be left out without it becoming possible, a sentence each, and the `advice` on it; `free`:
    what nobody has taken. `choices`: what is to be said of them; `worst_rank`: what the priority
    of the worst one counts as.
    """

    name: str
    titles: tuple[str, ...]
    rows: tuple[GivenRow, ...]
    undriven: tuple[str, ...]
    conflict: tuple[str, ...]
    advice: str
    free: str
    left_out: int
    choices: str
    worst_rank: int


def pc_table(subject: Subject, requirements: CardRequirements, pc: InThatPC) -> PCTable:
    """Return what each device of a card gets in a PC."""
    image, assignment = subject.image, pc.assignment
    catalog = image.catalog
    card = AssignedCard(subject.name, image, requirements)
    found = outcome(catalog, [card], pc.host, assignment)
    rows = [_row(catalog, device) for device in found.devices[:MOST_ROWS]]
    resources = list(catalog.resources.values())
    used = [
        place for place in range(len(resources)) if any(r.served and r.cells[place] for r in rows)
    ]
    shown = [replace(row, cells=tuple(row.cells[at] for at in used if row.served)) for row in rows]
    conflict = assignment.conflict
    return PCTable(
        pc_name(pc),
        tuple(resources[at].title for at in used),
        tuple(shown),
        tuple(words for device in found.devices for words in not_wired(device))[:MOST_ROWS],
        tuple(_conflict(catalog, card, pc, conflict)) if conflict is not None else (),
        advice(catalog, [card.name], conflict) if conflict is not None else "",
        free_words(found),
        max(0, len(requirements.devices) - MOST_ROWS),
        choices_text(catalog, found),
        max((one.alternative.rank for one in found.devices if one.alternative), default=0),
    )


def _conflict(
    catalog: Catalog, card: AssignedCard, pc: InThatPC, conflict: Conflict
) -> Iterator[str]:
    words = conflict_words(catalog, [card.name], pc.host.name, conflict)
    for sentence in islice(words, MOST_ROWS):
        yield clip(sentence, LONGEST_WORDS)


def pc_name(pc: InThatPC) -> str:
    """Return what the PC is called."""
    return clip(pc.host.name, LONGEST_NAME)


def _row(catalog: Catalog, found: DeviceOutcome) -> GivenRow:
    device, name = found.device, found.device.name or ""
    if found.given is None:
        return GivenRow(device.number + 1, device.id, name, "", (), served=False)
    cells = (
        tuple(value_words(got) for got in found.got if got.resource is resource)
        for resource in catalog.resources.values()
    )
    return GivenRow(device.number + 1, device.id, name, choice_words(catalog, found), tuple(cells))


def pc_verdict(pc: InThatPC, table: PCTable) -> Verdict:
    """Return whether the card fits into a PC, in words."""
    answer, name = pc.assignment, pc_name(pc)
    if not answer.feasible:
        lost = len(answer.left_out)
        some = f"{lost} device{'' if lost == 1 else 's'} of it"
        return Verdict(BAD, f"Does not fit {name}", f"At best {some} must do without.")
    text = f"{table.choices[:1].upper()}{table.choices[1:]}."
    if table.undriven:
        return Verdict(DOUBTFUL, f"Fits {name}, but not its own wiring", f"{table.undriven[0]}.")
    if table.worst_rank > ACCEPTABLE:
        return Verdict(DOUBTFUL, f"Fits {name}, but not well", text)
    return Verdict(GOOD, f"Fits {name}", text)
