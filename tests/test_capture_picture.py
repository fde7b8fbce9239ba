"""What a page draws of a capture: blocks to scale, pauses cut short, bytes that were read."""

from __future__ import annotations

import pytest

from romtool.capture.decode import decode
from romtool.capture.formats import read_recording
from romtool.capture.model import DecodedCapture
from romtool.capture.picture import MOST_BLOCKS, read_bytes, strip
from romtool.files.schemas import load_catalog
from tests.support.bus_capture import TwoWire, TwoWirePart
from tests.support.capture_plays import play

CATALOG = load_catalog()


def decoded(text: str) -> DecodedCapture:
    return decode(CATALOG, read_recording(text.splitlines(keepends=True)))


@pytest.mark.parametrize("number", [0, 3, 6, 9])
def test_blocks_fill_the_strip_in_order_of_time(number: int) -> None:
    found = decoded(play(number).text)
    blocks = strip(found)
    left = 0.0
    for before, block in zip([None, *blocks], blocks, strict=False):
        assert block.left == pytest.approx(left)
        assert block.time <= block.end
        assert before is None or before.end == block.time
        left += block.width
    assert left == pytest.approx(1)
    assert sum(block.commands for block in blocks) <= len(found.commands)
    scales = {
        (block.end - block.time) / block.width
        for block in blocks
        if not block.is_cut and block.width > 1e-9
    }
    assert max(scales) == pytest.approx(min(scales))


def test_a_long_pause_is_drawn_shorter() -> None:
    bus = TwoWire(100_000, TwoWirePart(256, 8))
    bus.random_read(0x50, 0, 16)
    bus.lines.wait(1.0)
    bus.random_read(0x50, 0x20, 16)
    blocks = strip(decoded(bus.lines.vcd()))
    assert [block.kind for block in blocks] == ["read", "pause", "read"]
    assert blocks[1].is_cut
    assert blocks[1].width < 0.7
    assert (blocks[2].first, blocks[2].last) == (0x20, 0x2F)


def test_very_many_commands_are_taken_together() -> None:
    bus = TwoWire(400_000, TwoWirePart(256, 8))
    for number in range(2 * MOST_BLOCKS):
        bus.random_read(0x50, (37 * number) % 251, 1)
        bus.lines.wait(0.0001 * (1 + number % 7))
    blocks = strip(decoded(bus.lines.vcd(8)))
    assert sum(block.kind != "pause" for block in blocks) <= MOST_BLOCKS
    assert sum(block.commands for block in blocks) == 2 * MOST_BLOCKS


def test_bytes_that_were_read() -> None:
    bus = TwoWire(100_000, TwoWirePart(256, 8))
    bus.random_read(0x50, 0, 16)
    bus.random_read(0x50, 0x40, 4)
    [part] = decoded(bus.lines.vcd()).parts
    assert read_bytes(part) == (((0, 15), (0x40, 0x43)), 15)
    bus.random_read(0x50, 0, 256)
    [part] = decoded(bus.lines.vcd()).parts
    assert read_bytes(part) == (((0, 255),), None)


def test_nothing_to_draw() -> None:
    bus = TwoWire(100_000, TwoWirePart(256, 8))
    bus.lines.at(100)
    assert strip(decoded(bus.lines.vcd())) == ()
