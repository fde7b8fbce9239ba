"""`romtool check --expect`: what games for DOS assume, compared with cards that do and don't.

The conventions are common practice, no source: digital audio at 220h with IRQ 5 (else 7) and an
8-bit DMA channel 1, FM synthesis at 388h, a MIDI UART at 330h, a game port at 200h or 201h, a
16-bit codec at 530h or 534h; the first dependent function matters. The compatible IDs are those
of the published generic PnP device ID list. Each bad card changes one thing of a good one, and
makes exactly the rule fire that is named beside it.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from tests.support.tool import romtool, told

ROOT = Path(__file__).resolve().parent.parent
SHIPPED = ROOT / "schemas" / "expect" / "dos-games.toml"
SAMPLES = sorted((ROOT / "samples").glob("*.toml"))

HEAD = """\
[card]
id = "QRL0301"
serial = 1
name = "Hollow Lane audio card"
"""
AUDIO = """
[[device]]
id = "QRL0001"

[[device.choice]]
priority = "good"
resources = [
  { irq = [5] },
  { dma = [1] },
  { io = 0x220, length = 16 },
]

[[device.choice]]
priority = "acceptable"
resources = [
  { irq = [5, 7, 10] },
  { dma = [0, 1, 3] },
  { io = [0x220, 0x280], align = 0x20, length = 16 },
]
"""
FM = """
[[device]]
id = "QRL0002"
resources = [ { io = 0x388, length = 4 } ]
"""
MIDI = """
[[device]]
id = "QRL0003"

[[device.choice]]
resources = [ { irq = [9] }, { io = 0x330, length = 2 } ]

[[device.choice]]
resources = [ { irq = [9, 10] }, { io = [0x300, 0x360], align = 0x10, length = 2 } ]
"""
GAME = """
[[device]]
id = "QRL0004"
resources = [ { io = 0x200, length = 8 } ]
"""
CODEC = """
[[device]]
id = "QRL0005"

[[device.choice]]
resources = [ { irq = [11] }, { dma = [3] }, { io = 0x534, length = 4 } ]

[[device.choice]]
resources = [ { irq = [11, 12] }, { dma = [0, 3] }, { io = [0x530, 0x608], align = 4, length = 4 } ]
"""
ALL = AUDIO + FM + MIDI + GAME + CODEC


def findings(folder: Path, card: str, *options: str) -> tuple[int, list[dict[str, Any]]]:
    """The exit code of `check --expect`, and what it adds to `check`."""
    (folder / "card.toml").write_text(HEAD + card, encoding="utf-8")
    plain = romtool("check", "--json", "card.toml", cwd=folder)
    named = options or ("--expect", "dos-games")
    run = romtool("check", "--json", "card.toml", *named, cwd=folder)
    assert told(run) == ""
    before = json.loads(plain.stdout)["findings"]
    found = [one for one in json.loads(run.stdout)["findings"] if one not in before]
    assert all(one["rule"].startswith("expect-") for one in found)
    return run.returncode, found


GOOD = {
    "all functions": ALL,
    "audio": AUDIO,
    "no game port": AUDIO + FM + MIDI,
    "a MIDI UART alone": MIDI,
    "IRQ 7": AUDIO.replace("[5] }", "[7] }"),
    "IRQ 5 or 7": AUDIO.replace("[5] }", "[5, 7] }"),
    "the game port at 201h": GAME.replace("0x200, length = 8", "0x201, length = 1"),
    "the codec at 530h": CODEC.replace("0x534", "0x530"),
    "the codec at 530h or 534h": CODEC.replace("io = 0x534", "io = [0x530, 0x534], align = 4"),
    "FM synthesis in the audio device": AUDIO.replace(
        "io = 0x220, length = 16 },", "io = 0x220, length = 16 },\n  { io = 0x388, length = 4 },", 1
    ),
    "channels that always apply": AUDIO.replace("  { dma = [1] },\n", "", 1)
    .replace("  { dma = [0, 1, 3] },\n", "")
    .replace('id = "QRL0001"', 'id = "QRL0001"\nresources = [ { dma = [1] } ]'),
    "a channel of 16 bits beside": AUDIO.replace(
        "{ dma = [1] },", '{ dma = [1] },\n  { dma = [5], width = "16" },', 1
    ),
    "8 and 16 bits": AUDIO.replace("{ dma = [1] }", '{ dma = [1], width = "8+16" }'),
    "ports that decode 10 bits": AUDIO.replace(
        "io = 0x220, length = 16", "io_fixed = 0x220, length = 16", 1
    ),
}
# Devices that are none of these functions.
NONE = {
    "a CD-ROM interface": '[[device]]\nid = "QRL0006"\n'
    "resources = [ { dma = [3] }, { io = [0x320, 0x3F0], align = 16, length = 4 } ]",
    "a modem": '[[device]]\nid = "QRL0006"\n'
    "resources = [ { irq = [4] }, { io = [0x3E8, 0x3F8], align = 8, length = 8 } ]",
    "ports of the chip's own": '[[device]]\nid = "QRL0006"\n'
    "resources = [ { io = [0x120, 0xFF8], align = 8, length = 8 } ]",
    "a network card": '[[device]]\nid = "QRL0006"\n'
    "resources = [ { irq = [10] }, { io = [0x200, 0x3E0], align = 32, length = 32 } ]",
    "no device": "",
}


@pytest.mark.parametrize("name", NONE)
def test_none_of_the_functions(name: str, tmp_path: Path) -> None:
    """Beside another function it is no fault; a card with none of them is of no use to games."""
    code, [one] = findings(tmp_path, NONE[name])
    assert (code, one["rule"], one["severity"]) == (1, "expect-none", "error")
    assert findings(tmp_path, NONE[name] + FM)[1] == []


@pytest.mark.parametrize("name", GOOD)
def test_good(name: str, tmp_path: Path) -> None:
    _, found = findings(tmp_path, GOOD[name])
    assert found == []


def test_good_cards_pass(tmp_path: Path) -> None:
    assert findings(tmp_path, ALL)[0] == 0


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_samples(path: Path) -> None:
    """The samples are cards for such games, and clean."""
    run = romtool("check", str(path), "--expect", "dos-games", "--strict")
    assert (run.returncode, told(run)) == (0, ""), run.stdout.decode()


# A card, the rule, how bad, and a word of the message that says what is found.
BAD: dict[str, tuple[str, str, str, str]] = {
    "FM at 380h": (FM.replace("0x388", "0x380"), "expect-other", "error", "380h-383h"),
    "FM at 398h": (FM.replace("0x388", "0x398"), "expect-other", "error", "398h"),
    "FM at 380h, of two ports": (
        FM.replace("0x388, length = 4", "0x380, length = 2"),
        "expect-other",
        "error",
        "380h-381h",
    ),
    "IRQ 10": (AUDIO.replace("[5] }", "[10] }"), "expect-other", "error", "IRQ 10"),
    "DMA 3": (AUDIO.replace("[1] }", "[3] }"), "expect-other", "error", "DMA 3"),
    "240h": (AUDIO.replace("0x220, length", "0x240, length"), "expect-other", "error", "240h-24Fh"),
    "no DMA": (AUDIO.replace("  { dma = [1] },\n", "", 1), "expect-nothing", "error", "DMA 1"),
    "no channel": (AUDIO.replace("[1] }", "[] }"), "expect-nothing", "error", "DMA 1"),
    "no IRQ": (AUDIO.replace("  { irq = [5] },\n", "", 1), "expect-nothing", "error", "IRQ 5 or 7"),
    "DMA 5": (
        AUDIO.replace("{ dma = [1] }", '{ dma = [5], width = "16" }'),
        "expect-nothing",
        "error",
        "DMA 1",
    ),
    "any IRQ": (AUDIO.replace("[5] }", "[5, 7, 10] }"), "expect-open", "warning", "5, 7 or 10"),
    "any DMA": (AUDIO.replace("[1] }", "[1, 3] }"), "expect-open", "warning", "DMA 1 or 3"),
    "any audio port": (
        AUDIO.replace("io = 0x220", "io = [0x220, 0x260], align = 0x20", 1),
        "expect-open",
        "warning",
        "220h to 260h",
    ),
    "MIDI at 300h": (
        MIDI.replace("io = 0x330", "io = 0x300"),
        "expect-other",
        "error",
        "300h-301h",
    ),
    "game port at 208h": (GAME.replace("0x200", "0x208"), "expect-other", "error", "208h-20Fh"),
    "codec at 604h": (CODEC.replace("io = 0x534", "io = 0x604"), "expect-other", "error", "604h"),
    "codec at E80h": (CODEC.replace("io = 0x534", "io = 0xE80"), "expect-other", "error", "E80h"),
    # Known by a compatible ID, or by one that stands for the device itself, only.
    "audio of few ports": (
        '[[device]]\nid = "QRL0001"\ncompatible = ["PNPB003"]\n'
        "resources = [ { irq = [5] }, { dma = [1] }, { io = 0x260, length = 8 } ]",
        "expect-nothing",
        "error",
        "I/O 220h",
    ),
    "a MIDI UART anywhere": (
        '[[device]]\nid = "PNPB006"\nresources = [ { io = 0x120, length = 2 } ]',
        "expect-nothing",
        "error",
        "I/O 330h",
    ),
    "an ID that stands after": (
        '[[device]]\nid = "QRL0001"\n'
        'resources = [ { io = 0x120, length = 1 }, { compatible = "PNPB02F" } ]',
        "expect-nothing",
        "error",
        "I/O 200h or 201h",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_bad(name: str, tmp_path: Path) -> None:
    """Exactly this is found, in the line that says so, with the source of the convention."""
    card, rule, severity, words = BAD[name]
    code, found = findings(tmp_path, card)
    [one] = found
    assert (one["rule"], one["severity"]) == (rule, severity)
    assert words in one["message"]
    assert "games for DOS" in one["message"]
    assert one["source"].startswith("common practice, no source")
    assert code == (1 if severity == "error" else 0)
    line = (HEAD + card).splitlines()[one["line"] - 1]
    assert line.strip().startswith(("{", "resources", "priority", "[[device", "id")), line


def test_first_choice_of_two_devices(tmp_path: Path) -> None:
    """Of two devices that can be one function, the one that software finds is judged."""
    elsewhere = MIDI.replace("QRL0003", "QRL0009").replace("io = 0x330", "io = 0x300")
    assert findings(tmp_path, MIDI + elsewhere)[1] == []
    assert findings(tmp_path, elsewhere + MIDI)[1] == []


def test_several_faults_are_told_at_once(tmp_path: Path) -> None:
    card = AUDIO.replace("[5] }", "[10] }").replace("[1] }", "[3] }") + FM.replace("388", "380")
    code, found = findings(tmp_path, card)
    assert code == 1
    assert [one["rule"] for one in found] == ["expect-other"] * 3


def test_strict(tmp_path: Path) -> None:
    (tmp_path / "card.toml").write_text(HEAD + BAD["any DMA"][0], encoding="utf-8")
    run = romtool("check", "card.toml", "--expect", "dos-games", "--strict", cwd=tmp_path)
    assert run.returncode == 1


# --- a user's own ------------------------------------------------------------------------------

OWN = """\
title = "What one program expects"
source = "its manual"

[[expectation]]
name = "my-tracker"
title = "a music program"
text = "it takes no others"

[[expectation.function]]
name = "digital audio"
text = "it asks for 240h"
required = true
length = [16, 16]
near = [{ lowest = 0x200, highest = "2F0h", step = 16 }]
bases = ["240h"]
lines = [{ resource = "irq", first = [10] }]
"""


def test_own_file_and_folder(tmp_path: Path) -> None:
    """By the path of a file, or by its name with the folder; both are the same."""
    own = tmp_path / "own"
    own.mkdir()
    (own / "tracker.toml").write_text(OWN, encoding="utf-8")
    card = AUDIO.replace("[5] }", "[10] }").replace("io = 0x220", "io = 0x240", 1)
    for options in (
        ("--expect", "own/tracker.toml"),
        ("--expect", "my-tracker", "--schemas", "own"),
        ("--expect", "own/tracker.toml", "--schemas", "own"),
    ):
        assert findings(tmp_path, card, *options) == (0, [])
        code, [first, second] = findings(tmp_path, AUDIO, *options)
        assert code == 1
        assert "a music program look for IRQ 10" in first["message"]
        assert "I/O 240h" in second["message"]
        assert first["source"] == "its manual"


def test_required(tmp_path: Path) -> None:
    (tmp_path / "tracker.toml").write_text(OWN, encoding="utf-8")
    code, [one] = findings(tmp_path, MIDI, "--expect", "tracker.toml")
    assert (code, one["rule"], one["severity"]) == (1, "expect-missing", "error")
    assert "no digital audio" in one["message"]


def test_changed_copy(tmp_path: Path) -> None:
    """A copy of the shipped one may keep its name: it then stands in its place."""
    text = SHIPPED.read_text(encoding="utf-8").replace("bases = [0x388]", "bases = [0x398]")
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "dos-games.toml").write_text(text, encoding="utf-8")
    moved = FM.replace("0x388", "0x398")
    for options in (
        ("--expect", "own/dos-games.toml"),
        ("--expect", "dos-games", "--schemas", "own"),
    ):
        assert findings(tmp_path, moved, *options) == (0, [])
        assert findings(tmp_path, FM, *options)[0] == 1
    assert findings(tmp_path, moved)[0] == 1


def test_shipped_file_by_path(tmp_path: Path) -> None:
    shutil.copy(SHIPPED, tmp_path / "mine.toml")
    assert findings(tmp_path, ALL, "--expect", "mine.toml") == (0, [])
    assert findings(tmp_path, BAD["IRQ 10"][0], "--expect", "mine.toml")[0] == 1


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[16, 16]", "[16]", "length is not [fewest, most]"),
        ("[16, 16]", "[17, 16]", "length is not [fewest, most]"),
        ("[16, 16]", "[0, 16]", "length: 0 is less than 1"),
        ('["240h"]', "[]", "there is no base to look at"),
        ('["240h"]', "[0x10000]", "bases: 65536 is more than 65535"),
        ("step = 16", "step = 0", "step: 0 is less than 1"),
        ('"irq"', '"io"', "a device takes no lines called io; known are dma or irq"),
        ('"irq"', '"irqs"', "a device takes no lines called irqs; known are dma or irq"),
        ("first = [10]", "first = []", "there is no line to look for"),
        ("first = [10]", 'first = [10], widths = ["8"]', "irq has no width 8; leave widths out"),
        (
            '"irq", first = [10]',
            '"dma", first = [1], widths = ["9"]',
            "dma has no width 9; known are 8, 8+16 or 16",
        ),
        (
            "required = true",
            'compatible = ["PNPB0"]',
            '"PNPB0" is not three letters and four hex digits, such as QRL0301',
        ),
        ("required = true", "requird = true", "unknown key requird in [function]"),
        ('title = "a music program"\n', "", "[[expectation]] has no title"),
    ],
)
def test_wrong_file(old: str, new: str, message: str, tmp_path: Path) -> None:
    """A fault of a user's file is told with its place; `schema lint` finds it too."""
    assert OWN.count(old) == 1
    (tmp_path / "tracker.toml").write_text(OWN.replace(old, new), encoding="utf-8")
    (tmp_path / "card.toml").write_text(HEAD + AUDIO, encoding="utf-8")
    for words in (["check", "card.toml", "--expect"], ["schema", "lint"]):
        run = romtool(*words, "tracker.toml", cwd=tmp_path)
        assert run.returncode == 2
        [line] = told(run).splitlines()
        assert line.startswith("romtool: tracker.toml:"), line
        assert message in line


def test_twice(tmp_path: Path) -> None:
    """Two of a user's own can't share a name."""
    for name in ("one", "two"):
        (tmp_path / f"{name}.toml").write_text(OWN, encoding="utf-8")
    run = romtool("schema", "lint", "one.toml", "two.toml", cwd=tmp_path)
    assert run.returncode == 2
    assert "expectation my-tracker is described twice" in told(run)


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("dos-game", "romtool: --expect: nothing called dos-game; known are dos-games; "),
        ("none.toml", "romtool: none.toml: no such file or directory; "),
        (".", "romtool: --expect: nothing called .; "),
        (
            str(ROOT / "samples" / "schemas" / "hollow-lane-24.toml"),
            "no [[expectation]] in this file; ",
        ),
        (str(SAMPLES[0]), ": unknown key image; "),
    ],
)
def test_unusable(name: str, message: str, tmp_path: Path) -> None:
    (tmp_path / "card.toml").write_text(HEAD + AUDIO, encoding="utf-8")
    run = romtool("check", "card.toml", "--expect", name, cwd=tmp_path)
    assert run.returncode == 2
    assert run.stdout == b""
    assert message in told(run)


def test_no_image(tmp_path: Path) -> None:
    """Of a blank part no more is said than that it is blank."""
    (tmp_path / "blank.bin").write_bytes(b"\xff" * 256)
    run = romtool("check", "--json", "blank.bin", "--expect", "dos-games", cwd=tmp_path)
    rules = [one["rule"] for one in json.loads(run.stdout)["findings"]]
    assert not any(rule.startswith("expect-") for rule in rules)


def test_shown() -> None:
    """`schema list` and `schema show` know it, for people and for scripts."""
    listed = json.loads(romtool("schema", "list", "--json").stdout)
    assert {"name": "dos-games", "title": "games for DOS"} in listed["expectations"]
    shown = json.loads(romtool("schema", "show", "dos-games", "--json").stdout)
    audio = shown["functions"][0]
    assert audio["bases"] == [0x220]
    assert {one["resource"]: one["first"] for one in audio["lines"]} == {"irq": [5, 7], "dma": [1]}
    text = romtool("schema", "show", "dos-games").stdout.decode()
    assert "16 at 220h" in text
    assert "expect/dos-games.toml, comes with romtool" in text
    assert str(ROOT) not in text


# --- in a PC --------------------------------------------------------------------------------------


def functions(folder: Path, card: str, host: str, *options: str) -> dict[str, tuple[str, Any]]:
    """The state of each function in a PC, and where it is."""
    (folder / "card.toml").write_text(HEAD + card, encoding="utf-8")
    (folder / "pc.toml").write_text(f'name = "Test PC"\n{host}', encoding="utf-8")
    words = ("check", "card.toml", "--expect", "dos-games", "--host", "pc.toml", "--json")
    run = romtool(*words, *options, cwd=folder)
    answer = json.loads(run.stdout)
    wrong = any(one["state"] == "elsewhere" for one in answer["functions"])
    assert (run.returncode == 1) == wrong
    assert (answer["errors"] > 0) == wrong
    return {one["name"]: (one["state"], one["where"]) for one in answer["functions"]}


def test_where_nothing_is_taken_all_is_where_it_is_looked_for(tmp_path: Path) -> None:
    found = functions(tmp_path, ALL, "")
    assert found["digital audio"] == ("found", "I/O 220h-22Fh; IRQ 5; DMA 1")
    assert {state for state, _ in found.values()} == {"found"}


def test_a_line_that_is_taken_moves_the_function(tmp_path: Path) -> None:
    """IRQ 5 is taken: the second choice gives the smallest values that are free."""
    state, where = functions(tmp_path, AUDIO, "irq = [5]")["digital audio"]
    assert (state, where) == ("elsewhere", "I/O 220h-22Fh; IRQ 7; DMA 0")
    run = romtool("check", "card.toml", "--expect", "dos-games", "--host", "pc.toml", cwd=tmp_path)
    said = " ".join(run.stdout.decode().split())
    assert "Test PC gives digital audio DMA 0; games for DOS look for DMA 1" in said
    assert "Test PC gives digital audio IRQ 7; games for DOS look for IRQ 5" in said


def test_what_games_can_be_told_of_they_must_be_told(tmp_path: Path) -> None:
    """IRQ 7 is fine as a card's first choice, but no game assumes it (common practice)."""
    told_of = AUDIO.replace("[5] }", "[7] }")
    assert findings(tmp_path, told_of)[1] == []
    assert functions(tmp_path, told_of, "")["digital audio"][0] == "elsewhere"


def test_what_cannot_be_given_is_off(tmp_path: Path) -> None:
    found = functions(tmp_path, FM, "io = [ { base = 0x388, length = 4 } ]")
    assert found["FM synthesis"] == ("elsewhere", None)
    assert off_words(tmp_path, "all").startswith("expect-denied: offer something else")


def off_words(folder: Path, who: str) -> str:
    """The rule and the hint about a function that stays off in the PC of `functions`."""
    words = ("card.toml", "--expect", "dos-games", "--host", "pc.toml", "--configured-by", who)
    answer = json.loads(romtool("check", *words, "--json", cwd=folder).stdout)
    rules = ("expect-denied", "expect-off", "expect-inactive")
    (found,) = [one for one in answer["findings"] if one["rule"] in rules]
    return f"{found['rule']}: {found['hint']}"


@pytest.mark.parametrize(
    ("who", "state", "words"),
    [
        ("all", "found", ""),
        ("boot", "elsewhere", "expect-off: set the boot flag, so that a PnP BIOS turns it on"),
        ("none", "elsewhere", "expect-inactive: set the boot flag, so that it is on"),
    ],
)
def test_who_configures_it(who: str, state: str, words: str, tmp_path: Path) -> None:
    """A BIOS that leaves the rest to a PnP system turns on only what has the boot flag."""
    assert functions(tmp_path, FM, "", "--configured-by", who)["FM synthesis"][0] == state
    assert not words or off_words(tmp_path, who).startswith(words)
    boot = FM.replace('"QRL0002"', '"QRL0002"\nboot = true')
    assert functions(tmp_path, boot, "", "--configured-by", who)["FM synthesis"][0] == "found"


def test_without_an_expectation_there_is_nothing_to_judge(tmp_path: Path) -> None:
    run = romtool("check", str(SAMPLES[0]), "--host", "bare")
    assert run.returncode == 2
    assert "--expect" in told(run)
