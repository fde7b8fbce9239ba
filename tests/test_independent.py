"""The independent witness against published values, and the tool against the witness.

"Spec" is the *Plug and Play ISA Specification, Version 1.0a* (5 May 1994).
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from tests.support import independent as witness
from tests.support.profiles import LAYOUTS, minimal, profiles, seeded, to_toml
from tests.support.tool import romtool, told

Table = dict[str, Any]


CARDS = seeded(40)
CARD_IDS = [
    f"{at:02}-{profile['image'].get('layout', 'plain')}" for at, profile in enumerate(CARDS)
]


def device_of(**keys: Any) -> Table:
    """Return a device with the ID QRL0001, packed 46 4C 00 01 (Spec 6.1)."""
    return {"id": "QRL0001"} | keys


def profile_of(device: Table, **image: Any) -> Table:
    """Return a profile of one card with one device."""
    return {
        "image": image,
        "card": {"id": "QRL0301", "serial": 1, "name": "Hollow Lane audio card"},
        "device": [device],
    }


# --- the witness against published values


def test_initiation_key() -> None:
    """With data 0 the register runs through the initiation key (Spec App. B.1)."""
    key = bytes.fromhex(
        "6A B5 DA ED F6 FB 7D BE DF 6F 37 1B 0D 86 C3 61"
        "B0 58 2C 16 8B 45 A2 D1 E8 74 3A 9D CE E7 73 39"
    )
    register, run = 0x6A, []
    for _ in range(32):
        run.append(register)
        register = witness.lfsr_step(register, 0)
    assert bytes(run) == key


def test_published_checksum() -> None:
    """Vendor PXQ, product 540, revision 9, serial 04000100h sums to DCh (Spec App. B.2)."""
    header = bytes.fromhex("43 11 54 09 00 01 00 04")
    assert witness.identifier_checksum(header) == 0xDC
    card = {"id": "PXQ5409", "serial": 0x04000100}
    assert witness.encode({"card": card})[:9] == header + b"\xdc"


def test_published_header() -> None:
    """Vendor ABC, product 905, revision 0, serial 8C123456h (Spec App. D)."""
    image = witness.encode({"card": {"id": "ABC9050", "serial": "8C123456h"}})
    assert image[:8] == bytes.fromhex("04 43 90 50 56 34 12 8C")
    assert witness.decode(image, "plain") == {"id": "ABC9050", "serial": 0x8C123456, "devices": []}


# The examples' cases are the published ones; the lengths in 7.2, the 16-bit decode and the absent
# flags are a choice of this test. Each begins with the device ID item.
EXAMPLES = {
    # Spec 7.1: 4 ports at 378h, 278h or 3BCh, IRQ 5 or 7 independently.
    "7.1": (
        device_of(
            resources=[{"irq": [5, 7]}],
            choice=[
                {"resources": [{"io": 0x378, "length": 4}]},
                {"resources": [{"io": 0x278, "length": 4}]},
                {"resources": [{"io": 0x3BC, "length": 4}]},
            ],
        ),
        "15 46 4C 00 01 00  22 A0 00"
        "30  47 01 78 03 78 03 01 04"
        "30  47 01 78 02 78 02 01 04"
        "30  47 01 BC 03 BC 03 01 04"
        "38",
    ),
    # Spec 7.2: 300h with IRQ 5, or 310h with IRQ 7.
    "7.2": (
        device_of(
            choice=[
                {"resources": [{"io": 0x300, "length": 8}, {"irq": [5]}]},
                {"resources": [{"io": 0x310, "length": 8}, {"irq": [7]}]},
            ],
        ),
        "15 46 4C 00 01 00"
        "30  47 01 00 03 00 03 01 08  22 20 00"
        "30  47 01 10 03 10 03 01 08  22 80 00"
        "38",
    ),
    # Spec 7.3: 16 ports in 300h-3F0h, IRQ 5, 7, 10, 11, 12, then by priority a 128 KiB window in
    # C0000h-E0000h and no DMA, a 64 KiB one and no DMA, or none and DMA 5, 6, 7. The window lies
    # within the range here, so the greater the length, the lower the highest base.
    "7.3": (
        device_of(
            resources=[
                {"io": [0x300, 0x3F0], "align": 16, "length": 16},
                {"irq": [5, 7, 10, 11, 12]},
            ],
            choice=[
                {
                    "priority": "good",
                    "resources": [
                        {"memory24": [0xC0000, 0xC0000], "align": 0x10000, "length": 0x20000},
                        {"dma": []},
                    ],
                },
                {
                    "priority": "acceptable",
                    "resources": [
                        {"memory24": [0xC0000, 0xD0000], "align": 0x10000, "length": 0x10000},
                        {"dma": []},
                    ],
                },
                {
                    "priority": "sub-optimal",
                    "resources": [
                        {"memory24": [0, 0], "align": 0x10000, "length": 0},
                        {"dma": [5, 6, 7], "width": "16"},
                    ],
                },
            ],
        ),
        "15 46 4C 00 01 00  47 01 00 03 F0 03 10 10  22 A0 1C"
        "31 00  81 09 00 00 00 0C 00 0C 00 00 00 02  2A 00 00"
        "31 01  81 09 00 00 00 0C 00 0D 00 00 00 01  2A 00 00"
        "31 02  81 09 00 00 00 00 00 00 00 00 00 00  2A E0 02"
        "38",
    ),
}


@pytest.mark.parametrize("name", EXAMPLES)
def test_worked_examples(name: str) -> None:
    """The witness writes the published examples, and reads them back."""
    device, by_hand = EXAMPLES[name]
    assert witness.device_bytes(device) == bytes.fromhex(by_hand)
    profile = profile_of(device)
    assert witness.decode(witness.encode(profile), "plain") == minimal(profile)


# One entry, its item by hand from the table of Spec 6.2.2 and 6.2.3, and the entry that says it
# at its shortest, where that is another.
ENTRIES: list[tuple[Table, str, Table | None]] = [
    ({"irq": [3, 15]}, "22 08 80", None),
    ({"irq": [5], "trigger": []}, "23 20 00 00", None),
    ({"irq": [5], "trigger": ["high-edge", "low-level"]}, "23 20 00 09", None),
    ({"dma": [1], "width": "8", "speed": "compatible"}, "2A 02 00", {"dma": [1]}),
    (
        {"dma": [5, 7], "width": "16", "bus_master": True, "count": ["word"], "speed": "F"},
        "2A A0 76",
        None,
    ),
    ({"dma": [0, 5], "width": "8+16", "count": ["byte", "word"]}, "2A 21 19", None),
    ({"io": "220h", "length": 16}, "47 01 20 02 20 02 01 10", {"io": 0x220, "length": 16}),
    (
        {"io": [0x240, 0x280], "align": 0x20, "length": 16, "decode": 10},
        "47 00 40 02 80 02 20 10",
        None,
    ),
    (
        {"io": [0x388, 0x388], "align": 8, "length": 4, "decode": 16},
        "47 01 88 03 88 03 08 04",
        {"io": 0x388, "align": 8, "length": 4},
    ),
    ({"io": [0x200, 0x201], "align": 1, "length": 1}, "47 01 00 02 01 02 01 01", None),
    ({"io_fixed": 0x201, "length": 1}, "4B 01 02 01", None),
    (
        {"memory24": [0xC0000, 0xD0000], "align": 0x4000, "length": 0x2000, "rom": True},
        "81 09 00 40 00 0C 00 0D 00 40 20 00",
        None,
    ),
    (
        {"memory24": [0, 0], "align": 0x10000, "length": 0, "writeable": True, "width": "8+16"},
        "81 09 00 11 00 00 00 00 00 00 00 00",
        None,
    ),
    (
        {
            "memory32": [0x01000000, 0x02000000],
            "align": 0x100000,
            "length": 0x8000,
            "cacheable": True,
            "high_address": True,
            "shadowable": True,
            "width": "32",
        },
        "85 11 00 3E 00 00 00 01 00 00 00 02 00 00 10 00 00 80 00 00",
        None,
    ),
    (
        {"memory32_fixed": 0xFEDC0000, "length": 0x1234, "width": "16"},
        "86 09 00 08 00 00 DC FE 34 12 00 00",
        None,
    ),
    ({"vendor": "010203"}, "73 01 02 03", {"vendor": "01 02 03"}),
    ({"vendor": "AA", "form": "large"}, "84 01 00 AA", None),
    ({"vendor": "01 02 03 04 05 06 07 08"}, "84 08 00 01 02 03 04 05 06 07 08", None),
    ({"name": "FM"}, "82 02 00 46 4D", None),
    ({"unicode": "\u03a9", "country": 49}, "83 04 00 31 00 A9 03", None),
    ({"compatible": "PNPB02F"}, "1C 41 D0 B0 2F", None),
    # Reserved bits, a reserved width, an odd length, a reserved item, a byte that isn't ASCII.
    ({"raw": "23 20 00 11"}, "23 20 00 11", None),
    ({"raw": "2A 02 03"}, "2A 02 03", None),
    ({"raw": "21 20"}, "21 20", None),
    ({"raw": "52 00 01"}, "52 00 01", None),
    ({"raw": "82 01 00 E9"}, "82 01 00 E9", None),
]


@pytest.mark.parametrize(("entry", "by_hand", "shortest"), ENTRIES, ids=[e[1] for e in ENTRIES])
def test_entries(entry: Table, by_hand: str, shortest: Table | None) -> None:
    """Every kind of entry, both ways."""
    assert witness.entry_bytes(entry) == bytes.fromhex(by_hand)
    assert witness.read_entry(bytes.fromhex(by_hand)) == (shortest or entry)


@pytest.mark.parametrize(
    ("device", "by_hand"),
    [
        (device_of(boot=True), "15 46 4C 00 01 01"),
        (device_of(registers=[0x31, 0x37]), "15 46 4C 00 01 82"),
        (device_of(registers=[0x38, "3Fh"]), "16 46 4C 00 01 00 81"),
        (device_of(id_length=6), "16 46 4C 00 01 00 00"),
        (
            device_of(compatible=["PNPB002"], name="FM", resources_after=[{"irq": []}]),
            "15 46 4C 00 01 00  1C 41 D0 B0 02  82 02 00 46 4D  22 00 00",
        ),
        (device_of(choice=[{"priority": 255}]), "15 46 4C 00 01 00  31 FF  38"),
    ],
)
def test_devices(device: Table, by_hand: str) -> None:
    """Flags of the device ID, and the usual order (Spec 6.2.2.2, 6.2.2.3, 6.2.2.6)."""
    assert witness.device_bytes(device) == bytes.fromhex(by_hand)


# What stands before the PnP data of the smallest card: 9 bytes of identifier, 3 of version item and
# 2 of end item make a count of 0Eh. The frames are from memory, as in the witness.
FRAMES = {
    "plain": "",
    "counted-19": "55 BB 00 0E 00 03 80 80 0B 20 04 08 10 80 00 00 00 48 75 B9 FC 10 03",
    "counted-7": "55 BB 00 0E 00 48 75 B9 FC 10 03",
    "marked-8": "A5 59 A7 CB 10 53 02 0C",
}
# The same with IRQ pins on lines 3, 5, 10, none, none, 15 and DMA pins on channels 1, none, 5.
WIRED = {
    "counted-19": "55 BB 00 0E 00 03 80 80 0B 20 04 08 10 80 00 00 00 48 53 0A F0 41 05",
    "counted-7": "55 BB 00 0E 00 48 53 0A F0 41 05",
    "marked-8": "A5 53 0A F0 41 75 02 0C",  # a fourth DMA pin, on channel 7
}


@pytest.mark.parametrize("layout", FRAMES)
def test_frames(layout: str) -> None:
    """The whole image of the smallest card: frame, PnP data, patch, fill and tail."""
    frame = bytes.fromhex(FRAMES[layout])
    profile: Table = {"image": {"layout": layout}, "card": {"id": "PXQ5409", "serial": 0x04000100}}
    # Identifier: Spec App. B.2. 0A + 10 + 79 is 93h, so 6Dh makes the items sum to 0 (6.2.2.11).
    pnp = bytes.fromhex("43 11 54 09 00 01 00 04 DC  0A 10 00  79 6D")
    assert witness.encode(profile) == (frame + pnp).ljust(128, b"\xff")
    profile["image"] |= {"size": 64, "patch": "A1 A2", "fill": 0, "tail": [{"at": 62, "raw": "B1"}]}
    assert witness.encode(profile) == (frame + pnp + b"\xa1\xa2").ljust(62, b"\0") + b"\xb1\0"


@pytest.mark.parametrize("layout", WIRED)
def test_wiring(layout: str) -> None:
    """One nibble a pin, low nibble first."""
    dma = [1, 4, 5, 7] if layout == "marked-8" else [1, 4, 5]
    config = {"irq_wiring": [3, 5, 10, 0, 0, 15], "dma_wiring": dma}
    profile = {"image": {"layout": layout}, "config": config, "card": {"id": "PXQ5409"}}
    frame = bytes.fromhex(WIRED[layout])
    assert witness.encode(profile).startswith(frame + bytes.fromhex("43 11 54 09 FF FF FF FF"))


def test_overrides() -> None:
    """Stored values that differ from the computed, and an image given as it is."""
    profile = {
        "image": {"layout": "counted-7", "part": "93C46"},
        "card": {"id": "PXQ5409", "serial": 0x04000100, "vendor_version": "A5h"},
        "override": {"signature": "AA BB", "count": 5, "id_checksum": 0, "end_checksum": 1},
    }
    assert witness.encode(profile) == bytes.fromhex(
        "AA BB 00 05 00 48 75 B9 FC 10 03  43 11 54 09 00 01 00 04 00  0A 10 A5  79 01"
    ).ljust(128, b"\xff")
    assert witness.encode({"image": {"raw": "01 02"}}) == b"\1\2"


def test_too_big() -> None:
    """What doesn't fit is refused."""
    profile = profile_of(device_of(name="x" * 200), part="24C01")
    with pytest.raises(ValueError, match="bytes needed"):
        witness.encode(profile)


# --- the witness and the drawn profiles against themselves


def assert_sound(profile: Table) -> None:
    """Assert what the witness promises of one profile's image."""
    layout = profile["image"].get("layout", "plain")
    image = witness.encode(profile)
    assert len(image) <= 2048
    assert witness.decode(image, layout) == minimal(profile)
    pnp = witness.pnp_bytes(profile)
    assert witness.identifier_checksum(pnp[:8]) == pnp[8] != 0  # Spec App. B.2
    assert sum(pnp[9:]) % 256 == 0  # Spec 6.2.2.11
    assert tomllib.loads(to_toml(profile)) == profile


@pytest.mark.parametrize("profile", CARDS, ids=CARD_IDS)
def test_round_trip(profile: Table) -> None:
    """Decoding gives back what the seeded profiles say."""
    assert_sound(profile)


@given(profiles())
@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_round_trip_of_drawn(profile: Table) -> None:
    """Decoding gives back what drawn profiles say."""
    assert_sound(profile)


def kinds_in(entries: list[Table]) -> set[str]:
    """Return the keys of all entries."""
    return {key for entry in entries for key in entry}


def test_seeds_cover() -> None:
    """The seeded profiles are the same each time, and leave no kind of content out."""
    assert seeded(40) == CARDS
    layouts = [profile["image"].get("layout", "plain") for profile in CARDS]
    assert all(layouts.count(layout) == 10 for layout in LAYOUTS)
    devices = [device for profile in CARDS for device in profile["device"]]
    choices = [choice for device in devices for choice in device.get("choice", [])]
    keys = {key for device in devices for key in device}
    assert keys == {
        *("id", "name", "compatible", "boot", "registers", "id_length"),
        *("resources", "choice", "resources_after"),
    }
    assert any(number > 0x37 for device in devices for number in device.get("registers", []))
    assert {choice.get("priority") for choice in choices} == {
        *("good", "acceptable", "sub-optimal", None)
    }
    found = {key for profile in CARDS for key in kinds_in(profile["card"].get("resources", []))}
    for device in devices:
        found |= kinds_in(device.get("resources", []) + device.get("resources_after", []))
    for choice in choices:
        found |= kinds_in(choice["resources"])
    assert found == {
        *("io", "length", "align", "decode", "io_fixed", "irq", "trigger"),
        *("dma", "width", "bus_master", "count", "speed"),
        *("memory24", "memory32", "memory32_fixed"),
        *("writeable", "cacheable", "high_address", "shadowable", "rom"),
        *("vendor", "form", "name", "compatible", "unicode", "country"),
    }
    assert {"serial" in profile["card"] for profile in CARDS} == {True, False}
    assert {key for profile in CARDS for key in profile["image"]} == {
        *("layout", "part", "size", "fill", "patch", "tail")
    }


# --- the tool against the witness


def run(*arguments: str | Path) -> str:
    """Call the tool, which must succeed, and return its standard output."""
    done = romtool(*map(str, arguments))
    assert done.returncode == 0, told(done)
    return done.stdout.decode()


@pytest.mark.parametrize("at", range(len(CARDS)), ids=CARD_IDS)
def test_tool_agrees(at: int, tmp_path: Path) -> None:
    """The tool writes the same bytes from a profile, and reads the same card from them."""
    profile = CARDS[at]
    image = witness.encode(profile)
    source, folder = tmp_path / f"card-{at:02}.toml", tmp_path / "out"
    source.write_text(to_toml(profile), encoding="utf-8", newline="\n")
    run("build", source, "-o", folder)
    assert (folder / f"{source.stem}.bin").read_bytes() == image
    assert (folder / f"{source.stem}.hex").is_file()

    # From a folder of its own: nothing but the bytes can tell the tool what they are.
    dump = tmp_path / "dump.bin"
    dump.write_bytes(image)
    document = json.loads(run("inspect", "--json", dump))
    expected = witness.decode(image, profile["image"].get("layout", "plain"))
    assert document["card"]["id"] == expected["id"]
    assert document["card"]["serial"] == expected["serial"]
    # The contract's JSON has one list for what stands outside the choices. Should the tool keep
    # those after them apart, as profiles do, they follow.
    found = [
        {
            "id": device["id"],
            "name": device["name"],
            "compatible": device["compatible"],
            "resources": device["resources"] + device.get("resources_after", []),
            "choices": [
                {"priority": choice["priority"], "resources": choice["resources"]}
                for choice in device["choices"]
            ],
        }
        for device in document["devices"]
    ]
    assert found == [witness.all_compatible(device) for device in expected["devices"]]
