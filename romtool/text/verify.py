"""A readback that doesn't match, for people: what it looks like, and which fields differ."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.readback.diagnosis import Diagnosis
from romtool.schema.numbers import clip
from romtool.text.diff import change_words
from romtool.text.page import line, title, width
from romtool.text.problems import visible
from romtool.verify import Difference, together

MOST_ROWS = 40
"""The most runs of differing bytes that are listed for people; JSON has all of them."""
FEW_ROWS = 8
"""The same where one fault explains them all."""
MOST_BYTES = 4
"""The most bytes of a run that are shown."""
MOST_MISSING = 10
"""The most cards without a readback that are named."""
LEAST_WORDS = 20
"""Characters of a line that are left for what is found, however long the file's name."""
NAMES = ("expected", "found")


def verify_lines(
    found: Sequence[Difference],
    size: int,
    like: Diagnosis | None,
    options: str = "",
    name: str = "no match",
) -> Iterator[str]:
    """Yield what a person reads of a readback that differs from an image of `size` bytes.

    `options`: what else helps besides `recover`; `name`: what stands above.
    """
    yield from title(name, _counted(found, size))
    if like is not None:
        words = f"{like.title}: try recover{options}" if like.is_undoable else like.title
        yield from line("looks like", words, indent=2, column=14)
        for fault in like.faults:
            yield from line("bench", fault.check, indent=2, column=14)
    changes = like.changes if like is not None else ()
    for change in changes[:MOST_ROWS]:
        yield from line("differs", f"{change.where}: {change_words(change)}", indent=2, column=14)
    if len(changes) > MOST_ROWS:
        yield f"  … and {len(changes) - MOST_ROWS} more"
    yield from _rows(together(found), MOST_ROWS if like is None else FEW_ROWS)


def series_line(name: str, serial: int | None, words: str) -> str:
    """Return the one line of a readback of a series; `serial`: the card that it is of."""
    start = f"{visible(name)}: " + ("" if serial is None else f"card {serial}, ")
    return start + clip(words, max(LEAST_WORDS, width() - len(start)))


def stranger_words(like: Diagnosis | None) -> str:
    """Return what a readback is that is of no card of the series."""
    if like is None:
        return "no card of the series has such an image"
    return like.title if like.serial is None else f"card {like.serial}, none of this series"


def series_notes(serials: Sequence[int], marks: Sequence[tuple[str, int]]) -> Iterator[str]:
    """Yield which cards were read back twice, and which not at all."""
    files: dict[int, list[str]] = {}
    for name, serial in marks:
        files.setdefault(serial, []).append(visible(name))
    for serial, names in sorted(files.items()):
        if len(names) > 1:
            yield from line("", f"card {serial} more than once: {', '.join(names)}", column=2)
    missing = [str(serial) for serial in serials if serial not in files]
    if missing and files:
        words = ", ".join(missing[:MOST_MISSING])
        more = len(missing) - MOST_MISSING
        words += f" and {more} more" if more > 0 else ""
        yield from line("", f"no readback of card {words}", column=2)


def _rows(runs: Sequence[Sequence[Difference]], most: int) -> Iterator[str]:
    rows = [_row(run) for run in runs[:most]]
    wide = [max([len(name), *(len(row[n]) for row in rows)]) for n, name in enumerate(NAMES)]
    head = "  ".join(name.ljust(width) for name, width in zip(NAMES, wide, strict=True))
    yield f"  at    {head}  field"
    for run, (want, have, field) in zip(runs, rows, strict=False):
        label = f"  {run[0].offset:04X}  {want:{wide[0]}}  {have:{wide[1]}}"
        yield from line(label, field, column=len(label) + 2)
    if len(runs) > most:
        left = sum(map(len, runs[most:]))
        yield f"  … and {len(runs) - most} more, of {left} bytes"


def _counted(found: Sequence[Difference], size: int) -> str:
    """Return how many bytes differ, are missing, or are too many."""
    missing = sum(one.found is None for one in found)
    extra = sum(one.expected is None for one in found)
    differ = len(found) - missing - extra
    words = [f"{differ} of {size} bytes differ"] if differ else []
    words += [f"{missing} of {size} bytes are missing"] if missing else []
    words += [f"{extra} bytes are too many"] if extra else []
    return ", ".join(words)


def _row(run: Sequence[Difference]) -> tuple[str, str, str]:
    """Return what was expected, what was found, and in which field."""
    field = run[0].field
    if len(run) > MOST_BYTES:
        field += f", {len(run)} bytes"
    return _hex([one.expected for one in run]), _hex([one.found for one in run]), field


def _hex(values: Sequence[int | None]) -> str:
    """Return the first bytes of a run; `--` where there are none."""
    known = [f"{value:02X}" for value in values if value is not None]
    if len(known) > MOST_BYTES:
        known[MOST_BYTES - 1 :] = ["…"]
    return " ".join(known) or "--"
