"""Frames of the three-wire bus to commands of its part."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.capture.commands import Command
from romtool.capture.organisation import Organisation, Parsed, dummy, parse
from romtool.capture.three_wire import Frame
from romtool.schema.bench import SerialBus


def commands_of(
    bus: SerialBus,
    frames: Sequence[Frame],
    one: Organisation,
    *,
    size: int,
    write_time: float,
    clock: float,
) -> Iterator[Command]:
    """Yield a command for each frame that holds one.

    `size`: bytes of the part, which drops the address bits above; `write_time`: units of time in
    which a part has surely stored what was written; `clock`: those of a clock.
    """
    enabled: bool | None = None
    for place, frame in enumerate(frames):
        parsed = parse(bus, frame)
        if parsed is None or parsed.behind < one.address_bits:
            continue
        command = parsed.command
        address, data, whole = _content(parsed, one, size)
        took: bool | None = whole if frame.ended else None
        if command.data == "out":
            bit = dummy(parsed, one.address_bits)
            took = None if bit is None else not bit
        elif command.needs_enable and whole:
            took = _stored(bus, frames, place, write_time, clock)
            is_off = enabled is False or frame.locked
            took = False if took is None and is_off else took
        elif whole:
            enabled = command.kind == "write-enable"
        yield Command(
            frame.time, frame.end, command.kind, None, address, data, None, took,
            whole and frame.ended, frame.locked, one.word,
        )  # fmt: skip


def _content(parsed: Parsed, one: Organisation, size: int) -> tuple[int | None, bytes, bool]:
    """Return a command's byte address, its whole bytes, and whether nothing of it is missing."""
    frame, command = parsed.frame, parsed.command
    rest = parsed.behind - one.address_bits
    address = None
    if not command.select:
        number = frame.di >> rest & ((1 << one.address_bits) - 1)
        address = number * one.word // 8 % size
    if command.data is None:
        return address, b"", True
    source, bits = (frame.do, rest) if command.data == "out" else (frame.di, min(rest, one.word))
    bits -= bits % 8
    value = source >> (rest - bits) & ((1 << bits) - 1)
    return address, value.to_bytes(bits // 8, "big"), bits >= one.word


def _stored(
    bus: SerialBus, frames: Sequence[Frame], place: int, write_time: float, clock: float
) -> bool | None:
    """Whether the part was busy storing behind a frame; None where nobody looked.

    DO is low while it is, with CS high: in a poll, before the next start bit, or, with some parts,
    at once behind the last clock. A part that is ready at once has stored nothing.
    """
    own = frames[place]
    if own.late_busy:
        return True
    is_busy = False
    for frame in frames[place + 1 :]:
        if frame.time - own.end > 2 * write_time:
            break
        is_busy |= frame.low_for > clock
        if frame.ready_at is not None:
            soon = write_time / 20
            return True if is_busy else False if frame.ready_at - own.end < soon else None
        if parse(bus, frame) is not None:
            break
    return None
