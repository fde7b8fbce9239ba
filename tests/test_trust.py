"""Inputs that nobody should give: each is answered with a result or with one clear line.

Invented data throughout. The first half runs the installed command with little memory; the second
calls every command on mutated files.
"""

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from romtool.cli import cli
from tests.support import amount
from tests.support.limits import little_more_memory
from tests.support.tool import CARD_ITEMS, PROFILE, copied, identifier, romtool, told

MEMORY = 200 << 20
"""Bytes that a run may take beside the tool and its libraries."""

IMAGE = identifier("QRL0301", 1) + CARD_ITEMS
CARD = '[card]\nid = "QRL0301"\n'
DEVICE = '[[device]]\nid = "QRL0001"\n'
SCHEMA = (Path(__file__).parents[1] / "samples/schemas/hollow-lane-24.toml").read_text()


def record(body: str) -> str:
    """Return an Intel HEX record with its checksum (Intel, Hexadecimal Object File Format)."""
    data = bytes.fromhex(body)
    return f":{body}{-sum(data) & 0xFF:02X}\n"


HEX_END = record("00000001")

MANY = 30_000 if amount.is_whole else 200
"""Of something wrong, this often: more than are told."""

LONG = 500_000 if amount.is_whole else 50_000
"""Characters of a piece that nobody would write."""

FULL = "{ io = 1, length = 1 }," * MANY if amount.is_whole else f'{{ name = "{"A" * 999}" }},' * 66
"""Entries for more bytes than an image of 64 KiB holds."""

LARGE = 50_000
"""Bytes of an input that costs each command much: two answer for all, but in a whole run."""

BAD: dict[str, tuple[str, bytes | str]] = {
    "an empty image": ("a.bin", b""),
    "an image of more than 64 KiB": ("a.bin", b"\0" * 0x10001),
    "HEX of more than 512 KiB": ("a.hex", HEX_END * 50_000),
    "HEX without an end record": ("a.hex", record("0100000000")),
    "HEX with a wrong sum": ("a.hex", ":0100000000FE\n" + HEX_END),
    "HEX cut in a record": ("a.hex", record("0400000000010203")[:-6] + "\n" + HEX_END),
    "HEX with a gap": ("a.hex", record("0100000000") + record("0100050000") + HEX_END),
    "HEX that overlaps": ("a.hex", record("0100000000") + record("0100000000") + HEX_END),
    "HEX above FFFFh": ("a.hex", record("02000004FFFF") + record("0100000000") + HEX_END),
    "HEX with an unknown record": ("a.hex", record("00000009") + HEX_END),
    "a HEX line of half a megabyte": ("a.hex", ":" + "0" * 500_000),
    "HEX with only an end": ("a.hex", HEX_END),
    "a colon": ("a.hex", ":"),
    "an S and a digit": ("a.s19", "S1"),
    "an S-record of half a megabyte": ("a.s19", "S1" + "F" * 500_000),
    "S-records without an end": ("a.s19", "S1040000FAF908\n"),
    "a listing without a row": ("a.txt", "000000 00 01 02 03 04 05 06 07\n000010 00\n"),
    "an array cut short": ("a.c", "char x[] = { 1, 2, 3, 4, 5, 6, 7, 8,\n"),
    "an empty profile": ("a.toml", ""),
    "a profile of more than 1 MiB": ("a.toml", "#" * (1 << 20) + "\n"),
    "10 MB of TOML": ("a.toml", "a = 1\n" * 1_700_000),
    "NUL in a profile": ("a.toml", CARD + "\0"),
    "a profile that is no UTF-8": ("a.toml", b'[card]\nname = "\xe9"\n'),
    "a profile in UTF-16": ("a.toml", CARD.encode("utf-16")),
    "carriage returns only": ("a.toml", CARD.replace("\n", "\r")),
    "lists, nested deep": ("a.toml", "x = " + "[" * LONG),
    "tables, nested deep": ("a.toml", "x = " + "{ a = " * (LONG // 8)),
    "a key of many parts": ("a.toml", "a" + ".a" * (LONG // 3) + " = 1"),
    "a header of many parts": ("a.toml", "[a" + ".a" * (LONG // 3) + "]"),
    "a number of many digits": ("a.toml", CARD + "serial = " + "9" * LONG),
    "a hex number of many digits": ("a.toml", CARD + "serial = 0x" + "9" * LONG),
    "a string without end": ("a.toml", CARD + 'name = "' + "a" * LONG),
    "a date for an ID": ("a.toml", "[card]\nid = 1994-05-05\n"),
    "infinity for a serial": ("a.toml", CARD + "serial = inf\n"),
    "half a surrogate in a name": ("a.toml", CARD + 'name = "\\ud800"\n'),
    "a line end in a name": ("a.toml", CARD + 'name = "a\\nb"\n'),
    "an escape in a key": ("a.toml", '"\\u001b[31m" = 1\n'),
    "many unknown keys": ("a.toml", "".join(f"k{n} = 1\n" for n in range(MANY))),
    "many wrong entries": (
        "a.toml",
        CARD + DEVICE + "resources = [" + "{ io = -1, length = 1 }," * MANY + "]\n",
    ),
    "more entries than any part holds": (
        "a.toml",
        CARD + DEVICE + "resources = [" + FULL + "]\n",
    ),
    "more entries than an image has bytes": (
        "a.toml",
        CARD + DEVICE + "resources = [" + "{}," * (350_000 if amount.is_whole else 70_000) + "]\n",
    ),
    "a size of billions": ("a.toml", "[image]\nsize = 99999999999\n" + CARD),
    "a tail at billions": (
        "a.toml",
        CARD + '[[image.tail]]\nat = 99999999999\nraw = "00"\n',
    ),
    "a billion lines of the bus": (
        "a.toml",
        CARD + DEVICE + "resources = [ { irq = [1000000000] } ]\n",
    ),
    "a fill that is no byte": ("a.toml", "[image]\nfill = 256\n" + CARD),
    "a layout with a path in it": ("a.toml", '[image]\nlayout = "../plain"\n' + CARD),
    "a table where a list belongs": ("a.toml", CARD + '[device]\nid = "QRL0001"\n'),
    "a list where a table belongs": ("a.toml", '[[card]]\nid = "QRL0301"\n'),
    "raw that is no hex": ("a.toml", '[image]\nraw = "0G"\n'),
    "raw beside a card": ("a.toml", '[image]\nraw = "00"\n' + CARD),
}


def run_small(*args: str, cwd: Path) -> subprocess.CompletedProcess[bytes]:
    """Run the command in a process with little memory."""
    return copied(*args, cwd=cwd, before=little_more_memory(MEMORY))


def content(data: bytes | str) -> bytes:
    return data if isinstance(data, bytes) else data.encode()


@pytest.mark.parametrize("case", BAD)
def test_a_bad_input_is_told_in_clear_lines(case: str, tmp_path: Path) -> None:
    name, data = BAD[case]
    (tmp_path / name).write_bytes(content(data))
    run = run_small("check", name, cwd=tmp_path)
    lines = told(run).splitlines()
    assert run.returncode == 2, lines
    assert run.stdout == b""
    assert 1 <= len(lines) <= 51
    assert all(line.startswith(f"romtool: {name}") for line in lines[:50]), lines
    assert all(line.isprintable() and ";" in line for line in lines), lines


@pytest.mark.parametrize("case", BAD)
def test_a_bad_input_is_refused_by_every_command(case: str, tmp_path: Path) -> None:
    name, data = BAD[case]
    (tmp_path / name).write_bytes(content(data))
    small = amount.is_whole or len(content(data)) < LARGE
    for command in READERS if small else READERS[:2]:
        if command == ("build",) and not name.endswith(".toml"):
            continue
        result = CliRunner().invoke(cli, placed(command, tmp_path / name))
        clean(result.exit_code, result.stderr, result.exception)
        gap = "gap" in case and command == ("recover",)
        assert result.exit_code == (1 if gap else 2), (command, result.stderr)


def test_no_memory_left_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Whatever took it: one line, and no traceback."""

    def read(*_: object, **__: object) -> bytes:
        raise MemoryError

    (tmp_path / "a.bin").write_bytes(IMAGE)
    monkeypatch.setattr("romtool.files.inputs.read_bytes", read)
    run = romtool("check", "a.bin", cwd=tmp_path)
    assert (run.returncode, run.stdout) == (2, b"")
    assert told(run).startswith("romtool: not enough memory; ")


READERS: list[tuple[str, ...]] = [
    ("build",),
    ("inspect",),
    ("inspect", "--bytes"),
    ("check",),
    ("profile",),
    ("recover",),
    ("verify", "{0}", "{0}"),
    ("diff", "{0}", "{0}"),
    ("survey", "{0}", "{0}"),
    ("survey", "--csv"),
    ("schema", "draft"),
    ("assign",),
    ("rehearse",),
    ("rehearse", "--trace"),
    ("report", "-o", "{1}", "--force", "{0}"),
]
"""The commands that read an image or a profile.

`{0}` stands for it, last where it isn't said; `{1}` for a file beside it.
"""


def placed(command: tuple[str, ...], file: Path) -> list[str]:
    """Return a command with its input in its place."""
    full = command if "{0}" in command else (*command, "{0}")
    return [arg.format(file, file.with_suffix(".html")) for arg in full]


def clean(code: int, stderr: str, exception: BaseException | None) -> None:
    """Assert that a command ended as the contract says, and told what is wrong in lines."""
    assert exception is None or isinstance(exception, SystemExit), repr(exception)
    assert code in (0, 1, 2)
    assert "Traceback" not in stderr
    if code == 2:
        lines = stderr.splitlines()
        assert lines and all(line.startswith("romtool: ") for line in lines), stderr


def hex_text(data: bytes) -> str:
    """Return bytes as Intel HEX, made here."""
    rows = (data[at : at + 16] for at in range(0, len(data), 16))
    body = [
        record(f"{len(row):02X}{16 * n:04X}00{row.hex().upper()}") for n, row in enumerate(rows)
    ]
    return "".join(body) + HEX_END


def srec_text(data: bytes) -> str:
    """Return bytes as S-records, made here."""
    lines = []
    for at in range(0, len(data), 16):
        row = bytes([len(data[at : at + 16]) + 3, *at.to_bytes(2, "big"), *data[at : at + 16]])
        lines.append(f"S1{row.hex().upper()}{~sum(row) & 0xFF:02X}\n")
    return "".join(lines) + "S9030000FC\n"


def listing(data: bytes) -> str:
    """Return bytes as rows with addresses, made here."""
    rows = range(0, len(data), 16)
    return "".join(f"{at:06x} {data[at : at + 16].hex(' ')}\n" for at in rows)


GOOD: dict[str, tuple[str, bytes]] = {
    "raw": ("a.bin", IMAGE),
    "hex": ("a.hex", hex_text(IMAGE).encode()),
    "srec": ("a.s19", srec_text(IMAGE).encode()),
    "toml": ("a.toml", PROFILE.encode()),
    "listing": ("a.txt", listing(IMAGE).encode()),
}
MUTATED = [
    (kind, one) for kind in GOOD for one in READERS if kind != "listing" or one == ("check",)
]
"""All commands read an input alike: one is enough for what is another form of HEX."""


@st.composite
def mutated(draw: st.DrawFn, seed: bytes) -> bytes:
    """Return a file with pieces cut out, doubled, swapped or overwritten."""
    data = bytearray(seed)
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(data)))
        end = min(len(data), at + draw(st.integers(0, 30)))
        piece = draw(
            st.one_of(
                st.binary(max_size=6),
                st.sampled_from(
                    [
                        b"",
                        b"\n",
                        b"[[device]]\n",
                        b"{",
                        b"]",
                        b"= -1",
                        b'"',
                        b"99999999999",
                        b"\xff",
                    ]
                ),
                st.just(bytes(data[at:end]) * 2),
            )
        )
        data[at:end] = piece
    return bytes(data)


def tries(count: int) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Settings for so many examples, a few of them in the usual run."""
    return settings(
        max_examples=count if amount.is_whole else count // 4,
        deadline=None,
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    )


@pytest.mark.parametrize(("kind", "command"), MUTATED)
@tries(25)
@given(draws=st.data())
def test_a_mutated_file_gives_a_result_or_a_line(
    kind: str, command: tuple[str, ...], draws: st.DataObject, tmp_path: Path
) -> None:
    name, seed = GOOD[kind]
    file = tmp_path / name
    file.write_bytes(draws.draw(mutated(seed)))
    args = placed(command, file)
    if command[0] == "build":
        args += ["-o", str(tmp_path / "out"), "--force"]
    result = CliRunner().invoke(cli, args)
    clean(result.exit_code, result.stderr, result.exception)


@tries(60)
@given(draws=st.data())
def test_a_mutated_schema_gives_a_result_or_a_line(draws: st.DataObject, tmp_path: Path) -> None:
    file = tmp_path / "schema.toml"
    file.write_bytes(draws.draw(mutated(SCHEMA.encode())))
    result = CliRunner().invoke(cli, ["schema", "lint", str(file)])
    clean(result.exit_code, result.stderr, result.exception)


HOST = """
name = "PC"
irq = [0, 1, 2, 8, 13]
dma = [2, 4]
io = [ { base = 0x3F8, length = 8, decode = 16 }, { base = "2F8h", length = 8 } ]
memory = [ { base = 0xA0000, length = 0x20000 } ]
"""


@tries(60)
@given(draws=st.data())
def test_a_mutated_host_gives_a_result_or_a_line(draws: st.DataObject, tmp_path: Path) -> None:
    file, image = tmp_path / "host.toml", tmp_path / "a.bin"
    file.write_bytes(draws.draw(mutated(HOST.encode())))
    image.write_bytes(IMAGE)
    result = CliRunner().invoke(cli, ["assign", str(image), "--host", str(file)])
    clean(result.exit_code, result.stderr, result.exception)
