"""Every rule of the catalogue: a good card that none of them minds, and a bad one for each.

A bad case changes one thing: a value in the profile, a stored value in [override], or bytes of an
image. It must make exactly its rule fire, at the right place, and no other; where the fault can't
be had without another one, that one is named too. Lines are counted here by carets in the text,
offsets by adding up sizes of items: Plug and Play ISA Specification 1.0a ("Spec") 6.1 and 6.2.
What a frame wants has no published source (from memory).
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.support.checking import (
    AFTER,
    AS_COUNTED,
    CARD,
    CARET,
    CHOICES,
    DEVICE,
    END,
    GOOD,
    GOOD_COUNTED,
    GOOD_ITEMS,
    GOOD_PLAIN,
    NAME,
    OVERRIDE,
    PNP,
    ROOT,
    START,
    VERSION,
    Bytes,
    Said,
    Spoilt,
    agrees,
    changed,
    check_image,
    check_profile,
    checked,
    closed,
    counted,
    error,
    holds,
    note,
    plain,
    spoilt,
    summary,
    warning,
    with_device,
)
from tests.support.tool import CARD_ITEMS, identifier, identifier_checksum, packed_id, romtool, told

PROFILES = [
    # The frame's computed fields (from memory).
    spoilt("signature", OVERRIDE, f'[override]\n{CARET}signature = "55 BC"\n', error("signature")),
    spoilt("count", OVERRIDE, f"[override]\n{CARET}count = 100\n", error("count")),
    spoilt("count/0", OVERRIDE, f"[override]\n{CARET}count = 0\n", error("count")),
    spoilt(
        "count-way",
        OVERRIDE,
        f'[override]\n{CARET}count = "without-identifier"\n',
        note("count-way"),
    ),
    spoilt(
        "tail",
        'part = "24C04"',
        f'part = "24C04"\ntail = [\n  {{ at = 0x1E0, raw = "FF" }},\n'
        f'  {CARET}{{ at = 0x1F0, raw = "DE AD" }},\n]',
        note("tail"),
    ),
    spoilt("part-size", 'part = "24C04"', f"{CARET}size = 500", note("part-size")),
    # The frame's configuration (from memory; common practice).
    spoilt(
        "key-off",
        "dma_wiring = [4, 1, 3]",
        f"dma_wiring = [4, 1, 3]\n{CARET}pnp_key_off = true",
        error("key-off"),
    ),
    spoilt(
        "wired-twice",
        "irq_wiring = [5, 7, 0, 0, 0, 0]",
        f"{CARET}irq_wiring = [5, 7, 7, 0, 0, 0]",
        warning("wired-twice"),
    ),
    spoilt(
        "wired-twice/dma",
        "dma_wiring = [4, 1, 3]",
        f"{CARET}dma_wiring = [1, 1, 3]",
        warning("wired-twice"),
    ),
    # The identifier: Spec 6.1, App. B.2.
    spoilt("id-checksum", OVERRIDE, f"[override]\n{CARET}id_checksum = 0\n", error("id-checksum")),
    spoilt(
        "id-letters",
        'id = "QRL0301"',
        f'{CARET}id = "@RL0301"',
        warning("id-letters"),
    ),
    spoilt(
        "id-letters/device",
        'id = "QRL0002"',
        f'{CARET}id = "QR[0002"',
        warning("id-letters"),
    ),
    spoilt(
        "id-letters/compatible",
        '"PNPB002"',
        f'{CARET}"PN_B002"',
        warning("id-letters"),
    ),
    spoilt(
        "id-generic",
        'id = "QRL0301"',
        f'{CARET}id = "PNPB002"',
        warning("id-generic"),
    ),
    spoilt(
        "id-generic/device",
        'id = "QRL0002"',
        f'{CARET}id = "PNPB006"',
        warning("id-generic"),
    ),
    # The end item: Spec 6.2.1, 6.2.2.11.
    spoilt(
        "end-checksum",
        OVERRIDE,
        f"[override]\n{CARET}end_checksum = 1\n",
        error("end-checksum"),
    ),
    spoilt(
        "end-unchecked",
        OVERRIDE,
        f"[override]\n{CARET}end_checksum = 0\n",
        note("end-unchecked"),
    ),
    spoilt("no-end", OVERRIDE, f'[override]\n{CARET}end_checksum = "none"\n', error("no-end")),
    # Single items: Spec 6.2.2 and 6.2.3.
    spoilt(
        "item-length",
        "{ dma = [1, 3] }",
        f'{CARET}{{ raw = "21 20" }}, {{ dma = [1, 3] }}',
        error("item-length"),
    ),
    spoilt(
        "item-reserved",
        "{ dma = [1, 3] }",
        f'{CARET}{{ raw = "51 20" }}, {{ dma = [1, 3] }}',
        error("item-reserved"),
    ),
    spoilt(
        "item-bits",
        "{ dma = [1, 3] }",
        f'{CARET}{{ raw = "2A 0A 80" }}, {{ dma = [1, 3] }}',
        warning("item-bits"),
    ),
    # Order: Spec 6.2.1 (version, card's name, devices, end).
    spoilt(
        "no-version",
        "serial = 1",
        f'serial = 1\n{CARET}pnp_version = "none"',
        error("no-version"),
    ),
    spoilt(
        "version-again",
        "resources = []",
        f'resources = [\n  {CARET}{{ raw = "0A 10 00" }},\n]',
        error("version-again"),
    ),
    spoilt(
        "version-again/in-a-device",
        "{ dma = [1, 3] }",
        f'{{ dma = [1, 3] }},\n  {CARET}{{ raw = "0A 10 00" }}\n',
        error("version-again"),
    ),
    spoilt(
        "no-name",
        '[card]\nid = "QRL0301"\nserial = 1\nname = "Hollow Lane audio card"\n',
        f'{CARET}[card]\nid = "QRL0301"\nserial = 1\n',
        error("no-name"),
    ),
    spoilt(
        "name-order",
        'name = "Hollow Lane audio card"\nresources = []',
        f'resources = [\n  {{ vendor = "01" }},\n  {CARET}{{ name = "Hollow Lane" }},\n]',
        error("name-order"),
    ),
    spoilt(
        "no-device",
        GOOD[GOOD.index("irq_wiring") : GOOD.index("[override]")],
        "irq_wiring = [0, 0, 0, 0, 0, 0]\ndma_wiring = [4, 4, 4]\n\n"
        f'{CARET}[card]\nid = "QRL0301"\nserial = 1\nname = "Hollow Lane audio card"\n\n',
        error("no-device"),
    ),
    spoilt(
        "before-devices",
        "resources = []",
        f"resources = [\n  {CARET}{{ irq = [5] }},\n]",
        warning("before-devices"),
    ),
    spoilt(
        "before-devices/compatible",
        "resources = []",
        f'resources = [\n  {CARET}{{ compatible = "PNPB002" }},\n]',
        warning("before-devices"),
    ),
    # Dependent functions: Spec 6.2.2.6, 6.2.2.7.
    spoilt(
        "choices-unopened",
        AFTER,
        f'resources_after = [\n  {CARET}{{ raw = "38" }},\n]',
        error("choices-unopened"),
    ),
    spoilt(
        "choices-unopened/before-any",
        "{ dma = [1, 3] }",
        f'{CARET}{{ raw = "38" }}, {{ dma = [1, 3] }}',
        error("choices-unopened"),
    ),
    spoilt(
        "choices-unclosed",
        "resources = [ { memory24",
        f'resources = [ {CARET}{{ raw = "30" }}, {{ memory24',
        error("choices-unclosed"),
    ),
    spoilt(
        "choices-unclosed/again",
        AFTER,
        f'resources_after = [\n  {CARET * 2}{{ raw = "30" }},\n]',
        error("choices-unclosed"),
        error("choices-again"),
    ),
    spoilt(
        "choices-nested",
        "  { irq = [5, 7] },",
        f'  {{ irq = [5, 7] }},\n  {CARET}{{ name = "inside" }},',
        error("choices-nested"),
    ),
    spoilt(
        "choices-nested/compatible",
        "  { irq = [5, 7] },",
        f'  {{ irq = [5, 7] }},\n  {CARET}{{ compatible = "PNPB003" }},',
        error("choices-nested"),
    ),
    spoilt(
        "choices-nested/version",
        "  { irq = [5, 7] },",
        f'  {{ irq = [5, 7] }},\n  {CARET * 2}{{ raw = "0A 10 00" }},',
        error("choices-nested"),
        error("version-again"),
    ),
    spoilt(
        "choices-unclosed/device-inside",  # Spec 6.2.1: a logical device starts at its ID
        CHOICES,
        f"{CARET * 2}[[device.choice]]\nresources = [\n  {{ irq = [5, 7] }}, "
        '{ raw = "15 46 4C 00 03 00" },\n]\n\n',
        error("choices-unclosed"),
        error("choices-unopened"),
    ),
    spoilt(
        "choices-again",
        AFTER,
        f'resources_after = [\n  {CARET}{{ raw = "30" }}, {{ irq = [7] }}, {{ raw = "38" }},\n]',
        error("choices-again"),
    ),
    spoilt("priority", 'priority = "acceptable"', f"{CARET}priority = 3", warning("priority")),
    spoilt(
        "priority/255", 'priority = "acceptable"', f"{CARET}priority = 255", warning("priority")
    ),
]

# --- images -----------------------------------------------------------------------------------

# Serial numbers from 0 on: the first with which the checksum of QRL0301 comes out as 00h.
ZERO_SERIAL = next(
    serial
    for serial in range(1 << 16)
    if identifier_checksum(packed_id("QRL0301") + serial.to_bytes(4, "little")) == 0
)

IMAGES = [
    Bytes("no-frame", bytes(range(1, 129)), (Said("no-frame", "error"),)),
    Bytes(
        "lead-unknown",
        (b"\x55\xbb" + GOOD_PLAIN).replace(b"\xff" * 2, b"", 1),  # the signature, and no count
        (Said("lead-unknown", "warning", 0),),
    ),
    Bytes("part-size", GOOD_PLAIN[:-1], (Said("part-size", "note"),)),
    Bytes("part-size/longer", GOOD_PLAIN + b"\xff", (Said("part-size", "note"),)),
    Bytes("blank", b"\xff" * 256, (Said("blank", "error"),)),
    Bytes("blank/as-a-layout", b"\xff" * 256, (Said("blank", "error"),), AS_COUNTED),
    Bytes("zero", bytes(512), (Said("zero", "error"),)),
    Bytes("signature", changed(GOOD_COUNTED, 0, 0x54), (Said("signature", "error", 0),)),
    Bytes("count", changed(GOOD_COUNTED, 3, 0xFF), (Said("count", "error", 2),)),
    Bytes(
        "count-way",
        changed(GOOD_COUNTED, 3, GOOD_COUNTED[3] - 9),
        (Said("count-way", "note", 2),),
    ),
    Bytes(  # pins B and C on line 7, one nibble a pin
        "wired-twice",
        changed(GOOD_COUNTED, 7, 0x07),
        (Said("wired-twice", "warning", 6),),
    ),
    Bytes(
        "id-checksum",
        changed(GOOD_COUNTED, PNP + 8, GOOD_COUNTED[PNP + 8] ^ 1),
        (Said("id-checksum", "error", PNP + 8),),
    ),
    Bytes(
        "id-checksum/serial",  # the checksum is right for the serial that stood there
        changed(GOOD_COUNTED, PNP + 4, 2),
        (Said("id-checksum", "error", PNP + 8),),
    ),
    Bytes(
        "id-checksum-zero",
        counted(identifier("QRL0301", ZERO_SERIAL) + closed(GOOD_ITEMS)),
        (Said("id-checksum-zero", "warning", PNP + 8),),
    ),
    Bytes(
        "id-unspelt",
        counted(
            (head := bytes([CARD[0] | 0x80]) + CARD[1:8])
            + bytes([identifier_checksum(head)])
            + closed(GOOD_ITEMS)
        ),
        (Said("id-unspelt", "warning", PNP),),
        AS_COUNTED,
    ),
    Bytes(
        "id-letters",
        counted(identifier("[RL0301", 1) + closed(GOOD_ITEMS)),
        (Said("id-letters", "warning", PNP),),
    ),
    Bytes(
        "id-generic",
        counted(identifier("PNPB002", 1) + closed(GOOD_ITEMS)),
        (Said("id-generic", "warning", PNP),),
    ),
    Bytes(
        "end-checksum",
        changed(GOOD_COUNTED, END - 4, 0x01),
        (Said("end-checksum", "error", END + 1),),
    ),
    Bytes(
        "end-unchecked",
        changed(GOOD_COUNTED, END + 1, 0x00),
        (Said("end-unchecked", "note", END + 1),),
    ),
    Bytes(
        "item-cut",
        GOOD_PLAIN[: START + 2],
        (Said("part-size", "note"), Said("item-cut", "error", START)),
    ),
    Bytes(
        "item-cut/large",
        changed(GOOD_PLAIN, len(CARD) + len(VERSION) + 2, 0x40),
        (Said("item-cut", "error", len(CARD) + len(VERSION)),),
        ("--layout", "plain"),
    ),
    Bytes(
        "no-end",
        (CARD + GOOD_ITEMS).ljust(128, b"\xff"),
        (Said("no-end", "error", START + 6),),
    ),
    Bytes(
        "no-end/zeros",  # a byte 00h where an item should start ends the reading
        (CARD + GOOD_ITEMS).ljust(128, b"\0"),
        (Said("no-end", "error", START + 6),),
    ),
    Bytes(
        "no-end/at-the-end",
        CARD + GOOD_ITEMS,
        (Said("part-size", "note"), Said("no-end", "error", START + 6)),
    ),
    Bytes(
        "no-end/cut",  # the count tells of bytes that aren't there: not another fault
        GOOD_COUNTED[:END],
        (Said("part-size", "note"), Said("no-end", "error", END)),
    ),
    Bytes(
        "no-end/cut, signature",
        changed(GOOD_COUNTED, 0, 0x54)[:END],
        (
            Said("signature", "error", 0),
            Said("part-size", "note"),
            Said("no-end", "error", END),
        ),
        AS_COUNTED,
    ),
    Bytes("no-version", plain(NAME + DEVICE), (Said("no-version", "error", 9),)),
    Bytes(
        "no-version/late",
        plain(NAME + VERSION + DEVICE),
        (Said("no-version", "error", 9), Said("version-again", "error", 18)),
    ),
    Bytes(
        "version-again",
        plain(VERSION + NAME + VERSION + DEVICE),
        (Said("version-again", "error", 21),),
    ),
    Bytes(
        "id-zero",
        (bytes(9) + closed(GOOD_ITEMS)).ljust(128, b"\xff"),
        (Said("id-zero", "error", 0), Said("id-checksum", "error", 8)),
        ("--layout", "plain"),
    ),
    Bytes(
        "compatible-order",
        with_device(bytes.fromhex("2A 0A 00") + bytes.fromhex("1C") + packed_id("PNPB002")),
        (Said("compatible-order", "warning", START + 3),),
    ),
    Bytes("no-name", plain(VERSION + DEVICE), (Said("no-name", "error", 9),)),
    Bytes("no-device", plain(VERSION + NAME), (Said("no-device", "error", 9),)),
    Bytes(
        "name-order",
        plain(VERSION + bytes.fromhex("71 00") + NAME + DEVICE),
        (Said("name-order", "error", 14),),
    ),
    Bytes(
        "before-devices",
        plain(VERSION + NAME + bytes.fromhex("22 20 00") + DEVICE),
        (Said("before-devices", "warning", 21),),
    ),
    Bytes(
        "choices-unopened",
        with_device(bytes.fromhex("38")),
        (Said("choices-unopened", "error", START),),
    ),
    Bytes(
        "choices-unopened/twice",
        with_device(bytes.fromhex("30 22 20 00 38 38")),
        (Said("choices-unopened", "error", START + 5),),
    ),
    Bytes(
        "choices-unclosed",
        with_device(bytes.fromhex("22 20 00 31 00 22 80 00")),
        (Said("choices-unclosed", "error", START + 3),),
    ),
    Bytes(
        "choices-unclosed/next-device",
        with_device(bytes.fromhex("30 22 20 00") + DEVICE),
        (Said("choices-unclosed", "error", START),),
    ),
    Bytes(
        "choices-nested",
        with_device(bytes.fromhex("30 22 20 00") + NAME + bytes.fromhex("38")),
        (Said("choices-nested", "error", START + 4),),
    ),
    Bytes(
        "choices-again",
        with_device(bytes.fromhex("30 22 20 00 38 30 22 A0 00 38")),
        (Said("choices-again", "error", START + 5),),
    ),
    Bytes(
        "priority",
        with_device(bytes.fromhex("31 03 22 20 00 38")),
        (Said("priority", "warning", START),),
    ),
]

# Lengths of the items' contents (Spec 6.2.2 and 6.2.3) that no item of that name has.
WRONG_LENGTHS = [
    ("14 46 4C 00 01", "logical device ID: 4 bytes of content, not 5 or 6"),
    ("17 46 4C 00 01 00 00 00", "logical device ID: 7 bytes of content, not 5 or 6"),
    ("1B 41 D0 B0", "compatible device ID: 3 bytes of content, not 4"),
    ("1D 41 D0 B0 02 00", "compatible device ID: 5 bytes of content, not 4"),
    ("20", "IRQ: 0 bytes of content, not 2 or 3"),
    ("21 20", "IRQ: 1 bytes of content, not 2 or 3"),
    ("24 20 00 01 00", "IRQ: 4 bytes of content, not 2 or 3"),
    ("29 02", "DMA: 1 bytes of content, not 2"),
    ("2B 02 00 00", "DMA: 3 bytes of content, not 2"),
    ("46 01 20 02 20 02 01", "I/O port: 6 bytes of content, not 7"),
    ("4A 20 02", "fixed I/O port: 2 bytes of content, not 3"),
    ("4C 20 02 10 00", "fixed I/O port: 4 bytes of content, not 3"),
    ("70", "vendor defined, small: 0 bytes of content, not at least 1"),
    ("81 08 00 00 00 0C 00 0E 00 40 40", "memory range: 8 bytes of content, not 9"),
    ("81 0A 00 00 00 0C 00 0E 00 40 40 00 00", "memory range: 10 bytes of content, not 9"),
    ("83 01 00 01", "Unicode identifier: 1 bytes of content, not at least 2"),
    ("85 10 00" + " 00" * 16, "32-bit memory range: 16 bytes of content, not 17"),
    ("85 12 00" + " 00" * 18, "32-bit memory range: 18 bytes of content, not 17"),
    ("86 08 00" + " 00" * 8, "32-bit fixed memory: 8 bytes of content, not 9"),
    ("86 0A 00" + " 00" * 10, "32-bit fixed memory: 10 bytes of content, not 9"),
]

# Bits that the standard says are 0, or values without a meaning (Spec 6.2.2 and 6.2.3).
RESERVED_BITS = [
    "23 20 00 11",  # IRQ information, bits 7:4
    "2A 02 80",  # DMA information, bit 7
    "2A 02 03",  # DMA width 3
    "47 03 20 02 20 02 01 10",  # I/O information, bits 7:1
    "81 09 00 80 00 0C 00 0E 00 40 40 00",  # memory information, bit 7
    "83 03 00 00 00 41",  # half a character
    "85 11 00 80 00 00 0C 00 00 00 0E 00 00 40 00 00 00 40 00 00",
    "86 09 00 80 00 00 0C 00 00 40 00 00",
]

# Names 0 and Ah to Dh of small items (a first byte 00h ends the reading), 0 and 7 to 127 of large.
RESERVED_NAMES = [
    *((f"{first | length:02X}" + " 00" * length) for first in (0, 0x50, 0x58, 0x60, 0x68)
      for length in (0, 1, 7) if first | length),
    *(f"{0x80 | code:02X} 01 00 00" for code in (0, *range(7, 127))),
]  # fmt: skip

# --- the good ones ----------------------------------------------------------------------------


def test_nothing_is_found_in_the_good_profile(tmp_path: Path) -> None:
    (tmp_path / "card.toml").write_text(GOOD, encoding="utf-8")
    code, document = checked(tmp_path, "card.toml", "--strict")
    assert document == {"file": "card.toml", "findings": [], "errors": 0, "warnings": 0}
    assert code == 0


@pytest.mark.parametrize("image", [GOOD_PLAIN, GOOD_COUNTED], ids=["plain", "counted"])
def test_nothing_is_found_in_the_good_images(image: bytes, tmp_path: Path) -> None:
    (tmp_path / "card.bin").write_bytes(image)
    code, document = checked(tmp_path, "card.bin", "--strict")
    assert document == {"file": "card.bin", "findings": [], "errors": 0, "warnings": 0}
    assert code == 0


def test_only_the_end_checksum_of_a_card_of_other_hands_is_noted(tmp_path: Path) -> None:
    (tmp_path / "card.bin").write_bytes((CARD + CARD_ITEMS).ljust(256, b"\xff"))
    code, document = checked(tmp_path, "card.bin")
    end = len(CARD) + len(CARD_ITEMS) - 1
    assert summary(document, "offset") == [("end-unchecked", "note", end)]
    assert code == 0


# --- the bad ones -----------------------------------------------------------------------------


@pytest.mark.parametrize("one", PROFILES, ids=[one.name for one in PROFILES])
def test_profile(one: Spoilt, tmp_path: Path) -> None:
    check_profile(one, tmp_path)


@pytest.mark.parametrize("one", IMAGES, ids=[one.name for one in IMAGES])
def test_image(one: Bytes, tmp_path: Path) -> None:
    check_image(one, tmp_path)


@pytest.mark.parametrize(("item", "message"), WRONG_LENGTHS)
def test_item_length(item: str, message: str, tmp_path: Path) -> None:
    (tmp_path / "card.bin").write_bytes(with_device(bytes.fromhex(item)))
    code, document = checked(tmp_path, "card.bin")
    assert summary(document, "offset") == [("item-length", "error", START)]
    where, _, said = document["findings"][0]["message"].partition(": ")
    assert said == message
    assert where == "device " + (item[3:14] if item[0:2] in ("14", "17") else "QRL0001")
    holds(document)
    assert code == 1


@pytest.mark.parametrize("version", ["08", "09 10", "0B 10 00 00"])
def test_item_length_of_the_version(version: str, tmp_path: Path) -> None:
    items = bytes.fromhex(version) + NAME + DEVICE
    (tmp_path / "card.bin").write_bytes(plain(items))
    code, document = checked(tmp_path, "card.bin")
    assert summary(document, "offset") == [("item-length", "error", 9)]
    assert code == 1


@pytest.mark.parametrize("choice", ["32 00 00", "37 00 00 00 00 00 00 00"])
def test_item_length_of_a_choice(choice: str, tmp_path: Path) -> None:
    """It opens the dependent functions all the same: their end is not complained of."""
    items = bytes.fromhex(choice) + bytes.fromhex("22 20 00 38")
    (tmp_path / "card.bin").write_bytes(with_device(items))
    code, document = checked(tmp_path, "card.bin")
    assert summary(document, "offset") == [("item-length", "error", START)]
    assert code == 1


def test_item_length_of_the_end_of_choices(tmp_path: Path) -> None:
    items = bytes.fromhex("30 22 20 00 39 00")
    (tmp_path / "card.bin").write_bytes(with_device(items))
    code, document = checked(tmp_path, "card.bin")
    assert summary(document, "offset") == [("item-length", "error", START + 4)]
    assert code == 1


@pytest.mark.parametrize("end", ["78", "7A 00 00"])
def test_item_length_of_the_end(end: str, tmp_path: Path) -> None:
    image = CARD + VERSION + NAME + DEVICE + bytes.fromhex(end)
    (tmp_path / "card.bin").write_bytes(image.ljust(128, b"\xff"))
    code, document = checked(tmp_path, "card.bin")
    assert summary(document, "offset") == [("item-length", "error", START)]
    assert code == 1


@pytest.mark.parametrize("item", RESERVED_BITS)
def test_item_bits(item: str, tmp_path: Path) -> None:
    (tmp_path / "card.bin").write_bytes(with_device(bytes.fromhex(item)))
    code, document = checked(tmp_path, "card.bin")
    assert summary(document, "offset") == [("item-bits", "warning", START)]
    holds(document)
    assert code == 0


def test_item_reserved(tmp_path: Path) -> None:
    """All reserved names at once, each at its place."""
    items = [bytes.fromhex(item) for item in RESERVED_NAMES]
    (tmp_path / "card.bin").write_bytes(plain(VERSION + NAME + DEVICE + b"".join(items), size=2048))
    code, document = checked(tmp_path, "card.bin")
    places = [START + sum(map(len, items[:index])) for index in range(len(items))]
    assert summary(document, "offset") == [("item-reserved", "error", at) for at in places]
    for item, found in zip(items, document["findings"], strict=True):
        assert f" {item[0]:X}h: the standard gives it no meaning" in found["message"]
    assert code == 1


def test_frame_checksum(tmp_path: Path) -> None:
    """The invented layout of samples/schemas sums its own bytes: mark 48 4C 24, then count."""
    schemas = ("--schemas", str(ROOT / "samples" / "schemas"))
    pnp = CARD + closed(VERSION + NAME + DEVICE)
    frame = bytes.fromhex("48 4C 24") + len(pnp).to_bytes(2, "little")
    frame += bytes.fromhex("10 00 00 44 00 10")  # no pin connected
    right = 0
    for byte in frame:
        right ^= byte
    for checksum, wanted in ((right, []), (right ^ 4, [("frame-checksum", "error", 11)])):
        image = (frame + bytes([checksum]) + pnp).ljust(256, b"\0")
        (tmp_path / "card.bin").write_bytes(image)
        code, document = checked(tmp_path, "card.bin", *schemas)
        assert summary(document, "offset") == wanted
        assert code == len(wanted)
    holds(document)


def test_frame_checksum_of_a_profile(tmp_path: Path) -> None:
    text = GOOD.replace('"counted-19"', '"hollow-lane-24"')
    text = text.replace("[5, 7, 0, 0, 0, 0]", "[5, 7, 0, 0]").replace("[4, 1, 3]", "[1, 3]")
    schemas = ("--schemas", str(ROOT / "samples" / "schemas"))
    for override, wanted in (("", []), ("frame_checksum = 0\n", ["frame-checksum"])):
        (tmp_path / "card.toml").write_text(text + override, encoding="utf-8")
        code, document = checked(tmp_path, "card.toml", *schemas)
        line = text.count("\n") + 1
        assert summary(document, "line") == [(rule, "error", line) for rule in wanted]
        assert code == len(wanted)


@pytest.mark.parametrize("spare", [0, -1])
def test_too_long(spare: int, tmp_path: Path) -> None:
    """A frame that says how much its chip holds: identifier to end item, no more."""
    pnp = CARD + closed(GOOD_ITEMS)
    (tmp_path / "small.toml").write_text(
        'title = "An invented chip"\nsource = "invented"\n\n[[frame]]\nname = "small-4"\n'
        f'title = "mark"\nsize = 4\nmax_pnp_bytes = {len(pnp) + spare}\nfield = [\n'
        "  { at = 0, bytes = 4, key = 'signature', type = 'constant', value = '51 52 4C 04' }\n]\n",
        encoding="utf-8",
    )
    (tmp_path / "card.bin").write_bytes((b"QRL\x04" + pnp).ljust(128, b"\xff"))
    code, document = checked(tmp_path, "card.bin", "--schemas", str(tmp_path))
    wanted = [] if spare == 0 else [("too-long", "warning", 4)]
    assert summary(document, "offset") == wanted
    holds(document)
    agrees(code, document, [how for _, how, _ in wanted])


def test_id_checksum_zero_of_a_profile(tmp_path: Path) -> None:
    """One serial in 256 makes it: the next one is fine."""
    for serial, wanted in (
        (ZERO_SERIAL, [("id-checksum-zero", "warning")]),
        (ZERO_SERIAL + 1, []),
    ):
        text = GOOD.replace("serial = 1", f"serial = {serial}")
        (tmp_path / "card.toml").write_text(text, encoding="utf-8")
        code, document = checked(tmp_path, "card.toml")
        assert [(one[0], one[1]) for one in summary(document, "line")] == wanted
        assert code == 0


@pytest.mark.parametrize(
    ("entry", "found"),
    [
        ("{ io = [0x220, 0x280], align = 1, length = 1 }", False),  # one port can't be askew
        ("{ io = [0x220, 0x221], align = 1, length = 2 }", True),
        ("{ io = 0x220, align = 1, length = 16 }", False),
        ("{ io = [0x220, 0x280], align = 2, length = 8 }", False),
    ],
)
def test_align_loose_only_where_it_is(entry: str, found: bool, tmp_path: Path) -> None:
    text = GOOD.replace("{ io = [0x220, 0x280], align = 0x20, length = 16 }", entry)
    (tmp_path / "card.toml").write_text(text, encoding="utf-8")
    _, document = checked(tmp_path, "card.toml")
    assert [one["rule"] for one in document["findings"]] == ["align-loose"] * found


def test_good_choices_and_their_end_may_follow_each_other_in_two_devices(tmp_path: Path) -> None:
    """A second group is one too many only in one device; an ID starts another (Spec 6.2.1)."""
    group = bytes.fromhex("30 22 20 00 30 22 A0 00 38")
    (tmp_path / "card.bin").write_bytes(with_device(group + DEVICE + group))
    code, document = checked(tmp_path, "card.bin", "--strict")
    assert (code, document["findings"]) == (0, [])


# --- answers ----------------------------------------------------------------------------------

BAD = GOOD.replace(OVERRIDE, "[override]\nend_checksum = 1\n")
WARNED = GOOD.replace("QRL0002", "PNPB006")
NOTED = GOOD.replace("align = 0x20", "align = 1")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a profile of each kind."""
    for name, text in (("good", GOOD), ("bad", BAD), ("warned", WARNED), ("noted", NOTED)):
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize(
    ("name", "plainly", "strictly"),
    [("good", 0, 0), ("noted", 0, 0), ("warned", 0, 1), ("bad", 1, 1)],
)
def test_exit_codes(name: str, plainly: int, strictly: int, folder: Path) -> None:
    for options, code in (((), plainly), (("--strict",), strictly)):
        run = romtool("check", f"{name}.toml", *options, cwd=folder)
        assert run.returncode == code, run.stdout
        assert told(run) == ""
        shown = run.stdout.decode()
        assert ("warnings count: --strict" in shown) == (code == 1 and bool(options))
        run = romtool("check", "--json", f"{name}.toml", *options, cwd=folder)
        assert run.returncode == code
        json.loads(run.stdout)


def test_findings_in_words(folder: Path) -> None:
    run = romtool("check", "bad.toml", cwd=folder)
    shown = run.stdout.decode()
    line = BAD[: BAD.index("end_checksum")].count("\n") + 1
    assert f"line {line}: end checksum is 01h, the items make " in shown
    assert "[end-checksum] Spec 6.2.2.11" in shown
    assert "1 error" in shown
    assert "\x1b" not in shown  # colour only on a terminal


def test_one_bad_among_several(folder: Path) -> None:
    run = romtool("check", "--json", "good.toml", "bad.toml", "warned.toml", cwd=folder)
    assert run.returncode == 1
    document = json.loads(run.stdout)
    assert set(document) == {"files"}
    rows = [(one["file"], one["errors"], one["warnings"]) for one in document["files"]]
    assert rows == [("good.toml", 0, 0), ("bad.toml", 1, 0), ("warned.toml", 0, 1)]


def test_build_writes_nothing_with_errors(folder: Path) -> None:
    run = romtool("build", "bad.toml", "-o", "out", cwd=folder)
    assert run.returncode == 1
    assert run.stdout == b""
    assert not (folder / "out").exists()
    first, last = told(run).splitlines()
    line = BAD[: BAD.index("end_checksum")].count("\n") + 1
    assert re.fullmatch(
        rf"romtool: bad\.toml:{line}:\d+: end checksum is 01h, the items make [0-9A-F]{{2}}h; .+",
        first,
    )
    assert last.startswith("romtool: bad.toml: nothing written; ")
    assert "--allow-faults" in last


def test_build_allows_faults(folder: Path) -> None:
    run = romtool("build", "bad.toml", "-o", "out", "--allow-faults", cwd=folder)
    assert run.returncode == 0
    [line] = told(run).splitlines()
    assert "end checksum is 01h" in line
    assert sorted(path.name for path in (folder / "out").iterdir()) == ["bad.bin", "bad.hex"]
    code, document = checked(folder / "out", "bad.bin")
    assert [one[:2] for one in summary(document, "offset")] == [("end-checksum", "error")]
    assert code == 1


def test_build_tells_warnings_and_writes(folder: Path) -> None:
    run = romtool("build", "warned.toml", "-o", "out", cwd=folder)
    assert run.returncode == 0
    [line] = told(run).splitlines()
    assert re.match(r"romtool: warned\.toml:\d+:\d+: warning: device ID is PNPB006: ", line)
    assert (folder / "out" / "warned.bin").stat().st_size == 512


def test_the_same_is_found_in_the_profile_and_in_what_it_builds(folder: Path) -> None:
    for name in ("noted", "warned"):
        assert romtool("build", f"{name}.toml", cwd=folder).returncode == 0
        from_profile = checked(folder, f"{name}.toml")[1]["findings"]
        for kind in ("bin", "hex"):
            from_image = checked(folder, f"{name}.{kind}")[1]["findings"]
            assert [one["rule"] for one in from_image] == [one["rule"] for one in from_profile]
            assert [one["message"] for one in from_image] == [
                one["message"] for one in from_profile
            ]


def test_a_unicode_name_of_the_card_is_no_stray_item(tmp_path: Path) -> None:
    """Spec 6.2.3.3: the identifier in another script stands beside the card's name."""
    unicode_name = bytes.fromhex("83 04 00 00 00 41 00")
    (tmp_path / "card.bin").write_bytes(plain(VERSION + NAME + unicode_name + DEVICE))
    run = romtool("check", "card.bin", "--json", cwd=tmp_path)
    assert run.returncode == 0
    assert json.loads(run.stdout)["findings"] == []
