"""The steps of a power-up, a line a step."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.rehearse.steps import Step
from romtool.text.page import line


def trace_lines(steps: tuple[Step, ...]) -> Iterator[str]:
    """Yield the steps, a line each where that is wide enough."""
    for step in steps:
        yield from line(step.label, step.text, indent=2, column=15)
