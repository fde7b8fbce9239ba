"""Selections of the three-wire bus to commands of its part."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.capture.commands import Command
from romtool.capture.organisation import Organisation, Parsed, dummy, parse
from romtool.capture.three_wire import Selection
from romtool.schema.bench import SerialBus


def commands_of(
    bus: SerialBus,
    selections: Sequence[Selection],
    one: Organisation,
    *,
    size: int,
    write_time: float,
    clock: float,
) -> Iterator[Command]:
    """Yield a command for each selection that holds one.

    `size`: bytes of the part, which drops the address bits above; `write_time`: units of time in
    which a part has surely stored what was written; `clock`: those of a clock.
    """
    enabled: bool | None = None
    for place, selection in enumerate(selections):
        parsed = parse(bus, selection)
        if parsed is None or parsed.rest < one.address_bits:
            continue
        command = parsed.command
        address, data, whole = _content(parsed, one, size)
        took: bool | None = whole if selection.ended else None
        if command.data == "out":
            bit = dummy(parsed, one.address_bits)
            took = None if bit is None else not bit
        elif command.needs_enable and whole:
            took = _stored(bus, selections, place, write_time, clock)
            is_off = enabled is False or selection.locked
            took = False if took is None and is_off else took
        elif whole:
            enabled = command.kind == "write-enable"
        yield Command(
            selection.time, selection.end, command.kind, None, address, data, None, took,
            whole and selection.ended, selection.locked, one.word, enabled, not selection.ended,
        )  # fmt: skip


def _content(parsed: Parsed, one: Organisation, size: int) -> tuple[int | None, bytes, bool]:
    """Return a command's byte address, its whole bytes, and whether nothing of it is missing."""
    selection, command = parsed.selection, parsed.command
    rest = parsed.rest - one.address_bits
    address = None
    if not command.select:
        number = selection.di >> rest & ((1 << one.address_bits) - 1)
        address = number * one.word // 8 % size
    if command.data is None:
        return address, b"", True
    source, bits = (
        (selection.do, rest) if command.data == "out" else (selection.di, min(rest, one.word))
    )
    bits -= bits % 8
    value = source >> (rest - bits) & ((1 << bits) - 1)
    return address, value.to_bytes(bits // 8, "big"), bits >= one.word


def _stored(
    bus: SerialBus, selections: Sequence[Selection], place: int, write_time: float, clock: float
) -> bool | None:
    """Whether the part was busy storing after a selection; None where nobody looked.

    DO is low while it is, with CS high: in a poll, before the next start bit, or, with some parts,
    at once after the last clock. A part that is ready at once has stored nothing.
    """
    own = selections[place]
    if own.late_busy:
        return True
    is_busy = False
    for selection in selections[place + 1 :]:
        if selection.time - own.end > 2 * write_time:
            break
        is_busy |= selection.low_for > clock
        if selection.ready_at is not None:
            soon = write_time / 20
            return True if is_busy else False if selection.ready_at - own.end < soon else None
        if parse(bus, selection) is not None:
            break
    return None
