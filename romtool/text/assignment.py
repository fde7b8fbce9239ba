"""An assignment for people: what each device got, what else was free, what stands in the way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.assign.answer import Conflict, Side
from romtool.assign.host import Entry
from romtool.assign.outcome import CardOutcome, DeviceOutcome, Got, Outcome
from romtool.image.card import priority_words
from romtool.requirements.collide import Placed
from romtool.requirements.model import LineRequirement, Requirement, card_words
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import address, one_of
from romtool.text.page import SEVERITY_STYLES, line, styled, title

GAP, BESIDE = 2, 14

STYLES = ("green", "green", "yellow")
"""The colour of a choice by what its priority counts as; those not listed are as the last one."""


def assignment_lines(catalog: Catalog, found: Outcome) -> Iterator[str]:
    """Yield what a person reads of an assignment."""
    count, served = len(found.devices), len(found.assignment.devices)
    name = found.host.name[:1].upper() + found.host.name[1:]
    if found.assignment.feasible:
        yield from title(name, _served(count))
        if any(choice_number(one) for one in found.devices):
            yield from line("Choices", choices_text(catalog, found))
    else:
        beside = f"impossible: {served} of {_devices(count)} can be served"
        yield from title(name, beside)
        if found.assignment.conflict is not None:
            yield ""
            files, conflict = [one.card.name for one in found.cards], found.assignment.conflict
            yield from conflict_lines(catalog, files, found.host.name, conflict)
    for place, card in enumerate(found.cards):
        yield ""
        yield from _card(catalog, place, card)
    yield ""
    yield from line("Still free", free_words(found))


def _served(count: int) -> str:
    few = {0: "no device", 1: "its device served", 2: "both devices served"}
    return few.get(count, f"all {count} devices served")


def _devices(count: int) -> str:
    return f"{count} device{'' if count == 1 else 's'}"


def choices_text(catalog: Catalog, found: Outcome) -> str:
    """Return which devices don't get a choice of the best priority, in words."""
    second = [one for one in found.devices if one.alternative is not None and one.alternative.rank]
    if not second:
        return "every device gets one of the best priority"
    return "; ".join(f"{one.device.id} gets choice {choice_words(catalog, one)}" for one in second)


def _card(catalog: Catalog, place: int, found: CardOutcome) -> Iterator[str]:
    card = found.card
    words = card_words(card.requirements.id, card.requirements.serial)
    yield from line(f"Card {place + 1}", f"{words}  {card.name}")
    if not found.devices:
        yield from line("", "no device, so that it asks for nothing")
        return
    rows = [_row(catalog, device) for device in found.devices]
    shorts = ([resource.short] for resource in catalog.resources.values())
    styles = [_style(device) for device in found.devices]
    yield from _table([[["device"], ["choice"], *shorts], *rows], styles)
    for device in found.devices:
        yield from _could_also(catalog, device)
        for words in not_wired(device):
            style = SEVERITY_STYLES["warning"]
            yield from line("warning", words, indent=2, style=style)


def _row(catalog: Catalog, one: DeviceOutcome) -> list[list[str]]:
    if one.given is None:
        return [[one.device.id], ["nothing"], *([] for _ in catalog.resources)]
    cells = (
        [value_words(got) for got in one.got if got.resource is resource]
        for resource in catalog.resources.values()
    )
    return [[one.device.id], [choice_words(catalog, one) or "-"], *cells]


def _style(one: DeviceOutcome) -> str | None:
    """Return the colour of a device's choice; None where it has none to get."""
    if one.alternative is None:
        return "red"
    return STYLES[min(one.alternative.rank, len(STYLES) - 1)] if choice_number(one) else None


def choice_number(one: DeviceOutcome) -> int | None:
    """Return the number of the choice that a device gets, counted from 1; None without choices."""
    number = one.alternative.number if one.alternative is not None else None
    return None if number is None else number + 1


def choice_words(catalog: Catalog, one: DeviceOutcome) -> str:
    """Return the number of the choice that a device gets and its priority; nothing without."""
    if one.alternative is None or one.alternative.number is None:
        return ""
    words = priority_words(catalog.by_role["choice"].key_field, one.alternative.priority)
    return f"{choice_number(one)} {words}"


def value_words(got: Got) -> str:
    """Return a value that a device gets, a line with its pin of the chip: 5, pin A."""
    words = got.value.in_words() if isinstance(got.value, Placed) else str(got.value)
    return f"{words}, {got.pin}" if got.pin else words


def got_words(found: Sequence[Got]) -> str:
    """Return what a device gets, in words: IRQ 5, pin A; DMA 1; I/O 220h-22Fh."""
    words = (f"{got.resource.short} {value_words(got)}" for got in found)
    return "; ".join(words) or "needs nothing"


def _table(rows: Sequence[Sequence[Sequence[str]]], styles: Sequence[str | None]) -> Iterator[str]:
    """Yield rows of cells in columns; a cell is a list, its parts stand below each other.

    The first row is the heading; a column in which no other row has anything is left out. The
    second column of each other row has a colour of `styles`.
    """
    used = [n for n in range(len(rows[0])) if any(row[n] for row in rows[1:])]
    wide = {n: max(len(part) for row in rows for part in row[n]) for n in used}
    for index, row in enumerate(rows):
        for height in range(max(len(row[n]) for n in used)):
            cells = []
            for n in used:
                part = row[n][height] if height < len(row[n]) else ""
                has_style = index and n == 1 and part and styles[index - 1]
                shown = styled(part, fg=styles[index - 1]) if has_style else part
                cells.append(shown + " " * (wide[n] + GAP - len(part)))
            text = ("  " + "".join(cells)).rstrip()
            yield text if index else styled(text, dim=True)


def _could_also(catalog: Catalog, one: DeviceOutcome) -> Iterator[str]:
    """Yield what else a device could have had in the same choice."""
    words = []
    for need, free, is_cut in one.instead:
        if free:
            named = [str(n) if isinstance(need, LineRequirement) else address(n) for n in free]
            more = " …" if is_cut else ""
            words.append(f"{catalog.resources[need.kind].short} {', '.join(named)}{more}")
    if words:
        text = f"could also use {'; '.join(words)}"
        yield from line(one.device.id, text, indent=2, column=BESIDE)


def not_wired(one: DeviceOutcome) -> Iterator[str]:
    """Yield each line that a device gets and no pin of its chip is wired to, in words."""
    for got in one.got:
        if got.lacks_pin:
            line_words = f"{got.resource.short} {got.value}"
            yield f"{one.device.id}: no pin of the chip is wired to {line_words}"


def free_words(found: Outcome) -> str:
    """Return which lines and channels nobody has taken, in words."""
    return "; ".join(
        f"{resource.short} {', '.join(map(str, free)) or 'none'}" for resource, free in found.free
    )


def conflict_lines(
    catalog: Catalog, files: Sequence[str], host: str, conflict: Conflict
) -> Iterator[str]:
    """Yield what can't be together, who accepts what of it, and what to change.

    `files`: the names of the cards' images; `host`: that of the PC.
    """
    for index, words in enumerate(conflict_words(catalog, files, host, conflict)):
        yield from line("" if index else "Conflict", words, style="red")
    yield from line("Change", advice(catalog, files, conflict))


def conflict_words(
    catalog: Catalog, files: Sequence[str], host: str, conflict: Conflict
) -> Iterator[str]:
    """Yield what can't be together, a sentence each: what the PC has taken, who accepts what."""
    for entry in conflict.entries:
        who = f"{entry.what} of {host}" if entry.what else host
        yield f"{_entry(catalog, entry)} is taken by {who}"
    for side in conflict.sides:
        asked = [_accepts(catalog, side, kind) for kind in conflict.kinds]
        yield f"{side.id} of {files[side.card]} accepts only {'; '.join(filter(None, asked))}"


def _entry(catalog: Catalog, entry: Entry) -> str:
    value = entry.value
    words = value.in_words() if isinstance(value, Placed) else str(value)
    return f"{catalog.resources[entry.kind].short} {words}"


def _accepts(catalog: Catalog, side: Side, kind: str) -> str:
    words = [_need(need) for need in side.accepts[kind]]
    return f"{catalog.resources[kind].short} {' and '.join(words)}" if words else ""


def _need(need: Requirement) -> str:
    if isinstance(need, LineRequirement):
        return one_of(list(map(str, need.lines)))
    first, bases = Placed(need.low, need.length, need.bits), need.bases
    if len(bases) < 2:
        return first.in_words()
    return f"{first.in_words()}, or up to {address(bases[-1])} every {address(bases.step)}"


def advice(catalog: Catalog, files: Sequence[str], conflict: Conflict) -> str:
    """Return what to change, so that what can't be together can."""
    named = dict.fromkeys(files[side.card] for side in conflict.sides)
    ids = one_of(list(dict.fromkeys(side.id for side in conflict.sides)))
    other = one_of([catalog.resources[kind].title for kind in conflict.kinds])
    words = f"offer {ids} another {other}, or take it out, in {one_of(list(named))}"
    return words + ("; or free what the PC has taken" if conflict.entries else "")
