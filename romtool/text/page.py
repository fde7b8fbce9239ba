"""Lines for an 80-column terminal: a column of labels, and words wrapped beside it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

import click

from romtool.text.problems import visible

WIDTH = 80
LABEL = 12
KEPT = "\u00a0"
"""A space at which `line` never breaks: what stands around it stays together."""

SETTING = 26
"""The column of values after longer labels, such as those of settings."""


def line(
    label: str, words: str, *, indent: int = 0, style: str | None = None, column: int = LABEL
) -> Iterator[str]:
    """Yield `label  words`, the words from `column` on and wrapped at the right edge.

    `style` is the colour of the label.
    """
    column = max(column, indent + len(label) + 2)
    wrapped = textwrap.wrap(words, WIDTH - column, break_on_hyphens=False) or [""]
    wrapped = [one.replace(KEPT, " ") for one in wrapped]
    head = " " * indent + label
    top = not indent and not head.startswith(" ")
    shown = click.style(head, fg=style, bold=True) if style or top else head
    yield (shown + " " * (column - len(head)) + wrapped[0]).rstrip()
    for rest in wrapped[1:]:
        yield " " * column + rest


def title(words: str, beside: str = "") -> Iterator[str]:
    """Yield a heading, such as the name of a file, with something beside it at its right."""
    words = visible(words)
    gap = max(2, WIDTH - len(words) - len(beside))
    yield click.style(words, bold=True) + (" " * gap + beside if beside else "")


SEVERITY_STYLES = {"error": "red", "warning": "yellow", "note": "cyan"}
