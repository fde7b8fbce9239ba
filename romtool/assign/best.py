"""The best answer to the clauses: the lowest cost, the first choices, then the smallest values."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from pysat.examples.rc2 import RC2Stratified
from pysat.formula import WCNF
from pysat.solvers import Solver

from romtool.assign.candidates import ends, first_from
from romtool.assign.counting import bounded_model
from romtool.assign.host import Entry, taken_with
from romtool.assign.model import Clauses, Model, hits
from romtool.assign.variables import DeviceVariables, Domains, Variable, given_value, placed
from romtool.requirements.collide import Placed, ports_collide
from romtool.requirements.model import LineRequirement, Requirement
from romtool.schema.catalog import Catalog

SOLVER = "minisat22"
"""The fastest of those at hand on packed problems (40 devices, more than there is room for)."""

Chosen = list[int | None]
"""Of each device the place of its alternative; None: it is left out."""


def possible(model: Model) -> bool:
    """Whether all devices can be served at once."""
    with Solver(name=SOLVER, bootstrap_with=model.clauses.all) as solver:
        return bool(solver.solve(assumptions=model.present))


def best_choices(model: Model, *, all_present: bool) -> Chosen:
    """Return the best choices: the fewest devices left out, the lowest score, the first choices.

    A device that is left out counts as one with a choice after its last. `all_present`: none may
    be left out, and it is known that this is possible.
    """
    clauses, devices = model.clauses, model.devices
    if all_present:
        for literal in model.present:
            clauses.add(literal)
    else:
        _limit(clauses, [{-literal: 1} for literal in model.present])
    _limit(clauses, [_ranks(device, model.chosen[place]) for place, device in enumerate(devices)])
    return _first(model)


def _ranks(device: DeviceVariables, chosen: Sequence[int]) -> dict[int, int]:
    alternatives = device.requirements.alternatives
    return {literal: alternatives[index].rank for index, literal in enumerate(chosen)}


def _limit(clauses: Clauses, costs: Sequence[Mapping[int, int]]) -> None:
    """Limit costs to the lowest possible: by literal, at most one of each mapping holds."""
    formula = WCNF()
    formula.extend(clauses.all)
    for group in costs:
        for literal, cost in group.items():
            if cost:
                formula.append([-literal], weight=cost)
    lowest = 0
    if formula.soft:
        with RC2Stratified(formula, solver=SOLVER, exhaust=True, trim=5) as solver:
            solver.compute()
            lowest = solver.cost
    groups = []
    for group in costs:
        by_weight: dict[int, list[int]] = {}
        for literal, cost in group.items():
            by_weight.setdefault(cost, []).append(literal)
        groups.append(by_weight)
    clauses.at_most(groups, lowest)


def _first(model: Model) -> Chosen:
    """Return the first choices that the clauses leave, device by device."""
    settled: list[int] = []
    found: Chosen = []
    with Solver(name=SOLVER, bootstrap_with=model.clauses.all) as solver:
        solver.solve()
        answer = set(solver.get_model())
        for place, chosen in enumerate(model.chosen):
            now = next((a for a, literal in enumerate(chosen) if literal in answer), None)
            for better in range(len(chosen) if now is None else now):
                if solver.solve(assumptions=[*settled, chosen[better]]):
                    answer, now = set(solver.get_model()), better
                    break
            settled.append(-model.present[place] if now is None else chosen[now])
            found.append(now)
    return found


Given = dict[Variable, int]
WorthTrying = Callable[..., Domains]
"""One of the ways of `candidates` to tell which values are worth trying."""


def smallest_values(
    catalog: Catalog,
    devices: Sequence[DeviceVariables],
    entries: Sequence[Entry],
    ways: Sequence[WorthTrying],
) -> Given | None:
    """Return the smallest values in the order of the items; None where none of the ways finds any.

    Each of the devices has one alternative here. Kinds of resources don't meddle with each other,
    so each is settled by itself. To give every item the smallest value that is left is right
    wherever it works out; only where it does not, a solver looks further.
    """
    found: Given = {}
    items = [item for device in devices for item in device.in_effect(0)]
    for kind in dict.fromkeys(item.need.kind for item in items):
        contenders = [item for item in items if item.need.kind == kind]
        taken = [entry for entry in entries if entry.kind == kind]
        given = _one_by_one(catalog, contenders, taken)
        for way in ways:
            given = given or _settled(catalog, devices, contenders, taken, way)
        if given is None:
            return None
        found |= given
    return found


def _one_by_one(
    catalog: Catalog, items: Sequence[Variable], taken: Sequence[Entry]
) -> Given | None:
    """Return for each item the smallest value that is left; None where one finds none."""
    given: Given = {}
    now = list(taken)
    for item in items:
        value = _smallest_left(catalog, item, now)
        if value is None:
            return None
        given[item] = value
        now += taken_with(catalog, item.need.kind, given_value(item, value))
    return given


def _smallest_left(catalog: Catalog, item: Variable, taken: Sequence[Entry]) -> int | None:
    values = item.values
    if isinstance(item.need, LineRequirement):
        free = (v for v in values if not any(hits(catalog, entry, item, v) for entry in taken))
        return next(free, None)
    base = first_from(values, 0)
    while base is not None:
        here = placed(item, base)
        blocks = (e.value for e in taken if isinstance(e.value, Placed))
        block = next((b for b in blocks if ports_collide(catalog.bus, here, b)), None)
        if block is None:
            return base
        stop = (end for end in ends(catalog.bus, item, block) if end > base)
        end = next(stop, None)
        base = None if end is None else first_from(values, end)
    return None


def _settled(
    catalog: Catalog,
    devices: Sequence[DeviceVariables],
    items: Sequence[Variable],
    taken: Sequence[Entry],
    worth_trying: WorthTrying,
) -> Given | None:
    """Return the smallest values by trying, for each item in turn, whether the rest still can be.

    Items that are not worth trying need no thought before their turn; then they are kept in mind.
    Values that are the smallest although some items were overlooked are so with them too, where
    these find their values in the end.
    """
    given: Given = {}
    lowest: dict[Requirement, int] = {}
    now = list(taken)
    while len(given) < len(items):
        rest = items[len(given) :]
        left = [_only(device, set(rest)) for device in devices]
        values = worth_trying(catalog.bus, left, now, keep=rest[0])
        model = bounded_model(catalog, left, values, now)
        with Solver(name=SOLVER, bootstrap_with=model.clauses.all) as solver:
            if not solver.solve(assumptions=model.present):
                return None
            held = list(model.present)
            for item in itertools.takewhile(model.given.__contains__, rest):
                value = _smallest(solver, model.given[item], held, lowest.get(item.need, 0))
                held.append(model.given[item][value])
                given[item] = lowest[item.need] = value
                now += taken_with(catalog, item.need.kind, given_value(item, value))
    return given


def _smallest(solver: Solver, given: Mapping[int, int], held: Sequence[int], lowest: int) -> int:
    """Return the smallest of an item's values that can be had while what is held so far holds.

    `lowest`: the value of an earlier item that asks for the same, which would have been given a
    smaller one if that could be had: the two could change places.
    """
    for value, literal in given.items():
        if value >= lowest and solver.solve(assumptions=[*held, literal]):
            return value
    raise AssertionError("what could be served can't be served any more")


def _only(device: DeviceVariables, items: set[Variable]) -> DeviceVariables:
    """Return a device with no more than these of its items."""
    kept = tuple(item for item in device.in_effect(0) if item in items)
    return replace(device, before=kept, own=((),), after=())
