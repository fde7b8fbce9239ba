"""A capture for people: which bus, the commands in a table, and what they mean."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

from romtool.capture.model import BusFinding, DecodedCapture
from romtool.capture.picture import Row, folded
from romtool.schema.numbers import address, hex_text
from romtool.text.page import SEVERITY_STYLES, line, title

MOST_ROWS = 40
"""At most this many rows of commands are shown; JSON has all commands."""

MOST_BYTES = 6
"""At most this many bytes of a row are shown."""

COLUMN = 12


def capture_lines(
    name: str, decoded: DecodedCapture, findings: Sequence[BusFinding]
) -> Iterator[str]:
    """Yield what a person reads of a capture."""
    yield from title(name, _seconds(decoded.end * decoded.unit))
    yield ""
    yield from line("Bus", f"{decoded.bus.title}{_clock(decoded)}")
    yield from line("  channels", f"{', '.join(_channels(decoded))}: {decoded.wiring.evidence}")
    yield ""
    yield from _commands(decoded)
    yield ""
    if not findings:
        yield from line("Findings", "no findings")
    else:
        yield from title("Findings")
    for found, following in itertools.zip_longest(findings, findings[1:]):
        at = "" if found.time is None else f" ({_time(found.time)})"
        style = SEVERITY_STYLES[found.severity]
        yield from line(found.severity, found.message + at, indent=2, style=style, column=COLUMN)
        is_last = following is None or (following.rule, following.hint) != (found.rule, found.hint)
        if found.severity != "note" and is_last:
            yield from line("", found.hint, column=COLUMN)


def _channels(decoded: DecodedCapture) -> Iterator[str]:
    """Yield the lines that have a channel, with its name where that is another."""
    for one in decoded.bus.lines:
        place = decoded.wiring.channels.get(one.name)
        if place is not None:
            name = decoded.channels[place]
            yield one.text if name == one.text else f"{one.text} = {name}"


def _clock(decoded: DecodedCapture) -> str:
    if not decoded.clock:
        return ", the clock never runs"
    hertz = 1 / (decoded.clock * decoded.unit)
    for unit, name in ((1e6, "MHz"), (1e3, "kHz"), (1, "Hz")):
        if hertz >= unit:
            return f", clock {hertz / unit:.3g} {name}"
    return f", clock {hertz:.3g} Hz"


def _commands(decoded: DecodedCapture) -> Iterator[str]:
    """Yield the table of commands; its columns are as wide as what stands in them."""
    count = len(decoded.commands)
    if not count:
        yield from line("Commands", "none")
        return
    rows = folded(decoded)
    cells = [_cells(row) for row in itertools.islice(rows, MOST_ROWS)]
    heads = ("time", "part", "command", "address", "bytes", "answer")
    wide = [
        max(len(head), *(len(row[n]) for row in cells)) if any(row[n] for row in cells) else 0
        for n, head in enumerate(heads)
    ]
    yield from title("Commands", str(count))
    yield from _table_row(heads, wide)
    for row in cells:
        yield from _table_row(row, wide)
    left = sum(1 for _ in rows)
    if left:
        yield f"  … and {left} more rows: --json has every command"


def _table_row(cells: Sequence[str], wide: Sequence[int]) -> Iterator[str]:
    """Yield a row; columns in which nothing stands are left out, the last one is wrapped."""
    *first, last = (
        f"{cell:>{width}}" if not n else f"{cell:{width}}"
        for n, (cell, width) in enumerate(zip(cells, wide, strict=True))
        if width or n == len(wide) - 1
    )
    head = "  " + "  ".join(first)
    yield from line(head, last.strip(), column=len(head) + 2)


def _cells(row: Row) -> tuple[str, ...]:
    words = hex_text(bytes(row.data[:MOST_BYTES]))
    beside = [row.result] if row.result else []
    if len(row.data) > MOST_BYTES:
        words += " …"
        beside.append(f"{len(row.data)} bytes")
    if row.count > 1:
        beside.append(f"{row.count} commands")
    if row.repeats:
        beside.append(f"{row.repeats} again")
    part = "" if row.part is None else address(row.part)
    return _time(row.time), part, row.kind, _place(row), words, ", ".join(beside)


def _place(row: Row) -> str:
    if row.address is None:
        return "?" if row.data else ""
    if len(row.data) < 2:
        return address(row.address)
    return f"{address(row.address)}-{address(row.address + len(row.data) - 1)}"


def _time(seconds: float) -> str:
    """Return a time as tables show it, to the microsecond."""
    return f"{seconds * 1000:.3f} ms"


def _seconds(seconds: float) -> str:
    if seconds >= 1:
        return f"{seconds:.3g} s"
    return f"{seconds * 1000:.3g} ms"
