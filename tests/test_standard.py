"""Published values compared with the tool's own code.

"Spec" is the *Plug and Play ISA Specification, Version 1.0a* (5 May 1994); the source of each
value stands beside it. The bytes are written by hand.
"""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import pytest

from romtool.errors import InputError
from romtool.files.schemas import load_catalog
from romtool.image.answer import image_json
from romtool.image.decode import decode
from romtool.image.walk import Descriptor, peek_tag, walk, whole_items
from romtool.profile.assemble import assemble
from romtool.profile.entries import item_bytes
from romtool.profile.read import read_profile
from romtool.schema.checksums import lfsr8, shifted, sum8, xor8
from romtool.schema.field_types import CompressedAscii, Number, Range
from tests.support.tool import built, inspected, romtool

Table = dict[str, Any]

CATALOG = load_catalog()

# Spec App. B.1: the initiation key.
KEY = bytes.fromhex(
    "6A B5 DA ED F6 FB 7D BE DF 6F 37 1B 0D 86 C3 61B0 58 2C 16 8B 45 A2 D1 E8 74 3A 9D CE E7 73 39"
)


def image_of(**tables: Any) -> bytes:
    """The image that the tool builds from a profile's tables."""
    return assemble(read_profile(CATALOG, tables)).data


def item_of(entry: Table) -> bytes:
    """The item that the tool builds from an entry of a list of resources."""
    return item_bytes(CATALOG, entry, ())


def only_item(data: bytes) -> Descriptor:
    """The item that the tool finds in bytes that are one item and no more."""
    found = list(walk(CATALOG, data, 0))
    assert [item.raw for item in found] == [data]
    return found[0]


# --- the identifier and its checksum


@pytest.mark.requirement("R-B-1", "R-B.1-1")
@pytest.mark.parametrize("at", range(24))
def test_initiation_key(at: int) -> None:
    """Eight shifts with data 0 lead from each key byte to the eighth after it (App. B.1).

    The first 24 are what it starts from, the last 24 what it comes to: all 32 take part.
    """
    checksum = CATALOG.checksums["identifier"]
    assert lfsr8(b"\0", KEY[at], checksum.taps) == KEY[at + 8]


@pytest.mark.requirement("R-B-1", "R-B.1-1", "R-B.1-3")
def test_initiation_key_as_one_run() -> None:
    """From the seed, after 0, 8, 16 and 24 shifts (App. B.1)."""
    checksum = CATALOG.checksums["identifier"]
    assert [checksum.of(bytes(shifts)) for shifts in range(4)] == [0x6A, 0xDF, 0xB0, 0xE8]
    assert [KEY[0], KEY[8], KEY[16], KEY[24]] == [0x6A, 0xDF, 0xB0, 0xE8]
    assert checksum.altered(seed=0xE7).of(b"") == 0xE7


@pytest.mark.requirement("R-B.2-2", "R-B.2-1", "R-6.1-2", "R-6.1-3")
def test_published_checksum() -> None:
    """Vendor PXQ, product 540, revision 9, serial 04000100h: DCh (App. B.2)."""
    header = bytes.fromhex("43 11 54 09 00 01 00 04")
    assert lfsr8(header, 0x6A, (0, 1)) == 0xDC
    assert CATALOG.checksums["identifier"].of(header) == 0xDC
    assert image_of(card={"id": "PXQ5409", "serial": 0x04000100})[:9] == header + b"\xdc"
    found = image_json(decode(CATALOG, header + b"\xdc\x0a\x10\x00\x79\x6d"), None)["card"]
    assert (found["id"], found["serial"]) == ("PXQ5409", 0x04000100)
    assert found["checksum"] == {"stored": 0xDC, "computed": 0xDC, "ok": True}


@pytest.mark.requirement("R-6.1.3-1")
@pytest.mark.parametrize("bit", range(64))
def test_every_bit_counts(bit: int) -> None:
    """Any one wrong bit of the published example changes its checksum (App. B.2)."""
    header = bytearray.fromhex("43 11 54 09 00 01 00 04")
    header[bit // 8] ^= 1 << bit % 8
    assert CATALOG.checksums["identifier"].of(bytes(header)) != 0xDC


@pytest.mark.requirement("R-6.1-3")
def test_published_identifier() -> None:
    """Vendor ABC, product 905, revision 0, serial 8C123456h (App. D)."""
    image = image_of(card={"id": "ABC9050", "serial": 0x8C123456})
    assert image[:8] == bytes.fromhex("04 43 90 50 56 34 12 8C")
    found = image_json(decode(CATALOG, image), None)["card"]
    assert (found["id"], found["serial"]) == ("ABC9050", 0x8C123456)


@pytest.mark.requirement("R-6.1.2-1")
def test_no_serial_number() -> None:
    """FFFFFFFFh says that a card has none (Spec 6.1)."""
    image = image_of(card={"id": "ABC9050"})
    assert image[:8] == bytes.fromhex("04 43 90 50 FF FF FF FF")
    assert image_json(decode(CATALOG, image), None)["card"]["serial"] is None


def test_sums_of_other_algorithms() -> None:
    """By hand: 10h + F8h + 03h + F5h = 200h; 10h ^ F8h ^ 03h = EBh."""
    assert sum8(b"\xf8\x03", 0x10) == 0xF5
    assert sum8(b"", 0) == 0
    assert xor8(b"\xf8\x03", 0x10) == 0xEB


def test_the_register_one_bit_later() -> None:
    """6Ah shifted right is 35h; bit 7 is bit 0 ^ bit 1 ^ data: 1, or 0 with data 1 (App. B.2)."""
    checksum = CATALOG.checksums["identifier"]
    assert checksum.next(0x6A) == checksum.next(0x6A, 0) == 0xB5
    assert shifted(0x6A, checksum.taps) == 0xB5
    assert checksum.next(0x6A, 1) == 0x35


@pytest.mark.requirement("R-6.1-1", "R-6.1.1-1")
def test_packed_letters() -> None:
    """Five bits a letter, A = 1; bit 7 of the first byte is 0 (Spec 6.1)."""
    kind = CATALOG.identifier.field_layout.by_key["id"].kind
    assert isinstance(kind, CompressedAscii)
    assert kind.to_stored("AAA0000") == 0x04210000  # 0 00001 00001 00001
    assert kind.to_stored("ZZZFFFF") == 0x6B5AFFFF  # 0 11010 11010 11010
    for text in ("AAA0000", "ZZZFFFF", "PNPB02F"):
        assert kind.to_value(kind.to_stored(text)) == text
    # The published ID list's B02F (game port), as every such ID begins: 41 D0.
    assert kind.to_stored("PNPB02F") == 0x41D0B02F


# --- the worked examples (Spec 7)

# The card of App. B.2, so that the identifier and its checksum are published too. The name, the
# device's ID, the 16-bit decode, the width of the DMA channels and the absent flags are a choice of
# this test.
CARD = """\
[card]
id = "PXQ5409"
serial = 0x04000100
name = "Hollow Lane audio card"

[[device]]
id = "QRL0001"
"""
CARD_BYTES = (
    "43 11 54 09 00 01 00 04 DC  0A 10 00  82 16 00 " + b"Hollow Lane audio card".hex() + " "
)


@dataclasses.dataclass(frozen=True)
class Example:
    """A published example: as a profile, as bytes, as what `inspect --json` and `check` say of it.

    `found`: its errors and warnings, with their rules. No profile: an illegal card.
    """

    profile: str
    by_hand: str
    choices: list[Table]
    resources: list[Table]
    found: set[str]


def ports(base: int) -> Table:
    """Four ports at one base (Spec 7.1, 7.2, 7.4)."""
    return {"io": base, "length": 4}


PORTS = (0x378, 0x278, 0x3BC)  # Spec 7.1, 7.4

# The whole window moves: each of its bases is in C0000h-E0000h (Spec 7.3).
WINDOW: Table = {"memory24": [0xC0000, 0xE0000], "align": 0x10000}
NO_DMA: Table = {"dma": []}
WIDE_DMA: Table = {"dma": [5, 6, 7], "width": "16"}

EXAMPLES = {
    # 4 ports at 378h, 278h or 3BCh, IRQ 5 or 7 independently. 278h-27Bh lies over 279h.
    "7.1": Example(
        """\
resources = [ { irq = [5, 7] } ]

[[device.choice]]
resources = [ { io = 0x378, length = 4 } ]

[[device.choice]]
resources = [ { io = 0x278, length = 4 } ]

[[device.choice]]
resources = [ { io = "3BCh", length = 4 } ]
""",
        "15 46 4C 00 01 00  22 A0 00"
        "30  47 01 78 03 78 03 01 04"
        "30  47 01 78 02 78 02 01 04"
        "30  47 01 BC 03 BC 03 01 04"
        "38  79 53",
        [{"priority": None, "resources": [ports(base)]} for base in PORTS],
        [{"irq": [5, 7]}],
        {"pnp-port"},
    ),
    # 300h with IRQ 5, or 310h with IRQ 7.
    "7.2": Example(
        """\
[[device.choice]]
resources = [ { io = 0x300, length = 4 }, { irq = [5] } ]

[[device.choice]]
resources = [ { io = 0x310, length = 4 }, { irq = [7] } ]
""",
        "15 46 4C 00 01 00"
        "30  47 01 00 03 00 03 01 04  22 20 00"
        "30  47 01 10 03 10 03 01 04  22 80 00"
        "38  79 EA",
        [
            {"priority": None, "resources": [ports(base), {"irq": [line]}]}
            for base, line in ((0x300, 5), (0x310, 7))
        ],
        [],
        set(),
    ),
    # 16 ports in 300h-3F0h, IRQ 5, 7, 10, 11, 12, then by priority a window of 128 KiB and no DMA,
    # one of 64 KiB and no DMA, or none and DMA 5, 6, 7.
    "7.3": Example(
        """\
resources = [
  { io = [0x300, 0x3F0], align = 16, length = 16 },
  { irq = [5, 7, 10, 11, 12] },
]

[[device.choice]]
priority = "good"
resources = [
  { memory24 = [0xC0000, 0xE0000], align = 0x10000, length = 0x20000 },
  { dma = [] },
]

[[device.choice]]
priority = "acceptable"
resources = [
  { memory24 = [0xC0000, 0xE0000], align = 0x10000, length = 0x10000 },
  { dma = [] },
]

[[device.choice]]
priority = "sub-optimal"
resources = [
  { memory24 = [0xC0000, 0xE0000], align = 0x10000, length = 0 },
  { dma = [5, 6, 7], width = "16" },
]
""",
        "15 46 4C 00 01 00  47 01 00 03 F0 03 10 10  22 A0 1C"
        "31 00  81 09 00 00 00 0C 00 0E 00 00 00 02  2A 00 00"
        "31 01  81 09 00 00 00 0C 00 0E 00 00 00 01  2A 00 00"
        "31 02  81 09 00 00 00 0C 00 0E 00 00 00 00  2A E0 02"
        "38  79 D3",
        [
            {"priority": priority, "resources": [{**WINDOW, "length": length}, dma]}
            for priority, length, dma in (
                ("good", 0x20000, NO_DMA),
                ("acceptable", 0x10000, NO_DMA),
                ("sub-optimal", 0, WIDE_DMA),
            )
        ],
        [{"io": [0x300, 0x3F0], "align": 16, "length": 16}, {"irq": [5, 7, 10, 11, 12]}],
        set(),
    ),
    # The same as 7.1, and then in a second group DMA or none: illegal, as the standard says.
    "7.4": Example(
        "",
        "15 46 4C 00 01 00  22 A0 00"
        "30  47 01 78 03 78 03 01 04"
        "30  47 01 78 02 78 02 01 04"
        "30  47 01 BC 03 BC 03 01 04"
        "38"
        "31 01  2A 00 00"
        "31 02  2A E0 02"
        "38  79 80",
        [
            *({"priority": None, "resources": [ports(base)]} for base in PORTS),
            {"priority": "acceptable", "resources": [NO_DMA]},
            {"priority": "sub-optimal", "resources": [WIDE_DMA]},
        ],
        [{"irq": [5, 7]}],
        {"choices-again", "pnp-port"},
    ),
    # Its right form: one group, the product of both. A choice with DMA is like the one without,
    # and more: no software gets there.
    "7.4, right": Example(
        """\
resources = [ { irq = [5, 7] } ]
"""
        + "".join(
            f"""
[[device.choice]]
{priority}
resources = [ {{ io = {base}, length = 4 }}, {{ {dma} }} ]
"""
            for priority, dma in (
                ("", "dma = []"),
                ('priority = "sub-optimal"', 'dma = [5, 6, 7], width = "16"'),
            )
            for base in PORTS
        ),
        "15 46 4C 00 01 00  22 A0 00"
        "30  47 01 78 03 78 03 01 04  2A 00 00"
        "30  47 01 78 02 78 02 01 04  2A 00 00"
        "30  47 01 BC 03 BC 03 01 04  2A 00 00"
        "31 02  47 01 78 03 78 03 01 04  2A E0 02"
        "31 02  47 01 78 02 78 02 01 04  2A E0 02"
        "31 02  47 01 BC 03 BC 03 01 04  2A E0 02"
        "38  79 C9",
        [
            {"priority": priority, "resources": [ports(base), dma]}
            for priority, dma in ((None, NO_DMA), ("sub-optimal", WIDE_DMA))
            for base in PORTS
        ],
        [{"irq": [5, 7]}],
        {"choice-hidden", "pnp-port"},
    ),
}


@pytest.mark.requirement("R-7.1-1", "R-7.2-1", "R-7.3-1", "R-7.4-1", "R-7.4-2")
@pytest.mark.parametrize("name", EXAMPLES)
def test_worked_examples(name: str, tmp_path: Path) -> None:
    """Each is built to the bytes by hand, which `inspect` reads back as the same choices."""
    example = EXAMPLES[name]
    by_hand = bytes.fromhex(CARD_BYTES + example.by_hand)
    assert sum(by_hand[9:]) % 256 == 0  # Spec 6.2.2.11
    if example.profile:
        image = built(CARD + example.profile, tmp_path)
        assert image == by_hand.ljust(len(image), b"\xff")
    dump = tmp_path / "dump.bin"
    dump.write_bytes(by_hand)
    document = inspected(str(dump))
    assert document["layout"] == "plain"
    assert document["card"]["id"] == "PXQ5409"
    assert document["card"]["name"] == "Hollow Lane audio card"
    assert document["end"]["checksum"]["ok"] is True
    (device,) = document["devices"]
    assert device["id"] == "QRL0001"
    assert device["resources"] == example.resources
    assert device["choices"] == example.choices


def judged(image: bytes, folder: Path) -> tuple[int, list[tuple[str, str, str]]]:
    """What `check` says of an image: its exit code; rule, severity, message but for notes."""
    (folder / "dump.bin").write_bytes(image)
    run = romtool("check", "--json", "dump.bin", cwd=folder)
    found = [
        (one["rule"], one["severity"], one["message"]) for one in json.loads(run.stdout)["findings"]
    ]
    return run.returncode, [one for one in found if one[1] != "note"]


@pytest.mark.requirement("R-7.1-1", "R-7.2-1", "R-7.3-1", "R-7.4-1", "R-7.4-2")
@pytest.mark.parametrize("name", EXAMPLES)
def test_what_is_found_in_the_worked_examples(name: str, tmp_path: Path) -> None:
    """No error in what the standard shows as right; the illegal card is an error."""
    image = bytes.fromhex(CARD_BYTES + EXAMPLES[name].by_hand)
    code, found = judged(image, tmp_path)
    assert {rule for rule, _, _ in found} == EXAMPLES[name].found
    errors = {rule for rule, severity, _ in found if severity == "error"}
    assert errors == EXAMPLES[name].found & {"choices-again"}
    assert code == bool(errors)


# --- the sample card (Spec D)


def sample_card(end: str, lines: str = "FF FF") -> bytes:
    """The card of appendix D; its checksums are left out there. E0h is printed with a letter O."""
    return (
        bytes.fromhex("04 43 90 50 56 34 12 8C 8E  0A 10 00  82 1C 00")
        + b"ABC Ethernet Network Adapter"
        + bytes.fromhex(f"15 04 43 90 50 01  47 00 00 02 E0 03 10 01  23 {lines} 01  {end}")
    )


@pytest.mark.requirement("R-D-1", "R-D-2", "R-D-3", "R-D-4", "R-D-5", "R-D-6", "R-D-7")
def test_the_sample_card(tmp_path: Path) -> None:
    """As it should be: with tag 79h, and only lines that a slot has (mask DEB8h)."""
    image = sample_card("79 8B", "B8 DE")
    assert lfsr8(image[:8], 0x6A, (0, 1)) == image[8] and sum(image[9:]) % 256 == 0
    assert judged(image, tmp_path) == (0, [])
    document = inspected(str(tmp_path / "dump.bin"))
    assert (document["card"]["id"], document["card"]["serial"]) == ("ABC9050", 0x8C123456)
    assert document["card"]["name"] == "ABC Ethernet Network Adapter"
    (device,) = document["devices"]
    assert (device["id"], device["boot"]) == ("ABC9050", True)
    assert device["resources"] == [
        {"io": [0x200, 0x3E0], "align": 0x10, "length": 1, "decode": 10},
        {"irq": [3, 4, 5, 7, 9, 10, 11, 12, 14, 15], "trigger": ["high-edge"]},
    ]


@pytest.mark.requirement("R-D-6", "R-D-7", "R-6.2.2-2")
def test_the_sample_card_as_printed(tmp_path: Path) -> None:
    """All 16 lines are offered, and the end item's tag says that no checksum follows."""
    off = [f"device ABC9050: IRQ {line} is offered" for line in (0, 1, 8, 13)]
    two = "device ABC9050: IRQ 2 is offered"
    # Computed: 52 bytes and the tag sum to 0 with 23h (79h), or with 24h (78h).
    code, found = judged(sample_card("79 23"), tmp_path)
    assert code == 1
    assert sorted(
        (rule, severity, message.partition(",")[0]) for rule, severity, message in found
    ) == sorted([("line-renamed", "error", two), *(("line-off-bus", "error", one) for one in off)])
    code, printed = judged(sample_card("78 24"), tmp_path)
    assert code == 1
    assert [one[:2] for one in printed if one not in found] == [("item-length", "error")]


# --- the table of records (Spec 6.2)

# First byte with the length in it, a whole item, and what the standard calls it.
RECORDS = [
    ("0A 10 00", "PnP version", "6.2.2.1"),
    ("15 46 4C 00 01 00", "logical device ID", "6.2.2.2"),
    ("16 46 4C 00 01 00 00", "logical device ID", "6.2.2.2"),
    ("1C 41 D0 B0 02", "compatible device ID", "6.2.2.3"),
    ("22 20 00", "IRQ", "6.2.2.4"),
    ("23 20 00 01", "IRQ", "6.2.2.4"),
    ("2A 02 00", "DMA", "6.2.2.5"),
    ("30", "start dependent functions", "6.2.2.6"),
    ("31 00", "start dependent functions", "6.2.2.6"),
    ("38", "end dependent functions", "6.2.2.7"),
    ("47 01 20 02 20 02 01 10", "I/O port", "6.2.2.8"),
    ("4B 01 02 01", "fixed I/O port", "6.2.2.9"),
    ("71 01", "vendor defined, small", "6.2.2.10"),
    ("77 01 02 03 04 05 06 07", "vendor defined, small", "6.2.2.10"),
    ("79 00", "end", "6.2.2.11"),
    ("81 09 00 00 00 0C 00 0C 00 00 20 00", "memory range", "6.2.3.1"),
    ("82 02 00 46 4D", "ANSI identifier", "6.2.3.2"),
    ("83 04 00 31 00 A9 03", "Unicode identifier", "6.2.3.3"),
    ("84 01 00 AA", "vendor defined, large", "6.2.3.4"),
    ("85 11 00 00" + " 00" * 16, "32-bit memory range", "6.2.3.5"),
    ("86 09 00 00" + " 00" * 8, "32-bit fixed memory", "6.2.3.6"),
]


@pytest.mark.requirement(
    "R-6.2-1", "R-6.2.2-2", "R-6.2.3-2", "R-6.2.2.3-1", "R-6.2.2.10-1", "R-6.2.3.3-1", "R-6.2.3.4-1"
)
@pytest.mark.parametrize(("by_hand", "title", "chapter"), RECORDS, ids=[r[0] for r in RECORDS])
def test_record(by_hand: str, title: str, chapter: str) -> None:
    """Each first byte is the record that the standard says, of just this length."""
    item = only_item(bytes.fromhex(by_hand))
    assert item.record.title == title
    assert item.representable
    # The source that the tool itself shows is the right chapter.
    assert f"Spec {chapter}" in item.record.source
    assert not item.record.source.startswith(f"Spec {chapter}0")


@pytest.mark.requirement("R-6.2.2-1", "R-6.2.3-1", "R-0-3")
@pytest.mark.parametrize(("by_hand", "title", "chapter"), RECORDS, ids=[r[0] for r in RECORDS])
def test_record_written(by_hand: str, title: str, chapter: str) -> None:
    """Writing what was read makes the same bytes, first byte and all."""
    data = bytes.fromhex(by_hand)
    item = only_item(data)
    length = len(item.content) if item.record.length_key else None
    assert item.record.write(item.values, length) == data, (title, chapter)


# Contents that no such item can have (the lengths of Spec 6.2.2 and 6.2.3).
ODD = ["09 10", "14 46 4C 00 01", "1B 41 D0 B0", "21 20", "29 02", "32 00 00", "39 00"]
ODD += ["46 01 20 02 20 02 01", "4A 01 02", "70", "78", "81 08 00" + " 00" * 8, "83 01 00 31"]
ODD += ["85 10 00" + " 00" * 16, "86 0A 00" + " 00" * 10]


@pytest.mark.parametrize("by_hand", ODD)
def test_odd_lengths(by_hand: str) -> None:
    """An item of another length is kept as bytes, not taken for what it isn't."""
    item = only_item(bytes.fromhex(by_hand))
    assert not item.representable
    assert not item.record.takes(len(item.content))


@pytest.mark.requirement("R-6.2.2-2")
@pytest.mark.parametrize("name", [0x0, 0xA, 0xB, 0xC, 0xD])
def test_reserved_small(name: int) -> None:
    """Small item names 0 and Ah to Dh are reserved (Spec 6.2.2)."""
    # A byte 00h ends the reading, so name 0 has a length here.
    assert only_item(bytes([name << 3 | 1, 0])).record.role == "reserved"


@pytest.mark.requirement("R-6.2.3-2")
@pytest.mark.parametrize("name", [0, 7, 8, 64, 126, 127])
def test_reserved_large(name: int) -> None:
    """Large item names 0 and 7 to 127 are reserved (Spec 6.2.3)."""
    assert only_item(bytes([0x80 | name, 1, 0, 0])).record.role == "reserved"


@pytest.mark.requirement("R-6.2.2-2", "R-6.2.3-2")
def test_names_that_mean_something() -> None:
    """All other names do: 1 to 9, Eh and Fh of small items, 1 to 6 of large ones."""
    used = {
        (header, code)
        for (header, code), record in CATALOG.by_code.items()
        if record.role != "reserved"
    }
    small = [*range(1, 10), 0xE, 0xF]
    assert used == {("small", n) for n in small} | {("large", n) for n in range(1, 7)}


# --- single bits

BITS: list[tuple[Table, str]] = [
    # Spec 6.2.2.4: bit 0 high edge, 1 low edge, 2 high level, 3 low level.
    ({"irq": [0]}, "22 01 00"),
    ({"irq": [15]}, "22 00 80"),
    ({"irq": [9], "trigger": ["high-edge"]}, "23 00 02 01"),
    ({"irq": [9], "trigger": ["low-edge"]}, "23 00 02 02"),
    ({"irq": [9], "trigger": ["high-level"]}, "23 00 02 04"),
    ({"irq": [9], "trigger": ["low-level"]}, "23 00 02 08"),
    # Spec 6.2.2.5: width in bits 1:0, bus master 2, count by byte 3, by word 4, speed in 6:5.
    ({"dma": [0]}, "2A 01 00"),
    ({"dma": [7], "width": "8+16"}, "2A 80 01"),
    ({"dma": [7], "width": "16"}, "2A 80 02"),
    ({"dma": [1], "bus_master": True}, "2A 02 04"),
    ({"dma": [1], "count": ["byte"]}, "2A 02 08"),
    ({"dma": [1], "count": ["word"]}, "2A 02 10"),
    ({"dma": [1], "speed": "A"}, "2A 02 20"),
    ({"dma": [1], "speed": "B"}, "2A 02 40"),
    ({"dma": [1], "speed": "F"}, "2A 02 60"),
    # Spec 6.2.2.8: bit 0 is 1 for a 16-bit decode, 0 for a 10-bit one.
    ({"io": [0x1234, 0x5678], "align": 4, "length": 3}, "47 01 34 12 78 56 04 03"),
    ({"io": 0x220, "length": 16, "decode": 10}, "47 00 20 02 20 02 01 10"),
    # Spec 6.2.2.9: ten bits of base.
    ({"io_fixed": 0x3FF, "length": 1}, "4B FF 03 01"),
    # Spec 6.2.3.1: information byte; bases and length in steps of 256, alignment in bytes, 0 for
    # 64 KiB.
    (
        {"memory24": [0x123400, 0xFFFF00], "align": 0x4000, "length": 0x4000, "writeable": True},
        "81 09 00 01 34 12 FF FF 00 40 40 00",
    ),
    (
        {"memory24": [0xC0000, 0xC0000], "align": 0x10000, "length": 0x100, "cacheable": True},
        "81 09 00 02 00 0C 00 0C 00 00 01 00",
    ),
    (
        {"memory24": [0, 0], "align": 1, "length": 0, "high_address": True, "width": "16"},
        "81 09 00 0C 00 00 00 00 01 00 00 00",
    ),
    (
        {"memory24": [0, 0], "align": 1, "length": 0, "shadowable": True, "width": "8+16"},
        "81 09 00 30 00 00 00 00 01 00 00 00",
    ),
    # Spec 6.2.3.5 and 6.2.3.6: 32 bits each, in bytes.
    (
        {
            "memory32": [0x01234567, 0x89ABCDEF],
            "align": 0x11223344,
            "length": 0x55667788,
            "rom": True,
            "width": "32",
        },
        "85 11 00 58 67 45 23 01 EF CD AB 89 44 33 22 11 88 77 66 55",
    ),
    (
        {"memory32_fixed": 0x01234567, "length": 0x89ABCDEF},
        "86 09 00 00 67 45 23 01 EF CD AB 89",
    ),
]


@pytest.mark.requirement(
    "R-6.2.2.4-2",
    "R-6.2.2.5-2",
    "R-6.2.2.8-1",
    "R-6.2.2.8-2",
    "R-6.2.2.9-1",
    "R-6.2.3.1-1",
    "R-6.2.3.1-4",
    "R-6.2.3.5-1",
    "R-6.2.3.6-1",
    "R-2.2-4",
)
@pytest.mark.parametrize(("entry", "by_hand"), BITS, ids=[b[1] for b in BITS])
def test_bits(entry: Table, by_hand: str) -> None:
    """Each bit means what the standard says, both ways."""
    data = bytes.fromhex(by_hand)
    assert item_of(entry) == data
    item = only_item(data)
    assert item.record.entry_of(item.values) == entry


@pytest.mark.requirement("R-6.2.2.6-1")
@pytest.mark.parametrize(
    ("priority", "stored"), [("good", 0), ("acceptable", 1), ("sub-optimal", 2)]
)
def test_priorities(priority: str, stored: int) -> None:
    """0 good, 1 acceptable, 2 sub-optimal (Spec 6.2.2.6)."""
    record = CATALOG.by_role["choice"]
    assert record.write({"priority": priority}) == bytes([0x31, stored])
    assert record.write({}) == b"\x30"


@pytest.mark.requirement("R-6.2.2.2-4", "R-6.2.2.2-5")
@pytest.mark.parametrize("register", range(0x31, 0x40))
def test_device_flags(register: int) -> None:
    """Bit 0 boot, bits 1-7 registers 31h-37h, then 38h-3Fh in a second byte (Spec 6.2.2.2)."""
    record = CATALOG.by_role["device"]
    written = record.write({"id": "QRL0001", "registers": [register]})
    at, bit = (5, register - 0x30) if register < 0x38 else (6, register - 0x38)
    expected = bytearray.fromhex("15 46 4C 00 01 00" if at == 5 else "16 46 4C 00 01 00 00")
    expected[at] = 1 << bit
    assert written == bytes(expected)
    assert record.write({"id": "QRL0001", "boot": True}) == bytes.fromhex("15 46 4C 00 01 01")


@pytest.mark.requirement("R-6.2.2.1-1")
def test_version_is_packed_bcd() -> None:
    """10h is 1.0 (Spec 6.2.2.1)."""
    record = CATALOG.by_role["version"]
    assert record.write({}) == bytes.fromhex("0A 10 00")
    wanted = {"pnp_version": "2.3", "vendor_version": 0xA5}
    assert record.write(wanted) == bytes.fromhex("0A 23 A5")
    assert only_item(bytes.fromhex("0A 23 A5")).values == wanted


@pytest.mark.requirement("R-6.2.2.11-1", "R-6.2.2.11-2")
def test_end_checksum() -> None:
    """All bytes after the identifier sum to 0; a stored 0 is not checked (Spec 6.2.2.11)."""
    image = image_of(card={"id": "PXQ5409", "serial": 0x04000100})
    # 0A + 10 + 00 + 79 is 93h; 93h + 6Dh is 100h.
    assert image[9:14] == bytes.fromhex("0A 10 00 79 6D")
    for stored, ok in ((0x6D, True), (0x00, True), (0x6E, False)):
        found = decode(CATALOG, image[:13] + bytes([stored])).end_checksum
        assert found is not None
        assert (found.stored, found.computed, found.ok) == (stored, 0x6D, ok)


def test_largest_items() -> None:
    """A small item's length has 3 bits, a large one's 16 (Spec 6.2.2, 6.2.3)."""
    assert (CATALOG.headers["small"].top_length, CATALOG.headers["large"].top_length) == (7, 0xFFFF)
    assert (CATALOG.headers["small"].top_code, CATALOG.headers["large"].top_code) == (15, 127)
    assert item_of({"vendor": "01 02 03 04 05 06 07"})[:1] == b"\x77"
    assert item_of({"vendor": "01 02 03 04 05 06 07 08"})[:3] == b"\x84\x08\x00"
    with pytest.raises(InputError):
        item_of({"vendor": "01 02 03 04 05 06 07 08", "form": "small"})


@pytest.mark.requirement("R-6.2.2.4-1", "R-6.2.2.5-1", "R-6.2.2.9-1", "R-6.2.3.1-2", "R-6.2.2.8-2")
@pytest.mark.parametrize(
    "entry",
    [
        {"irq": [16]},
        {"dma": [8]},
        {"io": 0x10000, "length": 1},
        {"io": 0x220, "length": 256},
        {"io_fixed": 0x400, "length": 1},
        {"memory24": [0xC0001, 0xD0000], "align": 1, "length": 0x100},
        {"memory24": [0, 0x1000000], "align": 1, "length": 0x100},
        {"memory24": [0xC0000, 0xD0000], "align": 0x100, "length": 0x180},
        {"memory32": [0, 0x100000000], "align": 1, "length": 1},
        {"compatible": "PNPB02"},
        {"name": "caf\u00e9"},
    ],
    ids=str,
)
def test_what_no_item_can_say(entry: Table) -> None:
    """Numbers of more bits than the item has are refused, not cut (Spec 6.2.2, 6.2.3)."""
    with pytest.raises(InputError):
        item_of(entry)


def test_numbers_are_little_endian() -> None:
    """All numbers of several bytes in items are (Spec 6.2)."""
    fields = [f for r in CATALOG.records.values() for f in r.field_layout.fields]
    numbers = [f for f in fields if isinstance(f.kind, Number | Range)]
    assert numbers
    assert {f.endian for f in numbers} == {"little"}


def test_whole_items_and_cut_ones() -> None:
    """0Ah is a version of two bytes, 82h a name of so many as the next two say (Spec 6.2)."""
    version, name = bytes.fromhex("0A 10 00"), b"\x82\x02\x00Hi"
    assert whole_items(CATALOG, b"") is None
    assert whole_items(CATALOG, version + name) is None
    assert whole_items(CATALOG, name + version) is None
    for cut in range(1, 3):
        assert whole_items(CATALOG, name + version[:cut]) == 5
    for cut in range(1, 5):
        assert whole_items(CATALOG, version + name[:cut]) == 3
        assert whole_items(CATALOG, name[:cut]) == 0
    # A byte 00h ends the reading, and is whole by itself (the PnP code of an operating system
    # kernel, read and run).
    assert whole_items(CATALOG, b"\0" + version) is None
    assert whole_items(CATALOG, b"\0" + version[:2]) == 1


def test_what_a_header_announces() -> None:
    """The whole item's bytes, those that are missing too (Spec 6.2.2, 6.2.3)."""
    version = peek_tag(CATALOG, b"\0\x0a\x10", 1)
    assert version is not None
    assert (version[0].role, version[1]) == ("version", 3)
    name = peek_tag(CATALOG, b"\x82\x34\x12", 0)
    assert name is not None
    assert (name[0].role, name[1]) == ("name", 0x1237)
    assert peek_tag(CATALOG, b"\x82\x34", 0) is None
    assert peek_tag(CATALOG, b"\0", 0) is None
    assert peek_tag(CATALOG, b"\x0a", 1) is None


def test_an_item_has_one_role() -> None:
    """0Ah is a version of two bytes; of three its length is odd, and it plays no part (6.2.2.1)."""
    version, odd = only_item(bytes.fromhex("0A 10 00")), only_item(bytes.fromhex("0B 10 00 00"))
    assert version.has_role("version")
    assert not version.has_role("name")
    assert not odd.has_role("version")


def test_walk_stops_where_no_whole_item_stands() -> None:
    """After the end item (79h), before a cut one (Spec 6.2), and at a byte 00h.

    That is what the PnP code of an operating system kernel does, read and run.
    """
    version, name, end = bytes.fromhex("0A 10 00"), b"\x82\x02\x00Hi", b"\x79\x00"

    def found(data: bytes, start: int = 0) -> list[tuple[int, int]]:
        return [(item.offset, item.end) for item in walk(CATALOG, data, start)]

    assert found(version + name + end + version) == [(0, 3), (3, 8), (8, 10)]
    assert found(version + name, 3) == [(3, 8)]
    for cut in range(len(name)):
        assert found(version + name[:cut]) == [(0, 3)]
    assert found(version + version[:2]) == [(0, 3)]
    assert found(version + b"\0" + version) == [(0, 3)]


@pytest.mark.requirement("R-5.2-1", "R-2.2-3")
def test_a_device_has_an_id() -> None:
    """Whatever it asks for: without one nothing is built (Spec 2.2, 5.2)."""
    resources = [{"io_fixed": 0x300, "length": 4}]
    card = {"id": "QRL0301", "name": "Hollow Lane audio card"}
    with pytest.raises(InputError, match="has no id"):
        image_of(card=card, device=[{"resources": resources}])
    image = image_of(card=card, device=[{"id": "QRL0001", "resources": resources}])
    assert bytes.fromhex("4B 00 03 04") in image


# --- what a card may do

FREE = """\
[card]
id = "QRL0301"
serial = 1
name = "Hollow Lane audio card"
resources = [ { unicode = "Hollow Lane", country = 1 }, { name = "Second name" } ]

[[device]]
id = "QRL0301"
compatible = ["PNPB000", "PNPB001", "PNPB002", "PNPB003"]
resources = [
  { io = 0x300, length = 4 },
  { memory24 = [0xD0000, 0xD0000], align = 0x4000, length = 0x4000 },
  { irq = [] },
  { vendor = "01" },
  { vendor = "01 02 03 04 05 06 07 08" },
  { dma = [1, 3] },
]

[[device]]
id = "QRL0301"
resources = [ { io = [0x310, 0x330], align = 16, length = 4 } ]
"""


@pytest.mark.requirement("R-6.2.1-2", "R-6.2.1-5", "R-6.2.2.2-3", "R-6.2.2.3-1", "R-6.2.2.4-6")
@pytest.mark.requirement("R-6.2.2.8-4", "R-6.2.2.10-1", "R-6.2.3.1-5", "R-6.2.3.3-1", "R-6.2.3.4-1")
def test_what_a_card_may_do(tmp_path: Path) -> None:
    """Several names, equal IDs, any mix of items, fixed ranges, nothing asked: all of it is well.

    Spec 6.2.1, 6.2.2.2 to 6.2.2.4, 6.2.2.8, 6.2.2.10, 6.2.3.1, 6.2.3.3, 6.2.3.4.
    """
    image = built(FREE, tmp_path)
    assert judged(image, tmp_path) == (0, [])
    first, second = inspected(str(tmp_path / "dump.bin"))["devices"]
    assert first["id"] == second["id"] == "QRL0301"
    assert {"irq": []} in first["resources"] and {"vendor": "01"} in first["resources"]
