"""Faults of a burn: `verify` names each, whatever the card; a series is compared card by card.

The faults are made by functions that know nothing of the tool; they are common practice, no source.
"""

from __future__ import annotations

import json
from pathlib import Path
from random import Random
from typing import Any

import pytest

from romtool.image.decode import decode
from romtool.readback.diagnosis import diagnose, swapped_arguments
from romtool.text.diff import change_words
from tests.support import spoil
from tests.support.independent import encode
from tests.support.profiles import Table, generate, needed
from tests.support.tool import romtool, told
from tests.test_properties import CATALOG

SAMPLES = Path(__file__).resolve().parent.parent / "samples"


def card(seed: int, layout: str = "counted-19", size: int = 512) -> Table:
    """A card that fills more than half of a part of this size."""
    for shift in range(1000):
        profile = generate(Random(seed * 1000 + shift), layout)
        profile["image"] = {"layout": layout, "size": size}
        profile["card"]["serial"] = 5
        if size // 2 < needed(profile) <= size - 24:
            return profile
    raise AssertionError("no card fills half of it")


def older(profile: Table) -> Table:
    """The card as it was before a device got a name, and another resource."""
    device = {**profile["device"][0], "name": "An older name", "resources": []}
    return {**profile, "device": [device, *profile["device"][1:]]}


def of_serial(profile: Table, serial: int) -> bytes:
    """Another card of the series."""
    return encode(profile | {"card": {**profile["card"], "serial": serial}})


NEW = card(1)
IMAGE = encode(NEW)
OLD = encode(older(NEW))
BLANK, ZERO = b"\xff" * len(IMAGE), bytes(len(IMAGE))
FAULTS: dict[str, tuple[bytes, list[str]]] = {
    "bit 0 high": (spoil.stuck(IMAGE, 0, 1), ["stuck-bit"]),
    "bit 3 low": (spoil.stuck(IMAGE, 3, 0), ["stuck-bit"]),
    "bit 7 high": (spoil.stuck(IMAGE, 7, 1), ["stuck-bit"]),
    "bit 7 low": (spoil.stuck(IMAGE, 7, 0), ["stuck-bit"]),
    "inverted": (spoil.invert(IMAGE), ["inverted"]),
    "reversed": (spoil.reverse_bits(IMAGE), ["bits-reversed"]),
    "rotated": (spoil.rotate(IMAGE, 100), ["rotated"]),
    "words late": (spoil.words_one_bit_late(IMAGE), ["word-shifted"]),
    "words gone round": (spoil.words_gone_round(IMAGE), ["word-shifted"]),
    "even bytes on FF": (spoil.every_second(IMAGE, 0, BLANK), ["every-second-byte"]),
    "odd bytes on FF": (spoil.every_second(IMAGE, 1, BLANK), ["every-second-byte"]),
    "even bytes on 00": (spoil.every_second(IMAGE, 0, ZERO), ["every-second-byte"]),
    "2 pages of 16": (spoil.wrapped_pages(IMAGE, 16, 2, BLANK), ["page-wrap"]),
    "4 pages of 16": (spoil.wrapped_pages(IMAGE, 16, 4, BLANK), ["page-wrap"]),
    "8 pages of 16": (spoil.wrapped_pages(IMAGE, 16, 8, BLANK), ["page-wrap"]),
    "2 pages of 8": (spoil.wrapped_pages(IMAGE, 8, 2, BLANK), ["page-wrap"]),
    "16 pages of 8": (spoil.wrapped_pages(IMAGE, 8, 16, ZERO), ["page-wrap"]),
    "4 pages over an older image": (spoil.wrapped_pages(IMAGE, 16, 4, OLD), ["page-wrap"]),
    "128 bytes, then blank": (spoil.first_part(IMAGE, 128, BLANK), ["partly-written"]),
    "200 bytes, then zero": (spoil.first_part(IMAGE, 200, ZERO), ["partly-written"]),
    "half over an older image": (spoil.first_part(IMAGE, 160, OLD), ["partly-written"]),
    "larger, blank": (IMAGE + BLANK, ["larger-part"]),
    "larger, with something": (IMAGE + Random(1).randbytes(512), ["larger-part"]),
    "twice": (IMAGE * 2, ["mirrored"]),
    "card 7": (of_serial(NEW, 7), ["other-card"]),
    "card 70000": (of_serial(NEW, 70000), ["other-card"]),
    "card 7, partly": (
        spoil.first_part(of_serial(NEW, 7), 128, BLANK),
        ["other-card", "partly-written"],
    ),
    "older": (OLD, ["older-image"]),
    "older, of card 7": (of_serial(older(NEW), 7), ["other-card", "older-image"]),
    "pairs swapped": (spoil.swap_pairs(IMAGE), ["swapped-pairs"]),
    "one bit late": (spoil.one_bit_late(IMAGE), ["bit-shifted"]),
    "cut": (IMAGE[:400], ["truncated"]),
    "inverted, pairs swapped": (
        spoil.swap_pairs(spoil.invert(IMAGE)),
        ["swapped-pairs", "inverted"],
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_each_is_named(name: str) -> None:
    """By the name that scripts rely on; title and check are words, without a gap."""
    read, names = FAULTS[name]
    found = diagnose(read, decode(CATALOG, IMAGE))
    assert found is not None
    assert [fault.name for fault in found.faults] == names
    for fault in found.faults:
        assert "{" not in fault.title + fault.check
        assert "-" not in fault.title or fault.name == "word-shifted"  # 16-bit


@pytest.mark.parametrize("layout", ["plain", "counted-7", "marked-8"])
@pytest.mark.parametrize("seed", range(3))
def test_every_layout(layout: str, seed: int) -> None:
    """Whatever stands before the PnP data, and however large the part."""
    profile = card(seed, layout, 256)
    image = encode(profile)
    blank = b"\xff" * 256
    want = decode(CATALOG, image, layout)
    for read, name in (
        (spoil.stuck(image, 2, 1), "stuck-bit"),
        (spoil.every_second(image, 1, blank), "every-second-byte"),
        (spoil.wrapped_pages(image, 8, 4, blank), "page-wrap"),
        (spoil.first_part(image, 72, blank), "partly-written"),
        (of_serial(profile, 6), "other-card"),
        (encode(older(profile)), "older-image"),
    ):
        found = diagnose(read, want)
        assert found is not None, name
        assert [fault.name for fault in found.faults] == [name]


def test_what_they_say() -> None:
    """Which bit, which bytes, how many, which card."""
    titles = {}
    for name, (read, _) in FAULTS.items():
        found = diagnose(read, decode(CATALOG, IMAGE))
        assert found is not None
        titles[name] = found.title
    assert titles["bit 3 low"] == "data bit 3 reads 0 in every byte"
    assert titles["odd bytes on FF"] == "only the bytes at odd addresses were written"
    assert "blocks of 64 bytes" in titles["4 pages of 16"]
    assert "takes 16 bytes at once" in titles["4 pages of 16"]
    assert titles["card 7"] == "this is card 7 of the series, all else right"
    assert "the rest is blank" in titles["128 bytes, then blank"]
    assert "as it was before" in titles["half over an older image"]


def test_an_older_image_in_the_cards_terms() -> None:
    """What differs, not only where."""
    found = diagnose(OLD, decode(CATALOG, IMAGE))
    assert found is not None
    words = [change_words(change) for change in found.changes]
    assert any("An older name" in text for text in words), words


def test_arguments_the_wrong_way_round(tmp_path: Path) -> None:
    """Told where the readback is a profile, or a sound image that explains the other one."""
    read = spoil.stuck(IMAGE, 4, 1)
    assert diagnose(IMAGE, decode(CATALOG, read, "counted-19")) is None
    found = swapped_arguments(IMAGE, decode(CATALOG, read, "counted-19"))
    assert found is not None
    assert [fault.name for fault in found.faults] == ["swapped-arguments", "stuck-bit"]
    assert swapped_arguments(OLD, decode(CATALOG, IMAGE)) is None
    (tmp_path / "read.bin").write_bytes(Random(4).randbytes(512))
    run = romtool("verify", str(SAMPLES / "hollow-lane.toml"), "read.bin", "--json", cwd=tmp_path)
    answer = json.loads(run.stdout)
    assert [one["name"] for one in answer["mishaps"]] == ["swapped-arguments"]


# --- a series


@pytest.fixture(scope="module")
def series(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twenty cards of the sample, and what was read of each: three of them wrong."""
    folder = tmp_path_factory.mktemp("series")
    sample = str(SAMPLES / "hollow-lane.toml")
    run = romtool("build", sample, "-o", "made", "--serials", "1-20", cwd=folder)
    assert run.returncode == 0, told(run)
    (folder / "read").mkdir()
    for serial in range(1, 21):
        image = (folder / "made" / f"hollow-lane-{serial:05}.bin").read_bytes()
        if serial == 4:
            image = spoil.stuck(image, 1, 0)
        elif serial == 9:
            image = b"\xff" * len(image)
        elif serial == 12:
            image = spoil.swap_pairs(image)
        elif serial == 20:
            image = (folder / "made" / "hollow-lane-00003.bin").read_bytes()
        (folder / "read" / f"r{serial:02}.bin").write_bytes(image)
    return folder


@pytest.mark.parametrize("expected", ["made", "made/hollow-lane.manifest.json"])
def test_twenty_readbacks(series: Path, expected: str) -> None:
    """20 lines, each of its own card; then what was read twice, and what not at all."""
    run = romtool("verify", "read", expected, cwd=series)
    assert run.returncode == 1, told(run)
    lines = run.stdout.decode().splitlines()
    assert all(len(line) <= 80 for line in lines)
    rows = dict(line.split(": ", 1) for line in lines[:20])
    for serial in range(1, 21):
        row = rows[f"read/r{serial:02}.bin"]
        if serial == 4:
            assert row == "card 4, data bit 1 reads 0 in every byte"
        elif serial == 9:
            assert row == "blank: every byte is FFh"
        elif serial == 12:
            assert row == "card 12, byte pairs swapped"
        elif serial == 20:
            assert row == "card 3, match"
        else:
            assert row == f"card {serial}, match"
    assert lines[20:] == [
        "20 files: 17 as expected, 3 different",
        "  card 3 more than once: read/r03.bin, read/r20.bin",
        "  no readback of card 9, 20",
    ]


def answers(series: Path, *names: str) -> dict[str, Any]:
    """The JSON answer for readbacks of the series."""
    run = romtool("verify", *names, "made", "--json", cwd=series)
    answer = json.loads(run.stdout)
    assert isinstance(answer, dict)
    return answer


def test_series_as_data(series: Path) -> None:
    """Each readback with the card that it is of, and what explains it."""
    rows = answers(series, "read")["files"]
    assert [row["card"] for row in rows[:4]] == [1, 2, 3, 4]
    assert [one["name"] for one in rows[3]["mishaps"]] == ["stuck-bit"]
    assert rows[8]["card"] is None
    assert [one["name"] for one in rows[8]["mishaps"]] == ["blank"]
    assert rows[0]["match"]
    assert rows[0]["differences"] == []


def test_a_card_that_is_not_of_the_series(series: Path, tmp_path: Path) -> None:
    """It is told which it is; a part of another kind is only told to be none of these."""
    sample = str(SAMPLES / "hollow-lane.toml")
    romtool("build", sample, "-o", str(tmp_path), "--serials", "31", cwd=series)
    found = answers(series, str(tmp_path / "hollow-lane-00031.bin"))
    assert found["is"] == 31
    assert [one["name"] for one in found["mishaps"]] == ["other-card"]
    (tmp_path / "noise.bin").write_bytes(Random(1).randbytes(512))
    run = romtool("verify", "noise.bin", str(series / "made"), cwd=tmp_path)
    assert run.returncode == 1
    assert run.stdout == b"noise.bin: no card of the series has such an image\n"


def test_a_manifest_that_is_not_what_it_says(series: Path, tmp_path: Path) -> None:
    """An image that was changed after its series was built is no measure; nor is other JSON."""
    manifest = json.loads((series / "made" / "hollow-lane.manifest.json").read_text())
    manifest["images"][0]["sha256"] = "0" * 64
    folder = tmp_path / "made"
    folder.mkdir()
    (folder / "a.manifest.json").write_text(json.dumps(manifest))
    for row in manifest["images"]:
        (folder / row["file"]).write_bytes((series / "made" / row["file"]).read_bytes())
    read = str(series / "read" / "r01.bin")
    run = romtool("verify", read, str(folder))
    assert run.returncode == 2
    assert "SHA-256" in told(run)
    (folder / "a.manifest.json").write_text('{"images": [3]}')
    run = romtool("verify", read, str(folder))
    assert run.returncode == 2
    assert "is no manifest" in told(run)
