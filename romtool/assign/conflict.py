"""What stands in the way: devices and entries of the host of which none can be left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pysat.solvers import Solver

from romtool.assign.best import SOLVER
from romtool.assign.host import Entry
from romtool.assign.model import Model


@dataclass(frozen=True)
class Conflict:
    """Devices (by their place among all) and entries of the host that can't be together."""

    devices: tuple[int, ...]
    entries: tuple[Entry, ...]


def find_conflict(model: Model) -> Conflict:
    """Return what can't be together, and could if any one of it were left out.

    The model's host is open to question. Entries of the host are left out first, then devices from
    the last one on; what nothing can do without stays.
    """
    with Solver(name=SOLVER, bootstrap_with=model.clauses.all) as solver:
        order = [*model.kept.values(), *reversed(model.present)]
        needed = _core(solver, order)
        for literal in list(needed):
            if literal in needed:
                rest = [other for other in needed if other != literal]
                needed = _core(solver, rest) or needed
    kept = set(needed)
    return Conflict(
        tuple(d for d, literal in enumerate(model.present) if literal in kept),
        tuple(entry for entry, literal in model.kept.items() if literal in kept),
    )


def _core(solver: Solver, assumed: Sequence[int]) -> list[int]:
    """Return those of the assumed that can't hold together, in their order; none if they can."""
    if solver.solve(assumptions=assumed):
        return []
    core = set(solver.get_core() or ())
    return [literal for literal in assumed if literal in core]
