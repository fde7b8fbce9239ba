"""A survey for people: one line a dump, then what belongs together."""

from __future__ import annotations

import csv
import io
import itertools
import os
from collections.abc import Iterator, Sequence

from romtool.schema.image_layouts import LEAD
from romtool.schema.numbers import clip
from romtool.survey.dump import Dump
from romtool.survey.groups import BYTES, CARD, FILL, SERIAL, Difference, Group
from romtool.text.page import line, title, width
from romtool.text.problems import visible

HEADINGS = {
    BYTES: "The same bytes",
    FILL: "The same but for the fill",
    SERIAL: "The same but for the serial number",
    CARD: "The same card, configured differently",
}
COLUMNS = ("file", "layout", "card", "serial", "devices", "")
SHORTEST_NAME, LONGEST_NAME = 8, 30
"""Characters of a file's name, as there is room; of a longer one the end is shown."""
LONGEST_SERIAL = 5
"""Digits of a serial number; a longer one is shown in hex."""
MOST_CHANGES = 4
"""At most this many differences of a dump are shown; --json has all."""
LONGEST = 60
"""Characters of one side of a difference that are shown."""


def survey_lines(dumps: Sequence[Dump], groups: Sequence[Group]) -> Iterator[str]:
    """Yield what a person reads of a pile of dumps."""
    folder = os.path.dirname(dumps[0].file) if len(dumps) == 1 else _folder(dumps)
    beside = [COLUMNS[1:], *map(_row, dumps)]
    left = width() - sum(2 + max(map(len, column)) for column in zip(*beside, strict=True))
    longest = min(LONGEST_NAME, max(SHORTEST_NAME, left))
    names = {dump.file: _name(dump.file, folder, longest) for dump in dumps}
    files = (COLUMNS[0], *(names[dump.file] for dump in dumps))
    rows = [(file, *row) for file, row in zip(files, beside, strict=True)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(COLUMNS) - 1)]
    yield from title(f"{len(dumps)} dumps" if len(dumps) > 1 else "1 dump", visible(folder))
    for row in rows:
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=False)]
        yield "  ".join([*cells, row[-1]]).rstrip()
    for group in groups:
        yield ""
        of = group.dumps[0].card or ""
        yield from title(HEADINGS[group.same], f"{of + ', ' if of else ''}{len(group.dumps)} dumps")
        yield from _group_lines(group, names)


def _folder(dumps: Sequence[Dump]) -> str:
    """Return the folder that all the files are in; empty where they are in several."""
    folders = {os.path.dirname(dump.file) for dump in dumps}
    return folders.pop() if len(folders) == 1 else ""


def _name(file: str, folder: str, longest: int) -> str:
    name = visible(file[len(folder) :].lstrip("/") if folder else file)
    return name if len(name) <= longest else "…" + name[1 - longest :]


def _row(dump: Dump) -> tuple[str, ...]:
    """Return the cells beside a dump's name."""
    count = f"{len(dump.devices)}" if dump.is_read else "-"
    layout = dump.layout or (LEAD if dump.is_read else "-")
    return layout, dump.id or "-", serial_words(dump), count, verdict(dump)


def serial_words(dump: Dump) -> str:
    """Return a serial number in words; hex where it is long."""
    if dump.serial is None:
        return "none" if dump.card else "-"
    words = str(dump.serial)
    return words if len(words) <= LONGEST_SERIAL else f"{dump.serial:08X}h"


def verdict(dump: Dump) -> str:
    """Return what the rules say of a dump, in a few words."""
    for count, word in ((dump.errors, "error"), (dump.warnings, "warning")):
        if count:
            return f"{count} {word}{'' if count == 1 else 's'}"
    return "no errors"


def _group_lines(group: Group, names: dict[str, str]) -> Iterator[str]:
    if group.same == SERIAL:
        words = [f"{names[dump.file]} (serial {serial_words(dump)})" for dump in group.dumps]
    else:
        words = [names[dump.file] for dump in group.dumps]
    yield from line("", ", ".join(words), column=2)
    if group.same in (FILL, CARD):
        first = names[group.dumps[0].file]
        for file, told in itertools.groupby(group.differences, key=lambda one: one.file):
            yield from line(f"  {names[file]}", f"against {first}: {_told(list(told))}", column=4)


def _told(differences: Sequence[Difference]) -> str:
    words = [f"{one.where}: {_change(one)}" for one in differences[:MOST_CHANGES]]
    more = len(differences) - MOST_CHANGES
    return "; ".join(words) + (f"; and {more} more" if more > 0 else "")


def _change(one: Difference) -> str:
    if one.a is None or one.b is None:
        return f"{'added' if one.a is None else 'removed'}: {clip(str(one.b or one.a), LONGEST)}"
    return f"{clip(str(one.a), LONGEST)} -> {clip(str(one.b)[len(one.lead) :], LONGEST)}"


def survey_csv(dumps: Sequence[Dump], groups: Sequence[Group]) -> str:
    """Return the survey as a table, with the number of each dump's group of each kind."""
    numbers: dict[tuple[str, str], int] = {}
    for number, group in enumerate(groups, 1):
        numbers |= {(dump.file, group.same): number for dump in group.dumps}
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    columns = ("file", "layout", "id", "serial", "devices", "errors", "sha256")
    table.writerow([*columns, *(f"same {same}" for same in HEADINGS)])
    for dump in dumps:
        cells = dump.as_json() | {"devices": " ".join(dump.devices)}
        row = ["" if cells[name] is None else cells[name] for name in columns]
        table.writerow([*row, *(numbers.get((dump.file, same), "") for same in HEADINGS)])
    return out.getvalue()
