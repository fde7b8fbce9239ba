"""Causes of a symptom for people: found, open, ruled out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.diagnose.diagnose import JudgedCause
from romtool.schema.bench import Symptom
from romtool.text.page import SEVERITY_STYLES, line, title

HEADINGS = {
    "found": ("Found", "error", "do"),
    "open": ("Open", "warning", "next"),
    "ruled-out": ("Ruled out", "note", ""),
}
"""For each state: what stands above, the colour of its causes, and before what to do."""

COLUMN = 9


def diagnosis_lines(symptom: Symptom, found: Sequence[JudgedCause]) -> Iterator[str]:
    """Yield what a person reads of a diagnosis."""
    count = sum(one.state == "found" for one in found)
    causes = "1 cause" if count == 1 else f"{count} causes"
    yield from title(symptom.title, f"{causes} found" if count else "no cause found")
    for state, (heading, severity, label) in HEADINGS.items():
        own = [one for one in found if one.state == state]
        if own:
            yield ""
            yield from title(heading)
        for one in own:
            yield from line(
                "-", one.cause.title, indent=2, style=SEVERITY_STYLES[severity], column=4
            )
            yield from line("why", one.because, indent=4, column=COLUMN + 1)
            if one.next is not None:
                yield from line(label, one.next, indent=4, column=COLUMN + 1)
