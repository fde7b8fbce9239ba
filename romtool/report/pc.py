"""What the devices of a card get in a PC, as a table; or what stands in the way."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice

from romtool.assign.answer import Clash
from romtool.assign.paired import chosen, paired
from romtool.image.card import priority_words
from romtool.image.model import Image
from romtool.report.given import InThatPC
from romtool.report.origin import Subject
from romtool.report.verdict import BAD, DOUBTFUL, GOOD, Verdict
from romtool.requirements.collide import Placed
from romtool.requirements.model import CardRequirements, DeviceRequirements
from romtool.schema.bus import Resource
from romtool.schema.numbers import clip
from romtool.text.assignment import Card, advice, clash_words, free_words, undriven

MOST_ROWS = 64
"""So many devices are shown, and so many sides of a conflict."""

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
    cells: tuple[str, ...]
    served: bool = True


@dataclass(frozen=True)
class PCTable:
    """An assignment, with the resources that some device gets.

    `undriven`: lines given that no pin is wired to, a sentence each. `conflict`: of what nothing
    can be left out without it becoming possible, a sentence each, and the `advice` on it; `free`:
    what nobody has taken.
    """

    name: str
    titles: tuple[str, ...]
    rows: tuple[GivenRow, ...]
    undriven: tuple[str, ...]
    conflict: tuple[str, ...]
    advice: str
    free: str
    left_out: int


def pc_table(subject: Subject, requirements: CardRequirements, pc: InThatPC) -> PCTable:
    """Return what each device of a card gets in a PC."""
    image = subject.image
    resources = image.catalog.resources
    rows = [_row(image, device, pc, resources) for device in requirements.devices[:MOST_ROWS]]
    used = [
        place for place in range(len(resources)) if any(r.served and r.cells[place] for r in rows)
    ]
    clash, cards = pc.assignment.conflict, [Card(subject.name, image, requirements)]
    titles = [resource.title for resource in resources.values()]
    shown = [replace(row, cells=tuple(row.cells[at] for at in used if row.served)) for row in rows]
    return PCTable(
        pc_name(pc),
        tuple(titles[at] for at in used),
        tuple(shown),
        tuple(_undriven(image, requirements, pc))[:MOST_ROWS],
        tuple(_clash(image, cards, pc, clash)) if clash is not None else (),
        advice(image.catalog, cards, clash) if clash is not None else "",
        free_words(image.catalog, pc.host, pc.assignment),
        max(0, len(requirements.devices) - MOST_ROWS),
    )


def _undriven(image: Image, requirements: CardRequirements, pc: InThatPC) -> Iterator[str]:
    for device in requirements.devices:
        given = pc.given(device.number)
        if given is not None:
            yield from undriven(image.catalog, image, device, given)


def _clash(image: Image, cards: Sequence[Card], pc: InThatPC, clash: Clash) -> Iterator[str]:
    words = clash_words(image.catalog, cards, pc.host, clash)
    for sentence in islice(words, MOST_ROWS):
        yield clip(sentence, LONGEST_WORDS)


def pc_name(pc: InThatPC) -> str:
    """Return what the PC is called."""
    return clip(pc.host.name, LONGEST_NAME)


def _row(
    image: Image, device: DeviceRequirements, pc: InThatPC, resources: Mapping[str, Resource]
) -> GivenRow:
    given, name = pc.given(device.number), device.name or ""
    if given is None:
        return GivenRow(device.number + 1, device.id, name, "", (), served=False)
    alternative = chosen(device.alternatives, given)
    cells: dict[str, list[str]] = {resource: [] for resource in resources}
    for need, value in paired(alternative, given):
        if value is not None:
            cells[need.kind].append(_words(value))
    choice = ""
    if alternative.number is not None:
        field = image.catalog.by_role["choice"].key_field
        choice = f"{alternative.number + 1} {priority_words(field, alternative.priority)}"
    words = tuple(", ".join(found) for found in cells.values())
    return GivenRow(device.number + 1, device.id, name, choice, words)


def _words(value: int | Placed) -> str:
    if isinstance(value, Placed):
        return value.in_words()
    return str(value)


def pc_verdict(pc: InThatPC, table: PCTable) -> Verdict:
    """Return whether the card fits into a PC, in words."""
    answer, name = pc.assignment, pc_name(pc)
    if not answer.feasible:
        lost = len(answer.left_out)
        some = f"{lost} device{'' if lost == 1 else 's'} of it"
        return Verdict(BAD, f"Does not fit {name}", f"At best {some} must do without.")
    if answer.score:
        text = f"Every device gets a choice; their priorities add up to {answer.score} (best: 0)."
    else:
        text = "Every device gets a choice of the best priority."
    if table.undriven:
        return Verdict(DOUBTFUL, f"Fits {name}, but not its own wiring", f"{table.undriven[0]}.")
    return Verdict(GOOD, f"Fits {name}", text)
