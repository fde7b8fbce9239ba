"""An assignment for people: a table to print, what else was free, what stands in the way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import click

from romtool.assign.answer import Assignment, Clash, Given
from romtool.assign.dispute import accepted, disputed, sides_of
from romtool.assign.free import MOST_FREE, free_instead, still_free
from romtool.assign.host import Entry, Host
from romtool.assign.paired import chosen
from romtool.image.card import priority_words
from romtool.image.model import Image
from romtool.requirements.collide import Placed
from romtool.requirements.model import (
    CardRequirements,
    DeviceRequirements,
    LineRequirement,
    Requirement,
    card_words,
)
from romtool.requirements.wired import wired
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import address, one_of
from romtool.text.page import SEVERITY_STYLES, line, title

GAP, BESIDE = 2, 14


class Card(NamedTuple):
    """A card of the call: the name of its file, its image, and what its devices ask for."""

    name: str
    image: Image
    requirements: CardRequirements


def assignment_lines(
    catalog: Catalog, cards: Sequence[Card], host: Host, found: Assignment
) -> Iterator[str]:
    """Yield what a person reads of an assignment."""
    count = sum(len(card.requirements.devices) for card in cards)
    if found.feasible:
        yield from title(f"In {host.name}", f"{_devices(count)} served, score {found.score}")
    else:
        served = f"{len(found.devices)} of {_devices(count)} can be served"
        yield from title(f"In {host.name}", f"impossible: {served}")
        if found.conflict is not None:
            yield ""
            yield from clash_lines(catalog, cards, host, found.conflict)
    for place, card in enumerate(cards):
        yield ""
        yield from _card(catalog, place, card, host, found)
    yield ""
    yield from line("Still free", free_words(catalog, host, found))


def _devices(count: int) -> str:
    return f"{count} device{'' if count == 1 else 's'}"


def _card(catalog: Catalog, place: int, card: Card, host: Host, found: Assignment) -> Iterator[str]:
    words = card_words(card.requirements.id, card.requirements.serial)
    yield from line(f"Card {place + 1}", f"{words}  {card.name}")
    if not card.requirements.devices:
        yield from line("", "no device, so that it asks for nothing")
        return
    given = {one.number: one for one in found.devices if one.card == place}
    rows = [_row(catalog, device, given.get(device.number)) for device in card.requirements.devices]
    shorts = ([resource.short] for resource in catalog.resources.values())
    yield from _table([[["device"], ["choice"], *shorts], *rows])
    for device in card.requirements.devices:
        mine = given.get(device.number)
        if mine is not None:
            yield from _free_instead(catalog, host, found, device, mine)
            for words in undriven(catalog, card.image, device, mine):
                style = SEVERITY_STYLES["warning"]
                yield from line("warning", words, indent=2, style=style)


def _row(catalog: Catalog, device: DeviceRequirements, given: Given | None) -> list[list[str]]:
    if given is None:
        return [[device.id], ["nothing"], *([] for _ in catalog.resources)]
    cells = (list(_values(getattr(given, kind))) for kind in catalog.resources)
    return [[device.id], [choice_words(catalog, device, given) or "-"], *cells]


def choice_words(catalog: Catalog, device: DeviceRequirements, given: Given) -> str:
    """Return the number of the choice that a device gets and its priority; nothing without."""
    alternative = chosen(device.alternatives, given)
    if alternative.number is None:
        return ""
    words = priority_words(catalog.by_role["choice"].key_field, alternative.priority)
    return f"{alternative.number + 1} {words}"


def _values(values: Sequence[int | Placed | None]) -> Iterator[str]:
    for value in values:
        if value is not None:
            yield value.in_words() if isinstance(value, Placed) else str(value)


def _table(rows: Sequence[Sequence[Sequence[str]]]) -> Iterator[str]:
    """Yield rows of cells in columns; a cell is a list, its parts stand below each other.

    The first row is the heading; a column in which no other row has anything is left out.
    """
    used = [n for n in range(len(rows[0])) if any(row[n] for row in rows[1:])]
    wide = {n: max(len(part) for row in rows for part in row[n]) for n in used}
    for index, row in enumerate(rows):
        for height in range(max(len(row[n]) for n in used)):
            parts = (row[n][height] if height < len(row[n]) else "" for n in used)
            cells = (f"{part:{wide[n] + GAP}}" for n, part in zip(used, parts, strict=True))
            text = ("  " + "".join(cells)).rstrip()
            yield text if index else click.style(text, dim=True)


def _free_instead(
    catalog: Catalog, host: Host, found: Assignment, device: DeviceRequirements, mine: Given
) -> Iterator[str]:
    """Yield what else a device could have had in the same choice."""
    alternative = chosen(device.alternatives, mine)
    words = []
    for need, free in free_instead(catalog, host, found.devices, mine, alternative):
        if free:
            named = [str(n) if isinstance(need, LineRequirement) else address(n) for n in free]
            more = " …" if len(free) == MOST_FREE else ""
            words.append(f"{catalog.resources[need.kind].short} {', '.join(named)}{more}")
    if words:
        yield from line(f"{device.id} or", "; ".join(words), indent=2, column=BESIDE)


def undriven(
    catalog: Catalog, image: Image, device: DeviceRequirements, mine: Given
) -> Iterator[str]:
    """Yield each line that a device gets and no pin of its chip is wired to, in words."""
    for kind, resource in catalog.resources.items():
        connected = wired(image, resource)
        for value in getattr(mine, kind):
            if connected is not None and isinstance(value, int) and value not in connected:
                yield f"{device.id}: no pin of the chip is wired to {resource.short} {value}"


def free_words(catalog: Catalog, host: Host, found: Assignment) -> str:
    """Return which lines and channels nobody has taken, in words."""
    return "; ".join(
        f"{resource.short} {', '.join(map(str, free)) or 'none'}"
        for resource, free in still_free(catalog, host, found.devices)
    )


def clash_lines(catalog: Catalog, cards: Sequence[Card], host: Host, clash: Clash) -> Iterator[str]:
    """Yield what can't be together, who accepts what of it, and what to change."""
    for index, words in enumerate(clash_words(catalog, cards, host, clash)):
        yield from line("" if index else "Conflict", words, style="red")
    yield from line("Change", advice(catalog, cards, clash))


def clash_words(catalog: Catalog, cards: Sequence[Card], host: Host, clash: Clash) -> Iterator[str]:
    """Yield what can't be together, a sentence each: what the PC has taken, who accepts what."""
    requirements = [card.requirements for card in cards]
    kinds = disputed(catalog, requirements, clash)
    for entry in clash.entries:
        yield f"{_entry(catalog, entry)} is taken by {host.name}"
    sides = zip(clash.devices, sides_of(requirements, clash), strict=True)
    for (card, _, id_), device in sides:
        asked = [_accepts(catalog, kind, list(accepted(device, kind))) for kind in kinds]
        yield f"{id_} of {cards[card].name} accepts only {'; '.join(filter(None, asked))}"


def _entry(catalog: Catalog, entry: Entry) -> str:
    value = entry.value
    words = value.in_words() if isinstance(value, Placed) else str(value)
    return f"{catalog.resources[entry.kind].short} {words}"


def _accepts(catalog: Catalog, kind: str, needs: Sequence[Requirement]) -> str:
    short = catalog.resources[kind].short
    lines = [str(n) for need in needs if isinstance(need, LineRequirement) for n in need.lines]
    if lines:
        return f"{short} {one_of(lines)}"
    words = []
    for need in needs:
        assert not isinstance(need, LineRequirement)
        first, bases = Placed(need.low, need.length, need.bits), need.bases
        words.append(
            f"{first.in_words()}, or up to {address(bases[-1])} every {address(bases.step)}"
            if len(bases) > 1
            else first.in_words()
        )
    return f"{short} {' and '.join(words)}" if words else ""


def advice(catalog: Catalog, cards: Sequence[Card], clash: Clash) -> str:
    """Return what to change, so that what can't be together can."""
    files = dict.fromkeys(cards[card].name for card, _, _ in clash.devices)
    ids = one_of(list(dict.fromkeys(id_ for _, _, id_ in clash.devices)))
    kinds = disputed(catalog, [card.requirements for card in cards], clash)
    other = one_of([catalog.resources[kind].title for kind in kinds])
    words = f"offer {ids} another {other}, or take it out, in {one_of(list(files))}"
    return words + ("; or free what the PC has taken" if clash.entries else "")
