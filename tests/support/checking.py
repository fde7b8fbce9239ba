"""What the tests of the rules share: a good card, ways to spoil it, and calls of `check`.

A bad case changes one thing: a value in the profile, a stored value in [override], or bytes of an
image. Lines are counted by carets in the text, offsets by adding up sizes of items: Plug and Play
ISA Specification 1.0a ("Spec") 6.1 and 6.2. What a frame wants has no published source (from
memory).
"""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any, NamedTuple

from tests.support.tool import identifier, packed_id, romtool, told

ROOT = Path(__file__).resolve().parent.parent.parent
FINDINGS = ROOT / "tests" / "golden" / "findings.txt"
"""What each bad case is told, word for word."""
CARET = "‸"

GOOD = """\
[image]
layout = "counted-19"
part = "24C04"

[config]
irq_wiring = [5, 7, 0, 0, 0, 0]
dma_wiring = [4, 1, 3]

[card]
id = "QRL0301"
serial = 1
name = "Hollow Lane audio card"
resources = []

[[device]]
id = "QRL0001"
name = "Digital audio"
compatible = ["PNPB002"]
resources = [ { dma = [1, 3] } ]
resources_after = []

[[device.choice]]
priority = "good"
resources = [
  { io = 0x220, length = 16 },
  { irq = [5] },
]

[[device.choice]]
priority = "acceptable"
resources = [
  { io = [0x220, 0x280], align = 0x20, length = 16 },
  { irq = [5, 7] },
]

[[device]]
id = "QRL0002"
resources = [ { memory24 = [0xC0000, 0xE0000], align = 0x4000, length = 0x4000 } ]

[override]
"""

CHOICES = GOOD[GOOD.index("[[device.choice]]") : GOOD.index('[[device]]\nid = "QRL0002"')]
DEVICES = GOOD[GOOD.index("[[device]]") : GOOD.index("[override]")]
OVERRIDE = "[override]\n"
AFTER = "resources_after = []"


class Said(NamedTuple):
    """What is found: a rule, how bad, and an offset (in a profile: the order of the carets)."""

    rule: str
    severity: str
    offset: int | None = None


class Spoilt(NamedTuple):
    """A profile with one thing replaced, a caret in each line where something is found."""

    name: str
    old: str
    new: str
    said: tuple[Said, ...]


def spoilt(name: str, old: str, new: str, *said: tuple[str, str]) -> Spoilt:
    """A case of which the first thing found is of the rule `name` (up to a slash) itself."""
    return Spoilt(name, old, new, tuple(Said(*one) for one in said))


def error(rule: str) -> tuple[str, str]:
    return rule, "error"


def warning(rule: str) -> tuple[str, str]:
    return rule, "warning"


def note(rule: str) -> tuple[str, str]:
    return rule, "note"


CARD = identifier("QRL0301", 1)
VERSION = bytes.fromhex("0A 10 00")
NAME = bytes.fromhex("82 06 00") + b"Hollow"
DEVICE = bytes.fromhex("15") + packed_id("QRL0001") + bytes.fromhex("00")
START = len(CARD) + len(VERSION) + len(NAME) + len(DEVICE)
"""Where the items after the device ID begin in an image without a frame."""


def closed(items: bytes) -> bytes:
    """Items and the end item that sums them to zero (Spec 6.2.2.11)."""
    return items + bytes([0x79, -(sum(items) + 0x79) & 0xFF])


def plain(items: bytes, size: int = 128) -> bytes:
    """An image without a frame: identifier, items, end item, fill."""
    return (CARD + closed(items)).ljust(size, b"\xff")


def with_device(items: bytes) -> bytes:
    """An image of a card with one device that asks for what these items say."""
    return plain(VERSION + NAME + DEVICE + items)


def counted(pnp: bytes) -> bytes:
    """An image with signature, count and seven configuration bytes (from memory)."""
    wiring = bytes.fromhex("00 48 75 00 00 14 03")  # IRQ 5, 7; DMA 1, 3
    return (bytes.fromhex("55 BB") + len(pnp).to_bytes(2, "big") + wiring + pnp).ljust(256, b"\xff")


def changed(image: bytes, at: int, *new: int) -> bytes:
    """An image with other bytes at an address."""
    return image[:at] + bytes(new) + image[at + len(new) :]


class Bytes(NamedTuple):
    """An image, what is found in it, and the options of the call."""

    name: str
    image: bytes
    said: tuple[Said, ...]
    options: tuple[str, ...] = ()


GOOD_ITEMS = VERSION + NAME + DEVICE + bytes.fromhex("2A 0A 00 22 A0 00")  # DMA 1, 3; IRQ 5, 7
GOOD_PLAIN = plain(GOOD_ITEMS)
GOOD_COUNTED = counted(CARD + closed(GOOD_ITEMS))
PNP = 11
"""Where the identifier stands in GOOD_COUNTED."""
END = PNP + 9 + len(GOOD_ITEMS)
"""Where the end item stands there."""
AS_COUNTED = ("--layout", "counted-7")


def checked(folder: Path, name: str, *options: str) -> tuple[int, dict[str, Any]]:
    """The exit code and the document of `romtool check --json` for a file of the folder."""
    run = romtool("check", "--json", *options, name, cwd=folder)
    assert told(run) == ""
    document = json.loads(run.stdout)
    assert isinstance(document, dict)
    return run.returncode, document


def summary(document: dict[str, Any], place: str) -> list[tuple[str, str, int | None]]:
    """Rule, severity and place of each finding; findings of the other kind of place fail."""
    for one in document["findings"]:
        assert set(one) == {"rule", "severity", place, "message", "hint", "source"}
    return [(one["rule"], one["severity"], one[place]) for one in document["findings"]]


def by_place(one: tuple[str, str, int | None]) -> tuple[int, str]:
    return one[2] or 0, one[0]


def agrees(code: int, document: dict[str, Any], severities: list[str]) -> None:
    """Counts and exit code follow from what is found: 1 for errors only (the contract)."""
    assert document["errors"] == severities.count("error")
    assert document["warnings"] == severities.count("warning")
    assert code == (1 if "error" in severities else 0)


def profile_of(one: Spoilt) -> tuple[str, list[int]]:
    """The profile of a case without carets, and the line that each one stood in."""
    assert GOOD.count(one.old) == 1, one.old
    text = GOOD.replace(one.old, one.new)
    lines = [text[: found.start()].count("\n") + 1 for found in re.finditer(CARET, text)]
    return text.replace(CARET, ""), lines


def rules() -> dict[str, dict[str, str]]:
    """The rules of the schema, by name, as a TOML reader sees them."""
    raw = tomllib.loads((ROOT / "schemas" / "rules.toml").read_text(encoding="utf-8"))
    return {rule["name"]: rule for rule in raw["rule"]}


def holds(document: dict[str, Any]) -> None:
    """Every finding is told in whole words, with the hint and the source of its rule."""
    known = rules()
    for one in document["findings"]:
        rule = known[one["rule"]]
        assert one["severity"] == rule["severity"]
        if rule["source"] == "that of the layout":
            # None of ours has a published source, and the tests' own are invented.
            assert one["source"].startswith(("from memory: check against the chip's", "invented"))
        else:
            assert one["source"] == rule["source"]
        for said, words in (("message", rule["message"]), ("hint", rule["hint"])):
            pattern = ".+".join(re.escape(piece) for piece in re.split(r"\{\w+\}", words))
            assert re.fullmatch(pattern, one[said]), one[said]


def found_in(one: Spoilt | Bytes, folder: Path) -> tuple[int, dict[str, Any]]:
    """The exit code and the document of `romtool check --json` for a bad case."""
    if isinstance(one, Bytes):
        (folder / "card.bin").write_bytes(one.image)
        return checked(folder, "card.bin", *one.options)
    (folder / "card.toml").write_text(profile_of(one)[0], encoding="utf-8")
    return checked(folder, "card.toml")


def in_words(one: Spoilt | Bytes, document: dict[str, Any]) -> str:
    """What a bad case is told, as FINDINGS holds it."""
    kind = "image" if isinstance(one, Bytes) else "profile"
    rows = [f"{said['rule']}: {said['message']}\n  {said['hint']}" for said in document["findings"]]
    return "\n".join([f"# {kind} {one.name}", *rows, ""])


def check_profile(one: Spoilt, folder: Path) -> None:
    """A spoilt profile makes its rule fire, where the carets stand, and no other."""
    _, lines = profile_of(one)
    code, document = found_in(one, folder)
    wanted = [(rule, how, line) for (rule, how, _), line in zip(one.said, lines, strict=True)]
    assert sorted(summary(document, "line"), key=by_place) == sorted(wanted, key=by_place)
    holds(document)
    agrees(code, document, [said.severity for said in one.said])
    assert one.said[0].rule == one.name.partition("/")[0]
    assert in_words(one, document) in FINDINGS.read_text(encoding="utf-8")


def check_image(one: Bytes, folder: Path) -> None:
    """A spoilt image makes its rule fire, at the right address, and no other."""
    code, document = found_in(one, folder)
    assert summary(document, "offset") == [tuple(said) for said in one.said]
    holds(document)
    agrees(code, document, [said.severity for said in one.said])
    assert one.name.partition("/")[0] in [said.rule for said in one.said]
    assert in_words(one, document) in FINDINGS.read_text(encoding="utf-8")
