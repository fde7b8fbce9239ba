"""The best answer to the clauses of an assignment: the lowest cost, then the first choices."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pysat.examples.rc2 import RC2Stratified
from pysat.formula import WCNF
from pysat.solvers import Solver

from romtool.assign.clauses import Clauses
from romtool.assign.model import Model
from romtool.assign.variables import DeviceVariables

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
