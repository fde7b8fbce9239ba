"""What each device can be given, at best; or what stands in the way."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from romtool.assign.answer import Assignment, Clash, Given
from romtool.assign.asks import Ask, Asker, Values, askers_of, placed, settled
from romtool.assign.bases import enough_values, narrow_values
from romtool.assign.best import Chosen, best_choices, possible
from romtool.assign.conflict import Conflict, find_conflict
from romtool.assign.counting import limit_crowds
from romtool.assign.host import EMPTY_PC, Entry, Host
from romtool.assign.model import Model
from romtool.assign.values import WorthTrying, smallest_values
from romtool.requirements.collide import Placed
from romtool.requirements.model import CardRequirements
from romtool.schema.catalog import Catalog

WAYS = (narrow_values, enough_values)
"""Ways to tell which values are worth trying, the quicker first; the last one is complete."""


def assign(
    catalog: Catalog,
    cards: Sequence[CardRequirements],
    host: Host = EMPTY_PC,
    kept: Collection[int] = (),
) -> Assignment:
    """Return the best set of what PnP software can give these cards in a PC.

    The best: the lowest sum of the ranks of the chosen choices; of those the first choices, device
    by device; of those the smallest values, item by item. It is exact, and the same on every run.
    `kept`: ports that no device may be given, whatever answers at their aliases.
    """
    askers, entries = askers_of(catalog.bus, cards, kept), tuple(host.entries())
    return _served(catalog, askers, entries) or _in_conflict(catalog, askers, entries)


def _served(
    catalog: Catalog, askers: Sequence[Asker], entries: Sequence[Entry]
) -> Assignment | None:
    """Return the best set with all devices in it; None where there is none.

    Wide ranges are overlooked at first: the best choices without them are the best with them, if
    these find their places then.
    """
    for count, worth_trying in enumerate(WAYS, 1):
        values = worth_trying(catalog.bus, askers, entries)
        model = _model(catalog, askers, values, entries)
        if not possible(model):
            return None
        chosen = best_choices(model, all_present=True)
        given = _given(catalog, askers, chosen, entries, WAYS[:count])
        if given is not None:
            alternatives = zip(askers, chosen, strict=True)
            score = sum(
                asker.requirements.alternatives[a].rank
                for asker, a in alternatives
                if a is not None
            )
            return Assignment(True, score, given)
    return None


def _model(
    catalog: Catalog,
    askers: Sequence[Asker],
    values: Values,
    entries: Sequence[Entry],
    *,
    open_host: bool = False,
) -> Model:
    model = Model(catalog, askers, values, entries, open_host=open_host)
    limit_crowds(model)
    return model


def _in_conflict(catalog: Catalog, askers: Sequence[Asker], entries: Sequence[Entry]) -> Assignment:
    """Return what stands in the way, and the best set with the fewest devices left out."""
    values = enough_values(catalog.bus, askers, entries)
    conflict = find_conflict(_model(catalog, askers, values, entries, open_host=True))
    chosen = best_choices(_model(catalog, askers, values, entries), all_present=False)
    given = _given(catalog, askers, chosen, entries, WAYS)
    assert given is not None
    left_out = tuple(
        (asker.card, asker.requirements.number)
        for asker, alternative in zip(askers, chosen, strict=True)
        if alternative is None
    )
    return Assignment(False, None, given, _told(askers, conflict), left_out)


def _told(askers: Sequence[Asker], conflict: Conflict) -> Clash:
    sides = (askers[place] for place in conflict.devices)
    devices = tuple((side.card, side.requirements.number, side.requirements.id) for side in sides)
    return Clash(devices, conflict.entries)


def _given(
    catalog: Catalog,
    askers: Sequence[Asker],
    chosen: Chosen,
    entries: Sequence[Entry],
    ways: Sequence[WorthTrying],
) -> tuple[Given, ...] | None:
    """Return what the devices get that are not left out; None where their ranges don't fit."""
    served = [(asker, a) for asker, a in zip(askers, chosen, strict=True) if a is not None]
    single = [settled(asker, a, place) for place, (asker, a) in enumerate(served)]
    values = smallest_values(catalog, single, entries, ways)
    if values is None:
        return None
    return tuple(_device(one, a, values) for one, (_, a) in zip(single, served, strict=True))


def _device(asker: Asker, alternative: int, values: dict[Ask, int]) -> Given:
    requirements, needs = asker.requirements, asker.requirements.alternatives[alternative].needs
    asked = list(zip(needs, asker.before, strict=True))

    def lines(kind: str) -> tuple[int | None, ...]:
        return tuple(
            None if ask is None else values[ask] for need, ask in asked if need.kind == kind
        )

    def ranges(kind: str) -> tuple[Placed | None, ...]:
        return tuple(
            None if ask is None else placed(ask, values[ask])
            for need, ask in asked
            if need.kind == kind
        )

    return Given(
        card=asker.card,
        device=requirements.id,
        number=requirements.number,
        choice=requirements.alternatives[alternative].number,
        irq=lines("irq"),
        dma=lines("dma"),
        io=ranges("io"),
        memory=ranges("memory"),
    )
