"""What each device can be given, at best; or what stands in the way."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from romtool.assign.answer import Assignment, Given, Value
from romtool.assign.best import Chosen, WorthTrying, best_choices, possible, smallest_values
from romtool.assign.candidates import complete_candidates, fast_candidates
from romtool.assign.conflict import find_conflict
from romtool.assign.counting import bounded_model
from romtool.assign.host import EMPTY_PC, Entry, Host
from romtool.assign.variables import (
    DeviceVariables,
    Variable,
    given_value,
    settled,
    variables_of,
)
from romtool.requirements.model import CardRequirements
from romtool.schema.catalog import Catalog

WAYS = (fast_candidates, complete_candidates)
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
    devices, entries = variables_of(catalog, cards, kept), tuple(host.entries())
    return _served(catalog, devices, entries) or _in_conflict(catalog, devices, entries)


def _served(
    catalog: Catalog, devices: Sequence[DeviceVariables], entries: Sequence[Entry]
) -> Assignment | None:
    """Return the best set with all devices in it; None where there is none.

    Wide ranges are overlooked at first: the best choices without them are the best with them, if
    these find their places then.
    """
    for count, worth_trying in enumerate(WAYS, 1):
        values = worth_trying(catalog.bus, devices, entries)
        model = bounded_model(catalog, devices, values, entries)
        if not possible(model):
            return None
        chosen = best_choices(model, all_present=True)
        given = _given(catalog, devices, chosen, entries, WAYS[:count])
        if given is not None:
            alternatives = zip(devices, chosen, strict=True)
            score = sum(
                device.requirements.alternatives[a].rank
                for device, a in alternatives
                if a is not None
            )
            return Assignment(True, score, given)
    return None


def _in_conflict(
    catalog: Catalog, devices: Sequence[DeviceVariables], entries: Sequence[Entry]
) -> Assignment:
    """Return what stands in the way, and the best set with the fewest devices left out."""
    conflict = find_conflict(catalog, devices, entries)
    values = complete_candidates(catalog.bus, devices, entries)
    chosen = best_choices(bounded_model(catalog, devices, values, entries), all_present=False)
    given = _given(catalog, devices, chosen, entries, WAYS)
    assert given is not None
    left_out = tuple(
        (device.card, device.requirements.number)
        for device, alternative in zip(devices, chosen, strict=True)
        if alternative is None
    )
    return Assignment(False, None, given, conflict, left_out)


def _given(
    catalog: Catalog,
    devices: Sequence[DeviceVariables],
    chosen: Chosen,
    entries: Sequence[Entry],
    ways: Sequence[WorthTrying],
) -> tuple[Given, ...] | None:
    """Return what the devices get that are not left out; None where their ranges don't fit."""
    served = [(device, a) for device, a in zip(devices, chosen, strict=True) if a is not None]
    single = [settled(device, a, place) for place, (device, a) in enumerate(served)]
    values = smallest_values(catalog, single, entries, ways)
    if values is None:
        return None
    return tuple(
        _device(catalog, one, a, values) for one, (_, a) in zip(single, served, strict=True)
    )


def _device(
    catalog: Catalog, device: DeviceVariables, alternative: int, values: dict[Variable, int]
) -> Given:
    """Return what a device gets with one alternative, from the values of its items."""
    requirements = device.requirements
    found: dict[str, list[Value]] = {kind: [] for kind in catalog.resources}
    for need, item in zip(requirements.alternatives[alternative].needs, device.before, strict=True):
        found[need.kind].append(None if item is None else given_value(item, values[item]))
    return Given(
        card=device.card,
        device=requirements.id,
        number=requirements.number,
        choice=requirements.alternatives[alternative].number,
        values={kind: tuple(of_kind) for kind, of_kind in found.items()},
    )
