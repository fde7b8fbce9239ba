"""`survey`: piles of dumps made in known groups, and what it says belongs together.

The cards come from the independent witness: what is the same in two dumps is known, since it was
made so, not compared.
"""

from __future__ import annotations

import csv
import io
import json
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from random import Random
from typing import Any

from tests.support.independent import FRAMES, encode
from tests.support.profiles import Table, generate
from tests.support.tool import packed_id, romtool, told

KINDS = ["bytes", "all but fill", "all but the serial number", "card"]
SAMPLES = Path(__file__).resolve().parent.parent / "samples"
LAYOUTS = list(FRAMES)


def card(seed: int) -> Table:
    """A card with an ID of its own, in a part that is far too large for it."""
    profile = generate(Random(seed), LAYOUTS[seed % len(LAYOUTS)])
    profile["image"] = {"layout": LAYOUTS[seed % len(LAYOUTS)], "size": 2048}
    profile["card"]["id"] = f"QRL{seed:04X}"
    return profile


def configured(profile: Table, way: int) -> Table:
    """The same card, its first device configured in one of several ways."""
    device = profile["device"][0]
    resources = [*device.get("resources", []), {"vendor": f"{way:02X} 01"}]
    devices = [device | {"resources": resources}, *profile["device"][1:]]
    return profile | {"device": devices}


def dumped(profile: Table, serial: int, fill: int, size: int) -> bytes:
    """Its image, with this serial number and fill, in a part of this size."""
    image = {**profile["image"], "fill": fill, "size": size}
    return encode(profile | {"image": image, "card": {**profile["card"], "serial": serial}})


def pile(folder: Path, cards: int) -> dict[str, tuple[Any, ...]]:
    """Write 15 dumps a card; return what each was made of, the widest thing first."""
    made: dict[str, tuple[Any, ...]] = {}
    for seed in range(cards):
        rng = Random(seed)
        profile = card(seed)
        for copy in range(15):
            way, serial = rng.randrange(2), rng.randrange(1, 4)
            fill, size = rng.choice([(0, 2048), (0xFF, 2048), (0xFF, 1024)])
            name = f"{seed:02}-{copy:02}.bin"
            (folder / name).write_bytes(dumped(configured(profile, way), serial, fill, size))
            made[name] = seed, way, serial, (fill, size)
    return made


def groups(made: dict[str, tuple[Any, ...]]) -> set[tuple[str, frozenset[str]]]:
    """The groups as they were made: those in which dumps are apart that a narrower one joins."""
    found = set()
    for depth, same in enumerate(reversed(KINDS), 1):
        members: dict[Any, list[str]] = defaultdict(list)
        for name, what in made.items():
            members[what[:depth]].append(name)
        for names in members.values():
            apart = {made[name][: depth + 1] for name in names}
            if len(apart) > 1 or (same == "bytes" and len(names) > 1):
                found.add((same, frozenset(names)))
    return found


def named(files: Iterable[str]) -> frozenset[str]:
    """The names of files, without their folder."""
    return frozenset(Path(file).name for file in files)


def test_300_dumps(tmp_path: Path) -> None:
    """They are grouped as they were made; the differences are those that were made."""
    made = pile(tmp_path, 20)
    run = romtool("survey", str(tmp_path), "--json")
    assert run.returncode == 0, told(run)
    answer = json.loads(run.stdout)
    assert [Path(row["file"]).name for row in answer["files"]] == sorted(made)
    found = [(group["same"], named(group["files"])) for group in answer["groups"]]
    assert len(set(found)) == len(found)
    assert set(found) == groups(made)
    for row in answer["files"]:
        name = Path(row["file"]).name
        seed, _, serial, _ = made[name]
        assert (row["id"], row["serial"]) == (f"QRL{seed:04X}", serial)
        assert row["layout"] == LAYOUTS[seed % len(LAYOUTS)]
        assert row["devices"] == [device["id"] for device in card(seed)["device"]]
        assert row["errors"] == 0
    for group in answer["groups"]:
        first, *_ = group["files"]
        assert bool(group["differences"]) == (group["same"] != "bytes")
        for one in group["differences"]:
            assert one["file"] in group["files"]
            assert one["a"] != one["b"]
            if group["same"] == "all but the serial number":
                serials = made[Path(first).name][2], made[Path(one["file"]).name][2]
                assert (one["a"], one["b"]) == serials


def test_differences_of_a_card(tmp_path: Path) -> None:
    """What was changed in the card is what is told, whatever serial number the dumps have."""
    text = (SAMPLES / "hollow-lane.toml").read_text(encoding="utf-8")
    (tmp_path / "a.toml").write_text(text, encoding="utf-8")
    changed = text.replace("serial = 1", "serial = 9").replace(
        "irq = [5, 7, 9] }", "irq = [5, 9] }"
    )
    (tmp_path / "b.toml").write_text(changed, encoding="utf-8")
    run = romtool("survey", "a.toml", "b.toml", "--json", cwd=tmp_path)
    (group,) = json.loads(run.stdout)["groups"]
    assert group["same"] == "card"
    (one,) = group["differences"]
    assert (one["file"], one["where"]) == ("b.toml", "device QRL0001, choice 2")
    text = romtool("survey", "a.toml", "b.toml", cwd=tmp_path).stdout.decode()
    assert "against a.toml: device QRL0001, choice 2: IRQ 5, 7 or 9 -> 5 or 9" in text


def test_text_and_table(tmp_path: Path) -> None:
    """One line a dump, and one row; a file that can't be used hides no other."""
    made = pile(tmp_path, 1)
    (tmp_path / "noise.bin").write_bytes(Random(1).randbytes(256))
    (tmp_path / "empty.bin").write_bytes(b"")
    run = romtool("survey", str(tmp_path))
    assert run.returncode == 2
    assert told(run).startswith(f"romtool: {tmp_path}/empty.bin: is empty")
    lines = run.stdout.decode().splitlines()
    for name in made:
        (row,) = (line for line in lines if line.startswith(f"{name}  "))
        assert row.split()[:3] == [name, "plain", "QRL0000"]
    assert any(line.split() == ["noise.bin", "-", "-", "-", "-", "1", "error"] for line in lines)
    assert all(len(line) <= 80 for line in lines)
    run = romtool("survey", str(tmp_path), "--csv")
    table = list(csv.DictReader(io.StringIO(run.stdout.decode())))
    assert len(table) == len(made) + 1
    assert table[0]["devices"].split() == [device["id"] for device in card(0)["device"]]
    by_group = defaultdict(set)
    for entry in table:
        if entry["same bytes"]:
            by_group[entry["same bytes"]].add(Path(entry["file"]).name)
    assert {("bytes", frozenset(names)) for names in by_group.values()} == {
        (same, names) for same, names in groups(made) if same == "bytes"
    }
    answer = json.loads(romtool("survey", str(tmp_path), "--json").stdout)
    (unusable,) = (row for row in answer["files"] if "error" in row)
    assert set(unusable) == {"file", "error"}


def test_a_device_whose_id_is_cut(tmp_path: Path) -> None:
    """A device item of a length that it can't have is told by its bytes, and ends nothing."""
    image = bytearray(dumped(card(1), 1, 0xFF, 2048))
    device = card(1)["device"][0]["id"]
    at = image.index(packed_id(device)) - 1
    image[at] = 0x13  # three bytes follow (Spec 6.2.2.2 has 5 or 6)
    (tmp_path / "a.bin").write_bytes(image)
    run = romtool("survey", "a.bin", "--json", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    (row,) = json.loads(run.stdout)["files"]
    assert row["devices"][0] == packed_id(device)[:3].hex(" ").upper()
