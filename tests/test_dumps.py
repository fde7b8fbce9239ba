"""Any dump as a profile, and the same bytes built from it again: `build(profile(dump)) == dump`.

The dumps come from the independent witness and are spoilt on purpose; how dumps are spoilt is
common practice, no source. "Spec" is the *Plug and Play ISA Specification, Version 1.0a*.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from romtool.errors import InputError
from romtool.files.schemas import load_catalog
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.profile.write import profile_text
from tests.support import amount, spoil
from tests.support.amount import examples, randoms, some
from tests.support.independent import FRAMES, encode, identifier_checksum, number, pack_id
from tests.support.profiles import LAYOUTS, Table, generate, minimal_entry
from tests.support.tool import romtool, told

CATALOG = load_catalog()
KINDS = ("clean", "bits", "cut", "random", "tail", "inserted")
# What a profile that leaves [config] out has (from memory, as in the witness).
WIRING: dict[str, Table] = {
    "plain": {},
    "counted-19": {"irq_wiring": [5, 7, 9, 11, 12, 15], "dma_wiring": [0, 1, 3]},
    "counted-7": {"irq_wiring": [5, 7, 9, 11, 12, 15], "dma_wiring": [0, 1, 3]},
    "marked-8": {"irq_wiring": [9, 5, 7, 10, 11, 12], "dma_wiring": [0, 1, 3, 5]},
}


@dataclass(frozen=True)
class Dump:
    """A dump, and how it came about."""

    name: str
    kind: str
    profile: Table
    data: bytes


def spoilt(rng: Random, kind: str, image: bytes) -> bytes:
    """Return an image spoilt in one of the ways."""
    if kind == "bits":
        return spoil.flip(image, rng.sample(range(len(image) * 8), rng.randint(1, 12)))
    if kind == "cut":
        return image[: rng.randint(1, len(image) - 1)]
    if kind == "random":
        return rng.randbytes(rng.choice([1, 7, 64, 300, 2048, 5000]))
    if kind == "tail":
        at = rng.randrange(len(image) // 2, len(image))
        return image[:at] + rng.randbytes(len(image) - at)
    if kind == "inserted":
        at = rng.randrange(len(image))
        return image[:at] + rng.randbytes(rng.randint(1, 9)) + image[at:]
    return image


def dumps() -> list[Dump]:
    """Fifty dumps, the same each time."""
    made = []
    for at in range(50):
        kind, layout = KINDS[at % len(KINDS)], LAYOUTS[at // len(KINDS) % len(LAYOUTS)]
        rng = Random(5000 + at)
        profile = generate(rng, layout)
        name = f"{at:02}-{kind}-{layout}"
        made.append(Dump(name, kind, profile, spoilt(rng, kind, encode(profile))))
    return made


DUMPS = dumps()


def entries_in(tables: Table) -> list[Table]:
    """All entries of a profile's lists of resources."""
    lists = [tables.get("card", {}).get("resources", [])]
    for device in tables.get("device", []):
        lists += [device.get("resources", []), device.get("resources_after", [])]
        lists += [choice.get("resources", []) for choice in device.get("choice", [])]
    return [entry for entries in lists for entry in entries]


def said(table: Table, **absent: Any) -> Table:
    """Leave out what says nothing: an empty list, and keys that are as if they were absent."""
    return {
        key: value
        for key, value in table.items()
        if value != [] and not (key in absent and value == absent[key])
    }


def finest(profile: Table) -> Table:
    """The card, devices and configuration of a drawn profile as the tool should write them.

    Part, size, fill, patch and tail are not in it.
    """

    def entries(found: list[Table]) -> list[Table]:
        return [minimal_entry(entry) for entry in found]

    layout = profile["image"].get("layout", "plain")
    card = dict(profile["card"])
    for key in ("serial", "vendor_version"):
        if key in card:
            card[key] = number(card[key])
    card["resources"] = entries(card.get("resources", []))
    devices = []
    for drawn in profile["device"]:
        device = dict(drawn)
        for key in ("resources", "resources_after"):
            device[key] = entries(device.get(key, []))
        choices = [
            said(choice | {"resources": entries(choice.get("resources", []))})
            for choice in device.get("choice", [])
        ]
        registers = device.get("registers", [])
        # A register past 37h takes six bytes anyway.
        length = 6 if any(register > 0x37 for register in registers) else 5
        device |= {"choice": choices, "registers": registers}
        devices.append(said(device, boot=False, id_length=length))
    tables = {
        "config": said(profile.get("config", {}), **WIRING[layout]),
        "card": said(card, pnp_version="1.0", vendor_version=0),
        "device": devices,
    }
    return {name: table for name, table in tables.items() if table not in ({}, [])}


def rebuilt(text: str) -> bytes:
    """Return the bytes that a profile's text says."""
    return assemble(read_profile(CATALOG, tomllib.loads(text))).data


def assert_comes_back(data: bytes, layout: str | None = None) -> Table:
    """Assert that the profile of a dump builds it, and return the profile's tables."""
    text = profile_text(CATALOG, data, layout)
    assert rebuilt(text) == data
    assert len(text.encode()) <= 1 << 20  # more, and the tool would refuse to read it
    return said(tomllib.loads(text), config={})  # its header may stand above comments alone


LARGE = 1 << 15
"""Dumps of so many bytes are tried in two layouts only, but in a whole run."""


def assert_in_every_layout(data: bytes) -> None:
    """Assert the same with each layout forced, unless it has no room in so few bytes."""
    assert_comes_back(data)
    few = len(data) < LARGE or amount.is_whole
    for name, frame in list(CATALOG.layouts.items())[: None if few else 2]:
        if len(data) >= frame.size + 9:  # Spec 6.1: an identifier has 9 bytes
            assert_comes_back(data, name)
        else:
            with pytest.raises(InputError):
                profile_text(CATALOG, data, name)


# --- the tool, as its users run it


@pytest.mark.parametrize("dump", DUMPS, ids=[dump.name for dump in DUMPS])
def test_profile_and_build(dump: Dump, tmp_path: Path) -> None:
    """The same bytes come back; the profile of a clean dump says no more than it has to."""
    source, written, folder = tmp_path / "dump.bin", tmp_path / "P.toml", tmp_path / "out"
    source.write_bytes(dump.data)
    run = romtool("profile", str(source), "-o", str(written))
    assert run.returncode == 0, told(run)
    run = romtool("build", "--allow-faults", str(written), "-o", str(folder))
    assert run.returncode == 0, told(run)
    assert (folder / "P.bin").read_bytes() == dump.data
    if dump.kind == "clean":
        tables = tomllib.loads(written.read_text(encoding="utf-8"))
        assert_finest(said(tables, config={}), dump.profile)


def assert_finest(tables: Table, profile: Table) -> None:
    """Assert that a clean dump's profile is what was drawn, without anything that is a default."""
    image = tables.pop("image", {})
    drawn = profile["image"]
    assert tables == finest(profile)  # no [override] either
    assert all("raw" not in entry for entry in entries_in(tables))
    assert set(image) <= {"layout", "part", "size", "fill", "patch", "tail"}
    assert image.get("layout", "plain") == drawn.get("layout", "plain")
    assert image.get("layout") != "plain"
    assert image.get("fill") != 0xFF
    assert not {"part", "size"} <= set(image)
    assert "patch" not in image or "patch" in drawn or "tail" in drawn
    assert "tail" not in image or "tail" in drawn
    assert encode({"image": image} | tables) == encode(profile)


@pytest.mark.parametrize("at", some(range(80)))
def test_finest(at: int) -> None:
    """More clean dumps, without running the tool."""
    profile = generate(Random(6000 + at), LAYOUTS[at % len(LAYOUTS)])
    assert_finest(assert_comes_back(encode(profile)), profile)


# --- any bytes


@given(st.binary(min_size=1, max_size=4096))
@settings(max_examples=examples(60), suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_any_bytes(data: bytes) -> None:
    """Bytes that mean nothing, with every layout forced."""
    assert_in_every_layout(data)


@given(st.binary(max_size=600), st.sampled_from(LAYOUTS))
@settings(max_examples=examples(60), suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_any_bytes_behind_an_identifier(data: bytes, layout: str) -> None:
    """Bytes that mean nothing after a frame and an identifier that are right."""
    assert_in_every_layout(start_of(layout) + data)


def start_of(layout: str) -> bytes:
    """Frame and identifier of an image."""
    image = encode({"image": {"layout": layout}, "card": {"id": "QRL0301", "serial": 1}})
    return image[: spoil.pnp_span(image, layout)[0] + 9]


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    """A real image with a few changes: bits turned, bytes put in, taken out or written over."""
    data = encode(generate(draw(randoms()), draw(st.sampled_from(LAYOUTS))))
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(data) - 1))
        kind = draw(st.sampled_from(["flip", "insert", "delete", "overwrite", "truncate"]))
        if kind == "flip":
            data = spoil.flip(data, [at * 8 + draw(st.integers(0, 7))])
        elif kind == "insert":
            data = data[:at] + draw(st.binary(min_size=1, max_size=12)) + data[at:]
        elif kind == "delete":
            data = data[:at] + data[at + draw(st.integers(1, 12)) :] or data
        elif kind == "overwrite":
            over = draw(st.binary(min_size=1, max_size=12))
            data = data[:at] + over + data[at + len(over) :]
        else:
            data = data[: at + 1]
    return data


@given(mutated())
@settings(max_examples=examples(120), suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_mutated(data: bytes) -> None:
    """Images with a few faults, with every layout forced."""
    assert_in_every_layout(data)


# --- single cases


def card_with(layout: str = "plain", size: int = 256, **override: Any) -> Table:
    """A profile of a small card."""
    return {
        "image": {"layout": layout, "size": size},
        "card": {"id": "QRL0301", "serial": 1, "name": "Hollow Lane audio card"},
        "device": [{"id": "QRL0001", "resources": [{"irq": [5]}, {"dma": [1]}]}],
        "override": override,
    }


def by_hand(items: str, size: int = 128, ident: str = "QRL0301", end: bool = True) -> bytes:
    """A plain image of these items (Spec 6.2), with or without an end item."""
    head = pack_id(ident) + (1).to_bytes(4, "little")
    body = bytes.fromhex(items) + (b"\x79" if end else b"")
    body += bytes([-sum(body) % 256]) if end else b""
    return (head + bytes([identifier_checksum(head)]) + body).ljust(size, b"\xff")


DEVICE = "15 46 4C 00 01 00"  # QRL0001, no flags (Spec 6.1, 6.2.2.2)
EDGES = {
    "one-byte": b"\x55",
    "one-byte-ff": b"\xff",
    "blank": spoil.blank(512),
    "zero": spoil.zero(128),
    "pattern": spoil.two_bytes(256, b"\x12\xff"),
    "random-64k": Random(1).randbytes(0x10000),
    "blank-64k": spoil.blank(0x10000),
    # 30h: a choice without a priority (Spec 6.2.2.6), sixty thousand times.
    "choices": start_of("plain").ljust(0x10000 if amount.is_whole else 0x800, b"\x30"),
    "choices-4k-counted": start_of("counted-19").ljust(0x1000, b"\x30"),
    "choices-closed": start_of("plain") + b"\x30\x38" * (0x800 if amount.is_whole else 0x100),
    "devices": start_of("plain") + bytes.fromhex(DEVICE) * (0x300 if amount.is_whole else 0x80),
    "end-items-64k": start_of("plain").ljust(0x10000, b"\x79"),
    "longest-item": start_of("plain") + b"\x82\xff\xff" + b"x" * 0xF000,
    "name-64k": start_of("plain") + b"\x82\xf0\xef" + b"x" * 0xEFF0 + b"\x79\x00",
    "identifier-only": start_of("plain"),
    "frame-only": start_of("counted-19")[:23],
    "open-choices": by_hand(f"0A 10 00 {DEVICE} 30 22 20 00 31 02 22 80 00"),
    "two-groups": by_hand(f"0A 10 00 {DEVICE} 30 22 20 00 38 22 00 00 30 22 80 00 38 30 38"),
    "two-groups-in-a-row": by_hand(f"0A 10 00 {DEVICE} 31 00 38 31 01 22 20 00 38"),
    "choices-without-device": by_hand("0A 10 00 30 22 20 00 38 22 80 00"),
    "end-of-no-choices": by_hand(f"0A 10 00 {DEVICE} 38 22 20 00"),
    "device-in-choices": by_hand(f"0A 10 00 {DEVICE} 30 {DEVICE} 22 20 00 38"),
    "no-version": by_hand(f"{DEVICE} 22 20 00"),
    "two-versions": by_hand(f"0A 10 00 0A 20 01 {DEVICE}"),
    "version-late": by_hand(f"{DEVICE} 0A 10 00 22 20 00"),
    "version-not-decimal": by_hand(f"0A AF 00 {DEVICE}"),
    "no-end": by_hand(f"0A 10 00 {DEVICE} 22 20 00", end=False),
    "no-end-fill-00": by_hand(f"0A 10 00 {DEVICE} 22 20 00 00 00", 9 + 3 + 6 + 3 + 2, end=False),
    "nothing-but-end": by_hand(""),
    "name-before-compatible": by_hand(f"0A 10 00 {DEVICE} 82 02 00 46 4D 1C 41 D0 B0 02"),
    "two-names": by_hand(f"0A 10 00 82 01 00 41 82 01 00 42 {DEVICE} 82 01 00 43 82 01 00 44"),
    "empty-name": by_hand(f"0A 10 00 82 00 00 {DEVICE} 82 00 00"),
    "name-quotes": by_hand(f"0A 10 00 82 06 00 22 5C 27 23 22 22 {DEVICE}"),
    "name-not-ascii": by_hand(f"0A 10 00 82 04 00 41 00 E9 0A {DEVICE} 82 01 00 7F"),
    "unicode-half": by_hand(f"0A 10 00 83 05 00 00 00 41 00 42 83 04 00 00 00 3D D8 {DEVICE}"),
    "odd-lengths": by_hand(
        "08 09 10 0A 10 00 11 46 15 46 4C 00 01 00 21 20 24 20 00 01 02 29 02 2B 02 00 01 32 00 01"
        "39 00 41 01 4A 20 02 70 81 00 00 85 01 00 07 86 02 00 01 02 1A 41 D0 18 10"
    ),
    "odd-end": by_hand(f"0A 10 00 {DEVICE} 7A 00 00"),
    "reserved-items": by_hand(f"0A 10 00 {DEVICE} 52 00 01 87 01 00 05 FF 00 00 50 68"),
    "reserved-bits": by_hand(f"0A 10 00 {DEVICE} 23 20 00 F1 2A 02 83 47 FE 20 02 20 02 01 10"),
    "fixed-port-beyond": by_hand(f"0A 10 00 {DEVICE} 4B 20 FE 10"),
    "memory-align-0": by_hand(f"0A 10 00 {DEVICE} 81 09 00 FF 00 0C 00 0D 00 00 20 00"),
    "letters": by_hand(f"0A 10 00 {DEVICE}", ident="@[A0301"),
    "letters-of-device": by_hand("0A 10 00 15 03 7F 00 01 00 1C 7F FF B0 02"),
    "end-item-and-nothing": by_hand(f"0A 10 00 {DEVICE}", 0),
    "end-item-cut": by_hand(f"0A 10 00 {DEVICE}", 0)[:-1],
    "no-serial-all-ff": b"\xff" * 8 + bytes([identifier_checksum(b"\xff" * 8)]) + b"\xff" * 7,
    "count-0": encode(card_with("counted-7", count=0)),
    "count-too-much": encode(card_with("counted-19", count=0xFFFF)),
}


@pytest.mark.parametrize("name", EDGES)
def test_edges(name: str) -> None:
    """Dumps at the edge of what there is, with every layout forced."""
    assert_in_every_layout(EDGES[name])


def test_signs_of_a_toml_text() -> None:
    """Every printable character in a name and in a second one, alone and together."""
    signs = bytes(range(0x20, 0x7F))
    for text in [signs, signs[::-1], *(bytes([sign]) * 3 for sign in signs)]:
        item = "82" + len(text).to_bytes(2, "little").hex() + text.hex()
        tables = assert_comes_back(by_hand(f"0A 10 00 {item} {item} {DEVICE} {item}", 512))
        assert tables["card"]["name"] == tables["device"][0]["name"] == text.decode()


# A single fault leaves the rest of the profile as it was: values that are stored otherwise than
# computed (the card's identifier and end item: Spec 6.1, 6.2.2.11; the frame is from memory).
OVERRIDES: list[tuple[str, Table]] = [
    ("plain", {"id_checksum": 0}),
    ("counted-19", {"id_checksum": 0x55}),
    ("plain", {"end_checksum": 0}),
    ("marked-8", {"end_checksum": 0x77}),
    ("counted-7", {"count": 5}),
    ("counted-19", {"signature": "55 BC"}),
    ("counted-19", {"signature": "AA 55", "end_checksum": 0}),
    ("marked-8", {"signature": "A4"}),
]


@pytest.mark.parametrize(("layout", "override"), OVERRIDES)
def test_overrides(layout: str, override: Table) -> None:
    """What is stored otherwise than computed stands in [override], and nothing else does."""
    profile = card_with(layout, **override)
    data = encode(profile)
    tables = assert_comes_back(data, layout)
    assert tables.pop("override") == override
    tables.pop("image")
    assert tables == {"card": profile["card"], "device": profile["device"]}
    assert_in_every_layout(data)


@pytest.mark.parametrize("layout", ["counted-19", "counted-7"])
def test_count_without_identifier(layout: str) -> None:
    """Some images count without the identifier (from memory): that is kept."""
    image = encode(card_with(layout))
    start, end = spoil.pnp_span(image, layout)
    profile = card_with(layout, count=end - start - 9)
    tables = assert_comes_back(encode(profile))
    assert set(tables.pop("override")) == {"count"}
    assert tables.pop("image")["layout"] == layout
    assert tables == {"card": profile["card"], "device": profile["device"]}


FALL_BACK = {
    "letters": "@[A0301",
    "name-before-compatible": "QRL0301",
    "two-names": "QRL0301",
    "reserved-items": "QRL0301",
    "reserved-bits": "QRL0301",
    "memory-align-0": "QRL0301",
    "no-version": "QRL0301",
    "no-end": "QRL0301",
    "two-groups": "QRL0301",
    "open-choices": "QRL0301",
}


@pytest.mark.parametrize("name", FALL_BACK)
def test_falls_back_by_runs(name: str) -> None:
    """One thing that no entry says doesn't cost the whole image its meaning."""
    tables = assert_comes_back(EDGES[name])
    assert "raw" not in tables.get("image", {})
    assert tables["card"]["id"] == FALL_BACK[name]
    assert any(device["id"] == "QRL0001" for device in tables["device"])


@pytest.mark.parametrize("layout", FRAMES)
def test_every_truncation(layout: str) -> None:
    """One image cut at every length."""
    image = encode(card_with(layout, 128))
    for length in range(1, len(image)):
        assert_comes_back(image[:length])


def test_every_truncation_in_every_layout() -> None:
    """The same, with every layout forced, of an image with choices and a tail."""
    profile = card_with("counted-7", 128)
    choices = [{"priority": "good", "resources": [{"irq": [7]}]}, {"resources": [{"irq": []}]}]
    profile["device"][0] |= {"choice": choices, "resources_after": [{"dma": []}]}
    profile["image"] |= {"patch": "A1 A2 A3", "tail": [{"at": 120, "raw": "B1 B2"}]}
    image = encode(profile)
    for length in range(1, len(image) + 1, 1 if amount.is_whole else 3):
        assert_in_every_layout(image[:length])
