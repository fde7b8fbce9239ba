"""Faults with a path into a TOML text get line and column."""

from __future__ import annotations

from romtool.errors import Problem
from romtool.toml.places import place_of


def located(problem: Problem, text: str) -> Problem:
    """Return the fault with line and column, where it has a path into this TOML text."""
    if problem.path is None or problem.line is not None:
        return problem
    place = place_of(text, problem.path, key=problem.on_key)
    return problem._replace(line=place.line, column=place.column)
