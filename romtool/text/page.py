"""Lines as wide as the terminal: a column of labels, and words wrapped beside it."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from typing import Any

from romtool.text.problems import visible

NARROWEST, USUAL, WIDEST = 60, 80, 120
"""Columns of a text: at least, where there is no terminal, at most."""

LABEL = 12
SETTING = 26
"""The column of values after longer labels, such as those of settings."""

_LEAST = 20
"""Columns that words need beside a label; with fewer they go below it."""

_NAMED_NUMBER = (
    r"\b(I/O|IRQ|DMA|CSN|PnP|[A-Z]|card|choice|device|line|memory|pin|serial) (?=[0-9])"
    r"|(?<![\w.])([0-9]+) (?=(?:bits?|bytes?|commands?|KiB|ms|ports?)\b)"
)


def is_terminal() -> bool:
    """Whether what is printed goes to a terminal."""
    return sys.stdout is not None and sys.stdout.isatty()


def width() -> int:
    """Return how many columns a text has: those of the terminal, from 60 to 120; else 80."""
    if not is_terminal():
        return USUAL
    import shutil  # loads much, and most output goes elsewhere

    return min(max(shutil.get_terminal_size((USUAL, 0)).columns, NARROWEST), WIDEST)


def wrapped(words: str, columns: int, later: str = "") -> list[str]:
    """Return words in lines of `columns` columns, the second and further ones after `later`.

    No word is broken, and a number stays with its name or unit: `I/O 220h`, `16 ports`.
    """
    if len(words) <= columns and words.isprintable() and words.rstrip():
        return [words.rstrip()]
    import textwrap  # which few calls need

    joined = re.sub(_NAMED_NUMBER, "\\1\\2\xa0", words)
    found = textwrap.wrap(
        joined, columns, subsequent_indent=later, break_on_hyphens=False, break_long_words=False
    )
    return [text.replace("\xa0", " ") for text in found] or [""]


def styled(text: str, **style: Any) -> str:
    """Return a text in a style of click's, which is loaded here: a page needs words without it."""
    import click

    return click.style(text, **style)


def line(
    label: str, words: str, *, indent: int = 0, style: str | None = None, column: int = LABEL
) -> Iterator[str]:
    """Yield `label  words`, the words from `column` on and wrapped at the right edge.

    `style` is the colour of the label.
    """
    column = max(column, indent + len(label) + 2)
    head = " " * indent + label
    top = not indent and not head.startswith(" ")
    shown = styled(head, fg=style, bold=True) if style or top else head
    if width() - column < _LEAST:
        yield shown
        shown, head, column = "", "", LABEL
    first, *rest = wrapped(words, width() - column)
    yield (shown + " " * (column - len(head)) + first).rstrip()
    for text in rest:
        yield " " * column + text


def title(words: str, beside: str = "") -> Iterator[str]:
    """Yield a heading, such as the name of a file, with something beside it at its right.

    Where a terminal has no room for both, that goes below; elsewhere a heading is one line.
    """
    words = visible(words)
    gap = width() - len(words) - len(beside)
    if beside and gap < 2 and is_terminal():
        yield styled(words, bold=True)
        yield from ("  " + text for text in wrapped(beside, width() - 2))
    else:
        yield styled(words, bold=True) + (" " * max(2, gap) + beside if beside else "")


SEVERITY_STYLES = {"error": "red", "warning": "yellow", "note": "cyan"}
