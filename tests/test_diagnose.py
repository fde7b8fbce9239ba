"""From symptom to cause: each cause with an image, a PC, a readback or a capture that has it.

What makes which symptom is common practice; sections of the standard stand beside the causes in
`schemas/diagnose.toml`.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from romtool.diagnose.diagnose import ANSWERED, JudgedCause, diagnose
from romtool.diagnose.evidence import Evidence
from romtool.diagnose.judging import TESTS
from romtool.files.schemas import load_catalog
from tests.support.bus_capture import ThreeWire, ThreeWirePart, TwoWire, TwoWirePart
from tests.support.tool import romtool, told

CATALOG = load_catalog()
SAMPLE = Path(__file__).resolve().parent.parent / "samples" / "hollow-lane.toml"
SOUND = SAMPLE.read_text(encoding="utf-8")

CARD = """\
[image]
layout = "counted-19"
part = "24C04"

[config]
irq_wiring = [5, 7, 9, 11, 0, 0]
dma_wiring = [4, 1, 3]

[card]
id = "QRL0301"
serial = 1
name = "Hollow Lane audio card"
"""


def device(number: int, *resources: str, more: str = "") -> str:
    entries = ", ".join(f"{{ {one} }}" for one in resources)
    return f'\n[[device]]\nid = "QRL000{number:X}"\n{more}resources = [ {entries} ]\n'


def with_(*parts: str) -> str:
    return CARD + "".join(parts)


def override(words: str) -> str:
    return f"{SOUND}\n[override]\n{words}\n"


HOST = """\
name = "Crowded PC"
irq = [5, 7]
dma = [1]
io = [ { base = 0x220, length = 0x10 }, { base = 0x3F0, length = 8 } ]
memory = [ { base = 0xA0000, length = 0x20000 } ]
"""

# The symptom, the cause that must be found first, and the images that have it; with a PC or not.
IMAGES: dict[str, tuple[str, str, list[str], bool]] = {
    "signature": ("not-found", "eeprom-refused", [override('signature = "55 AA"')], False),
    "count": ("not-found", "eeprom-refused", [override("count = 99")], False),
    "identifier": ("not-found", "identifier-checksum", [override("id_checksum = 1")], False),
    "key": (
        "not-found",
        "key-off",
        [SOUND.replace("[config]", "[config]\npnp_key_off = true")],
        False,
    ),
    "end": ("not-found", "end-item", [override("end_checksum = 1")], False),
    "twins": ("not-found", "same-identifier", [SOUND, SOUND], False),
    "nothing given": (
        "function-off",
        "nothing-to-give",
        [with_(device(1, "irq = [5]", "io = 0x300, length = 4"))],
        True,
    ),
    "own collision": (
        "function-off",
        "own-collision",
        [with_(device(1, "io = 0x300, length = 8"), device(2, "io = 0x304, length = 8"))],
        False,
    ),
    "too many": (
        "function-off",
        "too-many-items",
        [with_(device(1, "irq = [5]", "irq = [7]", "irq = [9]"))],
        False,
    ),
    "too far": (
        "function-off",
        "number-too-high",
        [with_(*(device(n, f"io = {0x200 + 16 * n}, length = 2") for n in range(1, 13)))],
        False,
    ),
    "no pin": ("no-interrupt", "irq-unwired", [with_(device(1, "irq = [10]"))], False),
    "shared": ("no-interrupt", "irq-shared", [with_(device(1, "irq = [5, 7]"))], True),
    "two": ("no-interrupt", "irq-2-or-9", [with_(device(1, "irq = [2]"))], False),
    "level": (
        "no-interrupt",
        "irq-level",
        [with_(device(1, 'irq = [5], trigger = ["low-level"]'))],
        False,
    ),
    "no DMA pin": ("no-dma", "dma-unwired", [with_(device(1, "dma = [5]"))], False),
    "width": ("no-dma", "dma-width", [with_(device(1, 'dma = [1], width = "16"'))], False),
    "channel taken": ("no-dma", "dma-taken", [with_(device(1, "dma = [1]"))], True),
    "floppy": ("pc-hangs", "board-ports", [with_(device(1, "io = 0x3F0, length = 4"))], True),
    "below": ("pc-hangs", "board-ports", [with_(device(1, "io = 0x80, length = 4"))], False),
    "alias": (
        "pc-hangs",
        "board-aliases",
        [with_(device(1, "io = 0x7F0, length = 4, decode = 10"))],
        True,
    ),
    "graphics": (
        "pc-hangs",
        "memory-window",
        [with_(device(1, "memory24 = [0xA0000, 0xA0000], length = 0x4000, align = 0x4000"))],
        True,
    ),
    "same two": ("one-of-two", "same-identifier", [SOUND, SOUND], False),
    "first wrong": (
        "one-of-two",
        "first-identifier-wrong",
        [override("id_checksum = 1"), SOUND.replace("serial = 1", "serial = 2")],
        False,
    ),
    "elsewhere": (
        "games-silent",
        "other-values",
        [SOUND.replace("{ irq = [5] },", "{ irq = [11] },", 1)],
        False,
    ),
    "no ports for FM": (
        "games-silent",
        "function-missing",
        [with_(device(1, "io = 0x220, length = 16", more='compatible = ["PNPB002"]\n'))],
        True,
    ),
}


def judged(
    folder: Path,
    symptom: str,
    images: list[str],
    *words: str,
    host: str | None = None,
) -> tuple[int, list[dict[str, Any]]]:
    """The exit code and the causes of the command's JSON answer."""
    names = []
    for number, text in enumerate(images):
        names.append(f"card{number}.toml")
        (folder / names[-1]).write_text(text, encoding="utf-8")
    if host is not None:
        (folder / "pc.toml").write_text(host, encoding="utf-8")
        words = (*words, "--host", "pc.toml")
    run = romtool("diagnose", *names, "--symptom", symptom, *words, "--json", cwd=folder)
    assert run.stdout, told(run)
    document = json.loads(run.stdout)
    assert document["symptom"] == symptom
    for one in document["causes"]:
        assert list(one) == ["name", "state", "because", "next"]
        assert one["because"] and "{" not in one["because"] + (one["next"] or "")
        assert (one["next"] is None) == (one["state"] == "ruled-out")
    return run.returncode, document["causes"]


def states(causes: list[dict[str, Any]]) -> dict[str, str]:
    return {one["name"]: one["state"] for one in causes}


@pytest.mark.parametrize("name", IMAGES)
def test_cause_in_images_is_found_first(name: str, tmp_path: Path) -> None:
    symptom, cause, images, in_pc = IMAGES[name]
    code, causes = judged(tmp_path, symptom, images, host=HOST if in_pc else None)
    assert code == 1
    found = [one["name"] for one in causes if one["state"] == "found"]
    assert cause in found, causes
    assert causes[0]["state"] == "found"


@pytest.mark.parametrize("symptom", CATALOG.symptoms)
def test_sound_cards_have_no_cause(symptom: str, tmp_path: Path) -> None:
    """All that can be checked is ruled out, the rest stays open; nothing is invented."""
    other = SOUND.replace("serial = 1", "serial = 2").replace("QRL0301", "QRL0302")
    images = [SOUND, other] if symptom in ("not-found", "one-of-two") else [SOUND]
    code, causes = judged(tmp_path, symptom, images, host='name = "Empty PC"\n')
    known = states(causes)
    assert code == 0
    assert "found" not in known.values(), causes
    opened = {name for name, state in known.items() if state == "open"}
    not_in_an_image = {"eeprom-not-read", "older-image", "not-activated", "irq-not-reserved"}
    not_in_an_image |= {"game-told-otherwise", "function-missing", "no-write-enable"}
    not_in_an_image |= {"write-locked", "page-wrapped", "bus-driven-twice", "supply-low"}
    assert opened <= not_in_an_image | {"no-answer"}, causes


@pytest.mark.parametrize("symptom", CATALOG.symptoms)
def test_nothing_known_gives_the_list_in_order(symptom: str, tmp_path: Path) -> None:
    code, causes = judged(tmp_path, symptom, [])
    assert code == 0
    assert [one["name"] for one in causes] == list(CATALOG.symptoms[symptom].causes)
    assert set(states(causes).values()) == {"open"}


def test_states_come_in_order_and_causes_in_the_schema_s(tmp_path: Path) -> None:
    _, causes = judged(tmp_path, "not-found", [override("id_checksum = 1")])
    order = list(CATALOG.symptoms["not-found"].causes)
    rank = {"found": 0, "open": 1, "ruled-out": 2}
    keys = [(rank[one["state"]], order.index(one["name"])) for one in causes]
    assert keys == sorted(keys)


def test_a_readback_tells_what_the_part_holds(tmp_path: Path) -> None:
    (tmp_path / "card.toml").write_text(SOUND, encoding="utf-8")
    romtool("build", "card.toml", "--format", "bin", "-o", ".", cwd=tmp_path)
    data = (tmp_path / "card.bin").read_bytes()
    code, causes = judged(tmp_path, "not-found", [SOUND], "--readback", "card.bin")
    assert (code, states(causes)["older-image"]) == (0, "ruled-out")
    changed = bytearray(data)
    changed[0x1B] ^= 1  # the serial number
    (tmp_path / "card.bin").write_bytes(bytes(changed))
    code, causes = judged(tmp_path, "not-found", [SOUND], "--readback", "card.bin")
    assert (code, states(causes)["older-image"]) == (1, "found")
    (tmp_path / "card.bin").write_bytes(b"\xff" * len(data))
    _, causes = judged(tmp_path, "not-found", [SOUND], "--readback", "card.bin")
    assert states(causes)["eeprom-not-read"] == "found"


def captures() -> Iterator[tuple[str, str, str]]:
    """Symptom, cause and capture that shows it."""
    silent = TwoWire(100_000, TwoWirePart(512, 16, silent=True))
    silent.random_read(0x50, 0, 4)
    yield "not-found", "eeprom-not-read", silent.lines.vcd()
    refused = TwoWire(100_000, TwoWirePart(512, 16, memory=bytearray(b"\x55\xaa") * 256))
    refused.random_read(0x50, 0, 2)
    yield "not-found", "eeprom-refused", refused.lines.vcd()
    disabled = ThreeWire(100_000, ThreeWirePart(512, 16, 8))
    disabled.command("write", 3, 0xBEEF)
    disabled.poll()
    disabled.command("read", 3)
    yield "will-not-program", "no-write-enable", disabled.lines.vcd()
    locked = TwoWire(100_000, TwoWirePart(256, 8, protected=True), {"wp": 1})
    locked.write(0x50, 0x10, b"\x12")
    yield "will-not-program", "write-locked", locked.lines.vcd()
    wrapped = TwoWire(100_000, TwoWirePart(256, 8))
    wrapped.write(0x50, 0x10, bytes(range(16)))
    wrapped.poll(0x50)
    wrapped.random_read(0x50, 0x10, 16)
    yield "will-not-program", "page-wrapped", wrapped.lines.vcd()
    unstored = TwoWire(100_000, TwoWirePart(256, 8, protected=True))
    unstored.write(0x50, 0x10, b"\x12")
    unstored.random_read(0x50, 0x10, 1)
    yield "will-not-program", "supply-low", unstored.lines.vcd()
    yield "will-not-program", "no-answer", silent.lines.vcd()


@pytest.mark.parametrize("case", list(captures()), ids=lambda case: case[1])
def test_a_capture_tells_what_the_chip_did(case: tuple[str, str, str], tmp_path: Path) -> None:
    symptom, cause, text = case
    (tmp_path / "bus.vcd").write_text(text, encoding="utf-8")
    code, causes = judged(tmp_path, symptom, [], "--capture", "bus.vcd")
    assert (code, causes[0]["name"], causes[0]["state"]) == (1, cause, "found"), causes


def test_a_capture_of_a_chip_that_reads_all_rules_out_what_it_can(tmp_path: Path) -> None:
    (tmp_path / "card.toml").write_text(SOUND, encoding="utf-8")
    romtool("build", "card.toml", "--format", "bin", "-o", ".", cwd=tmp_path)
    data = bytearray((tmp_path / "card.bin").read_bytes())
    bus = TwoWire(100_000, TwoWirePart(512, 16, memory=data))
    bus.random_read(0x50, 0, 273)
    (tmp_path / "bus.vcd").write_text(bus.lines.vcd(), encoding="utf-8")
    words = ("--capture", "bus.vcd", "--part", "24C04")
    code, causes = judged(tmp_path, "not-found", [SOUND], *words)
    known = states(causes)
    assert code == 0
    assert [known[name] for name in ("eeprom-not-read", "eeprom-refused", "older-image")] == [
        "ruled-out"
    ] * 3


def test_pins_stand_beside_lines(tmp_path: Path) -> None:
    _, causes = judged(tmp_path, "no-interrupt", [SOUND])
    text = " ".join(one["next"] or "" for one in causes)
    assert "IRQ 5 (pin A), IRQ 7 (pin B), IRQ 9 (pin C), IRQ 11 (pin D)" in text


def test_help_names_the_symptoms() -> None:
    words = " ".join(romtool("diagnose", "--help").stdout.decode().split())
    for symptom in CATALOG.symptoms.values():
        assert f"{symptom.name} {symptom.title}" in words


def test_unusable_calls(tmp_path: Path) -> None:
    run = romtool("diagnose", "--symptom", "no-interupt", cwd=tmp_path)
    assert run.returncode == 2
    assert "did you mean no-interrupt?" in told(run)
    assert romtool("diagnose", cwd=tmp_path).returncode == 2
    missing = romtool("diagnose", "--symptom", "no-dma", "--capture", "no.vcd", cwd=tmp_path)
    assert missing.returncode == 2


def test_the_schema_names_what_there_is() -> None:
    """Causes stand in symptoms; rules, remarks, faults, findings and tests that they name exist."""
    listed = {name for symptom in CATALOG.symptoms.values() for name in symptom.causes}
    assert listed == set(CATALOG.causes)
    used = set()
    for cause in CATALOG.causes.values():
        assert {*cause.rules, *cause.hints} <= set(CATALOG.rules)
        assert set(cause.remarks) <= set(CATALOG.protocol.remarks)
        assert {*cause.observations, *cause.clears} <= {*CATALOG.observations, ANSWERED}
        assert set(cause.out) <= {"image", "cards", "host", "readback", "capture", "test"}
        assert not cause.clears or "capture" in cause.out
        used |= {cause.test} - {None}
    assert used == set(TESTS)


def test_words_of_all_causes_can_be_filled() -> None:
    evidence = Evidence(CATALOG, [])
    for symptom in CATALOG.symptoms.values():
        for one in diagnose(evidence, symptom):
            assert isinstance(one, JudgedCause)
            assert one.next and "{" not in one.next
