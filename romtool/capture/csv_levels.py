"""Levels in a CSV: a row of names, a column of times, a column a channel."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator

from romtool.capture.levels import LEVELS, Change, Lines, Recording
from romtool.errors import InputError, Problem

SECONDS = {
    "s": 1.0,
    "sec": 1.0,
    "seconds": 1.0,
    "ms": 1e-3,
    "us": 1e-6,
    "µs": 1e-6,  # the micro sign
    "μs": 1e-6,  # the Greek letter
    "ns": 1e-9,
    "ps": 1e-12,
}
"""Units that a column of times can name."""

SEPARATORS = "\t;,"
MOST_CHANNELS = 4096

_TIME = re.compile(r"\s*time\s*(?:[\[(]\s*(?P<unit>[^\])]*?)\s*[\])])?\s*\Z", re.IGNORECASE)
_ROW = "write a time, and 0 or 1 for each channel"


def has_times(first: str) -> bool:
    """Whether a first row names a column of times."""
    return any(_TIME.match(name) for name in _names(first)[1])


def read_csv(lines: Lines) -> Recording:
    """Return the recording of a CSV; raises InputError, some of it while the changes are read."""
    numbered = enumerate(lines, 1)
    number, first = next(((n, line) for n, line in numbered if line.strip()), (1, ""))
    separator, names = _names(first)
    column = next((n for n, name in enumerate(names) if _TIME.match(name)), None)
    if column is None:
        raise _problem("no column is named time", "name the columns in the first row", number)
    if len(names) > MOST_CHANNELS:
        raise _problem(
            f"{len(names)} columns are too many", "export the EEPROM's lines only", number
        )
    found = _TIME.match(names[column])
    unit = (found["unit"] if found else None) or "s"
    if unit.lower() not in SECONDS:
        hint = f"known are {', '.join(SECONDS)}"
        raise _problem(f"times in {unit[:20]} are not known", hint, number)
    channels = tuple(name.strip() for n, name in enumerate(names) if n != column)
    recording = Recording(channels, SECONDS[unit.lower()])
    recording.changes = _changes(recording, separator, column, numbered)
    return recording


def _names(first: str) -> tuple[str, list[str]]:
    """Return the separator of a first row, and its names."""
    text = first.removeprefix("\ufeff").rstrip("\r\n")
    separator = max(SEPARATORS, key=text.count)
    return separator, next(csv.reader([text], delimiter=separator), [])


def _problem(message: str, hint: str, number: int) -> InputError:
    return InputError([Problem(message, hint, line=number)])


def _changes(
    recording: Recording, separator: str, column: int, numbered: Iterator[tuple[int, str]]
) -> Iterator[Change]:
    """Yield the changes of the rows; most rows of a sampled capture repeat the one before."""
    size = len(recording.channels)
    levels = [-1] * size
    before = None
    time = float("-inf")
    for number, line in numbered:
        head, _, rest = line.partition(separator)
        if column == 0 and rest == before and head:
            cells, later = [], _time(head, separator, number)
        else:
            cells = [cell.strip().strip('"').strip() for cell in line.split(separator)]
            if not any(cells):
                continue
            if len(cells) != size + 1 or (not cells[-1] and not line.endswith("\n")):
                if not line.endswith("\n"):
                    recording.cut = True
                    return
                raise _problem(f"{len(cells)} cells, not {size + 1}", _ROW, number)
            later = _time(cells.pop(column), separator, number)
            before = rest
        if later < time:
            raise _problem(f"time runs back from {time:g} to {later:g}", _ROW, number)
        recording.end = time = later
        for channel, cell in enumerate(cells):
            level = LEVELS.get(cell, -1)
            if level < 0:
                raise _problem(f'"{cell[:20]}" is no level', _ROW, number)
            if levels[channel] != level:
                levels[channel] = level
                yield later, channel, level


def _time(cell: str, separator: str, number: int) -> float:
    text = cell.strip().strip('"').strip()
    if separator != ",":
        text = text.replace(",", ".")  # where the comma is the decimal sign
    try:
        found = float(text)
    except ValueError:
        found = float("nan")
    if not math.isfinite(found):
        raise _problem(f'"{cell.strip()[:20]}" is no time', _ROW, number)
    return found
