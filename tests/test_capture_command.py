"""`romtool capture` as its users call it: formats, channels, answers, files, and bad captures."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.support.bus_capture import ThreeWire, ThreeWirePart, TwoWire, TwoWirePart
from tests.support.bus_witness import three_wire_commands, two_wire_transfers
from tests.support.limits import no_more_than
from tests.support.tool import romtool, told

CAPTURES = os.environ.get("ROMTOOL_CAPTURES")
"""A folder of captures from real boards, which the repository can't hold."""

MEMORY = 150 << 20


def boot(folder: Path, name: str = "boot.vcd", **names: str) -> TwoWire:
    """A capture of a chip that reads 16 bytes of a 24C02, in a file."""
    bus = TwoWire(100_000, TwoWirePart(256, 8))
    bus.random_read(0x50, 0, 16)
    (folder / name).write_text(bus.lines.vcd(names=names), encoding="utf-8")
    return bus


def answer(folder: Path, *words: str) -> dict[str, Any]:
    run = romtool("capture", *words, "--json", cwd=folder)
    assert run.returncode == 0, told(run)
    document = json.loads(run.stdout)
    assert isinstance(document, dict)
    return document


def csv_of(bus: TwoWire, separator: str, unit: str, scale: float, *, sampled: bool = False) -> str:
    """The same levels as a CSV: a row a change, or one for every sample."""
    rows = [separator.join((f"Time{unit}", "scl", "sda"))]
    levels = {"scl": 1, "sda": 1}
    changes: dict[int, dict[str, Any]] = {}
    for sample, name, level in bus.lines.sampled(16):
        changes.setdefault(sample, {})[name] = level
    step = bus.lines.quarter / 4 * scale
    for sample in range(max(changes) + 1) if sampled else sorted(changes):
        levels |= changes.get(sample, {})
        time = f"{sample * step:.9f}"
        if separator == ";":
            time = time.replace(".", ",")
        rows.append(separator.join((time, str(levels["scl"]), str(levels["sda"]))))
    return "\n".join(rows) + "\n"


def test_answer_is_as_the_contract_says(tmp_path: Path) -> None:
    bus = boot(tmp_path)
    found = answer(tmp_path, "boot.vcd")
    assert list(found) == ["bus", "organisation", "commands", "parts", "findings"]
    assert (found["bus"], found["organisation"]) == ("two-wire", None)
    keys = ["time", "kind", "part", "address", "bytes", "answered", "took"]
    assert [list(one) for one in found["commands"]] == [keys, keys]
    assert [one["kind"] for one in found["commands"]] == ["address", "read"]
    data = bytes(bus.parts[0].memory[:16])
    [part] = found["parts"]
    assert part["part"] == 0x50
    assert part["written"] == []
    assert [(run["at"], bytes.fromhex(run["bytes"])) for run in part["read"]] == [(0, data)]


@pytest.mark.parametrize("sampled", [False, True])
@pytest.mark.parametrize(
    ("separator", "unit", "scale"),
    [(",", "", 1), (";", " [ms]", 1e3), ("\t", " (us)", 1e6), (",", "[ns]", 1e9)],
)
def test_csv_says_the_same(
    separator: str, unit: str, scale: float, sampled: bool, tmp_path: Path
) -> None:
    bus = boot(tmp_path)
    text = csv_of(bus, separator, unit, scale, sampled=sampled)
    (tmp_path / "boot.csv").write_text(text, encoding="utf-8")
    vcd, table = answer(tmp_path, "boot.vcd"), answer(tmp_path, "boot.csv")
    for one in (*vcd["commands"], *table["commands"]):
        one["time"] = round(one["time"], 7)
    assert table["commands"] == vcd["commands"]
    assert table["parts"] == vcd["parts"]


def test_standard_input_and_timescales(tmp_path: Path) -> None:
    """A multiple of a unit, words on several lines, vectors' bits, comments (IEEE 1364, 18.2)."""
    bus = TwoWire(100_000, TwoWirePart(256, 8))
    bus.random_read(0x50, 0, 4)
    lines = ["$comment any", "text $end", "$timescale", "  10 us", "$end"]
    lines += ["$scope module top $end", "$var wire 2 ab bus [1:0] $end", "$upscope $end"]
    lines += ["$enddefinitions $end", "$dumpvars b11 ab $end"]
    levels = {"scl": 1, "sda": 1}
    for sample, name, level in bus.lines.sampled(8):
        levels[name] = int(level)
        lines.append(f"#{sample} b{levels['scl']}{levels['sda']} ab $comment x $end")
    text = "\n".join(lines) + "\n"
    run = romtool(
        "capture", "-", "--channels", "scl=bus[1],sda=bus[0]", "--json", stdin=text.encode()
    )
    found = json.loads(run.stdout)
    assert [one["kind"] for one in found["commands"]] == ["address", "read"]
    assert bytes.fromhex(found["commands"][1]["bytes"]) == bytes(bus.parts[0].memory[:4])
    seconds = bus.commands[0]["time"] / bus.lines.quarter / 4 * 8 * 1e-5
    assert found["commands"][0]["time"] == pytest.approx(seconds, abs=1e-4)


def test_channels_by_name_behaviour_and_choice(tmp_path: Path) -> None:
    boot(tmp_path, "named.vcd", scl="U7_SCL", sda="U7_SDA")
    boot(tmp_path, "plain.vcd", scl="D3", sda="D1")
    commands = answer(tmp_path, "named.vcd")["commands"]
    assert answer(tmp_path, "plain.vcd")["commands"] == commands
    chosen = answer(tmp_path, "plain.vcd", "--channels", "scl=D3,sda=d1")
    assert chosen["commands"] == commands
    text = romtool("capture", "plain.vcd", cwd=tmp_path).stdout.decode()
    assert "SCL = D3, SDA = D1: by behaviour" in text


def test_three_wire_by_behaviour(tmp_path: Path) -> None:
    bus = ThreeWire(100_000, ThreeWirePart(128, 16, 6))
    bus.command("read", 0, words=8)
    bus.command("read", 8)
    bus.command("read", 9)
    names = {"cs": "D0", "clk": "D1", "di": "D2", "do": "D3"}
    (tmp_path / "plain.vcd").write_text(bus.lines.vcd(names=names), encoding="utf-8")
    found = answer(tmp_path, "plain.vcd")
    assert (found["bus"], found["organisation"]) == ("three-wire", 16)
    assert [bytes.fromhex(one["bytes"]).hex() for one in found["commands"]] == [
        one["bytes"] for one in bus.commands
    ]


def test_bytes_seen_as_an_image(tmp_path: Path) -> None:
    bus = boot(tmp_path)
    run = romtool("capture", "boot.vcd", "-o", "out/seen.bin", cwd=tmp_path)
    assert run.returncode == 0
    assert "112 bytes were not seen: they are FFh in it" in told(run)
    seen = (tmp_path / "out" / "seen.bin").read_bytes()
    assert seen == bytes(bus.parts[0].memory[:16]).ljust(128, b"\xff")
    again = romtool("capture", "boot.vcd", "-o", "out/seen.bin", "--part", "24C02", cwd=tmp_path)
    assert again.returncode == 2
    assert "exists already" in told(again)


def test_bytes_seen_on_standard_output(tmp_path: Path) -> None:
    bus = boot(tmp_path)
    run = romtool("capture", "boot.vcd", "-o", "-", cwd=tmp_path)
    assert run.stdout == bytes(bus.parts[0].memory[:16]).ljust(128, b"\xff")
    assert "two-wire (I2C)" in told(run)


def test_several_parts_want_an_address(tmp_path: Path) -> None:
    bus = TwoWire(100_000, TwoWirePart(256, 8))
    bus.parts = (*bus.parts, TwoWirePart(256, 8, address=0x51, memory=bytearray(range(256))))
    bus.random_read(0x50, 0, 4)
    bus.random_read(0x51, 0, 4)
    (tmp_path / "two.vcd").write_text(bus.lines.vcd(), encoding="utf-8")
    refused = romtool("capture", "two.vcd", "-o", "a.bin", cwd=tmp_path)
    assert refused.returncode == 2
    assert "has several parts: 50h, 51h; choose one by --address" in told(refused)
    assert (
        romtool("capture", "two.vcd", "-o", "a.bin", "--address", "51h", cwd=tmp_path).returncode
        == 0
    )
    assert (tmp_path / "a.bin").read_bytes()[:4] == bytes(range(4))
    none = romtool("capture", "two.vcd", "--address", "0x53", cwd=tmp_path)
    assert none.returncode == 2
    assert "no such part was called; there is 50h or 51h" in told(none)


BAD = {
    "empty": ("", "is empty"),
    "no capture": ("hello\n", "is no capture that can be read"),
    "no end of declarations": ("$timescale 1 ns $end\n", "there is no $enddefinitions"),
    "a timescale of no such unit": ("$timescale 3 yr $end\n", ":1: $timescale"),
    "a variable without a size": ("$var wire x ! SCL $end\n$enddefinitions $end\n", ":1: $var"),
    "billions of bits": ("$var wire 99999 ! SCL $end\n", "more than 4096 bits"),
    "no channels": ("$enddefinitions $end\n#1\n", "has no channels"),
    "nothing that tells": (
        "$var wire 1 ! A $end $enddefinitions $end\n#0\n0!\n#5\n1!\n",
        "which channel is which line can't be told; the channels are A",
    ),
    "time that runs back": (
        "$var wire 1 ! SCL $end $var wire 1 % SDA $end $enddefinitions $end\n#9\n0!\n#5\n1!\n",
        ":4: time runs back from 9 to 5",
    ),
    "a level of nothing": (
        "$var wire 1 ! SCL $end $var wire 1 % SDA $end $enddefinitions $end\n#9\n0?\n#5\n",
        ":3: 0 ? is no time and no level",
    ),
    "a cell too many": ("time,scl,sda\n0,1,1\n1,1,1,1\n", ":3: 4 cells, not 3"),
    "a level that is none": ("time,scl,sda\n0,1,3.3\n", ':2: "3.3" is no level'),
    "a time that is none": ("time,scl,sda\nx,1,1\n", ':2: "x" is no time'),
    "a time of no end": ("time,scl,sda\ninf,1,1\n", ':2: "inf" is no time'),
    "a unit that nobody knows": ("time [h],scl,sda\n0,1,1\n", ":1: times in h are not known"),
    "one long line": ("$" + "x" * 3_000_000, "a line of more than 1 MiB"),
    "nulls": ("\0" * 100, "is no capture that can be read"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_captures_are_told(name: str, tmp_path: Path) -> None:
    text, words = BAD[name]
    (tmp_path / "bad.vcd").write_text(text, encoding="utf-8")
    run = romtool("capture", "bad.vcd", cwd=tmp_path)
    assert run.returncode == 2
    assert words in told(run)
    assert told(run).startswith("romtool: bad.vcd:")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--channels", "scl"], "scl is not line=channel"),
        (["--channels", "scl=SCL"], "--channels names scl"),
        (["--channels", "scl=SCL,sda=X"], "no channel is called so; the channels are SCL, SDA"),
        (["--channels", "scl=SCL,sda=SCL"], "names a channel twice"),
        (["--address", "A0h"], "more than 7 bits"),
        (["--part", "93C46"], "which channel is which line can't be told"),
        (["--part", "24C99"], "no part is called 24C99"),
    ],
)
def test_unusable_calls(words: list[str], message: str, tmp_path: Path) -> None:
    boot(tmp_path)
    run = romtool("capture", "boot.vcd", *words, cwd=tmp_path)
    assert run.returncode == 2
    assert message in " ".join(told(run).split())


def test_whatever_is_cut_off_a_capture_is_no_traceback(tmp_path: Path) -> None:
    """Every beginning of a capture is decoded, or refused in clear words."""
    bus = TwoWire(100_000, TwoWirePart(256, 8))
    bus.random_read(0x50, 0, 1)
    text = bus.lines.vcd()
    for size in range(0, len(text), 7):
        (tmp_path / "cut.vcd").write_text(text[:size], encoding="utf-8")
        run = romtool("capture", "cut.vcd", cwd=tmp_path)
        assert run.returncode in (0, 2), told(run)
        assert told(run) == "" or run.returncode == 2


# --- real captures: they stand outside the project, and where nobody says where, these skip -----

# The bus, its commands, bytes read of each part; nanoseconds to a sample.
REAL = {
    "two-wire-boot-read": ("two-wire", 3, {0x50: 8}, 250),
    "two-wire-power-up-and-writes": ("two-wire", 6, {0x50: 48}, 250),
    "three-wire-reads": ("three-wire", 470, {None: 256}, 125),
}


@pytest.mark.skipif(not CAPTURES, reason="ROMTOOL_CAPTURES names no folder of real captures")
@pytest.mark.parametrize("name", REAL)
def test_real_captures(name: str) -> None:
    """What is known of captures from real boards."""
    path = Path(CAPTURES or "") / f"{name}.vcd"
    bus, count, read, step = REAL[name]
    found = answer(path.parent, path.name)
    assert found["bus"] == bus
    assert len(found["commands"]) == count
    sizes = {
        part["part"]: sum(len(bytes.fromhex(run["bytes"])) for run in part["read"])
        for part in found["parts"]
    }
    assert sizes == read
    assert {one["severity"] for one in found["findings"]} <= {"note"}
    seen: list[bytes] = []
    if bus == "two-wire":
        seen = [transfer.data[1:] for transfer in two_wire_transfers(path, step)]
        own = [
            bytes([one["address"]] if one["kind"] != "read" and one["address"] is not None else [])
            + bytes.fromhex(one["bytes"])
            for one in found["commands"]
        ]
    else:
        words = [one["words"][:1] for one in three_wire_commands(path, 8, 16, step)]
        seen = [b"".join(word.to_bytes(2, "big") for word in one) for one in words]
        own = [bytes.fromhex(one["bytes"]) for one in found["commands"]]
    assert own == seen


@pytest.mark.bulk
@pytest.mark.parametrize("bus", ["two-wire", "three-wire"])
def test_a_long_capture_needs_little_memory(bus: str, tmp_path: Path) -> None:
    """100 MB in less than 150 MB of memory, the interpreter included."""
    path = tmp_path / "long.vcd"
    if bus == "two-wire":
        two = TwoWire(100_000, TwoWirePart(256, 8))
        for _ in range(60):
            two.random_read(0x50, 0, 256)
        text = two.lines.vcd(16)
    else:
        three = ThreeWire(100_000, ThreeWirePart(512, 16, 8))
        for address in range(256):
            three.command("read", address)
        text = three.lines.vcd(16)
    head, _, body = text.partition("#0\n")
    changes = [line for line in body.splitlines(keepends=True) if line[0] in "#01z"]
    last = int(next(line for line in reversed(changes) if line[0] == "#")[1:])
    with path.open("w", encoding="utf-8") as file:
        file.write(f"{head}#0\n{body}")
        offset = 0
        while file.tell() < 100_000_000:
            offset += last + 1000
            file.writelines(
                f"#{int(line[1:]) + offset}\n" if line[0] == "#" else line for line in changes
            )
    for words in ([], ["--json"]):
        run = subprocess.run(
            [Path(sys.executable).with_name("romtool"), "capture", str(path), *words],
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, timeout=600, check=False,
            preexec_fn=no_more_than(MEMORY, "RLIMIT_DATA"),
        )  # fmt: skip
        assert run.returncode == 0, run.stderr.decode()
