"""`romtool rehearse` as it is installed: exit codes, JSON, what it says to people."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.support.tool import CARD, CARD_ITEMS, PROFILE, built, romtool, told


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with two cards that get on, a twin of the first, and one that its chip ignores."""
    cards = tmp_path / "cards"
    cards.mkdir()
    (cards / "a.toml").write_text(PROFILE)
    other = PROFILE.replace("serial = 1", "serial = 2").replace("0x220", "0x300")
    (cards / "b.toml").write_text(other.replace("irq = [5]", "irq = [7]"))
    (tmp_path / "twin.toml").write_text(PROFILE)
    image = bytearray(built('[image]\nlayout = "counted-7"\n\n' + CARD, tmp_path, "--allow-faults"))
    image[1] ^= 0x80
    (tmp_path / "ignored.bin").write_bytes(image)
    return tmp_path


def rehearsed(folder: Path, *args: str, code: int) -> dict[str, Any]:
    run = romtool("rehearse", *args, "--json", cwd=folder)
    assert run.returncode == code, told(run)
    document = json.loads(run.stdout)
    assert isinstance(document, dict)
    return document


def test_two_cards_that_get_on(folder: Path) -> None:
    found = rehearsed(folder, "cards", code=0)
    assert [(card["csn"], card["id"], card["serial"]) for card in found["cards"]] == [
        (1, "QRL0301", 1),
        (2, "QRL0301", 2),
    ]
    assert found["lost"] == found["left_out"] == found["warnings"] == found["conflict"] == []
    (device,) = found["cards"][0]["devices"]
    registers = dict(device.pop("registers"))
    # IRQ 5 of high edge, DMA 0, 220h; what the device lacks reads 0, DMA 4 (Spec A.2, A.3).
    expected = {0x30: 1, 0x60: 0x02, 0x61: 0x20, 0x70: 5, 0x71: 2, 0x74: 0, 0x75: 4}
    assert registers == dict.fromkeys(registers, 0) | expected
    assert device == {
        "card": 0,
        "device": "QRL0001",
        "number": 0,
        "choice": 0,
        "irq": [5],
        "dma": [0],
        "io": [{"base": 0x220, "length": 16}],
        "memory": [],
    }


def test_the_contract_of_a_card(folder: Path) -> None:
    (card,) = rehearsed(folder, "cards/a.toml", code=0)["cards"]
    assert card["checksum_ok"] is True
    # Nine bytes of identifier, and the items as the other hand has them (tests/support/tool.py).
    assert card["resource_bytes"] == 9 + len(CARD_ITEMS)


def test_a_lost_card_is_exit_1(folder: Path) -> None:
    found = rehearsed(folder, "cards/a.toml", "twin.toml", "ignored.bin", code=1)
    assert [(lost["card"], lost["id"]) for lost in found["lost"]] == [
        (1, "QRL0301"),
        (2, "QRL0301"),
    ]
    assert "72 bits" in found["lost"][0]["why"]
    assert "signature is 55 3B, not 55 BB" in found["lost"][1]["why"]
    assert len(found["cards"]) == 1


def test_steps_in_json(folder: Path) -> None:
    steps = rehearsed(folder, "cards/a.toml", "--trace", code=0)["steps"]
    names = [step["step"] for step in steps]
    assert names[:4] == ["load", "reset-drv", "delay", "key"]
    assert (names.count("round"), names.count("round-silent")) == (1, 1)
    assert "steps" not in rehearsed(folder, "cards/a.toml", code=0)


def test_an_input_that_cannot_be_used(folder: Path) -> None:
    run = romtool("rehearse", "none.bin", cwd=folder)
    assert run.returncode == 2
    assert told(run).startswith("romtool: none.bin: ")
    run = romtool("rehearse", "cards/a.toml", "none.bin", cwd=folder)
    assert run.returncode == 2
    assert b"1 of 1 cards seen" in run.stdout


def test_standard_input(folder: Path) -> None:
    image = (folder / "ignored.bin").read_bytes()
    run = romtool("rehearse", "-", stdin=image, cwd=folder)
    assert run.returncode == 1, told(run)
    assert b"QRL0301  standard input" in run.stdout


def test_the_host_decides_what_is_left(folder: Path) -> None:
    (folder / "host.toml").write_text(
        'name = "Old board"\nirq = [5]\nio = [ { base = 0x213, length = 1 } ]\n'
    )
    found = rehearsed(folder, "cards/a.toml", "--host", "host.toml", code=0)
    assert found["host"] == "Old board"
    # Of the second choice: IRQ 5 is taken, and so is 213h, where READ_DATA is looked for first.
    (device,) = found["cards"][0]["devices"]
    assert (device["choice"], device["irq"]) == (1, [7])
    assert found["read_data"] == 0x233
    (folder / "host.toml").write_text("irq = [5, 7, 9, 10]\n")
    found = rehearsed(folder, "cards/a.toml", "--host", "host.toml", code=1)
    assert found["left_out"] == [{"card": 0, "device": "QRL0001", "number": 0}]
    assert "QRL0001" in found["conflict"] and "host irq 5" in found["conflict"]
    run = romtool("rehearse", "cards/a.toml", "--host", "none.toml", cwd=folder)
    assert run.returncode == 2
    assert told(run).startswith("romtool: none.toml: ")


def test_a_line_that_no_pin_drives_is_told(folder: Path) -> None:
    wiring = "irq_wiring = [7, 9, 0, 0, 0, 0]\ndma_wiring = [0, 1, 3]"
    profile = f'[image]\nlayout = "counted-7"\n\n[config]\n{wiring}\n\n{CARD}'
    (folder / "card.toml").write_text(profile)
    (warning,) = rehearsed(folder, "card.toml", code=0)["warnings"]
    assert (warning["device"], warning["remark"]) == ("QRL0001", "undriven")
    assert "IRQ line 5" in warning["message"]
    run = romtool("rehearse", "card.toml", cwd=folder)
    assert b"  warning   IRQ line 5 is given to it, but no pin of the chip" in run.stdout


def test_what_is_taken_at_power_up(folder: Path) -> None:
    """Nobody moves what is on from the start: the host has it, or another card comes up there.

    IRQ 2 of a card is the line that the bus has as IRQ 9; a 10-bit decode answers at 613h, too.
    """
    boot = CARD.replace('id = "QRL0001"', 'id = "QRL0001"\nboot = true')
    for name, serial, irq, base in (("a", 1, 5, 0x213), ("b", 2, 2, 0x300), ("c", 3, 9, 0x310)):
        ports = f"{{ io = {base:#x}, length = 1, decode = 10 }}"
        card = boot.replace("serial = 1", f"serial = {serial}")
        card = card[: card.index("resources")]
        text = f"{card}resources = [ {{ irq = [{irq}] }}, {{ dma = [1] }}, {ports} ]\n"
        (folder / f"{name}.toml").write_text(text)
    host = "io = [ { base = 0x613, length = 1, what = 'old modem' } ]\nirq = [7]\nname = 'Old PC'\n"
    (folder / "pc.toml").write_text(host)
    args = ("a.toml", "b.toml", "c.toml", "--host", "pc.toml", "--configured-by", "none")
    found = rehearsed(folder, *args, code=0)
    said = [(one["card"], one["remark"], one["message"]) for one in found["warnings"]]
    a, b, c = (f"QRL0001 of {name}.toml" for name in "abc")
    expected = [
        (0, "DMA 1", f"{b} and {c}"),
        (0, "I/O 213h", "old modem of Old PC"),
        (1, "IRQ 2", c),
        (1, "DMA 1", f"{a} and {c}"),
        (2, "IRQ 9", b),
        (2, "DMA 1", f"{a} and {b}"),
    ]
    for (card, name, words), (place, what, who) in zip(said, expected, strict=True):
        assert (card, name) == (place, "taken-at-power-up")
        assert words.startswith(f"it comes up at {what}, which is taken by {who} too: ")
    assert rehearsed(folder, "a.toml", "--configured-by", "none", code=0)["warnings"] == []


def test_what_follows_for_software(folder: Path) -> None:
    # Digital audio is looked for at 220h, IRQ 5 or 7, DMA 1 (common practice, no source).
    card = PROFILE.replace("dma = [0, 1, 3]", "dma = [1]")
    (folder / "audio.toml").write_text(card)
    found = rehearsed(folder, "audio.toml", "--expect", "dos-games", code=0)
    audio = next(one for one in found["functions"] if one["name"] == "digital audio")
    assert (audio["card"], audio["state"], audio["device"], audio["number"]) == (
        0, "found", "QRL0001", 0,
    )  # fmt: skip
    args = ("audio.toml", "--expect", "dos-games", "--configured-by", "none")
    found = rehearsed(folder, *args, code=1)
    assert found["functions"][0]["state"] == "elsewhere"
    run = romtool("rehearse", *args, cwd=folder)
    words = " ".join(run.stdout.decode().split())
    assert "leaves digital audio off" in words and "Change QRL0001: set the boot flag" in words
    run = romtool("assign", "audio.toml", "--expect", "dos-games", cwd=folder)
    assert b"digital audio   found at I/O 220h-22Fh" in run.stdout
    (folder / "pc.toml").write_text("io = [ { base = 0x220, length = 16 } ]\n")
    run = romtool("assign", "audio.toml", "--host", "pc.toml", "--expect", "dos-games", cwd=folder)
    assert "games for DOS look for I/O 220h" in " ".join(run.stdout.decode().split())


def test_check_tells_cards_that_are_one(folder: Path) -> None:
    # The same 72 bits never part in isolation (Spec 3.3, 6.1.2), as `rehearse` plays it.
    run = romtool("check", "cards/a.toml", "cards/b.toml", "twin.toml", cwd=folder)
    assert run.returncode == 0
    words = (
        "cards/a.toml, twin.toml: one card, by their 72 bits; in one PC only one of them is seen"
    )
    assert f"Same card {words}" in " ".join(run.stdout.decode().split())
    run = romtool("check", "--json", "cards/a.toml", "cards/a.toml", cwd=folder)
    assert len(json.loads(run.stdout)["files"]) == 2
    assert told(run).startswith("romtool: cards/a.toml, cards/a.toml: one card, by their 72 bits; ")
    assert "72 bits" not in romtool("check", "cards", cwd=folder).stdout.decode()
