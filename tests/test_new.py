"""`romtool new`: a profile to begin with, which builds and is clean as it is, on every layout.

What it describes is common practice, no source: digital audio with FM synthesis, a MIDI UART and a
game port, with invented IDs.
"""

from __future__ import annotations

import json
import re
import tomllib
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tests.support.tool import built, need_module, romtool, told

ROOT = Path(__file__).resolve().parent.parent
OWN = ROOT / "samples" / "schemas"
LAYOUTS = ("plain", "counted-19", "counted-7", "marked-8")
CASES = [*((name, ()) for name in LAYOUTS), ("hollow-lane-24", ("--schemas", str(OWN)))]
WIDTH = 80


def new(*options: str) -> str:
    """The profile that `new` writes to standard output."""
    run = romtool("new", "-", *options)
    assert run.returncode == 0, told(run)
    assert told(run) == ""
    return run.stdout.decode()


def judged(profile: str, folder: Path, *options: str) -> list[dict[str, Any]]:
    """What `check --expect dos-games` finds in a profile that has no errors."""
    (folder / "card.toml").write_text(profile, encoding="utf-8")
    words = ["check", "--json", "card.toml", "--expect", "dos-games", *options]
    run = romtool(*words, cwd=folder)
    assert run.returncode == 0, run.stdout.decode() + told(run)
    found = json.loads(run.stdout)["findings"]
    assert isinstance(found, list)
    return found


def lines_of(tables: dict[str, Any], kind: str) -> set[int]:
    """All lines or channels that a profile offers."""
    devices = tables["device"]
    groups = [*devices, *(choice for device in devices for choice in device.get("choice", []))]
    entries = [entry for group in groups for entry in group.get("resources", [])]
    return {line for entry in entries for line in entry.get(kind, [])}


@pytest.mark.parametrize(("layout", "options"), CASES, ids=[name for name, _ in CASES])
def test_every_layout(layout: str, options: tuple[str, ...], tmp_path: Path) -> None:
    """It builds, games would find it, and no warning is left; nothing is offered without a pin."""
    text = new("--layout", layout, *options)
    tables = tomllib.loads(text)
    assert tables["image"] == {"layout": layout}
    found = judged(text, tmp_path, "--strict", *options)
    assert [one for one in found if one["severity"] != "note"] == []
    assert len(built(text, tmp_path, *options)) == 256  # it fits a 24C02, whatever the layout
    for kind in ("irq", "dma"):
        wiring = tables.get("config", {}).get(f"{kind}_wiring")
        assert (wiring is None) == (layout == "plain")
        assert wiring is None or lines_of(tables, kind) <= set(wiring)
    assert {"QRL0401", "QRL0402", "QRL0403"} == {device["id"] for device in tables["device"]}


def test_no_layout_is_the_default() -> None:
    """A layout that the chip doesn't want makes a dead card: it is asked for."""
    run = romtool("new", "-")
    assert run.returncode == 2
    for layout in LAYOUTS:
        assert f"layout {layout}: " in told(run)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_settings_in_comments_are_what_holds(layout: str, tmp_path: Path) -> None:
    """Taking the mark off all settings that are left out changes no byte."""
    text = new("--layout", layout)
    stated = re.sub(r"(?m)^#(?=\w+ = )", "", text)
    assert stated.count("\n#") < text.count("\n#")
    assert built(stated, tmp_path) == built(text, tmp_path)
    assert "part" in tomllib.loads(stated)["image"]
    config = tomllib.loads(stated).get("config", {})
    shown = json.loads(romtool("schema", "show", layout, "--json").stdout)["fields"]
    assert set(config) == {one["key"] for one in shown if one["default"] is not None}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_reads_well(layout: str) -> None:
    """80 columns, no white space at the ends, and a comment above the first of each key."""
    lines = new("--layout", layout).splitlines()
    assert lines[0] == "#:schema ./profile.schema.json"
    keys = set()
    for before, line in pairwise(lines):
        assert len(line) <= WIDTH, line
        assert line == line.rstrip()
        found = re.match(r"#?(\w+) = ", line)
        if found and found[1] not in keys:
            keys.add(found[1])
            assert before.startswith("# "), line
    assert {"layout", "part", "fill", "id", "serial", "name", "priority", "resources"} <= keys
    text = "\n".join(lines)
    for words in ('"good", "acceptable", "sub-optimal"', "0x0 to 0xFF", "24C02", "marked-8"):
        assert words in text


def test_the_json_schema_takes_it() -> None:
    jsonschema = need_module("jsonschema")
    schema = json.loads(romtool("schema", "json").stdout)
    validator = jsonschema.Draft202012Validator(schema)
    for layout in LAYOUTS:
        assert list(validator.iter_errors(tomllib.loads(new("--layout", layout)))) == []
    bad = new("--layout", "plain").replace('id = "QRL0400"', 'id = "QRL04000"')
    assert [error.json_path for error in validator.iter_errors(tomllib.loads(bad))] == [
        "$.card.id",
        "$.card.id",
    ]


def test_in_an_empty_folder(tmp_path: Path) -> None:
    """The first steps of a job, one after the other."""
    for words in (
        ["new", "card.toml", "--layout", "counted-19", "--part", "24c04"],
        ["build", "card.toml"],
        ["check", "card.toml", "--expect", "dos-games", "--strict"],
        ["schema", "json", "-o", "profile.schema.json"],
        ["verify", "card.bin", "card.toml"],
    ):
        run = romtool(*words, cwd=tmp_path)
        assert (run.returncode, told(run)) == (0, ""), words
        # That its IDs are examples is told where it is built.
        assert (b"QRL0400" in run.stdout) == (words[0] == "build"), words
    assert (tmp_path / "card.bin").stat().st_size == 512
    text = (tmp_path / "card.toml").read_text(encoding="utf-8")
    assert 'part = "24C04"' in text.splitlines()
    printed = romtool("schema", "json").stdout
    assert (tmp_path / "profile.schema.json").read_bytes() == printed


@pytest.mark.parametrize("part", ["24C01", "93C46"])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_part_too_small(part: str, layout: str, tmp_path: Path) -> None:
    """128 bytes are too few for three functions."""
    run = romtool("new", "card.toml", "--layout", layout, "--part", part, cwd=tmp_path)
    assert run.returncode == 2
    assert f"bytes don't fit {part}: " in told(run)
    assert len(told(run).splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--layout", "counted-20"), "romtool: no layout is called counted-20; known are "),
        (("--layout", ""), "romtool: no layout is called ; known are "),
        (("--layout", "hollow-lane-24"), "your own need --schemas DIR"),
        (("--layout", "plain", "--part", "24C99"), "romtool: no part is called 24C99; known are "),
    ],
)
def test_unknown(options: tuple[str, ...], message: str, tmp_path: Path) -> None:
    run = romtool("new", "card.toml", *options, cwd=tmp_path)
    assert run.returncode == 2
    assert message in told(run)
    assert list(tmp_path.iterdir()) == []


def test_files(tmp_path: Path) -> None:
    """Folders are made; an existing file is left alone, unless --force."""
    run = romtool("new", "a/b/card.toml", "--layout", "plain", cwd=tmp_path)
    assert (run.returncode, told(run)) == (0, "")
    assert run.stdout.decode() == "wrote a/b/card.toml\n"
    file = tmp_path / "a" / "b" / "card.toml"
    assert file.read_text(encoding="utf-8") == new("--layout", "plain")
    file.write_text("mine", encoding="utf-8")
    run = romtool("new", "a/b/card.toml", "--layout", "plain", cwd=tmp_path)
    assert run.returncode == 2
    assert told(run).startswith("romtool: a/b/card.toml: exists already; give --force")
    assert file.read_text(encoding="utf-8") == "mine"
    assert (
        romtool("new", "a/b/card.toml", "--layout", "plain", "--force", cwd=tmp_path).returncode
        == 0
    )
    assert file.read_text(encoding="utf-8") == new("--layout", "plain")


def test_name_without_suffix(tmp_path: Path) -> None:
    """A profile is told by its content, whatever it is called."""
    assert romtool("new", "card", "--layout", "plain", cwd=tmp_path).returncode == 0
    assert romtool("check", "card", "--strict", cwd=tmp_path).returncode == 0


def test_schema_json_files(tmp_path: Path) -> None:
    run = romtool("schema", "json", "-o", "a/profile.schema.json", cwd=tmp_path)
    assert (run.returncode, told(run)) == (0, "")
    assert run.stdout.decode() == "wrote a/profile.schema.json\n"
    again = romtool("schema", "json", "-o", "a/profile.schema.json", cwd=tmp_path)
    assert again.returncode == 0, "the same bytes are no fault"
    (tmp_path / "a/profile.schema.json").write_text("kept")
    again = romtool("schema", "json", "-o", "a/profile.schema.json", cwd=tmp_path)
    assert again.returncode == 2
    assert "exists already" in told(again)
    forced = romtool("schema", "json", "-o", "a/profile.schema.json", "--force", cwd=tmp_path)
    assert forced.returncode == 0


# --- chips of one's own ------------------------------------------------------------------------

CHIP = """\
title = "An invented chip"
source = "invented"

[[frame]]
name = "own"
title = "wiring only"
size = 4
fill = 0x00
field = [
  { at = 0, bytes = 1, key = "mark", type = "constant", value = "4F", title = "mark" },
  { at = 1, bytes = 2, key = "irq_pins", type = "pins", IRQ },
  { at = 3, bytes = 1, key = "dma_pins", type = "pins", DMA },
]
"""


# Typical wiring of the chip, and the wiring that the profile states: its own where the typical one
# has none of what games look for.
@pytest.mark.parametrize(
    ("irq", "dma", "irq_wired", "dma_wired"),
    [
        ("[5, 7, 9, 10]", "[1, 3]", [5, 7, 9, 10], [1, 3]),
        ("[7, 3, 0, 0]", "[1, 4]", [7, 3, 0, 0], [1, 4]),
        ("[5, 0, 0, 0]", "[4, 1]", [5, 0, 0, 0], [4, 1]),
        ("[0, 0, 0, 0]", "[4, 4]", [5, 7, 9, 11], [1, 3]),
        ("[3, 4, 10, 12]", "[1, 4]", [5, 7, 9, 11], [1, 4]),
        ("[5, 7, 9, 11]", "[0, 3]", [5, 7, 9, 11], [1, 3]),
        ("[10, 11, 12, 15]", "[5, 6]", [5, 7, 9, 11], [1, 3]),
    ],
)
def test_own_chip(
    irq: str, dma: str, irq_wired: list[int], dma_wired: list[int], tmp_path: Path
) -> None:
    own = tmp_path / "own"
    own.mkdir()
    text = CHIP.replace("IRQ }", f'bus = "irq", unconnected = 0, default = {irq} }}')
    text = text.replace("DMA }", f'bus = "dma", unconnected = 4, default = {dma} }}')
    (own / "chip.toml").write_text(text, encoding="utf-8")
    profile = new("--layout", "own", "--schemas", str(own))
    tables = tomllib.loads(profile)
    assert tables["config"] == {"irq_pins": irq_wired, "dma_pins": dma_wired}
    assert lines_of(tables, "irq") <= set(irq_wired)
    assert lines_of(tables, "dma") <= set(dma_wired)
    found = judged(profile, tmp_path, "--schemas", str(own))
    assert [one for one in found if one["rule"].startswith("expect-")] == []
    assert not {"not-wired", "wired-twice"} & {one["rule"] for one in found}
