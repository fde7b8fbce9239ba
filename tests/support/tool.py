"""Run the tool as its users do, find outside programs, and make small images by hand.

Nothing here comes from the tool's own code: what it writes is compared with bytes made here, and
against programs by other hands.
"""

import importlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any, NoReturn

import pytest

from tests.support import in_process

# Debian packages of the outside programs, for the reason of a skip.
_PACKAGES = {
    "bash": "bash",
    "fish": "fish",
    "hexdump": "bsdextrautils",
    "iasl": "acpica-tools",
    "objcopy": "binutils",
    "srec_cat": "srecord",
    "srec_info": "srecord",
    "chromium": "chromium",
    "chromedriver": "chromium-driver",
    "od": "coreutils",
    "xxd": "xxd",
    "sigrok-cli": "sigrok-cli",
    "zsh": "zsh",
}

# A card of invented data that has no faults. `[image]` comes first, so that a test can put another
# one before CARD.
CARD = """\
[card]
id = "QRL0301"
serial = 1
name = "Hollow Lane audio card"

[[device]]
id = "QRL0001"
name = "Digital audio"
resources = [ { dma = [0, 1, 3] } ]

[[device.choice]]
priority = "good"
resources = [ { io = 0x220, length = 16 }, { irq = [5] } ]

[[device.choice]]
priority = "acceptable"
resources = [ { io = [0x240, 0x280], align = 0x20, length = 16 }, { irq = [5, 7, 9, 10] } ]
"""
PROFILE = '[image]\npart = "24C02"\n\n' + CARD

# The same card as bytes, from its version item to the end item, whose checksum 00h means "not
# checked" (Plug and Play ISA Specification 1.0a, 6.2.2.11).
CARD_ITEMS = bytes.fromhex(
    "0A 10 00 82 16 00"
    + b"Hollow Lane audio card".hex()
    + "15 46 4C 00 01 00 82 0D 00"
    + b"Digital audio".hex()
    + "2A 0B 00"
    "31 00 47 01 20 02 20 02 01 10 22 20 00"
    "31 01 47 01 40 02 80 02 20 10 22 A0 06"
    "38 79 00"
)


def romtool(
    *args: str | bytes,
    stdin: bytes | None = None,
    cwd: Path | None = None,
    env: dict[str, str] | None = None,
) -> subprocess.CompletedProcess[bytes]:
    """Call the command line in this process; `env` is added to the environment.

    ROMTOOL_SCHEMAS is left out. The answer is that of the installed command (`started`), as far as
    no process is needed to show it.
    """
    return in_process.call(args, stdin=stdin or b"", cwd=cwd, env=env)


def started(
    *args: str | bytes,
    stdin: bytes | None = None,
    cwd: Path | None = None,
    env: dict[str, str] | None = None,
) -> subprocess.CompletedProcess[bytes]:
    """Start the `romtool` that is installed beside this Python; else as `romtool`.

    The time limit only ends a run that hangs.
    """
    return subprocess.run(
        [program(), *args],
        input=b"" if stdin is None else stdin,
        capture_output=True,
        cwd=cwd,
        env={key: value for key, value in os.environ.items() if key != "ROMTOOL_SCHEMAS"}
        | (env or {}),
        timeout=300,
        check=False,
    )


def copied(
    *args: str,
    before: Callable[[], object] = lambda: None,
    env: dict[str, str] | None = None,
    **streams: Any,
) -> subprocess.CompletedProcess[bytes]:
    """Run the command to its end in a copy of this process, where `before` runs first.

    `streams` are those of Popen: standard input is empty, and what is said is caught, unless they
    say otherwise. The time limit only ends a run that hangs.
    """
    ends = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    with in_process.copied(args, before=before, env=env, **{**ends, **streams}) as process:
        try:
            out, err = process.communicate(timeout=600)
        except BaseException:
            process.kill()
            raise
    return subprocess.CompletedProcess(args, process.returncode, out, err)


def program() -> str:
    """The installed command's path."""
    folder = Path(sys.executable).parent
    found = shutil.which("romtool", path=str(folder))
    if found is None:
        pytest.fail(f"romtool is not installed in {folder} (pip install -e .)")
    return found


def told(run: subprocess.CompletedProcess[bytes]) -> str:
    """What a run said on standard error, which is never a traceback."""
    text = run.stderr.decode()
    assert "Traceback" not in text, text
    return text


def inspected(*args: str, stdin: bytes | None = None, cwd: Path | None = None) -> dict[str, Any]:
    """The document of `romtool inspect --json`, which could decode what it was given."""
    run = romtool("inspect", "--json", *args, stdin=stdin, cwd=cwd)
    assert run.returncode == 0, told(run)
    document = json.loads(run.stdout)
    assert isinstance(document, dict)
    return document


def built(profile: str, folder: Path, *options: str) -> bytes:
    """The .bin that `romtool build` writes into the folder from a profile named card.toml there."""
    source = folder / "card.toml"
    source.write_text(profile, encoding="utf-8", newline="\n")
    run = romtool("build", str(source), "-o", str(folder), "--force", *options)
    assert run.returncode == 0, told(run)
    return (folder / "card.bin").read_bytes()


def need(program: str) -> str:
    """The path of an outside program; without it the test is skipped, or fails in CI."""
    path = shutil.which(program)
    if path is None:
        _missing(f"{program} (Debian {_PACKAGES.get(program, program)}) is not installed")
    return path


def need_module(name: str) -> ModuleType:
    """A Python module that only tests use; without it the test is skipped, or fails in CI."""
    try:
        return importlib.import_module(name)
    except ModuleNotFoundError as error:
        if error.name != name.partition(".")[0]:
            raise
        _missing(f"{name} (PyPI) is not installed")


def _missing(reason: str) -> NoReturn:
    if os.environ.get("ROMTOOL_CI") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


def packed_id(text: str) -> bytes:
    """Three letters of 5 bits and four hex digits (Plug and Play ISA Specification 1.0a, 6.1)."""
    first, second, third = (ord(letter) - ord("@") for letter in text[:3])
    return (first << 10 | second << 5 | third).to_bytes(2, "big") + bytes.fromhex(text[3:])


def identifier_checksum(data: bytes) -> int:
    """The shift register that runs over an identifier's first 8 bytes (the same, App. B.2)."""
    register = 0x6A
    for bit in (byte >> place & 1 for byte in data for place in range(8)):
        register = register >> 1 | ((register ^ register >> 1 ^ bit) & 1) << 7
    return register


def identifier(card: str, serial: int) -> bytes:
    """The 9 bytes that begin a card's data (the same, 6.1)."""
    data = packed_id(card) + serial.to_bytes(4, "little")
    return data + bytes([identifier_checksum(data)])


def items(data: bytes) -> list[bytes]:
    """The items, end item included, that begin with the first byte (the same, 6.2)."""
    found: list[bytes] = []
    at = 0
    while not found or found[-1][0] >> 3 != 0x0F:
        assert at < len(data), f"no end item in {data.hex(' ')}"
        if data[at] & 0x80:
            length = 3 + int.from_bytes(data[at + 1 : at + 3], "little")
        else:
            length = 1 + (data[at] & 7)
        found.append(data[at : at + length])
        at += length
    return found
