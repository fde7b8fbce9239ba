"""The table of speed in the README: every figure a ratio to something measured in the same run.

    python -m tests.benchmarks.table [FOLDER]

FOLDER is a virtual environment in which romtool is installed from a wheel, as the README's first
command does; left out, one is made. No test asserts a figure: they are here to be looked at.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import tempfile
import time
import venv
from collections.abc import Iterator
from pathlib import Path
from random import Random

from romtool.schema.checksums import lfsr8
from tests.benchmarks.card import IMAGE
from tests.benchmarks.paired import in_turns, peak, process, repeated
from tests.benchmarks.readers import CATALOG, READERS, by_romtool
from tests.support import independent as witness

ROOT = Path(__file__).parent.parent.parent
SAMPLE = ROOT / "samples" / "hollow-lane.toml"
FEW, MANY = 1000, 10000
"""Dumps that are checked at once."""

Row = tuple[str, str, float]


def readers() -> Iterator[Row]:
    """Yield what reading a card takes, against other readers of the same bytes."""
    what = f"decode {len(IMAGE)} bytes, both checksums, every value"
    for beside, reader in READERS.items():
        ratios = in_turns(
            {beside: repeated(reader), what: repeated(by_romtool)}, clock=time.process_time
        )
        yield what, beside, ratios[what]


def register() -> Iterator[Row]:
    """Yield what the identifier's checksum takes."""
    what, beside = "identifier checksum, by table", "the same, bit by bit"
    seed, taps = CATALOG.checksums["identifier"].seed, CATALOG.checksums["identifier"].taps
    data = bytes(range(8))
    ratios = in_turns(
        {
            beside: repeated(lambda: witness.identifier_checksum(data), 500),
            what: repeated(lambda: lfsr8(data, seed, taps), 500),
        },
        clock=time.process_time,
    )
    yield what, beside, ratios[what]


def starts(bin_: Path, folder: Path) -> Iterator[Row]:
    """Yield what whole processes take."""
    tool = str(bin_ / "romtool")
    beside = '`python -c "import click"`'
    image, other = str(folder / "card.bin"), str(folder / "other.bin")
    Path(image).write_bytes(IMAGE)
    Path(other).write_bytes(dump(serial=2))
    ratios = in_turns(
        {
            beside: process(str(bin_ / "python"), "-c", "import click"),
            "`romtool --help`": process(tool, "--help"),
            "`romtool inspect IMAGE`": process(tool, "inspect", image),
            "`romtool inspect IMAGE --json`": process(tool, "inspect", image, "--json"),
            "`romtool check IMAGE`": process(tool, "check", image),
            "`romtool verify IMAGE IMAGE`": process(tool, "verify", image, image),
            "`romtool diff A B`, another serial number": process(tool, "diff", image, other),
            "`romtool profile IMAGE`": process(tool, "profile", image),
        }
    )
    for what, ratio in ratios.items():
        if what != beside:
            yield what, beside, ratio


def series(bin_: Path, folder: Path) -> Iterator[Row]:
    """Yield what a series of serial numbers takes, against one card."""
    words = [str(bin_ / "romtool"), "build", str(SAMPLE), "--force", "-o", str(folder / "out")]
    what, beside = "`romtool build --serials 1-1000`", "`romtool build`, one card"
    ratios = in_turns({beside: process(*words), what: process(*words, "--serials", "1-1000")}, 5)
    yield what, beside, ratios[what]


def crowd(bin_: Path, folder: Path) -> Iterator[Row]:
    """Yield what many dumps take, in time and memory, against a tenth as many."""
    rng = Random(1)
    for count in (FEW, MANY):
        (folder / str(count)).mkdir()
        for number in range(count):
            serial = rng.getrandbits(31)
            data = dump(serial)
            (folder / str(count) / f"{number:05}.bin").write_bytes(data)
    tool = str(bin_ / "romtool")
    few, many = (peak([tool, "check", str(count)], folder) for count in (FEW, MANY))
    what, beside = f"`romtool check`, {MANY:,} dumps", f"{FEW:,} dumps"
    yield f"{what}: time", beside, many[0] / few[0]
    yield f"{what}: memory", beside, many[1] / few[1]


def dump(serial: int) -> bytes:
    """The card that is measured, with another serial number (Spec 6.1: bytes 4 to 8)."""
    at = 23  # the frame's bytes, from memory
    header = IMAGE[at : at + 4] + serial.to_bytes(4, "little")
    check = bytes([witness.identifier_checksum(header)])
    return IMAGE[:at] + header + check + IMAGE[at + 9 :]


def installed(folder: Path) -> Path:
    """Install romtool into a new environment, from a wheel; return where its programs are."""
    venv.create(folder, with_pip=True)
    pip = [str(folder / "bin" / "python"), "-m", "pip", "install", "--quiet"]
    subprocess.run([*pip, "--disable-pip-version-check", str(ROOT)], check=True)
    return folder / "bin"


def machine() -> str:
    """Say what it was measured on; no names."""
    python = f"{platform.python_implementation()} {platform.python_version()}"
    cores = os.cpu_count() or 1
    return f"{cores} core{'' if cores == 1 else 's'}, {platform.machine()}, {python}"


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        bin_ = (
            Path(sys.argv[1]).absolute() / "bin"
            if len(sys.argv) > 1
            else installed(folder / "venv")
        )
        print(f"Measured on {machine()}; medians of runs in turns.\n")
        print("| what takes how long | as a multiple of | |")
        print("| --- | --- | ---: |")
        for rows in (
            readers(), register(), starts(bin_, folder), series(bin_, folder), crowd(bin_, folder)
        ):  # fmt: skip
            for what, beside, ratio in rows:
                print(f"| {what} | {beside} | {ratio:.2f} |", flush=True)


if __name__ == "__main__":
    main()
