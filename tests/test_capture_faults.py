"""Faults at the bench, each played on a made bus: the capture names it, and no other error.

Every case says which finding must come; all findings that are errors are listed. What parts do is
as data sheets of such parts have it (from memory); the bus as its specification says (UM10204).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

from romtool.capture.decode import decode
from romtool.capture.findings import findings
from romtool.capture.formats import read_recording
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode as decode_image
from tests.support.bus_capture import Level, Lines, ThreeWire, ThreeWirePart, TwoWire, TwoWirePart
from tests.support.tool import CARD_ITEMS, identifier

CATALOG = load_catalog()
CLOCK = 100_000

# The header of layout counted-19 with typical values (from memory); its count is filled in.
HEADER = bytes.fromhex("55 BB 00 1A 00 03 80 80 0B 20 04 08 10 80 00 00 00 48 75 B9 FC 10 03")


@dataclass
class Case:
    """A capture with a fault: what must be found, and what else may be said of how bad it is."""

    text: str
    found: str
    part: str | None = None
    channels: dict[str, str] = field(default_factory=dict)
    image: bytes | None = None
    beside: tuple[str, ...] = ()


def image() -> bytes:
    """A whole image of 256 bytes, by another hand: header, identifier and items."""
    pnp = identifier("QRL0301", 1) + CARD_ITEMS
    head = b"\x55\xbb" + len(pnp).to_bytes(2, "big") + HEADER[4:]
    return (head + pnp).ljust(256, b"\xff")


def two(part: TwoWirePart | None = None, **more: Level) -> TwoWire:
    return TwoWire(CLOCK, part or TwoWirePart(256, 8), more)


def holding(data: bytes, **more: Any) -> TwoWirePart:
    return TwoWirePart(256, 8, memory=bytearray(data.ljust(256, b"\xff")), **more)


def three(part: ThreeWirePart | None = None, **more: Any) -> ThreeWire:
    return ThreeWire(CLOCK, part or ThreeWirePart(128, 16, 6), **more)


def nothing_clocks() -> Case:
    lines = Lines(CLOCK, scl=1, sda=1)
    lines.at(100)
    lines.set("sda", 0)
    lines.at(400)
    lines.set("sda", 1)
    lines.at(20)
    return Case(lines.vcd(), "nothing-asked")


def only_another_device_called() -> Case:
    bus = two()
    bus.write(0x20, None)
    bus.write(0x21, None)
    return Case(bus.lines.vcd(), "nothing-asked")


def never_selected() -> Case:
    lines = Lines(CLOCK, cs=0, clk=0, di=0, do="z")
    for _ in range(40):
        lines.set("clk", 1)
        lines.at(2)
        lines.set("clk", 0)
        lines.at(2)
    return Case(lines.vcd(), "nothing-asked")


def two_wire_part_silent() -> Case:
    bus = two(TwoWirePart(256, 8, silent=True))
    for _ in range(3):
        bus.random_read(0x50, 0, 8)
    return Case(bus.lines.vcd(), "no-answer")


def three_wire_part_silent() -> Case:
    bus = three(ThreeWirePart(128, 16, 6, silent=True), idle=1)
    for address in range(4):
        bus.command("read", address)
    return Case(bus.lines.vcd(), "no-answer", part="93C46")


def stops_after_signature() -> Case:
    bus = two(holding(b"\x55\xaa" + image()[2:]))
    bus.random_read(0x50, 0, 2)
    return Case(bus.lines.vcd(), "stopped", image=image(), beside=("unlike",))


def stops_after_signature_without_image() -> Case:
    bus = two(holding(b"\x12\x34"))
    bus.random_read(0x50, 0, 2)
    return Case(bus.lines.vcd(), "stopped")


def stops_after_first_word() -> Case:
    part = ThreeWirePart(256, 16, 8)
    part.memory[0] = 0x1234
    bus = three(part)
    bus.command("read", 0)
    bus.command("read", 0)
    return Case(bus.lines.vcd(), "stopped")


def stops_in_the_identifier() -> Case:
    bus = two(holding(image()))
    bus.random_read(0x50, 0, 27)
    return Case(bus.lines.vcd(), "stopped-inside", image=image())


def stops_otherwise_than_counted() -> Case:
    bus = two(holding(image()))
    bus.random_read(0x50, 0, 100)
    return Case(bus.lines.vcd(), "stopped-otherwise")


def part_holds_something_else() -> Case:
    data = bytearray(image())
    data[0x30] ^= 0x40
    bus = two(holding(bytes(data)))
    bus.random_read(0x50, 0, 256)
    return Case(bus.lines.vcd(), "unlike", image=image())


def protected(channel: bool = True) -> Callable[[], Case]:
    def made() -> Case:
        more: dict[str, Level] = {"wp": 1} if channel else {}
        bus = two(TwoWirePart(256, 8, protected=True), **more)
        bus.write(0x50, 0x10, bytes(range(8)))
        bus.lines.wait(0.005)
        bus.random_read(0x50, 0x10, 8)
        return Case(bus.lines.vcd(), "write-protected" if channel else "not-stored")

    return made


def program_enable_low() -> Case:
    bus = three(ThreeWirePart(1024, 16, 10, locked=True), wp=0)
    bus.command("write-enable")
    bus.command("write", 3, 0xBEEF)
    bus.lines.wait(0.005)
    bus.command("read", 3)
    text = bus.lines.vcd(names={"wp": "PE"})
    return Case(text, "write-protected", part="93C76")


def no_write_enable() -> Case:
    bus = three()
    bus.command("write", 3, 0xBEEF)
    bus.poll()
    bus.command("read", 3)
    return Case(bus.lines.vcd(), "no-write-enable")


def write_disabled_again() -> Case:
    bus = three()
    bus.command("write-enable")
    bus.command("write", 3, 0xBEEF)
    bus.poll()
    bus.command("write-disable")
    bus.command("write", 4, 0xBEEF)
    bus.lines.wait(0.02)
    return Case(bus.lines.vcd(), "no-write-enable")


def still_busy() -> Case:
    bus = two()
    bus.write(0x50, 0x10, bytes(8))
    bus.lines.wait(0.001)
    bus.write(0x50, 0x18, bytes(8), stubborn=True)
    bus.lines.wait(0.01)
    bus.random_read(0x50, 0x10, 8)
    return Case(bus.lines.vcd(), "still-busy")


def gave_up_while_busy() -> Case:
    bus = two()
    bus.write(0x50, 0x10, bytes(8))
    bus.lines.wait(0.001)
    bus.write(0x50, 0x18, bytes(8))
    bus.lines.wait(0.05)
    bus.random_read(0x50, 0x10, 8)
    return Case(bus.lines.vcd(), "still-busy")


def page_wrapped() -> Case:
    bus = two()
    bus.write(0x50, 0x10, bytes(range(16)))
    bus.poll(0x50)
    bus.random_read(0x50, 0x10, 16)
    return Case(bus.lines.vcd(), "page-wrap")


def page_wrapped_as_the_part_says() -> Case:
    bus = two()
    bus.write(0x50, 0x14, bytes(range(8)))
    bus.poll(0x50)
    return Case(bus.lines.vcd(), "page-wrap", part="24C02")


def data_refused() -> Case:
    bus = two()
    bus.write(0x50, 0x10, bytes(8), answers=1)
    return Case(bus.lines.vcd(), "write-unanswered")


def no_stop_after_a_write() -> Case:
    bus = two()
    bus.random_read(0x50, 0, 2)
    bus.write(0x50, 0x10, b"\x12", stop=False)
    bus.read(0x50, 2)
    return Case(bus.lines.vcd(), "write-unfinished")


def write_with_too_few_bits() -> Case:
    bus = three()
    bus.command("write-enable")
    bus.command("read", 0)
    bus.command("write", 3, 0xBEEF, clocks=18)
    return Case(bus.lines.vcd(), "write-unfinished")


def wrong_organisation(word: int) -> Callable[[], Case]:
    def made() -> Case:
        bits = {8: 7, 16: 6}
        other = 24 - word
        bus = three(ThreeWirePart(128, word, bits[word]), idle=1, master=(bits[other], other))
        bus.command("write-enable")
        for address in range(6):
            bus.command("read", address)
        return Case(bus.lines.vcd(), "wrong-organisation")

    return made


def wires_changed_round() -> Case:
    bus = two()
    bus.random_read(0x50, 0, 16)
    text = bus.lines.vcd(names={"scl": "SDA", "sda": "SCL"})
    return Case(text, "turned-channels")


def three_wires_changed_round() -> Case:
    bus = three()
    bus.command("read", 0, words=8)
    bus.command("read", 8, words=8)
    text = bus.lines.vcd(names={"cs": "CLK", "clk": "CS"})
    return Case(text, "turned-channels")


def glitches() -> Case:
    bus = two()
    for address in range(3):
        bus.random_read(0x50, address * 16, 8)
        bus.lines.glitch("sda", 0, 0.1, 1)
        bus.lines.at(8)
        bus.lines.glitch("scl", 0, 0.1, 1)
        bus.lines.at(8)
    return Case(bus.lines.vcd(100), "glitches")


def begins_in_the_middle() -> Case:
    bus = two()
    bus.random_read(0x50, 0, 8)
    began = bus.lines.now
    bus.random_read(0x50, 0, 16)
    return Case(bus.lines.vcd(start=began / 2), "cut-start")


def begins_in_the_middle_of_a_selection() -> Case:
    bus = three()
    bus.command("read", 0, words=8)
    began = bus.lines.now
    bus.command("read", 0, words=8)
    return Case(bus.lines.vcd(start=began / 2), "cut-start")


def stops_in_the_middle() -> Case:
    bus = two()
    bus.random_read(0x50, 0, 16)
    return Case(bus.lines.vcd(stop=bus.lines.now * 0.8), "cut-end")


def three_wire_stops_in_the_middle() -> Case:
    bus = three()
    bus.command("read", 0)
    bus.command("read", 1, words=8)
    return Case(bus.lines.vcd(stop=bus.lines.now * 0.8), "cut-end")


def clock_stops_in_a_byte() -> Case:
    bus = two()
    bus.random_read(0x50, 0, 8)
    bus.start()
    for bit in (1, 0, 1):
        bus.bit(bit)
    bus.stop()
    bus.random_read(0x50, 0, 8)
    return Case(bus.lines.vcd(), "broken-off")


def file_breaks_off() -> Case:
    bus = two()
    bus.random_read(0x50, 0, 8)
    text = bus.lines.vcd()
    return Case(text[: text.rindex("#") + 3], "cut-file")


def too_few_samples() -> Case:
    bus = two()
    bus.random_read(0x50, 0, 8)
    return Case(bus.lines.vcd(3), "undersampled")


def channel_never_changes() -> Case:
    bus = two()
    bus.random_read(0x50, 0, 8)
    return Case(bus.lines.vcd(quiet=("D7",)), "quiet")


def reads_differ() -> Case:
    bus = two()
    bus.random_read(0x50, 0, 8)
    bus.parts[0].memory[3] ^= 0x10
    bus.random_read(0x50, 0, 8)
    return Case(bus.lines.vcd(), "unsteady")


def another_device() -> Case:
    bus = two(TwoWirePart(256, 8))
    bus.parts = (*bus.parts, TwoWirePart(256, 8, address=0x68))
    bus.random_read(0x68, 0, 7)
    bus.random_read(0x50, 0, 8)
    return Case(bus.lines.vcd(), "other-device")


CASES: dict[str, Callable[[], Case]] = {
    "nothing clocks": nothing_clocks,
    "only another device is called": only_another_device_called,
    "never selected": never_selected,
    "a two-wire part is silent": two_wire_part_silent,
    "a three-wire part is silent": three_wire_part_silent,
    "stops after the signature": stops_after_signature,
    "stops after the signature, image not known": stops_after_signature_without_image,
    "stops after the first word": stops_after_first_word,
    "stops in the identifier": stops_in_the_identifier,
    "stops otherwise than counted": stops_otherwise_than_counted,
    "the part holds something else": part_holds_something_else,
    "WP is high": protected(),
    "not stored, nobody knows why": protected(channel=False),
    "PE is low": program_enable_low,
    "no write enable": no_write_enable,
    "write disabled again": write_disabled_again,
    "still busy": still_busy,
    "gave up while busy": gave_up_while_busy,
    "a page wrapped, as it reads": page_wrapped,
    "a page wrapped, as the part says": page_wrapped_as_the_part_says,
    "data refused": data_refused,
    "no STOP after a write": no_stop_after_a_write,
    "a write with too few bits": write_with_too_few_bits,
    "ORG high, 8 bits meant": wrong_organisation(16),
    "ORG low, 16 bits meant": wrong_organisation(8),
    "wires changed round": wires_changed_round,
    "three wires changed round": three_wires_changed_round,
    "glitches": glitches,
    "begins in the middle": begins_in_the_middle,
    "begins in the middle of a selection": begins_in_the_middle_of_a_selection,
    "stops in the middle": stops_in_the_middle,
    "three-wire stops in the middle": three_wire_stops_in_the_middle,
    "the clock stops in a byte": clock_stops_in_a_byte,
    "the file breaks off": file_breaks_off,
    "too few samples": too_few_samples,
    "a channel never changes": channel_never_changes,
    "reads differ": reads_differ,
    "another device": another_device,
}


@pytest.mark.parametrize("name", CASES)
def test_fault_is_named(name: str) -> None:
    """The finding comes, with its words filled in; other errors or warnings don't."""
    case = CASES[name]()
    recording = read_recording(case.text.splitlines(keepends=True))
    part = CATALOG.part(case.part) if case.part else None
    decoded = decode(CATALOG, recording, case.channels, part)
    expected = decode_image(CATALOG, case.image) if case.image else None
    found = findings(CATALOG, decoded, expected)
    names = [one.rule for one in found]
    assert case.found in names, [one.message for one in found]
    others = {one.rule: one.message for one in found if one.severity != "note"}
    allowed = {case.found, *case.beside}
    assert set(others) <= allowed, others
    for one in found:
        assert "{" not in one.message + one.hint


def test_a_part_of_two_address_bytes() -> None:
    """Parts of 4 KiB and more take two address bytes (data sheets of such parts, from memory)."""
    bus = two()
    for high, low in ((0x00, 0x10), (0x12, 0x34)):
        bus.write(0x50, high, bytes([low]), stop=False)
        bus.read(0x50, 4)
    decoded = decode(CATALOG, read_recording(bus.lines.vcd().splitlines(keepends=True)))
    told = [(one.kind, one.address) for one in decoded.commands]
    assert told == [("address", 0x10), ("read", 0x10), ("address", 0x1234), ("read", 0x1234)]
    rules = [one.rule for one in findings(CATALOG, decoded)]
    assert rules == ["wide-addresses"]


def test_the_earliest_parts_have_no_address_of_their_own() -> None:
    """The first byte is the byte's address and the direction (from memory)."""
    bus = two(TwoWirePart(256, 8, address=0))
    bus.read(0x00, 8)
    decoded = decode(CATALOG, read_recording(bus.lines.vcd().splitlines(keepends=True)))
    [command] = decoded.commands
    assert (command.kind, command.address, len(command.data)) == ("read", 0, 8)
    assert "early-part" in [one.rule for one in findings(CATALOG, decoded)]


def test_sound_traffic_has_no_errors() -> None:
    """Reads and polled writes of sound parts bring notes only."""
    bus = two()
    bus.write(0x50, 0x10, bytes(range(8)))
    bus.poll(0x50)
    bus.random_read(0x50, 0, 256)
    other = three()
    other.command("write-enable")
    other.command("write", 3, 0xBEEF)
    other.poll()
    other.command("read", 0, words=64)
    for text in (bus.lines.vcd(), other.lines.vcd()):
        decoded = decode(CATALOG, read_recording(text.splitlines(keepends=True)))
        assert {one.severity for one in findings(CATALOG, decoded)} <= {"note"}


def test_every_observation_is_shown_by_a_case() -> None:
    """Errors and warnings in the schema that no case brings out would be words without a use."""
    shown = {make().found for make in CASES.values()}
    serious = {one.name for one in CATALOG.observations.values() if one.severity != "note"}
    rare = {"no-data-line", "other-size", "perhaps-not-enabled", "stored-otherwise"}
    assert serious - shown == rare
