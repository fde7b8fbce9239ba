"""`romtool assign` as it is installed: exit codes, JSON, host files, what it says to people."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from romtool.assign.host import Host
from romtool.files.schemas import load_catalog
from romtool.files.shipped import load_host
from romtool.requirements.collide import Placed
from tests.support.tool import CARD, PROFILE, romtool, told


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a card, and a second one like it."""
    (tmp_path / "a.toml").write_text(PROFILE)
    (tmp_path / "b.toml").write_text(PROFILE.replace("serial = 1", "serial = 2"))
    return tmp_path


def assigned(folder: Path, *args: str, code: int = 0) -> dict[str, Any]:
    run = romtool("assign", *args, "--json", cwd=folder)
    assert run.returncode == code, told(run)
    document = json.loads(run.stdout)
    assert isinstance(document, dict)
    return document


def test_the_contract(folder: Path) -> None:
    found = assigned(folder, "a.toml", "b.toml")
    assert (found["feasible"], found["score"], found["conflict"]) == (True, 1, [])
    # The first card gets its first choice: 220h, IRQ 5, the lowest channel. The second must take
    # its other choice, of which 240h and IRQ 7 are the lowest that are left.
    assert found["devices"] == [
        {
            "card": 0, "device": "QRL0001", "number": 0, "choice": 0,
            "irq": [5], "dma": [0], "io": [{"base": 0x220, "length": 16}], "memory": [],
        },
        {
            "card": 1, "device": "QRL0001", "number": 0, "choice": 1,
            "irq": [7], "dma": [1], "io": [{"base": 0x240, "length": 16}], "memory": [],
        },
    ]  # fmt: skip


def test_a_folder_stands_for_its_cards(folder: Path) -> None:
    cards = folder / "cards"
    cards.mkdir()
    for name in ("a.toml", "b.toml"):
        (folder / name).rename(cards / name)
    assert [one["card"] for one in assigned(folder, "cards")["devices"]] == [0, 1]


def test_what_the_host_has_taken_is_taken(folder: Path) -> None:
    (folder / "pc.toml").write_text(
        'name = "PC"\nirq = ["5h", 7]\nio = [{ base = "24Fh", length = 1 }]'
    )
    (device,) = assigned(folder, "a.toml", "--host", "pc.toml")["devices"]
    assert (device["choice"], device["irq"], device["io"][0]["base"]) == (1, [9], 0x260)


def test_impossible_is_exit_code_1(folder: Path) -> None:
    (folder / "pc.toml").write_text("irq = [0, 2, 5, 7, 9]\ndma = [0, 4]\n")
    (folder / "c.toml").write_text(PROFILE.replace("[5, 7, 9, 10]", "[5, 7]"))
    args = ("c.toml", "--host", "pc.toml")
    found = assigned(folder, *args, code=1)
    assert (found["feasible"], found["score"], found["devices"]) == (False, None, [])
    assert found["conflict"] == ["QRL0001", "host irq 5", "host irq 7"]
    assert found["left_out"] == [{"card": 0, "number": 0}]
    run = romtool("assign", *args, cwd=folder)
    assert run.returncode == 1 and not told(run)
    words = " ".join(run.stdout.decode().split())
    assert "IRQ 5 is taken by pc.toml" in words
    assert "QRL0001 of c.toml accepts only IRQ 5 or 7" in words
    assert "0 of 1 device can be served" in words


def test_one_bad_input_doesn_t_withhold_the_others(folder: Path) -> None:
    run = romtool("assign", "a.toml", "absent.bin", cwd=folder)
    assert run.returncode == 2
    assert told(run) == (
        "romtool: absent.bin: no such file or directory; check the name and the rights\n"
    )
    assert b"QRL0001" in run.stdout


FAULTS = {
    'irq = [5, 16]':
        'romtool: pc.toml:1:11: irq: 16 is more than 15; IRQ lines that are taken, 0 to 15',
    'dma = 3':
        'romtool: pc.toml:1:7: dma takes a list in [ ], not 3; DMA channels that are taken, 0 to 7',
    'irqs = [5]':
        'romtool: pc.toml:1:1: unknown key irqs; did you mean irq?',
    'name = "PC"\nio = [ { base = 0x3F8 } ]':
        'romtool: pc.toml:2:8: [[io]] has no length; how many ports',
    'io = [ { base = "3G8h", length = 8 } ]':
        'romtool: pc.toml:1:17: base: "3G8h" is not a number; write 544, 0x220 or "220h"',
    'memory = [ { base = 0x1_0000_0000, length = 1 } ]':
        "romtool: pc.toml:1:21: base: 4294967296 is more than 4294967295; the first byte's address",
    'io = [ { base = 0x3F8, length = 8, decode = 12 } ]':
        'romtool: pc.toml:1:45: decode: "12" is not one of its values; write 10 or 16',
    'name = "\u00e9': None,
}  # fmt: skip


@pytest.mark.parametrize("text", FAULTS)
def test_a_bad_host_file_is_refused_with_its_place(folder: Path, text: str) -> None:
    (folder / "pc.toml").write_text(text, encoding="utf-8")
    run = romtool("assign", "a.toml", "--host", "pc.toml", cwd=folder)
    assert (run.returncode, run.stdout) == (2, b"")
    (line,) = told(run).splitlines()
    expected = FAULTS[text]
    assert line == expected if expected else re.match(r"romtool: pc.toml:1:\d+: ", line)


def test_a_host_file_that_is_no_text_is_refused(folder: Path) -> None:
    (folder / "pc.toml").write_bytes(b'name = "\xff"\n')
    run = romtool("assign", "a.toml", "--host", "pc.toml", cwd=folder)
    assert (run.returncode, run.stdout) == (2, b"")
    assert told(run).startswith("romtool: pc.toml:1:9: no UTF-8 text")


def test_a_host_file_of_over_1_mib_is_refused(folder: Path) -> None:
    with (folder / "pc.toml").open("wb") as file:
        file.truncate((1 << 20) + 1)
    run = romtool("assign", "a.toml", "--host", "pc.toml", cwd=folder)
    assert (run.returncode, run.stdout) == (2, b"")
    assert "1 MiB is the limit of a host file" in told(run)


def test_the_shipped_hosts_say_what_they_stand_for() -> None:
    catalog = load_catalog()
    board = load_host(catalog, "workshop")
    # Timer, keyboard, cascade, serial ports, floppy, clock, mouse, coprocessor, disk; the printer
    # is run without its line (common practice, no source).
    assert board.lines("irq") == {0, 1, 2, 3, 4, 6, 8, 12, 13, 14}
    assert board.lines("dma") == {2, 4}
    for base, length in [(0x3F8, 8), (0x2F8, 8), (0x378, 3), (0x1F0, 8), (0x3F0, 6), (0, 0x100)]:
        assert Placed(base, length, 16) in board.ranges("io")
    bare = load_host(catalog, "bare")
    assert set(bare.entries()) < set(board.entries())
    assert isinstance(bare, Host)


def test_a_host_by_its_name_or_by_its_file(folder: Path) -> None:
    """A shipped one needs no file; one of that name in the folder is meant by its path alone."""
    assert romtool("schema", "export", "workshop", "-o", "pc.toml", cwd=folder).returncode == 0
    named = romtool("assign", "a.toml", "--host", "workshop", cwd=folder)
    assert named.returncode == 0 and b"Hollow Lane workshop PC" in named.stdout
    assert romtool("assign", "a.toml", "--host", "pc.toml", cwd=folder).stdout == named.stdout
    (folder / "workshop").write_text('name = "Another"\n')
    assert romtool("assign", "a.toml", "--host", "workshop", cwd=folder).stdout == named.stdout
    other = romtool("assign", "a.toml", "--host", "./workshop", cwd=folder)
    assert other.stdout.startswith(b"Another")


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("workshp", "did you mean workshop?"),
        ("office", "known are bare, workshop; your own: --host FILE.toml"),
    ],
)
def test_a_host_that_nobody_knows(folder: Path, name: str, hint: str) -> None:
    run = romtool("assign", "a.toml", "--host", name, cwd=folder)
    assert (run.returncode, run.stdout) == (2, b"")
    assert told(run) == f"romtool: --host: nothing called {name}; {hint}\n"


def test_without_a_host_it_is_an_empty_pc_and_says_so(folder: Path) -> None:
    run = romtool("assign", "a.toml", cwd=folder)
    assert run.returncode == 0 and not told(run)
    assert run.stdout.decode().startswith("An empty PC")


def test_a_line_that_no_pin_drives_is_remarked_on(folder: Path) -> None:
    frame = '[image]\nlayout = "counted-7"\n\n[config]\nirq_wiring = [7, 9, 10, 0, 0, 0]\n\n'
    (folder / "c.toml").write_text(frame + CARD)
    run = romtool("assign", "c.toml", cwd=folder)
    assert run.returncode == 0
    assert "QRL0001: no pin of the chip is wired to IRQ 5" in run.stdout.decode()


def test_what_has_taken_a_range_is_told_in_a_conflict(folder: Path) -> None:
    (folder / "pc.toml").write_text(
        'name = "PC"\nio = [\n'
        '  { base = 0x220, length = 16, what = "a network adapter" },\n'
        "  { base = 0x240, length = 0x60 },\n]\n"
    )
    found = assigned(folder, "a.toml", "--host", "pc.toml", code=1)
    assert found["conflict"] == ["QRL0001", "host io 220h", "host io 240h"]
    run = romtool("assign", "a.toml", "--host", "pc.toml", cwd=folder)
    words = " ".join(run.stdout.decode().split())
    assert "I/O 220h-22Fh is taken by a network adapter of PC" in words
    assert "I/O 240h-29Fh is taken by PC" in words


def test_choices_in_words(folder: Path) -> None:
    # Of 1 and 2 one must take its second choice (acceptable counts 1: Spec 6.2.2.6).
    run = romtool("assign", "a.toml", "b.toml", cwd=folder)
    words = " ".join(run.stdout.decode().split())
    assert "both devices served" in words and "QRL0001 gets choice 2 acceptable" in words
    assert "score" not in words
