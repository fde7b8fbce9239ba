"""Variants of one board, and profiles and starters that are made to fit one.

All cards are invented; what a board leaves unconnected is common practice, no source.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from romtool.errors import InputError
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.toml.parse import parse_toml
from tests.support.tool import romtool, told

CATALOG = load_catalog()
ROOT = Path(__file__).resolve().parent.parent
SAMPLE = (ROOT / "samples/hollow-lane.toml").read_text(encoding="utf-8")
VARIANTS = """
[board]
name = "Hollow Lane board"
revision = "B"

[variant.plain-audio]
without = ["QRL0002", "QRL0003"]
config = { volume_control = true, irq_wiring = [5, 7, 9, 11, 12, 0] }
card = { name = "Plain audio", id = "QRL0309" }

[variant.second]
without = ["QRL0001/1"]
"""


@pytest.fixture(scope="module")
def board() -> str:
    """The sample profile with two variants."""
    return SAMPLE + VARIANTS


def built(text: str, variant: str | None = None) -> bytes:
    return assemble(read_profile(CATALOG, parse_toml(text), variant)).data


def test_a_board_and_its_variants_cost_no_byte(board: str) -> None:
    assert built(board) == built(SAMPLE)


def test_a_variant_leaves_out_and_replaces(board: str) -> None:
    """It is what the profile with the same changes made by hand would be."""
    tables = tomllib.loads(board)
    tables["device"] = tables["device"][:1]
    del tables["variant"]
    tables["config"] |= {"volume_control": True, "irq_wiring": [5, 7, 9, 11, 12, 0]}
    tables["card"] |= {"name": "Plain audio", "id": "QRL0309"}
    by_hand = assemble(read_profile(CATALOG, tables)).data
    assert built(board, "plain-audio") == by_hand
    assert decode(CATALOG, by_hand).card_id == "QRL0309"


def test_the_second_of_an_id(board: str) -> None:
    tables = tomllib.loads(board)
    del tables["device"][0], tables["variant"]
    assert built(board, "second") == assemble(read_profile(CATALOG, tables)).data
    twice = tomllib.loads(board)
    twice["device"].append(twice["device"][0])
    twice["variant"] = {"one": {"without": ["QRL0001/2"]}}
    assert assemble(read_profile(CATALOG, twice, "one")).data == built(board)


BAD = {
    "a device that isn't there": ('without = ["QRL0999"]', "no device is called"),
    "a place that isn't there": ('without = ["QRL0001/2"]', "no device is called"),
    "an unknown key": ("lacks = []", "unknown key lacks"),
    "an unknown key of the card": ('card = { nmae = "x" }', "unknown key nmae"),
    "no list": ('without = "QRL0001"', "without takes a list"),
}


@pytest.mark.parametrize("line", BAD, ids=list(BAD))
def test_wrong_variants_are_refused_even_unused(board: str, line: str) -> None:
    text, words = BAD[line]
    with pytest.raises(InputError) as refused:
        built(f"{board}\n[variant.x]\n{text}\n")
    problem = refused.value.problems[0]
    assert words in problem.message
    assert problem.path is not None and problem.path[:2] == ("variant", "x")


def test_problems_of_a_variant_name_it_and_its_line(board: str, tmp_path: Path) -> None:
    (tmp_path / "board.toml").write_text(
        board + '[variant.bad]\ncard = { id = "QRL" }\n', encoding="utf-8"
    )
    assert romtool("check", "board.toml", cwd=tmp_path).returncode == 0
    run = romtool("check", "board.toml", "--variant", "bad", cwd=tmp_path)
    line = len(board.splitlines()) + 2
    assert run.returncode == 2
    assert f"romtool: board.toml:{line}:" in told(run)
    assert "variant bad: " in told(run)
    run = romtool("check", "board.toml", "--variant", "plane-audio", cwd=tmp_path)
    assert run.returncode == 2
    assert "no variant plane-audio; did you mean plain-audio?" in told(run)
    run = romtool("check", str(ROOT / "samples/hollow-lane.toml"), "--variant", "x")
    assert "the profile has no variant x; add it as [variant.NAME]" in told(run)


def test_every_variant_is_built(board: str, tmp_path: Path) -> None:
    (tmp_path / "board.toml").write_text(board, encoding="utf-8")
    run = romtool("build", "board.toml", "--variant", "all", "-o", "out", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    stems = ("board", "board-plain-audio", "board-second")
    files = {file.name for file in (tmp_path / "out").iterdir()}
    assert files == {f"{stem}.{kind}" for stem in stems for kind in ("bin", "hex")}
    assert (tmp_path / "out/board-second.bin").read_bytes() == built(board, "second")
    again = romtool("diff", "board.toml", "board.toml", "--variant", "second", cwd=tmp_path)
    assert again.returncode == 0
    burnt = ("verify", "out/board-second.bin", "board.toml")
    run = romtool(*burnt, "--variant", "second", cwd=tmp_path)
    assert run.returncode == 0
    assert b"are as board.toml, variant second has them" in run.stdout
    assert romtool(*burnt, cwd=tmp_path).returncode == 1


def starter(*options: str) -> dict[str, Any]:
    run = romtool("new", "-", *options)
    assert run.returncode == 0, told(run)
    return tomllib.loads(run.stdout.decode())


def offered(tables: dict[str, Any], kind: str) -> set[int]:
    groups = [g for d in tables["device"] for g in (d, *d.get("choice", ()))]
    return {n for g in groups for entry in g.get("resources", ()) for n in entry.get(kind, ())}


def test_a_starter_for_a_wiring() -> None:
    tables = starter("--layout", "counted-19", "--irq-wiring", "5,9", "--dma-wiring", "4,1,0x3")
    assert tables["config"]["irq_wiring"] == [5, 9, 0, 0, 0, 0]
    assert tables["config"]["dma_wiring"] == [4, 1, 3]
    assert offered(tables, "irq") == {5, 9}
    assert offered(tables, "dma") == {1, 3}


def test_a_starter_for_a_chip_whose_image_says_no_wiring() -> None:
    tables = starter("--layout", "plain", "--irq-wiring", "2,5")
    assert "config" not in tables
    assert offered(tables, "irq") == {5, 9}, "line 2 of the chip is 9 in a slot"


def test_a_starter_without_functions() -> None:
    tables = starter("--layout", "plain", "--without", "fm", "--without", "game-port")
    assert [device["name"] for device in tables["device"]] == ["Digital audio", "MIDI UART"]
    bases = [
        e["io"] for d in tables["device"] for c in d["choice"] for e in c["resources"] if "io" in e
    ]
    assert 0x388 not in bases


def test_a_starter_like_a_donor(tmp_path: Path) -> None:
    text = SAMPLE
    (tmp_path / "donor.bin").write_bytes(built(text))
    tables = starter("--like", str(tmp_path / "donor.bin"))
    donor = tomllib.loads(text)
    assert tables["image"] == {"layout": donor["image"]["layout"], "part": "24C04"}
    assert tables["config"]["irq_wiring"] == donor["config"]["irq_wiring"]


def test_a_starter_like_a_variant_of_a_profile(board: str, tmp_path: Path) -> None:
    (tmp_path / "board.toml").write_text(board, encoding="utf-8")
    tables = starter("--like", str(tmp_path / "board.toml"), "--variant", "plain-audio")
    assert tables["config"]["volume_control"] is True
    assert tables["config"]["irq_wiring"] == [5, 7, 9, 11, 12, 0]


def test_a_starter_like_a_donor_whose_layout_is_named(tmp_path: Path) -> None:
    """Signature and count are lost: the bytes don't tell the layout any more."""
    data = bytearray(built(SAMPLE))
    data[:4] = bytes(4)
    (tmp_path / "donor.bin").write_bytes(data)
    run = romtool("new", "-", "--like", str(tmp_path / "donor.bin"))
    assert run.returncode == 2
    assert "name one by --layout" in told(run)
    tables = starter("--like", str(tmp_path / "donor.bin"), "--layout", "counted-19")
    assert tables["image"] == {"layout": "counted-19", "part": "24C04"}


def test_a_draft_from_a_variant_of_a_profile(board: str, tmp_path: Path) -> None:
    """What is said of its settings is said of the variant's."""
    (tmp_path / "board.toml").write_text(board, encoding="utf-8")
    texts = {
        romtool("schema", "draft", "board.toml", *words, cwd=tmp_path).stdout
        for words in ((), ("--variant", "plain-audio"))
    }
    assert len(texts) == 2


REFUSED = {
    "no layout": ((), "layout counted-19: signature, count, 19"),
    "too many pins": (("--layout", "counted-7", "--irq-wiring", "5,7,9,10,11,12,15"), "6 IRQ pins"),
    "no number": (("--layout", "plain", "--irq-wiring", "5,x"), "is not a number"),
    "no such function": (("--layout", "plain", "--without", "cd-rom"), "no function is called"),
    "a variant of nothing": (("--layout", "plain", "--variant", "x"), "give --like DUMP"),
}


@pytest.mark.parametrize("case", REFUSED, ids=list(REFUSED))
def test_starters_that_are_refused(case: str) -> None:
    options, words = REFUSED[case]
    run = romtool("new", "-", *options)
    assert run.returncode == 2
    assert words in " ".join(told(run).split())


def test_a_dump_made_to_fit_a_board(tmp_path: Path) -> None:
    """Lines with no pin leave all choices, a choice left without one goes, and it says which."""
    (tmp_path / "donor.bin").write_bytes(built(SAMPLE))
    words = ("profile", "donor.bin", "--irq-wiring", "9,5", "--without", "QRL0003")
    run = romtool(*words, "-o", "mine.toml", cwd=tmp_path)
    assert run.returncode == 0
    tables = tomllib.loads((tmp_path / "mine.toml").read_text(encoding="utf-8"))
    assert offered(tables, "irq") == {5, 9}
    assert [device["id"] for device in tables["device"]] == ["QRL0001", "QRL0002"]
    assert "device 3, QRL0003: taken out" in told(run)
    assert "device 2, QRL0002, choice 2: IRQ 7, 11 taken out" in told(run)
    assert romtool("check", "mine.toml", cwd=tmp_path).returncode == 0


def test_a_choice_left_without_a_line_goes(tmp_path: Path) -> None:
    (tmp_path / "donor.bin").write_bytes(built(SAMPLE))
    run = romtool("profile", "donor.bin", "--irq-wiring", "11,5", "-o", "m.toml", cwd=tmp_path)
    assert "device 2, QRL0002, choice 1: taken out, no line is left for it" in told(run)
    tables = tomllib.loads((tmp_path / "m.toml").read_text(encoding="utf-8"))
    assert [len(device["choice"]) for device in tables["device"]] == [3, 1, 1]


def test_a_device_that_can_never_have_a_line_goes(tmp_path: Path) -> None:
    (tmp_path / "donor.bin").write_bytes(built(SAMPLE))
    run = romtool("profile", "donor.bin", "--dma-wiring", "4,0,4", "-o", "m.toml", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    tables = tomllib.loads((tmp_path / "m.toml").read_text(encoding="utf-8"))
    assert [device["id"] for device in tables["device"]] == ["QRL0002"]


def test_a_host_file_to_fill_in(tmp_path: Path) -> None:
    """It is a host file as it stands, and says what to change."""
    assert romtool("new", "pc.toml", "--host", cwd=tmp_path).returncode == 0
    assert "change what differs" in (tmp_path / "pc.toml").read_text(encoding="utf-8")
    run = romtool(
        "assign", str(ROOT / "samples/hollow-lane.toml"), "--host", "pc.toml", cwd=tmp_path
    )
    assert run.returncode == 0, told(run)
    assert romtool("new", "x.toml", "--host", "--part", "24C04", cwd=tmp_path).returncode == 2


def test_a_patch_from_a_file(tmp_path: Path) -> None:
    """Its name is meant from the profile's folder on; each card of a series has it too."""
    (tmp_path / "board").mkdir()
    (tmp_path / "board/patch.bin").write_bytes(bytes(range(20)))
    assert SAMPLE.count("[image]\n") == 1
    named = SAMPLE.replace("[image]\n", '[image]\npatch = { file = "patch.bin" }\n')
    spelt = SAMPLE.replace("[image]\n", f'[image]\npatch = "{bytes(range(20)).hex()}"\n')
    (tmp_path / "board/card.toml").write_text(named, encoding="utf-8")
    run = romtool("build", "board/card.toml", "--serials", "1-2", "-o", "out", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    assert (tmp_path / "out/card-00001.bin").read_bytes() == built(spelt)
    (tmp_path / "board/patch.bin").unlink()
    run = romtool("build", "board/card.toml", "-o", "out", cwd=tmp_path)
    assert run.returncode == 2
    assert "card.toml:" in told(run)
    assert "patch.bin: no such file" in told(run)
    with pytest.raises(InputError, match="no file is read here"):
        built(named)


def test_a_single_file_goes_to_standard_output(board: str, tmp_path: Path) -> None:
    (tmp_path / "board.toml").write_text(board, encoding="utf-8")
    run = romtool("build", "board.toml", "--format", "bin", "-o", "-", cwd=tmp_path)
    assert (run.returncode, run.stdout) == (0, built(board))
    for options in (("--format", "bin,hex"), ("--format", "bin", "--serials", "1-2")):
        assert romtool("build", "board.toml", *options, "-o", "-", cwd=tmp_path).returncode == 2
    assert [path.name for path in tmp_path.iterdir()] == ["board.toml"]


def test_ids_that_cannot_be_spelt_are_no_examples(tmp_path: Path) -> None:
    text = '[card]\nid = "QRL0301"\nname = "X"\n[[device]]\nid_raw = "FC 01 02 03"\n'
    (tmp_path / "odd.toml").write_text(text, encoding="utf-8")
    run = romtool("build", "odd.toml", "--allow-faults", cwd=tmp_path)
    assert run.returncode == 0, told(run)
