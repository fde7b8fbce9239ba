"""What stands in the way: devices and entries of the host of which none can be left out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from pysat.solvers import Solver

from romtool.assign.answer import Conflict, Side
from romtool.assign.best import SOLVER, possible
from romtool.assign.candidates import complete_candidates
from romtool.assign.counting import bounded_model
from romtool.assign.host import Entry
from romtool.assign.model import Model
from romtool.assign.variables import DeviceVariables, Variable
from romtool.requirements.model import (
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.schema.catalog import Catalog


def find_conflict(
    catalog: Catalog, devices: Sequence[DeviceVariables], entries: Sequence[Entry]
) -> Conflict:
    """Return what can't be together, and could if any one of it were left out.

    Entries of the host are left out first, then devices from the last one on; what nothing can do
    without stays.
    """
    values = complete_candidates(catalog.bus, devices, entries)
    model = bounded_model(catalog, devices, values, entries, open_host=True)
    needed = set(_least(model))
    places = [place for place, literal in enumerate(model.present) if literal in needed]
    kept = tuple(entry for entry, literal in model.kept.items() if literal in needed)
    kinds = _disputed(catalog, [devices[place] for place in places], kept)
    sides = (_side(devices[place], kinds) for place in places)
    return Conflict(tuple(sides), kept, kinds)


def _least(model: Model) -> list[int]:
    """Return literals that can't hold together, of which none can be left out."""
    with Solver(name=SOLVER, bootstrap_with=model.clauses.all) as solver:
        needed = _core(solver, [*model.kept.values(), *reversed(model.present)])
        for literal in list(needed):
            if literal in needed:
                rest = [other for other in needed if other != literal]
                needed = _core(solver, rest) or needed
    return needed


def _core(solver: Solver, assumed: Sequence[int]) -> list[int]:
    """Return those of the assumed that can't hold together, in their order; none if they can."""
    if solver.solve(assumptions=assumed):
        return []
    core = set(solver.get_core() or ())
    return [literal for literal in assumed if literal in core]


def _disputed(
    catalog: Catalog, sides: Sequence[DeviceVariables], entries: Sequence[Entry]
) -> tuple[str, ...]:
    """Return the resources without which there would be no conflict; all, if none alone is it."""
    kinds = tuple(dict.fromkeys(item.need.kind for side in sides for item in side.every()))

    def is_it(kind: str) -> bool:
        lighter = [_without(side, kind, place) for place, side in enumerate(sides)]
        values = complete_candidates(catalog.bus, lighter, entries)
        return possible(bounded_model(catalog, lighter, values, entries))

    return tuple(filter(is_it, kinds)) or kinds


def _without(device: DeviceVariables, kind: str, place: int) -> DeviceVariables:
    """Return a device, at a place of its own, that asks for nothing of one kind."""

    def left(items: Sequence[Variable | None]) -> tuple[Variable | None, ...]:
        return tuple(
            None if item is None or item.need.kind == kind else replace(item, device=place)
            for item in items
        )

    own = tuple(map(left, device.own))
    return replace(device, before=left(device.before), own=own, after=left(device.after))


def _side(device: DeviceVariables, kinds: Sequence[str]) -> Side:
    requirements = device.requirements
    accepts = {kind: tuple(_accepted(requirements, kind)) for kind in kinds}
    return Side(device.card, requirements.number, requirements.id, accepts)


def _accepted(device: DeviceRequirements, kind: str) -> Iterator[Requirement]:
    """Yield what a device accepts of a resource: lines of all its choices together, ranges."""
    every = [need for alternative in device.alternatives for need in alternative.needs]
    needs = [need for need in every if need.kind == kind and not need.is_empty]
    of_lines = (need.lines for need in needs if isinstance(need, LineRequirement))
    lines = sorted({line for some in of_lines for line in some})
    if lines:
        yield LineRequirement(kind, tuple(lines))
    yield from dict.fromkeys(need for need in needs if isinstance(need, RangeRequirement))
