"""A rehearsal for people: what the PC sees, what each device got, what is lost and why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.answers.rehearsal import PlayedCard, PlayedDevice, RehearsalAnswer, Remark, Step
from romtool.requirements.model import card_words
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import address, sizes
from romtool.text.assignment import choice_words, conflict_lines, got_words
from romtool.text.page import SEVERITY_STYLES, line, title

CONFIGURED_BY = {
    "all": "PnP software: every device",
    "boot": "a BIOS that leaves all but boot devices to a PnP system",
    "none": "nobody: no PnP software runs",
}


def rehearsal_lines(
    catalog: Catalog, found: RehearsalAnswer, *, trace: bool = False
) -> Iterator[str]:
    """Yield what a person reads of a rehearsal, the steps before it if they are asked for."""
    if trace:
        yield from title("Step by step")
        yield from trace_lines(found.steps)
        yield ""
    nobody = found.configured_by == "none"
    counted = "" if nobody else f"{len(found.cards)} of {found.slots} cards seen"
    yield from title(f"Power-up: {found.host}", counted)
    yield from line("Configures", CONFIGURED_BY[found.configured_by])
    if not nobody:
        yield from line("READ_DATA", _read_port(found))
    yield from line("Takes", f"{found.milliseconds:g} ms, the waits alone")
    for card in (*found.cards, *found.unconfigured):
        yield ""
        yield from _card(catalog, card)
    for lost in found.lost:
        yield ""
        yield from line("Lost", f"{lost.id or 'no ID'}  {lost.file}", style="red")
        for remark in lost.why:
            yield from line("", remark.text)
    if found.conflict is not None:
        yield ""
        files = [card.file for card in found.cards]
        yield from conflict_lines(catalog, files, found.host, found.conflict)


def trace_lines(steps: Sequence[Step]) -> Iterator[str]:
    """Yield the steps, a line each where that is wide enough."""
    for step in steps:
        yield from line(step.label, step.text, indent=2, column=15)


def _read_port(found: RehearsalAnswer) -> str:
    if found.read_port is None:
        return "no port is free"
    return address(found.read_port) if found.cards else "no card answers at any port"


def _card(catalog: Catalog, card: PlayedCard) -> Iterator[str]:
    label = f"Slot {card.slot + 1}" if card.csn is None else f"Card {card.csn}"
    yield from line(label, f"{card_words(card.id, card.serial)}  {card.file}")
    if card.csn is not None:
        yield from line("read", _read(card), indent=2)
    yield from _remarks(card.remarks)
    told: dict[Remark, list[str]] = {}
    for device in card.devices:
        for remark in device.remarks:
            told.setdefault(remark, []).append(device.outcome.device.id)
    for device in card.devices:
        words = _device(catalog, device, from_start=card.csn is None)
        yield from line(device.outcome.device.id, words, indent=2)
        yield from _remarks([remark for remark in device.remarks if len(told[remark]) == 1])
    for remark, ids in told.items():
        if len(ids) > 1:
            yield from _remarks([remark._replace(text=f"{', '.join(ids)}: {remark.text}")])


def _read(card: PlayedCard) -> str:
    if not card.has_end:
        return f"{sizes(card.resource_bytes)}, no end item"
    return f"{sizes(card.resource_bytes)} to the end item, end checksum {card.checksum}"


def _remarks(remarks: Sequence[Remark]) -> Iterator[str]:
    for remark in remarks:
        yield from line("warning", remark.text, indent=2, style=SEVERITY_STYLES["warning"])


def _device(catalog: Catalog, device: PlayedDevice, *, from_start: bool) -> str:
    found = device.outcome
    name = f"{found.device.name}: " if found.device.name else ""
    if not device.is_on:
        return f"{name}nothing, and stays off"
    choice = choice_words(catalog, found)
    words = ["active from the start"] if from_start else [f"choice {choice}"] if choice else []
    return name + "; ".join([*words, got_words(found.got)])
