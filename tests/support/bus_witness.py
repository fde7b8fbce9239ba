"""What an outside program's decoders see in a capture: `sigrok-cli` (Debian), both buses."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path
from typing import Any, NamedTuple

from tests.support.tool import need


class SeenTransfer(NamedTuple):
    """A transfer of the two-wire bus: its bytes, the first one included, and their answers."""

    data: bytes
    answers: tuple[bool, ...]


def _annotations(path: Path, step: int, decoders: str, shown: str) -> list[str]:
    run = subprocess.run(
        [need("sigrok-cli"), "-I", f"vcd:downsample={step}", "-i", str(path),
         "-P", decoders, "-A", shown],
        capture_output=True, text=True, timeout=300, check=True,
    )  # fmt: skip
    return [line.partition(": ")[2] for line in run.stdout.splitlines()]


def two_wire_transfers(path: Path, step: int = 1) -> list[SeenTransfer]:
    """Every transfer in a capture with channels SCL and SDA; `step`: units of time to a sample."""
    shown = "i2c=start:repeat-start:stop:ack:nack:address-read:address-write:data-read:data-write"
    found: list[SeenTransfer] = []
    data: list[int] = []
    answers: list[bool] = []

    def end() -> None:
        if data:
            found.append(SeenTransfer(bytes(data), tuple(answers)))
        data.clear()
        answers.clear()

    for words in _annotations(path, step, "i2c:scl=SCL:sda=SDA", shown):
        value = re.fullmatch(r"(Address|Data) (read|write): ([0-9A-F]{2})", words)
        if value is None:
            if words in ("ACK", "NACK"):
                answers.append(words == "ACK")
            else:
                end()
        elif value[1] == "Address":
            data.append(int(value[3], 16) << 1 | (value[2] == "read"))
        else:
            data.append(int(value[3], 16))
    end()
    return found


def two_wire_memory(path: Path, step: int = 1) -> list[tuple[str, bytes]]:
    """What the decoder of such EEPROMs makes of it: reads and writes with their bytes."""
    decoders = "i2c:scl=SCL:sda=SDA,eeprom24xx"
    found = []
    for words in _annotations(path, step, decoders, "eeprom24xx"):
        value = re.fullmatch(r".*\b(read|write)( \(.*\))?: ((?:[0-9A-F]{2} ?)+)", words)
        if value and "bit" not in words:
            found.append((value[1], bytes.fromhex(value[3])))
    return found


def three_wire_commands(
    path: Path, address_bits: int, word: int, step: int = 1
) -> list[dict[str, Any]]:
    """Every command in a capture with channels CS, CLK, DI and DO: name, address and words."""
    decoders = (
        f"microwire:cs=CS:sk=CLK:si=DI:so=DO,eeprom93xx:addresssize={address_bits}:wordsize={word}"
    )
    found: list[dict[str, Any]] = []
    for words in _annotations(path, step, decoders, "eeprom93xx"):
        address = re.fullmatch(r"Address: 0x([0-9a-f]+)", words)
        data = re.fullmatch(r"Data: 0x([0-9a-f]+)", words)
        if address:
            found[-1]["address"] = int(address[1], 16)
        elif data:
            found[-1]["words"].append(int(data[1], 16))
        elif "bits" not in words:
            found.append({"name": words, "address": None, "words": []})
    return found


def three_wire_bits(path: Path, step: int = 1) -> list[tuple[str, str]]:
    """The bits behind each start bit, to the part and from it, as that program samples them."""
    frames: list[tuple[str, str]] = []
    shown = "microwire=start-bit:si-bit:so-bit"
    for words in _annotations(path, step, "microwire:cs=CS:sk=CLK:si=DI:so=DO", shown):
        if words == "Start bit":
            frames.append(("", ""))
        elif frames:
            into, out = frames[-1]
            into += words[-1] if words.startswith("SI") else ""
            out += words[-1] if words.startswith("SO") else ""
            frames[-1] = (into, out)
    return frames
