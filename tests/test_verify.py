"""What `verify` says beyond each byte: runs of one field, and the fault that explains them all.

Readbacks are spoilt by functions that know nothing of the tool; the faults are common practice, no
source. The words of each fault stand in schemas/reads.toml.
"""

from __future__ import annotations

import itertools
import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest
from hypothesis import given

from romtool.image.decode import decode
from romtool.readback.diagnosis import diagnose
from romtool.text.verify import FEW_ROWS, MOST_ROWS, verify_lines
from romtool.verify import differences, together
from tests.support import amount, spoil
from tests.support import independent as witness
from tests.support.amount import randoms
from tests.support.profiles import LAYOUTS, Table, generate, profiles
from tests.support.tool import built, romtool, told
from tests.test_properties import CATALOG, images, relaxed

SAMPLES = Path(__file__).resolve().parent.parent / "samples"
SAMPLE = SAMPLES / "hollow-lane.toml"
READS = tomllib.loads(
    (SAMPLES.parent / "schemas" / "reads.toml").read_text(encoding="utf-8"),
)
WORDS = {problem["name"]: problem for problem in READS["read_fault"]}

Spoil = Callable[[bytes], bytes]

SPOILT: dict[str, tuple[Spoil, list[str]]] = {
    "swapped": (spoil.swap_pairs, ["swapped-pairs"]),
    "late": (spoil.one_bit_late, ["bit-shifted"]),
    "repeated": (lambda image: spoil.repeat(image, 4 * len(image)), ["mirrored"]),
    "pushed": (lambda image: spoil.push(image, bytes(16)), ["leading-bytes"]),
    "cut": (lambda image: image[:300], ["truncated"]),
    "frame lost": (lambda image: spoil.lose_frame(image, "counted-19", 512), ["header-missing"]),
    "blank": (lambda image: spoil.blank(len(image)), ["blank"]),
    "zero": (lambda image: spoil.zero(len(image)), ["zero"]),
    "one byte": (lambda image: b"\x55" * len(image), ["one-byte"]),
    "two bytes": (lambda image: spoil.two_bytes(len(image), b"\x12\x34"), ["two-byte-pattern"]),
    "swapped, late": (
        lambda image: spoil.swap_pairs(spoil.one_bit_late(image)),
        ["swapped-pairs", "bit-shifted"],
    ),
    "late, swapped": (
        lambda image: spoil.one_bit_late(spoil.swap_pairs(image)),
        ["bit-shifted", "swapped-pairs"],
    ),
    "swapped, repeated": (
        lambda image: spoil.repeat(spoil.swap_pairs(image), 4 * len(image)),
        ["swapped-pairs", "mirrored"],
    ),
    "swapped, cut": (lambda image: spoil.swap_pairs(image)[:300], ["swapped-pairs", "truncated"]),
}
PATTERNS = {"one byte": ": 55", "two bytes": ": 12 34"}
"""What is added to the title of a fault: the bytes that are there over and over."""
HOPELESS = ("blank", "zero", "one byte", "two bytes")


@pytest.fixture(scope="module")
def image(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The sample's image."""
    return built(SAMPLE.read_text(encoding="utf-8"), tmp_path_factory.mktemp("image"))


# --- faults


@pytest.mark.parametrize("name", SPOILT)
def test_a_fault_is_named(name: str, image: bytes, tmp_path: Path) -> None:
    """Title and what to check on the bench, in text and as data; what recover can undo, is said."""
    spoilt, problems = SPOILT[name]
    (tmp_path / "read.bin").write_bytes(spoilt(image))
    run = romtool("verify", "read.bin", str(SAMPLE), "--json", cwd=tmp_path)
    assert run.returncode == 1, told(run)
    answer = json.loads(run.stdout)
    assert [one["name"] for one in answer["mishaps"]] == problems
    words = [
        {key: WORDS[problem][key] for key in ("name", "title", "check")} for problem in problems
    ]
    words[0]["title"] += PATTERNS.get(name, "")
    assert answer["mishaps"] == words
    text = romtool("verify", "read.bin", str(SAMPLE), cwd=tmp_path).stdout.decode()
    plain = " ".join(text.split())
    title = " and ".join(WORDS[problem]["title"] for problem in problems)
    assert f"looks like {title}" in plain
    assert (f"{title}: try recover" in plain) == (name not in HOPELESS)
    assert ("--swap-pairs" in plain) == (name == "swapped")
    for problem in problems:
        assert f"bench {WORDS[problem]['check']}" in plain
    assert len(text.splitlines()) < FEW_ROWS * 2 + 12


@pytest.mark.parametrize("layout", LAYOUTS)
def test_faults_of_every_layout(layout: str) -> None:
    """Whatever the frame: the same names, undone to the image."""
    card = generate(Random(41), layout)
    card["image"] = {"layout": layout, "size": 2048}
    data = witness.encode(card)
    expected = decode(CATALOG, data, layout)
    for name, (spoilt, problems) in SPOILT.items():
        if name == "frame lost":
            continue
        found = diagnose(spoilt(data), expected)
        assert found is not None, name
        assert [problem.name for problem in found.faults] == problems, name


def test_a_lost_frame_that_is_not_typical() -> None:
    """Only the PnP data was kept: of the frame nothing is compared."""
    card = generate(Random(43), "marked-8")
    card["config"] = {"irq_wiring": [3, 0, 0, 0, 0, 0]}
    data = witness.encode(card)
    readback = spoil.lose_frame(data, "marked-8", len(data))
    found = diagnose(readback, decode(CATALOG, data, "marked-8"))
    assert found is not None
    assert [problem.name for problem in found.faults] == ["header-missing"]


@given(profiles(), randoms())
@relaxed
def test_other_faults_are_no_known_fault(profile: Table, rng: Random) -> None:
    """One wrong bit more, and no fault explains all of it."""
    data = witness.encode(profile)
    expected = decode(CATALOG, data)
    bit = rng.randrange(8 * (len(data) // 2))
    assert diagnose(spoil.flip(data, [bit]), expected) is None
    assert diagnose(spoil.flip(spoil.swap_pairs(data), [bit]), expected) is None


@pytest.mark.parametrize("layout", ["counted-19", "counted-7", "marked-8"])
def test_a_wrong_frame_is_not_a_lost_one(layout: str) -> None:
    """A wrong bit in the frame is one, whatever could be left out and put back."""
    card = generate(Random(47), layout)
    data = witness.encode(card)
    expected = decode(CATALOG, data, layout)
    for bit in range(0, 8 * len(witness.frame_bytes(card, 0)), 1 if amount.is_whole else 3):
        assert diagnose(spoil.flip(data, [bit]), expected) is None


def test_pairs_that_were_not_swapped(image: bytes, tmp_path: Path) -> None:
    """--swap-pairs for a readback that is right as it is: said so."""
    (tmp_path / "read.bin").write_bytes(image)
    run = romtool("verify", "read.bin", str(SAMPLE), "--swap-pairs", cwd=tmp_path)
    assert run.returncode == 1
    assert "leave --swap-pairs out" in run.stdout.decode()


def test_no_fault_where_all_is_right(image: bytes, tmp_path: Path) -> None:
    """A few bytes that differ have no pattern; none are told where all match."""
    (tmp_path / "read.bin").write_bytes(spoil.flip(image, [100]))
    run = romtool("verify", "read.bin", str(SAMPLE), "--json", cwd=tmp_path)
    assert json.loads(run.stdout)["mishaps"] == []
    text = romtool("verify", "read.bin", str(SAMPLE), cwd=tmp_path).stdout.decode()
    assert "looks like" not in text


# --- runs


@given(images(), images())
@relaxed
def test_runs_are_of_one_field(readback: bytes, expected: bytes) -> None:
    """Side by side, of one field, of one kind; nothing lost, as long as can be."""
    found = differences(readback, decode(CATALOG, expected))
    runs = together(found)
    assert [one for run in runs for one in run] == found
    for run in runs:
        assert [one.offset for one in run] == list(range(run[0].offset, run[0].offset + len(run)))
        assert len({one.field for one in run}) == 1
        assert len({(one.expected is None, one.found is None) for one in run}) == 1
    for before, run in itertools.pairwise(runs):
        last, first = before[-1], run[0]
        assert (
            last.offset + 1 != first.offset
            or last.field != first.field
            or (last.expected is None, last.found is None)
            != (first.expected is None, first.found is None)
        )


@given(images(), images())
@relaxed
def test_text_of_any_readback(readback: bytes, expected: bytes) -> None:
    """It fits the terminal, and doesn't grow without end."""
    image = decode(CATALOG, expected)
    found = differences(readback, image)
    if not found:
        return
    lines = list(verify_lines(found, len(expected), diagnose(readback, image)))
    assert len(lines) < 4 * MOST_ROWS
    for line in lines:
        plain = line.replace("\x1b[1m", "").replace("\x1b[0m", "")
        assert plain.isprintable(), plain
        assert len(plain) <= 80, plain


def test_a_run_in_text(image: bytes, tmp_path: Path) -> None:
    """A name that differs in six letters is one line, with the first of them; JSON has each."""
    at = image.index(b"MIDI UART")
    data = bytearray(image)
    data[at : at + 6] = b"abcdef"
    data[0x1F0:0x1F2] = b"\x00\x01"  # fill
    (tmp_path / "read.bin").write_bytes(data)
    text = romtool("verify", "read.bin", str(SAMPLE), cwd=tmp_path).stdout.decode()
    assert text.splitlines() == [
        "no match" + " " * 51 + "8 of 512 bytes differ",
        "  at    expected    found       field",
        f"  {at:04X}  4D 49 44 …  61 62 63 …  device QRL0002: ANSI identifier, name, 6 bytes",
        "  01F0  FF FF       00 01       outside: fill",
    ]
    answer = json.loads(romtool("verify", "read.bin", str(SAMPLE), "--json", cwd=tmp_path).stdout)
    assert len(answer["differences"]) == 8
