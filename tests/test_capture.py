"""Captures of an EEPROM's bus, made by another hand: every command as meant, and as others see it.

A master and a part are played from the facts of data sheets (`tests/support/bus_capture.py`),
`pyvcd` writes the capture, and the decoders of `sigrok-cli` tell what they see in it.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romtool.capture.answer import capture_json
from romtool.capture.decode import decode
from romtool.capture.findings import findings
from romtool.capture.formats import read_recording
from romtool.capture.model import DecodedCapture
from romtool.capture.picture import folded, strip
from romtool.files.schemas import load_catalog
from romtool.text.capture import capture_lines
from tests.support.bus_witness import (
    three_wire_bits,
    three_wire_commands,
    two_wire_memory,
    two_wire_transfers,
)
from tests.support.capture_plays import Play, play
from tests.support.tour_captures import TOUR, captures

CATALOG = load_catalog()


def decoded(text: str, part: str | None = None, **channels: str) -> DecodedCapture:
    """What the tool makes of a capture."""
    recording = read_recording(text.splitlines(keepends=True))
    return decode(CATALOG, recording, channels, CATALOG.part(part) if part else None)


def commands(found: DecodedCapture) -> list[dict[str, Any]]:
    """The commands as in the JSON answer, with times that compare."""
    told = capture_json(found, [])["commands"]
    return [one | {"bytes": bytes.fromhex(one["bytes"]).hex(), "time": 0} for one in told]


def as_meant(made: Play) -> list[dict[str, Any]]:
    return [one | {"time": 0} for one in made.commands]


def check_play(number: int) -> tuple[Play, DecodedCapture]:
    """Decode the capture of this number: each command is as meant."""
    made = play(number)
    found = decoded(made.text, made.part if made.bus == "two-wire" else None)
    assert commands(found) == as_meant(made)
    assert (found.organisation.word if found.organisation else None) == made.word
    for command, meant in zip(found.commands, made.commands, strict=True):
        assert abs(command.time * found.unit - meant["time"]) < 1e-3
    return made, found


def check_witness(made: Play, found: DecodedCapture, folder: Path) -> None:
    """Hold what the tool sees against what the outside program's decoders see."""
    path = folder / "capture.vcd"
    path.write_text(made.text, encoding="utf-8")
    if made.bus == "two-wire":
        seen = two_wire_transfers(path, made.step)
        assert len(seen) == len(found.commands)
        for transfer, command in zip(seen, found.commands, strict=True):
            is_read = transfer.data[0] & 1
            assert is_read == (command.kind == "read")
            assert transfer.data[0] >> 1 & 0x78 == (command.part or 0) & 0x78
            if not is_read and command.address is not None:
                assert transfer.data[1] == command.address % 256
                assert transfer.data[2:] == command.data
            elif is_read:
                assert transfer.data[1:] == command.data
            assert command.answered == (all(transfer.answers) or bool(is_read))
        # The decoder of such parts shows what it knows a name for: no read on of several bytes.
        told = [
            (one.kind, one.data) for one in found.commands if one.data and one.kind != "address"
        ]
        assert all(one in told for one in two_wire_memory(path, made.step))
        return
    assert made.address_bits is not None and made.word is not None
    frames = three_wire_bits(path, made.step)
    assert len(frames) == len(found.commands)
    for (into, out), command in zip(frames, found.commands, strict=True):
        at = 2 + made.address_bits
        if command.address is not None:
            assert int(into[2:at], 2) * made.word // 8 == command.address
        bits = (out if command.kind == "read" else into)[at:]
        assert bits[: 8 * len(command.data)] == "".join(f"{byte:08b}" for byte in command.data)
    if all((one.address or 0) * 8 // made.word < 256 for one in found.commands):
        seen_names = three_wire_commands(path, made.address_bits, made.word, made.step)
        names = {"Read word": "read", "Write word": "write", "Erase word": "erase"}
        names |= {"Write enable": "write-enable", "Write disable": "write-disable"}
        names |= {"Write all memory": "write-all", "Erase all memory": "erase-all"}
        assert [names[one["name"]] for one in seen_names] == [one.kind for one in found.commands]


def test_the_tour_s_captures_are_made_by_the_script() -> None:
    for name, text in captures().items():
        assert (TOUR / name).read_text(encoding="utf-8") == text


@pytest.mark.parametrize("number", range(30))
def test_commands_as_meant(number: int) -> None:
    check_play(number)


@pytest.mark.parametrize("number", [0, 1, 4, 5, 6, 9, 12, 14])
def test_channels_are_told_by_behaviour(number: int) -> None:
    """Names that say nothing, in another order: the same commands."""
    made = play(number)
    text = re.sub(r"(\$var wire 1 (\S+)) \S+ ", r"\1 D\2 ", made.text)
    found = decoded(text, made.part if made.bus == "two-wire" else None)
    assert commands(found) == as_meant(made)


LINES = {
    "two-wire": ("SCL", "SDA", "WP"),
    "three-wire": ("CS", "CLK", "DI", "DO", "ORG", "PE"),
}


@given(
    st.sampled_from(sorted(LINES)),
    st.lists(
        st.tuples(st.integers(0, 9), st.integers(0, 5), st.sampled_from("01xz")), max_size=300
    ),
)
@settings(max_examples=150, deadline=None)
def test_any_levels_are_decoded(bus: str, changes: list[tuple[int, int, str]]) -> None:
    """Whatever happens on the lines: each bit of it is in a command once, and is told in words."""
    names = LINES[bus]
    text = [f"$var wire 1 {chr(65 + n)} {name} $end\n" for n, name in enumerate(names)]
    text.append("$enddefinitions $end\n")
    time = 0
    for step, channel, level in changes:
        time += step
        text.append(f"#{time}\n{level}{chr(65 + channel % len(names))}\n")
    found = decoded("".join(text))
    assert found.bus.name == bus
    told = findings(CATALOG, found)
    assert capture_json(found, told)["bus"] == bus
    assert all("{" not in one.message for one in told)
    rows = list(folded(found))
    assert sum(row.count + row.repeats for row in rows) <= len(found.commands)
    assert list(capture_lines("made.vcd", found, told))
    assert [one.left for one in strip(found)] == sorted(one.left for one in strip(found))


@pytest.mark.parametrize("number", range(8, 15))
def test_commands_as_another_decoder_sees_them(number: int, tmp_path: Path) -> None:
    check_witness(*check_play(number), tmp_path)


@pytest.mark.bulk
@pytest.mark.parametrize("number", range(30, 240))
def test_many_captures(number: int, tmp_path: Path) -> None:
    check_witness(*check_play(number), tmp_path)
