"""The installed command as its users meet it: a process, its answers, its exit codes.

What is asked here is the contract of the command line: messages, exit codes, files written whole
or not at all, JSON of a fixed shape. The bytes come from samples/, which other tests hold against
the independent witness; offsets are counted by hand.
"""

from __future__ import annotations

import contextlib
import hashlib
import html
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import click
import pytest

from romtool import __version__
from romtool.cli import COMMANDS, cli
from tests.support import in_process
from tests.support.limits import no_more_than
from tests.support.tool import (
    CARD,
    PROFILE,
    built,
    copied,
    identifier_checksum,
    inspected,
    need,
    packed_id,
    romtool,
    told,
)

Table = dict[str, Any]

ROOT = Path(__file__).resolve().parent.parent
SAMPLES = ROOT / "samples"
SAMPLE = SAMPLES / "hollow-lane.toml"
TOOL = Path(sys.executable).with_name("romtool")
LISTED = [entry.name for entry in sorted(SAMPLES.glob("*.toml"))]

# In the image of samples/hollow-lane.toml, counted by hand: 4 bytes of signature and count, 19
# configuration bytes, then the identifier (Spec 6.1) at 17h.
IRQ_WIRING_AT = 0x12
SERIAL_AT = 0x1B
ID_CHECKSUM_AT = 0x1F
END_CHECKSUM_AT = 0x110  # the last byte of the PnP data; its count is FAh
FILL_AT = 0x1F4


@pytest.fixture(scope="module")
def image(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The image of samples/hollow-lane.toml."""
    folder = tmp_path_factory.mktemp("image")
    run = romtool("build", str(SAMPLE), "-o", str(folder))
    assert run.returncode == 0, told(run)
    data = (folder / "hollow-lane.bin").read_bytes()
    assert len(data) == 512
    # Spec 6.2.2.11: the end item and its checksum stand where the tests say.
    assert data[END_CHECKSUM_AT - 1] == 0x79
    assert sum(data[ID_CHECKSUM_AT + 1 : END_CHECKSUM_AT + 1]) % 256 == 0
    return data


@pytest.fixture
def desk(tmp_path: Path, image: bytes) -> Path:
    """A folder with the sample's image, another copy of it, and a spoilt one."""
    (tmp_path / "card.bin").write_bytes(image)
    (tmp_path / "twin.bin").write_bytes(image)
    (tmp_path / "spoilt.bin").write_bytes(flip(image, ID_CHECKSUM_AT))
    return tmp_path


def flip(data: bytes, *offsets: int) -> bytes:
    """The bytes with the lowest bit of some of them turned over."""
    out = bytearray(data)
    for offset in offsets:
        out[offset] ^= 1
    return bytes(out)


def swapped(data: bytes) -> bytes:
    """The bytes with each pair swapped."""
    return b"".join(data[at : at + 2][::-1] for at in range(0, len(data), 2))


def problem_lines(run: subprocess.CompletedProcess[bytes]) -> list[str]:
    """The lines of standard error, each of which is one whole message."""
    lines = told(run).splitlines()
    for line in lines:
        assert line.startswith("romtool: "), line
        assert len(line) < 500, line
        assert "\x1b" not in line
    return lines


def refused(run: subprocess.CompletedProcess[bytes], *words: str) -> str:
    """The one line of a run that could not use its call or input."""
    assert run.returncode == 2, told(run)
    assert run.stdout == b""
    (line,) = problem_lines(run)
    assert "; " in line, line  # what is wrong; what to do
    for word in words:
        assert word in line, line
    return line


def document(run: subprocess.CompletedProcess[bytes]) -> Any:
    """The one JSON document on standard output."""
    text = run.stdout.decode()
    assert "\x1b" not in text
    return json.loads(text)


def names_in(folder: Path) -> list[str]:
    """Everything in a folder, drafts included."""
    return sorted(entry.name for entry in folder.iterdir())


# --- help, version, calls that make no sense


def paths(command: click.Command, path: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """A command's own path and those of its subcommands."""
    yield path
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            inner = command.get_command(context, name)
            assert inner is not None
            yield from paths(inner, (*path, name))


def commands_below(name: str) -> list[tuple[str, ...]]:
    """One of the tool's commands and its subcommands."""
    command = cli.get_command(click.Context(cli), name)
    assert command is not None
    return list(paths(command, (name,)))


def example_of(text: str) -> str:
    """The command line that a help text gives as an example; it may be wrapped."""
    found = re.search(r"^ *Example: (.+(?:\n +\S.*)*)", text, re.MULTILINE)
    assert found, text
    return " ".join(found[1].split())


def test_help() -> None:
    """The list of commands, each with a line of its own, in 80 columns."""
    for option in ("--help", "-h"):
        run = romtool(option)
        assert run.returncode == 0, told(run)
        text = run.stdout.decode()
        for name in COMMANDS:
            assert re.search(rf"^  {name}  +\S", text, re.MULTILINE), name
        assert max(map(len, text.splitlines())) <= 80


def test_help_by_stage() -> None:
    """Each stage of the job with its commands, in the order of the job."""
    text = romtool("--help").stdout.decode()
    stages = re.findall(r"(?m)^(Make|Read|Check|In the PC|At the bench):\n((?:  [a-z].*\n)+)", text)
    assert [stage for stage, _ in stages] == ["Make", "Read", "Check", "In the PC", "At the bench"]
    listed = [line.split()[0] for _, lines in stages for line in lines.splitlines()]
    assert listed == list(COMMANDS)


@pytest.mark.parametrize(
    ("words", "meant"),
    [(("biuld", "card.toml"), "build"), (("schema", "shwo"), "show"), (("reherse",), "rehearse")],
)
def test_misspelt_command(words: tuple[str, ...], meant: str) -> None:
    """The nearest one is asked about."""
    run = romtool(*words)
    assert run.returncode == 2
    assert f"; did you mean {meant}? See romtool" in told(run)


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_each_command(name: str) -> None:
    """Every command and subcommand has help with an example of itself."""
    for path in commands_below(name):
        for option in ("--help", "-h"):
            run = romtool(*path, option)
            assert run.returncode == 0, told(run)
            text = run.stdout.decode()
            assert text.startswith(f"Usage: romtool {' '.join(path)} "), text
            assert max(map(len, text.splitlines())) <= 80
            example = shlex.split(example_of(text))
            assert example[: len(path) + 1] == ["romtool", *path]


@pytest.mark.parametrize("name", COMMANDS)
def test_examples_run(name: str, tmp_path: Path, image: bytes) -> None:
    """The examples of the help do what they say, with the files that they name at hand."""
    shutil.copytree(SAMPLES, tmp_path / "samples")
    for path in commands_below(name):
        words = shlex.split(example_of(romtool(*path, "--help").stdout.decode()))[1:]
        if ">" in words:
            words = words[: words.index(">")]
        known = True
        for before, word in zip(["", *words], words, strict=False):
            file = tmp_path / word
            if before in ("-o", "--output") or file.exists() or path == ("new",):
                continue
            if word.endswith((".bin", ".rom")):
                file.write_bytes(image)
            elif word.endswith(".toml"):
                own = "schemas/hollow-lane-24.toml" if "lint" in path else Path(word).name
                known = known and (SAMPLES / own).exists()
                if (SAMPLES / own).exists():
                    shutil.copy(SAMPLES / own, file)
            elif word.endswith(".vcd"):
                known = False
            elif word.endswith("/"):
                file.mkdir()
                (file / "donor.bin").write_bytes(image)
        run = romtool(*words, cwd=tmp_path)
        text = told(run)
        if known:
            assert run.returncode == 0, (words, text)
        else:  # the file that it names is the reader's own: the call is right all the same
            assert "--help" not in text, (words, text)


def test_version() -> None:
    """The version is the package's."""
    run = romtool("--version")
    assert run.returncode == 0
    assert run.stdout.decode().split()[-1] == __version__


@pytest.mark.parametrize(
    "words",
    [
        ("burn",),
        ("schema", "burn"),
        ("--burn",),
        ("inspect", "--burn", "x.bin"),
        ("inspect",),
        ("verify", "one.bin"),
        ("build", "a.toml", "b.toml"),
        ("inspect", "--input", "elf", "x.bin"),
        ("build", "a.toml", "--format", "bin,elf"),
        ("build", "a.toml", "--serials", "many"),
        ("build", "a.toml", "--serials", "9-7"),
        ("build", "a.toml", "--serials", "-1"),
        ("build", "a.toml", "--serials", "4294967295"),  # means: no serial number (Spec 6.1)
        ("build", "a.toml", "--serials", "4294967294-4294967295"),
    ],
    ids=" ".join,
)
def test_unusable_calls(words: tuple[str, ...], tmp_path: Path) -> None:
    """One line that says what is wrong, and where help is; exit code 2, nothing written."""
    run = romtool(*words, cwd=tmp_path)
    assert "--help" in refused(run)
    assert names_in(tmp_path) == []


@pytest.mark.parametrize("words", [(), ("schema",)], ids=["romtool", "romtool schema"])
def test_no_command(words: tuple[str, ...]) -> None:
    """Without a command: the help as it is, or one short line; never the help in one line."""
    run = romtool(*words)
    text = told(run) + run.stdout.decode()
    assert run.returncode in (0, 2)
    assert "romtool" in text
    assert max(map(len, text.splitlines())) <= 120, text


@pytest.mark.parametrize("command", ["inspect", "check", "profile"])
@pytest.mark.parametrize(
    ("option", "value"), [("--layout", "counted-20"), ("--part", "24C99"), ("--schemas", "gone")]
)
def test_unknown_names(command: str, option: str, value: str, desk: Path) -> None:
    """A layout, a part or a folder that isn't there: exit code 2, and the name."""
    refused(romtool(command, "card.bin", option, value, cwd=desk), value)


@pytest.mark.parametrize("command", ["inspect", "check", "profile"])
def test_wrong_part(command: str, desk: Path) -> None:
    """A part of another size than the image's."""
    refused(romtool(command, "card.bin", "--part", "24C02", cwd=desk), "512", "256", "24C02")


def test_part_settles_the_part(desk: Path) -> None:
    """Two parts have 512 bytes: null, unless one is named, in either case."""
    assert inspected("card.bin", cwd=desk)["part"] is None
    for name in ("93C66", "93c66"):
        assert inspected("card.bin", "--part", name, cwd=desk)["part"] == "93C66"


# --- inputs


@pytest.mark.parametrize("command", ["inspect", "check"])
def test_several_images(command: str, desk: Path) -> None:
    """Several IMAGEs make a list of files, in the order of the call, each as it would be alone."""
    names = ["twin.bin", "spoilt.bin", "card.bin"]
    run = romtool(command, "--json", *names, cwd=desk)
    assert run.returncode == (1 if command == "check" else 0), told(run)
    answer = document(run)
    assert list(answer) == ["files"]
    assert [one["file"] for one in answer["files"]] == names
    for name, one in zip(names, answer["files"], strict=True):
        assert document(romtool(command, "--json", name, cwd=desk)) == one


@pytest.mark.parametrize("command", ["inspect", "check"])
def test_folder(command: str, desk: Path) -> None:
    """A folder stands for the images and profiles in it, and nothing else that is there."""
    (desk / "notes.txt").write_text("not an image")
    shutil.copy(SAMPLE, desk / "card.toml")
    answer = document(romtool(command, "--json", str(desk)))
    found = [Path(one["file"]).name for one in answer["files"]]
    assert found == ["card.bin", "card.toml", "spoilt.bin", "twin.bin"]
    text = romtool(command, str(desk)).stdout.decode()
    assert all(name in text for name in found)


def test_folder_of_one(tmp_path: Path, image: bytes) -> None:
    """A folder may hold one image today and two tomorrow: a script finds a list either way."""
    (tmp_path / "card.bin").write_bytes(image)
    answer = document(romtool("inspect", "--json", str(tmp_path)))
    assert [one["layout"] for one in answer["files"]] == ["counted-19"]


def test_folder_of_none(tmp_path: Path) -> None:
    """A folder without images is told so."""
    refused(romtool("inspect", str(tmp_path)), str(tmp_path), "no image")


def test_samples_folder() -> None:
    """The samples all check out, as a folder."""
    run = romtool("check", "--json", str(SAMPLES))
    assert run.returncode == 0, told(run)
    answer = document(run)
    assert [Path(one["file"]).name for one in answer["files"]] == LISTED


@pytest.mark.parametrize("kind", ["raw", "hex", "srec", "listing", "toml"])
def test_standard_input(kind: str, tmp_path: Path, image: bytes) -> None:
    """`-` is standard input, of each kind that --input can force."""
    run = romtool("build", str(SAMPLE), "-o", str(tmp_path), "--format", "bin,hex,srec")
    assert run.returncode == 0, told(run)
    (tmp_path / "hollow-lane.txt").write_text(image.hex(" ", 2))
    source = {
        "raw": tmp_path / "hollow-lane.bin",
        "hex": tmp_path / "hollow-lane.hex",
        "srec": tmp_path / "hollow-lane.srec",
        "listing": tmp_path / "hollow-lane.txt",
        "toml": SAMPLE,
    }[kind]
    answer = inspected("-", "--input", kind, stdin=source.read_bytes())
    assert (answer["layout"], answer["size"]) == ("counted-19", 512)
    assert answer["card"]["id"] == "QRL0301"
    assert answer["part"] == ("24C04" if kind == "toml" else None)
    # What isn't forced is told by the content.
    assert inspected("-", stdin=source.read_bytes()) == answer
    assert inspected(str(source))["devices"] == answer["devices"]
    # A text of records taken as raw bytes is another image.
    forced = inspected("-", "--input", "raw", stdin=source.read_bytes())
    assert forced["size"] == source.stat().st_size


@pytest.mark.parametrize("kind", ["hex", "srec", "toml"])
def test_standard_input_of_another_kind(kind: str, image: bytes) -> None:
    """A kind that the input isn't: exit code 2, and what to call it."""
    refused(romtool("inspect", "-", "--input", kind, stdin=image), "standard input")


def test_verify_from_standard_input(desk: Path, image: bytes) -> None:
    """A readback may come down a pipe."""
    assert romtool("verify", "-", "card.bin", stdin=image, cwd=desk).returncode == 0
    assert romtool("verify", "-", "card.bin", stdin=flip(image, 3), cwd=desk).returncode == 1


def test_build_from_standard_input(tmp_path: Path, image: bytes) -> None:
    """A profile too."""
    run = romtool("build", "-", "-o", str(tmp_path), stdin=SAMPLE.read_bytes())
    assert run.returncode == 0, told(run)
    assert [path.read_bytes() for path in tmp_path.glob("*.bin")] == [image]


COMMANDS_OF_IMAGES = ["inspect", "check", "profile", "verify"]


def call(command: str, name: str, folder: Path) -> subprocess.CompletedProcess[bytes]:
    """Run a command on an image; verify holds it against the sample."""
    more = [str(SAMPLE)] if command == "verify" else []
    return romtool(command, name, *more, cwd=folder)


@pytest.mark.parametrize("command", COMMANDS_OF_IMAGES)
def test_missing_file(command: str, tmp_path: Path) -> None:
    """A file that isn't there is named."""
    refused(call(command, "gone.bin", tmp_path), "gone.bin", "no such file")


ANSWERS = {
    "build": [], "inspect": [], "recover": [], "check": [], "assign": [], "rehearse": [],
    "capture": [], "diff": ["gone.bin"], "verify": [str(SAMPLE)],
    "diagnose": ["--symptom", "no-dma"],
}  # fmt: skip


@pytest.mark.parametrize("command", ANSWERS)
def test_missing_file_in_json(command: str, tmp_path: Path) -> None:
    """Standard output is one JSON document all the same, and says what the message says."""
    run = romtool(command, "gone.bin", *ANSWERS[command], "--json", cwd=tmp_path)
    assert run.returncode == 2
    answer = json.loads(run.stdout)
    assert answer["file"] == "gone.bin"
    assert told(run) == f"romtool: {answer['error']}\n"


@pytest.mark.parametrize("command", ["assign", "rehearse"])
def test_json_says_which_of_several_inputs_a_card_is(command: str, tmp_path: Path) -> None:
    """`card` counts all inputs, those that can't be used as well."""
    (tmp_path / "a.toml").write_text(PROFILE)
    (tmp_path / "b.toml").write_text(PROFILE.replace("serial = 1", "serial = 2"))
    (tmp_path / "empty").mkdir()
    names = ("gone.bin", "a.toml", "empty", "b.toml")
    run = romtool(command, *names, "--json", "--expect", "dos-games", cwd=tmp_path)
    assert run.returncode == 2
    answer = json.loads(run.stdout)
    files = answer["files"]
    assert [one["file"] for one in files] == ["empty", "gone.bin", "a.toml", "b.toml"]
    assert [one["file"] for one in files if "error" in one] == ["empty", "gone.bin"]
    cards = answer["cards" if command == "rehearse" else "devices"]
    for rows in (cards, answer["functions"]):
        assert list(dict.fromkeys(row["card"] for row in rows)) == [2, 3]
    run = romtool(command, "gone.bin", "lost.bin", "--json", cwd=tmp_path)
    assert [one["file"] for one in json.loads(run.stdout)["files"]] == ["gone.bin", "lost.bin"]


@pytest.mark.parametrize("command", COMMANDS_OF_IMAGES)
@pytest.mark.parametrize("name", ["empty.bin", "empty.hex", "empty.toml"])
def test_empty_file(command: str, name: str, tmp_path: Path) -> None:
    """An image has at least one byte; an empty profile has no card."""
    (tmp_path / name).write_bytes(b"")
    refused(call(command, name, tmp_path), name)


@pytest.mark.parametrize("command", COMMANDS_OF_IMAGES)
def test_one_byte(command: str, tmp_path: Path) -> None:
    """One byte is an image, if one without a layout."""
    (tmp_path / "one.bin").write_bytes(b"\x55")
    expected = {"inspect": 0, "profile": 0, "check": 1, "verify": 1}
    assert call(command, "one.bin", tmp_path).returncode == expected[command]


@pytest.mark.parametrize("command", ["profile", "verify"])
def test_folder_where_a_file_belongs(command: str, tmp_path: Path) -> None:
    """Where one image is wanted, a folder is refused by name."""
    (tmp_path / "images").mkdir()
    refused(call(command, "images", tmp_path), "images", "folder")


@pytest.mark.parametrize("command", COMMANDS_OF_IMAGES)
def test_binary_too_long(command: str, tmp_path: Path) -> None:
    """A binary of 64 KiB is read, one byte more is not."""
    (tmp_path / "long.bin").write_bytes(b"\xff" * 65536)
    assert call(command, "long.bin", tmp_path).returncode in (0, 1)
    (tmp_path / "long.bin").write_bytes(b"\xff" * 65537)
    refused(call(command, "long.bin", tmp_path), "long.bin", "65537", "65536")


def padded(text: bytes, size: int) -> bytes:
    """A text with empty lines after it."""
    return text.ljust(size, b"\n")


@pytest.mark.parametrize("kind", ["hex", "srec"])
def test_records_too_long(kind: str, tmp_path: Path) -> None:
    """A text of records of 512 KiB is read, one byte more is not."""
    run = romtool("build", str(SAMPLE), "-o", str(tmp_path), "--format", kind)
    assert run.returncode == 0, told(run)
    file = tmp_path / f"hollow-lane.{kind}"
    text = file.read_bytes()
    file.write_bytes(padded(text, 512 << 10))
    assert inspected(str(file))["size"] == 512
    file.write_bytes(padded(text, (512 << 10) + 1))
    refused(romtool("inspect", str(file)), file.name, "512 KiB")
    run = romtool("inspect", "-", stdin=file.read_bytes())
    refused(run, "standard input", "512 KiB")


def test_profile_too_long(tmp_path: Path) -> None:
    """A profile of 1 MiB is read, one byte more is not."""
    file = tmp_path / "card.toml"
    file.write_bytes(padded(SAMPLE.read_bytes(), 1 << 20))
    assert inspected(str(file))["size"] == 512
    file.write_bytes(padded(SAMPLE.read_bytes(), (1 << 20) + 1))
    refused(romtool("inspect", str(file)), "card.toml", "1 MiB")
    refused(romtool("build", str(file), "-o", str(tmp_path)), "card.toml", "1 MiB")
    assert names_in(tmp_path) == ["card.toml"]


@pytest.mark.parametrize("name", ["huge.bin", "huge.hex", "huge.toml"])
def test_huge_file_is_not_read(name: str, tmp_path: Path) -> None:
    """Eight GiB that take no room on the disk are refused by their size alone."""
    with (tmp_path / name).open("wb") as file:
        file.truncate(8 << 30)
    refused(romtool("inspect", name, cwd=tmp_path), name, str(8 << 30))


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="this system has no /dev/zero")
def test_endless_input() -> None:
    """Standard input that never ends is given up at the limit."""
    with Path("/dev/zero").open("rb") as endless:
        run = copied("inspect", "-", stdin=endless)
    refused(run, "standard input")


def test_offset_is_said(tmp_path: Path, image: bytes) -> None:
    """A first address above 0 is taken as an offset: a note beside the answer, not in it."""
    # By hand: 16 bytes at 8000h; Intel, Hexadecimal Object File Format Specification, Rev. A, 1988.
    record = bytes([16, 0x80, 0x00, 0x00]) + image[:16]
    line = f":{record.hex().upper()}{-sum(record) & 0xFF:02X}\n:00000001FF\n"
    (tmp_path / "moved.hex").write_text(line)
    run = romtool("inspect", "--json", "moved.hex", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    assert document(run)["size"] == 16
    (note,) = problem_lines(run)
    assert "moved.hex" in note
    assert "8000h" in note


# --- colour


def on_terminal(words: Sequence[str], folder: Path, **more: str) -> str:
    """What a run writes to a terminal of its own."""
    if sys.platform == "win32":
        pytest.skip("this system has no pseudo terminals")
    import pty

    try:
        ours, theirs = pty.openpty()
    except OSError as error:
        pytest.skip(f"no pseudo terminal to be had: {error}")
    process = in_process.copied(
        words,
        stdin=subprocess.DEVNULL,
        stdout=theirs,
        stderr=theirs,
        cwd=folder,
        before=lambda: os.environ.pop("NO_COLOR", None) if "NO_COLOR" not in more else None,
        env={"TERM": "xterm", **more},
    )
    os.close(theirs)
    text = b""
    with contextlib.suppress(OSError):  # how its end is told on some systems
        while data := os.read(ours, 65536):
            text += data
    os.close(ours)
    process.wait(timeout=300)
    return text.decode().replace("\r\n", "\n")


COLOURED = [
    ("inspect", "spoilt.bin"),
    ("inspect", "spoilt.bin", "--bytes"),
    ("check", "spoilt.bin"),
    ("verify", "spoilt.bin", "card.bin"),
    ("diff", "spoilt.bin", "card.bin"),
    ("schema", "show", "counted-19"),
    ("schema", "list"),
]


@pytest.mark.parametrize("words", COLOURED, ids=" ".join)
def test_colour(words: tuple[str, ...], desk: Path) -> None:
    """Colour on a terminal, none with NO_COLOR, none in a pipe; the words are the same."""
    shown = on_terminal(words, desk)
    assert "\x1b[" in shown
    plain = romtool(*words, cwd=desk).stdout.decode()
    assert "\x1b" not in plain
    assert re.sub(r"\x1b\[[0-9;]*m", "", shown) == plain
    assert on_terminal(words, desk, NO_COLOR="1") == plain
    assert on_terminal(words, desk, TERM="dumb") == plain


@pytest.mark.parametrize("columns", [20, 60, 97, 300])
def test_width(columns: int, desk: Path) -> None:
    """As wide as the terminal, from 60 to 120; no word is broken, a number stays with its name."""
    wide = min(max(columns, 60), 120)
    for words in (["inspect", "spoilt.bin"], ["check", "spoilt.bin"], ["check", "--help"]):
        shown = on_terminal(words, desk, NO_COLOR="1", COLUMNS=str(columns))
        lengths = [len(line) for line in shown.splitlines()]
        assert wide - 25 < max(lengths) <= wide
        assert shown.split() == romtool(*words, cwd=desk).stdout.decode().split()
        assert not re.search(r"\b(IRQ|DMA|I/O|choice)$", shown, re.MULTILINE)


def test_tables_and_headings_of_a_narrow_terminal(desk: Path) -> None:
    """A long name in a table is cut at its front; what has no room beside a heading goes below."""
    (desk / "donor-of-the-other-board.toml").write_text(SAMPLE.read_text(encoding="utf-8"))
    (desk / "pc").mkdir()
    (desk / "pc/full.toml").write_text(
        'name = "The PC in the cellar, full of cards"\nirq = [5, 7, 9]\n'
    )
    shown = on_terminal(["survey", "."], desk, NO_COLOR="1", COLUMNS="60")
    assert re.search(r"^…\S+d\.toml  counted-19  QRL0301  1 ", shown, re.MULTILINE)
    assert max(map(len, shown.splitlines())) <= 60
    words = ["assign", "donor-of-the-other-board.toml", "--host", "pc/full.toml"]
    shown = on_terminal(words, desk, NO_COLOR="1", COLUMNS="60")
    first, second = shown.splitlines()[:2]
    assert first == "The PC in the cellar, full of cards"
    assert second == "  impossible: 1 of 3 devices can be served"
    heading = romtool(*words, cwd=desk).stdout.decode().splitlines()[0]
    assert heading.split() == [*first.split(), *second.split()]


def test_no_colour_in_json(desk: Path) -> None:
    """A JSON document on a terminal is still JSON."""
    answer = json.loads(on_terminal(["inspect", "--json", "spoilt.bin"], desk))
    assert answer["card"]["id"] == "QRL0301"


def test_no_colour_in_profiles(desk: Path) -> None:
    """Nor does a profile hold any."""
    assert "\x1b" not in on_terminal(["profile", "spoilt.bin"], desk)


# --- build


def test_build(tmp_path: Path, image: bytes) -> None:
    """STEM.bin and STEM.hex into a folder that is made; path, size and digest are told."""
    folder = tmp_path / "not" / "there" / "yet"
    run = romtool("build", str(SAMPLE), "-o", str(folder))
    assert run.returncode == 0, told(run)
    assert told(run) == ""
    assert names_in(folder) == ["hollow-lane.bin", "hollow-lane.hex"]
    text = run.stdout.decode()
    for name in names_in(folder):
        data = (folder / name).read_bytes()
        assert str(folder / name) in text
        assert str(len(data)) in text
        assert hashlib.sha256(data).hexdigest() in text
    assert (folder / "hollow-lane.bin").read_bytes() == image


def test_build_in_this_folder(tmp_path: Path, image: bytes) -> None:
    """Without -o: where one is, not where the profile is."""
    assert romtool("build", str(SAMPLE), cwd=tmp_path).returncode == 0
    assert (tmp_path / "hollow-lane.bin").read_bytes() == image


def test_formats(tmp_path: Path, image: bytes) -> None:
    """Each of the formats, in one call, is the same image read back; and none that isn't named."""
    run = romtool("build", str(SAMPLE), "-o", str(tmp_path), "--format", "bin,hex,srec")
    assert run.returncode == 0, told(run)
    assert names_in(tmp_path) == ["hollow-lane.bin", "hollow-lane.hex", "hollow-lane.srec"]
    for name in names_in(tmp_path):
        run = romtool("verify", name, str(SAMPLE), cwd=tmp_path)
        assert run.returncode == 0, run.stdout.decode() + told(run)
    only = tmp_path / "only"
    assert romtool("build", str(SAMPLE), "-o", str(only), "--format", "srec").returncode == 0
    assert names_in(only) == ["hollow-lane.srec"]
    # Printable text with line ends, as the readers of such files expect.
    for name in ("hollow-lane.hex", "hollow-lane.srec"):
        text = (tmp_path / name).read_bytes()
        assert text.endswith(b"\n")
        assert set(text) <= set(b":S0123456789ABCDEF\r\n")
    assert (tmp_path / "hollow-lane.bin").read_bytes() == image


def test_build_is_repeatable(tmp_path: Path) -> None:
    """The same profile makes the same files, byte for byte."""
    words = ["build", str(SAMPLE), "--format", "bin,hex,srec", "--serials", "1-2", "-o"]
    for name in ("one", "two"):
        assert romtool(*words, str(tmp_path / name)).returncode == 0
    for name in names_in(tmp_path / "one"):
        first, second = ((tmp_path / folder / name).read_bytes() for folder in ("one", "two"))
        assert first == second


@pytest.mark.parametrize("kind", ["bin", "hex", "srec"])
def test_swap_pairs(kind: str, tmp_path: Path, image: bytes) -> None:
    """Byte pairs swapped in the file; verify undoes it on request, and otherwise sees it."""
    words = ["build", str(SAMPLE), "-o", str(tmp_path), "--swap-pairs", "--format", kind]
    assert romtool(*words).returncode == 0
    name = f"hollow-lane.swapped.{kind}"
    if kind == "bin":
        assert (tmp_path / name).read_bytes() == swapped(image)
    run = romtool("verify", name, str(SAMPLE), cwd=tmp_path)
    assert run.returncode == 1
    assert "--swap-pairs" in run.stdout.decode() + told(run)
    run = romtool("verify", name, str(SAMPLE), "--swap-pairs", cwd=tmp_path)
    assert run.returncode == 0, run.stdout.decode() + told(run)


def test_existing_output(tmp_path: Path, image: bytes) -> None:
    """An existing file is left alone, and so are the others of the call; --force replaces it."""
    (tmp_path / "hollow-lane.hex").write_text("kept")
    run = romtool("build", str(SAMPLE), "-o", str(tmp_path))
    refused(run, "hollow-lane.hex", "--force")
    assert names_in(tmp_path) == ["hollow-lane.hex"]
    assert (tmp_path / "hollow-lane.hex").read_text() == "kept"
    run = romtool("build", str(SAMPLE), "-o", str(tmp_path), "--force")
    assert run.returncode == 0, told(run)
    assert names_in(tmp_path) == ["hollow-lane.bin", "hollow-lane.hex"]
    assert (tmp_path / "hollow-lane.hex").read_text() != "kept"


def test_rule_errors(tmp_path: Path) -> None:
    """Rule errors: exit code 1 and nothing written, unless faults are allowed."""
    # An identifier checksum that isn't the right one (Spec App. B.2).
    profile = PROFILE + "\n[override]\nid_checksum = 1\n"
    (tmp_path / "card.toml").write_text(profile)
    run = romtool("build", "card.toml", cwd=tmp_path)
    assert run.returncode == 1
    assert run.stdout == b""
    lines = problem_lines(run)
    assert any("card.toml:" in line and "checksum" in line for line in lines)
    assert any("--allow-faults" in line for line in lines)
    assert names_in(tmp_path) == ["card.toml"]
    run = romtool("build", "card.toml", "--allow-faults", cwd=tmp_path)
    assert run.returncode == 0
    assert any("checksum" in line for line in problem_lines(run))  # faults are told all the same
    assert names_in(tmp_path) == ["card.bin", "card.hex", "card.toml"]


def test_rule_warnings(tmp_path: Path) -> None:
    """Warnings are told, with the line of the profile, and the files are written."""
    # PNP as a device's own ID (the published generic ID list).
    (tmp_path / "card.toml").write_text(PROFILE.replace('id = "QRL0001"', 'id = "PNPB002"'))
    run = romtool("build", "card.toml", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    (line,) = problem_lines(run)
    at = PROFILE[: PROFILE.index('id = "QRL0001"')].count("\n") + 1
    assert line.startswith(f"romtool: card.toml:{at}:")
    assert "PNPB002" in line
    assert names_in(tmp_path) == ["card.bin", "card.hex", "card.toml"]


def test_too_big(tmp_path: Path) -> None:
    """Too big for its part: by how many bytes, and what each device and name costs."""
    (tmp_path / "card.toml").write_text(SAMPLE.read_text().replace("24C04", "24C02"))
    run = romtool("build", "card.toml", cwd=tmp_path)
    # The frame has 17h bytes, the PnP data FAh: 111h of 100h.
    assert run.returncode == 2
    assert run.stdout == b""
    text = told(run)
    assert text.startswith("romtool: card.toml:")
    for words in ("17 too many", "QRL0001", "QRL0002", "QRL0003", "name"):
        assert words in text
    assert names_in(tmp_path) == ["card.toml"]


def test_build_json(tmp_path: Path) -> None:
    """With --json: one document on standard output, nothing else there."""
    run = romtool("build", str(SAMPLE), "-o", str(tmp_path), "--json")
    assert run.returncode == 0, told(run)
    text = json.dumps(document(run))
    for file in tmp_path.iterdir():
        assert hashlib.sha256(file.read_bytes()).hexdigest() in text


# --- serial numbers


def test_serials(tmp_path: Path, image: bytes) -> None:
    """One set of files a number, and a manifest with the digests of what is burnt."""
    run = romtool("build", str(SAMPLE), "-o", str(tmp_path), "--serials", "7-9")
    assert run.returncode == 0, told(run)
    stems = ["hollow-lane-00007", "hollow-lane-00008", "hollow-lane-00009"]
    expected = [f"{stem}.{kind}" for stem in stems for kind in ("bin", "hex")]
    assert names_in(tmp_path) == sorted([*expected, "hollow-lane.manifest.json"])
    manifest = json.loads((tmp_path / "hollow-lane.manifest.json").read_text())
    assert manifest["tool"] == "romtool"
    assert manifest["version"] == __version__
    about = {"card", "variant", "part", "swapped_pairs", "profile_sha256"}
    assert set(manifest) == {"tool", "version", "images"} | about
    assert (manifest["card"], manifest["part"]) == ("QRL0301", "24C04")
    assert manifest["profile_sha256"] == hashlib.sha256(SAMPLE.read_bytes()).hexdigest()
    for serial, stem, row in zip((7, 8, 9), stems, manifest["images"], strict=True):
        data = (tmp_path / f"{stem}.bin").read_bytes()
        digest = hashlib.sha256(data).hexdigest()
        text = row.pop("hex")
        assert text["sha256"] == hashlib.sha256((tmp_path / text["file"]).read_bytes()).hexdigest()
        assert row == {"serial": serial, "file": f"{stem}.bin", "size": 512, "sha256": digest}
        # Nothing but the serial number and its checksum is another card's (Spec 6.1, App. B.2).
        header = packed_id("QRL0301") + serial.to_bytes(4, "little")
        assert data[SERIAL_AT - 4 : SERIAL_AT + 4] == header
        assert data[ID_CHECKSUM_AT] == identifier_checksum(header)
        assert data[:SERIAL_AT] == image[:SERIAL_AT]
        assert data[ID_CHECKSUM_AT + 1 :] == image[ID_CHECKSUM_AT + 1 :]
        run = romtool("verify", f"{stem}.hex", f"{stem}.bin", cwd=tmp_path)
        assert run.returncode == 0, told(run)


@pytest.mark.parametrize(
    ("serials", "stems"),
    [
        ("7", ["00007"]),
        ("0", ["00000"]),
        ("99999-100001", ["99999", "100000", "100001"]),
        ("4294967294", ["4294967294"]),
    ],
)
def test_serial_names(serials: str, stems: list[str], tmp_path: Path) -> None:
    """Five digits, more where the number has more; a single number is a set of one."""
    words = ["build", str(SAMPLE), "-o", str(tmp_path), "--format", "bin", "--serials", serials]
    run = romtool(*words)
    assert run.returncode == 0, told(run)
    files = [f"hollow-lane-{stem}.bin" for stem in stems]
    assert names_in(tmp_path) == sorted([*files, "hollow-lane.manifest.json"])
    manifest = json.loads((tmp_path / "hollow-lane.manifest.json").read_text())
    assert [row["file"] for row in manifest["images"]] == files
    assert [row["serial"] for row in manifest["images"]] == [int(stem) for stem in stems]
    for file, stem in zip(files, stems, strict=True):
        assert inspected(str(tmp_path / file))["card"]["serial"] == int(stem)


def test_serials_swapped(tmp_path: Path) -> None:
    """The manifest's digests are those of the files, swapped or not."""
    words = ["build", str(SAMPLE), "-o", str(tmp_path), "--serials", "1-2", "--swap-pairs"]
    assert romtool(*words).returncode == 0
    manifest = json.loads((tmp_path / "hollow-lane.swapped.manifest.json").read_text())
    for row in manifest["images"]:
        data = (tmp_path / row["file"]).read_bytes()
        assert hashlib.sha256(data).hexdigest() == row["sha256"]
        assert swapped(data)[SERIAL_AT] == row["serial"]


def test_serials_without_binaries(tmp_path: Path) -> None:
    """The manifest names files that are there, whatever the format."""
    words = ["build", str(SAMPLE), "-o", str(tmp_path), "--serials", "1-2", "--format", "hex"]
    assert romtool(*words).returncode == 0
    manifest = json.loads((tmp_path / "hollow-lane.manifest.json").read_text())
    for row in manifest["images"]:
        data = (tmp_path / row["file"]).read_bytes()
        assert (row["size"], row["sha256"]) == (len(data), hashlib.sha256(data).hexdigest())


def test_serials_replace_the_profile_s_own(tmp_path: Path) -> None:
    """A card without a serial number in its profile gets those of the call."""
    (tmp_path / "card.toml").write_text(PROFILE.replace("serial = 1\n", ""))
    assert romtool("build", "card.toml", "--serials", "5", cwd=tmp_path).returncode == 0
    assert inspected("card-00005.bin", cwd=tmp_path)["card"]["serial"] == 5


SPOILERS = {
    "one-exists": (SAMPLE.read_text(), "card-00009.bin", 2),
    "manifest-exists": (SAMPLE.read_text(), "card.manifest.json", 2),
    "raw-image": ('[image]\nraw = "55 BB"\n', None, 2),
    "rule-error": (PROFILE + "\n[override]\nid_checksum = 1\n", None, 1),
    "too-big": (SAMPLE.read_text().replace("24C04", "24C02"), None, 2),
}


@pytest.mark.parametrize("name", SPOILERS)
def test_serials_all_or_none(name: str, tmp_path: Path) -> None:
    """Where one of the set can't be, nothing is written."""
    profile, existing, code = SPOILERS[name]
    (tmp_path / "card.toml").write_text(profile)
    folder = tmp_path / "out"
    folder.mkdir()
    if existing is not None:
        (folder / existing).write_text("kept")
    run = romtool("build", "card.toml", "--serials", "7-9", "-o", "out", cwd=tmp_path)
    assert run.returncode == code, told(run)
    assert problem_lines(run)
    assert names_in(folder) == ([existing] if existing else [])
    if existing is not None:
        assert (folder / existing).read_text() == "kept"


def test_one_fault_is_told_once(tmp_path: Path) -> None:
    """What is wrong with the profile is told once, not again for each number."""
    (tmp_path / "card.toml").write_text(PROFILE.replace('id = "QRL0001"', 'id = "PNPB002"'))
    run = romtool("build", "card.toml", "--serials", "1-5", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    assert len(problem_lines(run)) == 1


def test_bad_serial_is_named(tmp_path: Path) -> None:
    """A number whose checksum comes out as 00h is told by its number: it is the one to leave out.

    Some PnP software refuses such a card (the PnP code of an operating system kernel).
    """
    id_ = packed_id("QRL0301")
    bad = next(n for n in range(2, 9999) if not identifier_checksum(id_ + n.to_bytes(4, "little")))
    words = ["build", str(SAMPLE), "-o", str(tmp_path), "--serials", f"{bad - 1}-{bad + 1}"]
    run = romtool(*words)
    assert run.returncode == 0, told(run)
    (line,) = problem_lines(run)
    assert "00h" in line
    assert re.search(rf"\b0*{bad}\b", line), line


# --- files whole or not at all


def unprivileged(*words: str, cwd: Path) -> subprocess.CompletedProcess[bytes]:
    """Run the tool as somebody who is bound by a folder's rights; root isn't by itself."""
    if sys.platform == "win32":
        pytest.skip("folders have no such rights here")
    prefix: list[str] = []
    if os.geteuid() == 0:
        setpriv = need("setpriv")
        prefix = [setpriv, "--bounding-set=-dac_override", "--inh-caps=-dac_override"]
    return subprocess.run(
        [*prefix, str(TOOL), *words], cwd=cwd, capture_output=True, timeout=300, check=False
    )


WRITERS = {
    "build": ["build", str(SAMPLE), "-o", "{}"],
    "serials": ["build", str(SAMPLE), "--serials", "1-3", "-o", "{}"],
    "profile": ["profile", str(SAMPLE), "-o", "{}/card.toml"],
}


def writer(name: str, folder: str) -> list[str]:
    """The words of a call that writes into a folder."""
    return [word.format(folder) for word in WRITERS[name]]


@pytest.mark.parametrize("name", WRITERS)
def test_folder_without_rights(name: str, tmp_path: Path) -> None:
    """A folder that can't be written to: exit code 2, its name or the file's as it was given."""
    folder = tmp_path / "locked"
    folder.mkdir(mode=0o555)
    run = unprivileged(*writer(name, "locked"), cwd=tmp_path)
    assert names_in(folder) == []
    line = refused(run, "locked", "permission")
    # Not the name of a draft, which the user has never heard of.
    assert not re.search(r"locked/\.", line), line


@pytest.mark.parametrize("name", WRITERS)
@pytest.mark.parametrize("folder", ["file", "file/inside"])
def test_file_in_place_of_the_folder(name: str, folder: str, tmp_path: Path) -> None:
    """A file where the folder should be: exit code 2, and the file stays."""
    (tmp_path / "file").write_text("kept")
    refused(romtool(*writer(name, folder), cwd=tmp_path), "file")
    assert names_in(tmp_path) == ["file"]
    assert (tmp_path / "file").read_text() == "kept"


@pytest.mark.parametrize("name", WRITERS)
def test_full_disk(name: str, tmp_path: Path) -> None:
    """Where writing stops half way, what was there stays, and no half of a file is left."""
    run = romtool(*writer(name, str(tmp_path)))
    assert run.returncode == 0, told(run)
    before = {file.name: file.read_bytes() for file in tmp_path.iterdir()}
    full = copied(*writer(name, str(tmp_path)), "--force", before=no_more_than(100, "RLIMIT_FSIZE"))
    refused(full)
    assert {file.name: file.read_bytes() for file in tmp_path.iterdir()} == before


def test_set_whole_or_not_at_all(tmp_path: Path) -> None:
    """A folder stands where one of the set should: none of the others is written."""
    (tmp_path / "hollow-lane-00008.bin").mkdir()
    words = ["build", str(SAMPLE), "--serials", "7-9", "-o", str(tmp_path), "--force"]
    refused(romtool(*words), "hollow-lane-00008.bin")
    assert names_in(tmp_path) == ["hollow-lane-00008.bin"]


def test_files_can_be_read_by_others(tmp_path: Path) -> None:
    """Output has the rights that any new file has, not those of a private draft."""
    if sys.platform == "win32":
        pytest.skip("files have no such rights here")
    assert romtool("build", str(SAMPLE), "-o", str(tmp_path)).returncode == 0
    (tmp_path / "plain").write_bytes(b"")
    modes = {file.stat().st_mode for file in tmp_path.iterdir()}
    assert len(modes) == 1


# --- inspect

INSPECT_KEYS = {
    *("layout", "part", "size", "frame", "config", "card", "devices", "end", "items", "tail"),
    "findings",
}


def assert_inspect(answer: Table) -> None:
    """Assert the shape of an answer of `inspect --json` for an image with a frame."""
    assert set(answer) >= INSPECT_KEYS
    assert {"id", "serial", "name", "checksum"} <= set(answer["card"])
    assert set(answer["card"]["checksum"]) == {"stored", "computed", "ok"}
    assert set(answer["end"]["checksum"]) == {"stored", "computed", "ok"}
    for device in answer["devices"]:
        assert {"id", "name", "compatible", "resources", "choices"} <= set(device)
        for choice in device["choices"]:
            assert {"priority", "resources"} <= set(choice)
    for row in answer["frame"]:
        assert {"offset", "raw"} <= set(row)
    for item in answer["items"]:
        assert {"offset", "raw", "record", "fields"} <= set(item)
    for run in answer["tail"]:
        assert {"offset", "raw"} <= set(run)
    for finding in answer["findings"]:
        assert_finding(finding)
    parts = [*answer["frame"], answer["card"], *answer["items"], *answer["tail"]]
    whole = b"".join(bytes.fromhex(p["raw"]) for p in sorted(parts, key=lambda p: p["offset"]))
    assert len(whole) == answer["size"]


def assert_finding(finding: Table) -> None:
    """Assert the shape of a finding."""
    assert {"rule", "severity", "message", "hint", "source"} <= set(finding)
    assert ("offset" in finding) != ("line" in finding)
    assert finding["severity"] in ("error", "warning", "note")


def test_inspect_json(desk: Path, image: bytes) -> None:
    """The answer has the keys and the types that scripts rely on."""
    answer = inspected("card.bin", cwd=desk)
    assert_inspect(answer)
    assert answer["layout"] == "counted-19"
    assert answer["size"] == 512
    assert answer["config"]["irq_wiring"] == [5, 7, 9, 11, 0, 0]
    assert answer["config"]["dma_wiring"] == [4, 1, 3]
    assert answer["card"]["serial"] == 1
    assert answer["card"]["name"] == "Hollow Lane audio card"
    # Spec App. B.2, over the identifier's first 8 bytes.
    computed = identifier_checksum(image[SERIAL_AT - 4 : SERIAL_AT + 4])
    assert answer["card"]["checksum"] == {"stored": computed, "computed": computed, "ok": True}
    assert [device["id"] for device in answer["devices"]] == ["QRL0001", "QRL0002", "QRL0003"]
    first = answer["devices"][0]
    assert first["compatible"] == ["PNPB002"]
    assert first["choices"][0] == {
        "priority": "good",
        "resources": [
            {"irq": [5]},
            {"dma": [1]},
            {"io": 0x220, "length": 16},
            {"io": 0x388, "length": 4},
        ],
    }
    assert answer["findings"] == []


def test_inspect_json_of_the_samples() -> None:
    """All samples; a profile's part is its own."""
    for sample in sorted(SAMPLES.glob("*.toml")):
        answer = inspected(str(sample))
        assert_inspect(answer)
        assert f'part = "{answer["part"]}"' in sample.read_text()


def test_inspect_json_without_a_frame(tmp_path: Path) -> None:
    """Bytes of no layout: null where there is none, everything in the tail, exit code 0."""
    (tmp_path / "blank.bin").write_bytes(b"\xff" * 512)
    answer = inspected("blank.bin", cwd=tmp_path)
    assert set(answer) >= INSPECT_KEYS
    assert answer["layout"] is None
    assert answer["card"] is None
    assert answer["frame"] == answer["devices"] == answer["items"] == []
    assert b"".join(bytes.fromhex(run["raw"]) for run in answer["tail"]) == b"\xff" * 512
    assert [finding["severity"] for finding in answer["findings"]] == ["error"]


def test_inspect_spoilt(desk: Path) -> None:
    """A spoilt image is told to be so, and is inspected all the same."""
    run = romtool("inspect", "spoilt.bin", cwd=desk)
    assert run.returncode == 0, told(run)
    assert "should be" in run.stdout.decode()
    answer = inspected("spoilt.bin", cwd=desk)
    assert_inspect(answer)
    assert answer["card"]["checksum"]["ok"] is False
    assert [finding["rule"] for finding in answer["findings"]] == ["id-checksum"]
    assert answer["findings"][0]["offset"] == ID_CHECKSUM_AT


def test_inspect_bytes(desk: Path, image: bytes) -> None:
    """--bytes adds every byte, in text (fill once) and in JSON."""
    run = romtool("inspect", "card.bin", "--bytes", cwd=desk)
    shown: dict[int, bytes] = {}
    for line in run.stdout.decode().splitlines():
        found = re.match(r"  ([0-9A-F]{4})  ((?:[0-9A-F]{2} ?)+)", line)
        if found:
            shown[int(found[1], 16)] = bytes.fromhex(found[2])
    at = 0
    while at <= END_CHECKSUM_AT:
        assert shown[at] == image[at : at + len(shown[at])]
        at += len(shown[at])
    assert at in shown  # the fill
    answer = inspected("card.bin", "--bytes", cwd=desk)
    assert b"".join(bytes.fromhex(row["raw"]) for row in answer["bytes"]) == image


# --- check


def test_check(desk: Path) -> None:
    """Exit code 0 without errors, 1 with; the text says where and what to do."""
    assert romtool("check", "card.bin", cwd=desk).returncode == 0
    run = romtool("check", "spoilt.bin", cwd=desk)
    assert run.returncode == 1
    text = run.stdout.decode()
    for words in ("error", "1Fh", "id-checksum", "Spec"):
        assert words in text


def test_check_json(desk: Path) -> None:
    """The counts agree with the findings; an image's have offsets, a profile's have lines."""
    run = romtool("check", "--json", "spoilt.bin", cwd=desk)
    assert run.returncode == 1
    answer = document(run)
    assert {"findings", "errors", "warnings"} <= set(answer)
    assert (answer["errors"], answer["warnings"]) == (1, 0)
    (finding,) = answer["findings"]
    assert_finding(finding)
    assert finding["offset"] == ID_CHECKSUM_AT

    (desk / "card.toml").write_text(PROFILE.replace('id = "QRL0001"', 'id = "PNPB002"'))
    run = romtool("check", "--json", "card.toml", cwd=desk)
    assert run.returncode == 0, told(run)
    answer = document(run)
    assert (answer["errors"], answer["warnings"]) == (0, 1)
    (finding,) = answer["findings"]
    assert_finding(finding)
    text = (desk / "card.toml").read_text().splitlines()
    assert "PNPB002" in text[finding["line"] - 1]


def test_check_strict(desk: Path) -> None:
    """Warnings count on request only, and a clean image passes either way."""
    (desk / "card.toml").write_text(PROFILE.replace('id = "QRL0001"', 'id = "PNPB002"'))
    assert romtool("check", "card.toml", cwd=desk).returncode == 0
    assert romtool("check", "card.toml", "--strict", cwd=desk).returncode == 1
    assert romtool("check", "card.bin", "--strict", cwd=desk).returncode == 0


# --- verify


def test_verify_match(desk: Path) -> None:
    """A readback that is right, compared with an image and against a profile."""
    for expected in ("twin.bin", str(SAMPLE)):
        run = romtool("verify", "card.bin", expected, cwd=desk)
        assert run.returncode == 0, told(run)
        assert "512" in run.stdout.decode()
        run = romtool("verify", "card.bin", expected, "--json", cwd=desk)
        assert run.returncode == 0
        assert document(run) == {"match": True, "differences": [], "mishaps": []}


# What stands at these places, as words that the field's name must have.
PLACES = {
    0x00: ["signature"],
    0x02: ["count"],
    0x06: ["miscellaneous"],
    0x15: ["DMA wiring"],
    IRQ_WIRING_AT: ["IRQ wiring"],
    SERIAL_AT: ["serial number"],
    ID_CHECKSUM_AT: ["identifier checksum"],
    0x21: ["PnP version"],
    0x27: ["ANSI identifier"],
    0x3D: ["QRL0001", "device ID"],
    END_CHECKSUM_AT: ["end checksum"],
    FILL_AT: ["fill"],
}


@pytest.mark.parametrize("offset", PLACES)
def test_verify_mismatch(offset: int, tmp_path: Path, image: bytes) -> None:
    """Each differing byte with its place and its field; exit code 1."""
    (tmp_path / "read.bin").write_bytes(flip(image, offset))
    run = romtool("verify", "read.bin", str(SAMPLE), "--json", cwd=tmp_path)
    assert run.returncode == 1
    answer = document(run)
    assert answer["match"] is False
    (one,) = answer["differences"]
    assert set(one) == {"offset", "expected", "found", "field"}
    assert one["offset"] == offset
    assert (one["expected"], one["found"]) == (image[offset], image[offset] ^ 1)
    for words in PLACES[offset]:
        assert words in one["field"], one
    assert one["field"].count("(") == one["field"].count(")"), one
    run = romtool("verify", "read.bin", str(SAMPLE), cwd=tmp_path)
    assert run.returncode == 1
    text = run.stdout.decode()
    assert f"{offset:04X}" in text
    assert f"{image[offset]:02X}" in text
    assert PLACES[offset][-1] in text


@pytest.mark.parametrize(
    ("offset", "bits", "named", "others"),
    [
        (0x06, 0x20, ["PnP key off"], ["volume control", "miscellaneous"]),
        (0x07, 0x84, ["internal FM", "DSP serial port"], ["wavetable", "global"]),
        (IRQ_WIRING_AT, 0xF0, ["IRQ wiring"], ["DMA"]),
    ],
)
def test_verify_names_the_bits(
    offset: int, bits: int, named: list[str], others: list[str], tmp_path: Path, image: bytes
) -> None:
    """Of several fields in one byte, those whose bits differ (places: from memory)."""
    data = bytearray(image)
    data[offset] ^= bits
    (tmp_path / "read.bin").write_bytes(data)
    run = romtool("verify", "read.bin", str(SAMPLE), "--json", cwd=tmp_path)
    (one,) = document(run)["differences"]
    assert all(words in one["field"] for words in named), one
    assert not any(words in one["field"] for words in others), one


def test_verify_names_the_resource(tmp_path: Path, image: bytes) -> None:
    """A byte inside a choice is named with its device, its choice and its item."""
    at = image.index(bytes.fromhex("31 00 22 20 00")) + 3  # the first choice's IRQ 5
    (tmp_path / "read.bin").write_bytes(flip(image, at))
    run = romtool("verify", "read.bin", str(SAMPLE), "--json", cwd=tmp_path)
    (one,) = document(run)["differences"]
    for words in ("QRL0001", "choice 1", "IRQ"):
        assert words in one["field"]


@pytest.mark.parametrize("length", [1, 300, 511])
def test_verify_shorter(length: int, tmp_path: Path, image: bytes) -> None:
    """A readback that stops too soon: what isn't there is null."""
    (tmp_path / "read.bin").write_bytes(image[:length])
    run = romtool("verify", "read.bin", str(SAMPLE), "--json", cwd=tmp_path)
    assert run.returncode == 1
    answer = document(run)
    assert answer["match"] is False
    assert [one["offset"] for one in answer["differences"]] == list(range(length, 512))
    assert all(one["found"] is None for one in answer["differences"])
    assert bytes(one["expected"] for one in answer["differences"]) == image[length:]
    text = romtool("verify", "read.bin", str(SAMPLE), cwd=tmp_path).stdout.decode()
    assert f"{512 - length} of 512" in text
    if length > 1:
        assert "short" in text


def test_verify_longer(tmp_path: Path, image: bytes) -> None:
    """A readback that goes on after the end: what was not expected has null."""
    (tmp_path / "read.bin").write_bytes(image + b"\xff\x00")
    run = romtool("verify", "read.bin", str(SAMPLE), "--json", cwd=tmp_path)
    assert run.returncode == 1
    assert [
        (one["offset"], one["expected"], one["found"]) for one in document(run)["differences"]
    ] == [(512, None, 255), (513, None, 0)]


def test_verify_of_a_larger_part(tmp_path: Path, image: bytes) -> None:
    """An image that repeats: the part is smaller than the one set. All 512 bytes are right."""
    (tmp_path / "read.bin").write_bytes(image * 2)
    run = romtool("verify", "read.bin", str(SAMPLE), cwd=tmp_path)
    assert run.returncode == 1
    text = run.stdout.decode()
    assert "contents repeating" in text
    assert "512 of 512 bytes differ" not in text, text


@pytest.mark.parametrize("byte", [0x00, 0xFF])
def test_verify_blank(byte: int, tmp_path: Path) -> None:
    """A blank part is called that, and so is one that answers nothing but zeros."""
    (tmp_path / "read.bin").write_bytes(bytes([byte]) * 512)
    run = romtool("verify", "read.bin", str(SAMPLE), cwd=tmp_path)
    assert run.returncode == 1
    assert f"every byte is {byte:02X}h" in run.stdout.decode()


# --- profile


def test_profile(desk: Path, image: bytes) -> None:
    """To standard output or to a file: the same text, which builds the same bytes."""
    run = romtool("profile", "card.bin", cwd=desk)
    assert run.returncode == 0, told(run)
    assert told(run) == ""
    out = desk / "not" / "there" / "card.toml"
    to_file = romtool("profile", "card.bin", "-o", str(out), cwd=desk)
    assert to_file.returncode == 0, told(to_file)
    assert str(out) in to_file.stdout.decode()
    assert out.read_bytes() == run.stdout
    assert built(out.read_text(), desk) == image


def test_profile_leaves_files_alone(desk: Path) -> None:
    """An existing profile is somebody's work."""
    (desk / "card.toml").write_text("kept")
    refused(romtool("profile", "card.bin", "-o", "card.toml", cwd=desk), "card.toml", "--force")
    assert (desk / "card.toml").read_text() == "kept"
    run = romtool("profile", "card.bin", "-o", "card.toml", "--force", cwd=desk)
    assert run.returncode == 0, told(run)
    assert 'id = "QRL0301"' in (desk / "card.toml").read_text()


def test_profile_of_spoilt(desk: Path, image: bytes) -> None:
    """A wrong checksum is kept."""
    run = romtool("profile", "spoilt.bin", cwd=desk)
    assert run.returncode == 0, told(run)
    assert f"id_checksum = 0x{image[ID_CHECKSUM_AT] ^ 1:02X}" in run.stdout.decode()
    text = run.stdout.decode()
    assert built(text, desk, "--allow-faults") == flip(image, ID_CHECKSUM_AT)


# --- schemas of one's own


def test_schemas_from_the_environment(tmp_path: Path) -> None:
    """ROMTOOL_SCHEMAS does what --schemas does, before or after the command."""
    folder = str(SAMPLES / "schemas")
    for words in (
        ("schema", "list", "--json", "--schemas", folder),
        ("--schemas", folder, "schema", "list", "--json"),
    ):
        names = [one["name"] for one in document(romtool(*words))["layouts"]]
        assert "hollow-lane-24" in names
    run = subprocess.run(
        [TOOL, "schema", "list", "--json"],
        env={**os.environ, "ROMTOOL_SCHEMAS": folder},
        capture_output=True,
        timeout=300,
        check=False,
    )
    assert "hollow-lane-24" in [one["name"] for one in document(run)["layouts"]]
    names = [one["name"] for one in document(romtool("schema", "list", "--json"))["layouts"]]
    assert "hollow-lane-24" not in names


@pytest.mark.parametrize("name", ["counted-19", "irq", "24C04", "24c04", "id-checksum"])
def test_schema_show(name: str) -> None:
    """Layouts, records, parts and rules, as text and as JSON."""
    run = romtool("schema", "show", name)
    assert run.returncode == 0, told(run)
    assert "source" in run.stdout.decode()
    answer = document(romtool("schema", "show", name, "--json"))
    assert answer["name"].lower() == name.lower()
    assert answer["source"]


def test_schema_show_unknown() -> None:
    """A near miss is guessed."""
    refused(romtool("schema", "show", "counted-91"), "counted-91", "counted-19")


# --- pipes


@pytest.mark.skipif(sys.platform == "win32", reason="pipes break in another way here")
@pytest.mark.parametrize(
    "words",
    [
        ("inspect", "card.bin", "--bytes"),
        ("inspect", "card.bin", "--json"),
        ("check", "card.bin"),
        ("verify", "card.bin", "twin.bin"),
        ("diff", "card.bin", "twin.bin"),
        ("profile", "card.bin"),
        ("schema", "list"),
        ("schema", "json"),
        ("--help",),
        ("inspect", "--help"),
    ],
    ids=" ".join,
)
def test_broken_pipe(words: tuple[str, ...], desk: Path) -> None:
    """A reader that has gone (`| head -1`) is no fault: nothing is told, the exit code is as ever.

    The pipe is broken before the tool writes, so that it can't be finished by then.
    """
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as pipe:
        run = copied(*words, stdout=pipe, cwd=desk)
    assert run.stderr.decode() == ""
    assert run.returncode == 0


@pytest.mark.parametrize(
    "words",
    [
        ("inspect", "--json", "card.bin"),
        ("inspect", "--json", "--bytes", "card.bin"),
        ("inspect", "--json", "card.bin", "spoilt.bin"),
        ("check", "--json", "spoilt.bin"),
        ("check", "--json", "--strict", "spoilt.bin"),
        ("verify", "--json", "spoilt.bin", "card.bin"),
        ("diff", "--json", "spoilt.bin", "card.bin"),
        ("diff", "--json", "card.bin", "twin.bin"),
        ("verify", "--json", "--swap-pairs", "spoilt.bin", "card.bin"),
        ("build", "--json", str(SAMPLE)),
        ("build", "--json", "--serials", "1-3", str(SAMPLE)),
        ("schema", "list", "--json"),
        ("schema", "show", "counted-19", "--json"),
        ("schema", "show", "irq", "--json"),
        ("schema", "show", "24C04", "--json"),
        ("schema", "show", "id-checksum", "--json"),
        ("schema", "json"),
    ],
    ids=lambda words: " ".join(Path(word).name for word in words),
)
def test_one_document(words: tuple[str, ...], desk: Path) -> None:
    """Exactly one JSON document on standard output."""
    run = romtool(*words, cwd=desk)
    assert run.returncode in (0, 1), told(run)
    assert isinstance(document(run), dict)
    assert run.stdout.endswith(b"}\n")
    assert told(run) == ""


# --- an output that is standard output


def test_output_to_standard_output(desk: Path, image: bytes) -> None:
    """`-o -` gives the file and nothing else there; what is told goes to standard error."""
    run = romtool("recover", "card.bin", "-o", "-", cwd=desk)
    assert (run.returncode, run.stdout) == (0, image)
    assert "wrote standard output  512 bytes" in told(run)
    refused(romtool("recover", "card.bin", "-o", "-", "--json", cwd=desk), "standard output")
    for words in (("profile", "card.bin"), ("schema", "json")):
        run = romtool(*words, "-o", "-", cwd=desk)
        assert (run.returncode, told(run)) == (0, "")
        assert run.stdout == romtool(*words, cwd=desk).stdout
    (desk / "card.txt").write_text(image.hex(" "))
    run = romtool("report", "card.txt", "-o", "-", cwd=desk)
    assert b"listing" in run.stdout
    (desk / "card.txt").unlink()
    assert run.stdout.startswith(b"<!doctype html>") or run.stdout.startswith(b"<!DOCTYPE html>")
    assert names_in(desk) == ["card.bin", "spoilt.bin", "twin.bin"]


# --- what rests on memory ---------------------------------------------------------------------


def test_where_a_layout_is_from_is_said(tmp_path: Path) -> None:
    """None of ours has a published source: whoever reads or builds an image is told so."""
    profile = tmp_path / "card.toml"
    profile.write_text('[image]\nlayout = "counted-19"\n\n' + CARD, encoding="utf-8")
    source = "from memory: check against the chip's data sheet and a donor dump before burning"
    shown = romtool("inspect", str(profile)).stdout.decode()
    assert f"source {source}" in " ".join(shown.split())
    assert inspected(str(profile))["source"] == source
    run = romtool("build", str(profile), "--allow-faults", "-o", str(tmp_path))
    words = " ".join(run.stdout.decode().split())
    assert f"layout counted-19, {source}" in words
    # What the profile leaves out is built in as it is typical.
    assert "IRQ wiring A 5, B 7, C 9, D 11, E 12, F 15, as irq_wiring is left out" in words
    assert "DMA wiring A 0, B 1, C 3, as dma_wiring is left out" in words
    stated = profile.read_text() + "\n[config]\nirq_wiring = [5, 7, 9, 11, 12, 15]\n"
    profile.write_text(stated, encoding="utf-8")
    run = romtool("build", str(profile), "--allow-faults", "-o", str(tmp_path))
    assert "irq_wiring is left out" not in run.stdout.decode()


def test_cautions_are_pointed_to(tmp_path: Path) -> None:
    profile = tmp_path / "card.toml"
    profile.write_text(CARD, encoding="utf-8")
    run = romtool("build", str(profile), "-o", str(tmp_path))
    pointer = "read `romtool schema show cautions`"
    assert pointer in run.stdout.decode()
    run = romtool("recover", str(tmp_path / "card.bin"), "-o", str(tmp_path / "again.bin"))
    assert pointer in run.stdout.decode()
    cautions = json.loads(romtool("schema", "show", "cautions", "--json").stdout)["cautions"]
    assert len(cautions) == 5
    # A report has them all, with where the layout is from.
    for name in ("page.html", "page.md"):
        run = romtool("report", str(tmp_path / "card.bin"), "-o", str(tmp_path / name))
        page = " ".join(html.unescape((tmp_path / name).read_text(encoding="utf-8")).split())
        assert run.returncode == 0 and [one for one in cautions if one not in page] == []
        assert "from memory: check against the chip's data sheet" in page
