"""Resource items and IDs, compared with the ACPI reference compiler `iasl` (Debian acpica-tools).

ACPI took its small and large resource items and its packed IDs from ISA Plug and Play (Advanced
Configuration and Power Interface Specification 6.5, 6.4; `EISAID` in 19.6), so the compiler's bytes
show what this tool must read and write. ACPI's own additions are taken out of the compiler's bytes
first, and tested apart:

* the start byte of dependent functions holds a compatibility priority in bits 1:0, which is the
  priority of ISA Plug and Play, and a performance in bits 3:2 (6.4.2.3);
* the IRQ flags hold a shared bit 4 and a wake bit 5 (6.4.2.1). Bit 0 is the mode (1 edge, 0 level)
  and bit 3 the polarity (1 low) there, so edge/high and level/low are ISA's high edge and low
  level, while edge/low sets the bits that ISA calls high edge and low level, and level/high none;
* the end item's checksum stays 0.
"""

import subprocess
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from tests.support.tool import (
    built,
    identifier,
    identifier_checksum,
    inspected,
    items,
    need,
    packed_id,
)

Entry = dict[str, Any]
Choice = tuple[str | int | None, list[Entry]]

CARD = "QRL0301"
DEVICE = "QRL0001"
# Identifier (with serial number 1), version 1.0, logical device with no flags.
HEAD = identifier(CARD, 1) + bytes.fromhex("0A 10 00") + b"\x15" + packed_id(DEVICE) + b"\0"


@dataclass
class Case:
    """A resource template in ACPI's language, and the same as a profile states it."""

    asl: str
    resources: list[Entry] = field(default_factory=list)
    choices: list[Choice] = field(default_factory=list)


FLAGS = ("writeable", "cacheable", "high_address", "shadowable", "rom")
RANGE24 = {"memory24": [0xC0000, 0xE0000], "length": 0x20000, "align": 0x10000}
RANGE32 = {"memory32": [0xC0000, 0xE00000], "length": 0x20000, "align": 0x4000}


def dma_case(asl_speed: str, speed: str) -> Case:
    """Each width, with and without bus mastering, at one speed."""
    widths = {"Transfer8": "8", "Transfer8_16": "8+16", "Transfer16": "16"}
    masters = {"NotBusMaster": False, "BusMaster": True}
    pairs = [(w, m) for w in widths for m in masters]
    return Case(
        " ".join(f"DMA ({asl_speed}, {m}, {w}) {{1, 3}}" for w, m in pairs),
        [
            {"dma": [1, 3], "width": widths[w], "bus_master": masters[m], "speed": speed}
            for w, m in pairs
        ],
    )


CASES = {
    "irq-no-flags": Case("IRQNoFlags () {3, 4, 15}", [{"irq": [3, 4, 15]}]),
    "irq-no-flags-lowest": Case("IRQNoFlags () {0}", [{"irq": [0]}]),
    "irq-edge-high": Case(
        "IRQ (Edge, ActiveHigh, Exclusive) {5, 7}", [{"irq": [5, 7], "trigger": ["high-edge"]}]
    ),
    "irq-edge-high-shared": Case(
        "IRQ (Edge, ActiveHigh, Shared) {5, 7}", [{"irq": [5, 7], "trigger": ["high-edge"]}]
    ),
    "irq-edge-low": Case(
        "IRQ (Edge, ActiveLow, Exclusive) {9}",
        [{"irq": [9], "trigger": ["high-edge", "low-level"]}],
    ),
    "irq-level-high": Case(
        "IRQ (Level, ActiveHigh, Exclusive) {10, 11}", [{"irq": [10, 11], "trigger": []}]
    ),
    "irq-level-low": Case(
        "IRQ (Level, ActiveLow, Exclusive) {5, 7}", [{"irq": [5, 7], "trigger": ["low-level"]}]
    ),
    "irq-level-low-shared-wake": Case(
        "IRQ (Level, ActiveLow, SharedAndWake) {5, 7}", [{"irq": [5, 7], "trigger": ["low-level"]}]
    ),
    "irq-none": Case("IRQNoFlags () {}", [{"irq": []}]),
    "dma-compatible": dma_case("Compatibility", "compatible"),
    "dma-type-a": dma_case("TypeA", "A"),
    "dma-type-b": dma_case("TypeB", "B"),
    "dma-type-f": dma_case("TypeF", "F"),
    "dma-masks": Case(
        "DMA (Compatibility, NotBusMaster, Transfer8) {}"
        "DMA (Compatibility, NotBusMaster, Transfer16) {5, 6, 7}"
        "DMA (Compatibility, NotBusMaster, Transfer8) {0}",
        [{"dma": []}, {"dma": [5, 6, 7], "width": "16"}, {"dma": [0]}],
    ),
    "io-16": Case(
        "IO (Decode16, 0x0240, 0x0280, 0x20, 0x10)",
        [{"io": [0x240, 0x280], "align": 0x20, "length": 16, "decode": 16}],
    ),
    "io-16-one-base": Case(
        "IO (Decode16, 0x0A20, 0x0A20, 1, 8)", [{"io": 0xA20, "length": 8, "decode": 16}]
    ),
    "io-16-limits": Case(
        "IO (Decode16, 0x0000, 0xFF00, 0x80, 0xFF)",
        [{"io": [0, 0xFF00], "align": 0x80, "length": 0xFF}],
    ),
    "io-10": Case(
        "IO (Decode10, 0x0300, 0x0330, 0x10, 2)",
        [{"io": [0x300, 0x330], "align": 16, "length": 2, "decode": 10}],
    ),
    "io-10-one-base-aligned": Case(
        "IO (Decode10, 0x0388, 0x0388, 8, 4)",
        [{"io": 0x388, "align": 8, "length": 4, "decode": 10}],
    ),
    "io-none": Case(
        "IO (Decode16, 0x0200, 0x0200, 1, 0)", [{"io": 0x200, "length": 0, "decode": 16}]
    ),
    "io-fixed": Case(
        "FixedIO (0x0201, 1) FixedIO (0x03FF, 0xFF)",
        [{"io_fixed": 0x201, "length": 1}, {"io_fixed": 0x3FF, "length": 0xFF}],
    ),
    "choices": Case(
        "IRQNoFlags () {5}"
        "StartDependentFnNoPri () {IO (Decode16, 0x0220, 0x0220, 1, 16) IRQNoFlags () {7}}"
        "StartDependentFn (0, 0) {IO (Decode16, 0x0240, 0x0240, 1, 16) IRQNoFlags () {9}}"
        "StartDependentFn (1, 0) {IO (Decode16, 0x0260, 0x0260, 1, 16) IRQNoFlags () {10}}"
        "StartDependentFn (2, 0) {IO (Decode16, 0x0280, 0x0280, 1, 16) IRQNoFlags () {11}}"
        "EndDependentFn ()",
        [{"irq": [5]}],
        [
            (None, [{"io": 0x220, "length": 16}, {"irq": [7]}]),
            ("good", [{"io": 0x240, "length": 16}, {"irq": [9]}]),
            ("acceptable", [{"io": 0x260, "length": 16}, {"irq": [10]}]),
            ("sub-optimal", [{"io": 0x280, "length": 16}, {"irq": [11]}]),
        ],
    ),
    "choices-with-performance": Case(
        "StartDependentFn (0, 2) {IRQNoFlags () {3}}"
        "StartDependentFn (1, 1) {IRQNoFlags () {4}}"
        "StartDependentFn (2, 2) {IRQNoFlags () {5}}"
        "EndDependentFn ()",
        [],
        [
            ("good", [{"irq": [3]}]),
            ("acceptable", [{"irq": [4]}]),
            ("sub-optimal", [{"irq": [5]}]),
        ],
    ),
    "memory24-read-write": Case(
        "Memory24 (ReadWrite, 0x0C00, 0x0E00, 0x4000, 0x0200)",
        [RANGE24 | {"align": 0x4000, "writeable": True}],
    ),
    "memory24-read-only": Case("Memory24 (ReadOnly, 0x0C00, 0x0E00, 0x0000, 0x0200)", [RANGE24]),
    "memory24-limits": Case(
        "Memory24 (ReadOnly, 0x0000, 0xFF00, 0x8000, 0x00FF)",
        [{"memory24": [0, 0xFF0000], "length": 0xFF00, "align": 0x8000}],
    ),
    "memory32-read-write": Case(
        "Memory32 (ReadWrite, 0x000C0000, 0x00E00000, 0x00004000, 0x00020000)",
        [RANGE32 | {"writeable": True}],
    ),
    "memory32-read-only": Case(
        "Memory32 (ReadOnly, 0x000C0000, 0x00E00000, 0x00004000, 0x00020000)", [RANGE32]
    ),
    "memory32-limits": Case(
        "Memory32 (ReadWrite, 0x00000000, 0xFFFF0000, 0x00010000, 0x0000FFFF)",
        [
            {
                "memory32": [0, 0xFFFF0000],
                "length": 0xFFFF,
                "align": 0x10000,
                "writeable": True,
            }
        ],
    ),
    "memory32-fixed-read-write": Case(
        "Memory32Fixed (ReadWrite, 0xFFFE0000, 0x00008000)",
        [{"memory32_fixed": 0xFFFE0000, "length": 0x8000, "writeable": True}],
    ),
    "memory32-fixed-read-only": Case(
        "Memory32Fixed (ReadOnly, 0x000C8000, 0x00000001)",
        [{"memory32_fixed": 0xC8000, "length": 1}],
    ),
    "vendor-short": Case(
        "VendorShort () {0x01} VendorShort () {1, 2, 3, 0xFC, 0xFD, 0xFE, 0xFF}",
        [{"vendor": "01"}, {"vendor": "01 02 03 FC FD FE FF"}],
    ),
    "vendor-long": Case(
        "VendorLong () {1, 2, 3, 4, 5, 6, 7, 8} VendorLong () {"
        + ", ".join(str(n & 0xFF) for n in range(300))
        + "}",
        [
            {"vendor": "01 02 03 04 05 06 07 08"},
            {"vendor": bytes(n & 0xFF for n in range(300)).hex(" ").upper()},
        ],
    ),
    "vendor-long-of-few": Case(
        "VendorLong () {0xA5, 0x5A}", [{"vendor": "A5 5A", "form": "large"}]
    ),
    "mixed": Case(
        "DMA (Compatibility, NotBusMaster, Transfer8) {1}"
        "IO (Decode10, 0x0388, 0x0388, 1, 4)"
        "VendorShort () {0x55}"
        "IRQ (Edge, ActiveHigh, Exclusive) {5}"
        "FixedIO (0x0201, 1)",
        [
            {"dma": [1]},
            {"io": 0x388, "length": 4, "decode": 10},
            {"vendor": "55"},
            {"irq": [5], "trigger": ["high-edge"]},
            {"io_fixed": 0x201, "length": 1},
        ],
    ),
}

# Templates whose ACPI additions are kept.
UNMASKED = {
    "shared": "IRQ (Level, ActiveLow, Shared) {5, 7}",
    "wake": "IRQ (Edge, ActiveHigh, ExclusiveAndWake) {5}",
    "priorities": "".join(
        f"StartDependentFn ({c}, {p}) {{IRQNoFlags () {{5}}}}" for p in range(3) for c in range(3)
    )
    + "EndDependentFn ()",
}
PRIORITIES: list[str | int] = ["good", "acceptable", "sub-optimal", 4, 5, 6, 8, 9, 10]

# The two published identifiers' (Plug and Play ISA Specification 1.0a, App. B.2 and D), a generic
# device's, this project's, and runs of the alphabet so that each letter and digit comes up.
IDS = [
    "ABC9050",
    "PXQ5409",
    "PNPB02F",
    "QRL0301",
    "QRLABCD",
    "AAA0000",
    "ZZZFFFF",
    "DEF0123",
    "GHI4567",
    "JKL89AB",
    "MNOCDEF",
    "STU1E2D",
    "VWX3C4B",
    "YZA5A69",
]


# --- the compiler ---------------------------------------------------------------------------


def compile_names(values: dict[str, str], folder: Path) -> dict[str, bytes]:
    """Compile each value under a name of its own, in one block, and return the values' bytes."""
    names = {f"N{number:03X}": key for number, key in enumerate(values)}
    lines = [f"    Name ({name}, {values[key]})" for name, key in names.items()]
    block = 'DefinitionBlock ("", "SSDT", 2, "QRL", "HOLLOW", 1)\n{\n' + "\n".join(lines) + "\n}\n"
    (folder / "oracle.asl").write_text(block, encoding="ascii")
    run = subprocess.run(
        [need("iasl"), "-p", "oracle", "oracle.asl"], cwd=folder, capture_output=True, check=False
    )
    assert run.returncode == 0, (run.stdout + run.stderr).decode(errors="replace")
    found = named_values((folder / "oracle.aml").read_bytes())
    assert list(found) == list(names)
    return {key: found[name] for name, key in names.items()}


def named_values(aml: bytes) -> dict[str, bytes]:
    """Names and values of a compiled block that holds only names (ACPI Specification 6.5, 20.2).

    A buffer's value is its bytes; a number's is the 4 bytes of a DWord.
    """
    assert int.from_bytes(aml[4:8], "little") == len(aml)  # the table header (5.2.6)
    values: dict[str, bytes] = {}
    at = 36
    while at < len(aml):
        assert aml[at] == 0x08, f"no NameOp at {at:X}h"
        name = aml[at + 1 : at + 5].decode("ascii")
        at += 5
        if aml[at] == 0x11:  # BufferOp, PkgLength, size, bytes
            end, start = package(aml, at + 1)
            size, start = number(aml, start)
            assert end - start == size, f"{name}: {size} bytes stated, {end - start} held"
            values[name], at = aml[start:end], end
        else:
            value, at = number(aml, at)
            values[name] = value.to_bytes(4, "little")
    return values


def package(aml: bytes, at: int) -> tuple[int, int]:
    """Where a package ends and where its content starts (20.2.4)."""
    more = aml[at] >> 6
    length = aml[at] & (0x0F if more else 0x3F)
    for place in range(more):
        length |= aml[at + 1 + place] << (4 + 8 * place)
    return at + length, at + 1 + more


def number(aml: bytes, at: int) -> tuple[int, int]:
    """A constant's value and where it ends (20.2.3)."""
    if aml[at] in (0x00, 0x01):  # ZeroOp, OneOp
        return aml[at], at + 1
    size = {0x0A: 1, 0x0B: 2, 0x0C: 4, 0x0E: 8}[aml[at]]
    return int.from_bytes(aml[at + 1 : at + 1 + size], "little"), at + 1 + size


@pytest.fixture(scope="session")
def compiled(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The compiler's bytes of all templates and IDs, from one run."""
    templates = {key: case.asl for key, case in CASES.items()} | UNMASKED
    assert len(templates) == len(CASES) + len(UNMASKED)
    values = {key: f"ResourceTemplate () {{{asl}}}" for key, asl in templates.items()}
    values |= {text: f'EisaId ("{text}")' for text in IDS}
    return compile_names(values, tmp_path_factory.mktemp("iasl"))


def without_additions(template: bytes) -> list[bytes]:
    """The compiler's items, the end item left out, without what ACPI adds to them."""
    masks = {0x23: 0x0F, 0x31: 0x03}
    found = items(template)
    assert b"".join(found) == template, template.hex(" ")
    assert found.pop() == b"\x79\x00"
    return [
        item[:-1] + bytes([item[-1] & masks[item[0]]]) if item[0] in masks else item
        for item in found
    ]


# --- the tool's words -----------------------------------------------------------------------


def plain(entry: Entry) -> Entry:
    """A profile entry with its defaults stated, so that two ways to say the same are equal."""
    entry = {key: value for key, value in entry.items() if value is not None}
    defaults: Entry = {}
    if "io" in entry:
        defaults = {"decode": 16}
        if isinstance(entry["io"], int):
            defaults["align"] = 1
            entry["io"] = [entry["io"]] * 2
    elif "dma" in entry:
        defaults = {"width": "8", "bus_master": False, "count": [], "speed": "compatible"}
    elif {"memory24", "memory32", "memory32_fixed"} & entry.keys():
        defaults = {"width": "8"} | dict.fromkeys(FLAGS, False)
    for key in ("vendor", "raw"):
        if key in entry:
            entry[key] = bytes.fromhex(entry[key])
    if "vendor" in entry:
        defaults = {"form": "small" if len(entry["vendor"]) <= 7 else "large"}
    return defaults | entry


def plain_device(device: dict[str, Any]) -> tuple[list[Entry], list[Choice]]:
    return (
        [plain(entry) for entry in device["resources"]],
        [
            (choice["priority"], [plain(entry) for entry in choice["resources"]])
            for choice in device["choices"]
        ],
    )


def toml(value: object) -> str:
    """A value as TOML writes it (toml.io, v1.0.0)."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    assert isinstance(value, dict)
    return "{ " + ", ".join(f"{key} = {toml(each)}" for key, each in value.items()) + " }"


def profile(resources: list[Entry], choices: list[Choice]) -> str:
    lines = ["[card]", f'id = "{CARD}"', "serial = 1", "", "[[device]]", f'id = "{DEVICE}"']
    lines += [f"resources = {toml(resources)}"]
    for priority, entries in choices:
        lines += ["", "[[device.choice]]"]
        lines += [] if priority is None else [f"priority = {toml(priority)}"]
        lines += [f"resources = {toml(entries)}"]
    return "\n".join(lines) + "\n"


def image_of(content: bytes, folder: Path) -> Path:
    """A file of the card's head, the content, and fill."""
    path = folder / "card.bin"
    path.write_bytes((HEAD + content).ljust(512, b"\xff"))
    return path


def check_built(image: bytes, content: bytes) -> None:
    """An image is the head, the content, an end item that sums right, and fill."""
    at = len(HEAD) + len(content)
    assert image[:at].hex(" ") == (HEAD + content).hex(" ")
    assert image[at] == 0x79
    # The sum of all bytes after the identifier (Plug and Play ISA Specification 1.0a, 6.2.2.11).
    assert sum(image[9 : at + 2]) & 0xFF == 0
    assert set(image[at + 2 :]) <= {0xFF}


# --- the tests ------------------------------------------------------------------------------


def test_identifier_checksum_of_the_published_example() -> None:
    # Plug and Play ISA Specification 1.0a, App. B.2: the checksum of this identifier is DCh.
    assert packed_id("PXQ5409") == bytes.fromhex("43 11 54 09")
    assert identifier_checksum(bytes.fromhex("43 11 54 09 00 01 00 04")) == 0xDC


@pytest.mark.parametrize("name", CASES)
def test_decodes_what_the_compiler_wrote(
    name: str, compiled: dict[str, bytes], tmp_path: Path
) -> None:
    """`iasl` (Debian acpica-tools) wrote the items, `inspect` reads them."""
    case = CASES[name]
    expected = without_additions(compiled[name])
    content = b"".join(expected) + b"\x79\x00"
    document = inspected(str(image_of(content, tmp_path)))

    assert document["layout"] == "plain"
    assert document["card"]["id"] == CARD
    assert document["card"]["serial"] == 1
    assert document["card"]["checksum"]["ok"] is True
    (device,) = document["devices"]
    assert device["id"] == DEVICE
    assert plain_device(device) == plain_device(
        {
            "resources": case.resources,
            "choices": [{"priority": p, "resources": each} for p, each in case.choices],
        }
    )
    assert document["end"]["checksum"]["stored"] == 0

    stop = [each for each in document["items"] if each["offset"] >= len(HEAD)]
    assert [bytes.fromhex(each["raw"]) for each in stop] == [*expected, b"\x79\x00"]
    offsets = [len(HEAD) + sum(map(len, expected[:n])) for n in range(len(expected) + 1)]
    assert [each["offset"] for each in stop] == offsets


@pytest.mark.parametrize("name", CASES)
def test_builds_what_the_compiler_writes(
    name: str, compiled: dict[str, bytes], tmp_path: Path
) -> None:
    """`build` writes the items, `iasl` (Debian acpica-tools) shows what they should be.

    Faults are allowed: a template can offer what no card should.
    """
    case = CASES[name]
    image = built(profile(case.resources, case.choices), tmp_path, "--allow-faults")
    check_built(image, b"".join(without_additions(compiled[name])))


@pytest.mark.parametrize("name", ["shared", "wake"])
def test_keeps_flags_that_only_acpi_knows(
    name: str, compiled: dict[str, bytes], tmp_path: Path
) -> None:
    """Reserved bits of an IRQ item that `iasl` (Debian acpica-tools) wrote are not lost."""
    (irq, _end) = items(compiled[name])
    assert irq[-1] & 0xF0
    document = inspected(str(image_of(compiled[name], tmp_path)))
    (device,) = document["devices"]
    stated = {"irq": [5, 7], "trigger": ["low-level"], "reserved": "10"}
    if name == "wake":
        stated = {"irq": [5], "trigger": ["high-edge"], "reserved": "20"}
    assert [plain(entry) for entry in device["resources"]] == [stated]

    for entry in (stated, {"raw": irq.hex(" ").upper()}):
        image = built(profile([entry], []), tmp_path, "--allow-faults")
        check_built(image, irq)


def test_keeps_priorities_that_only_acpi_knows(compiled: dict[str, bytes], tmp_path: Path) -> None:
    """Both priorities in one byte, as `iasl` (Debian acpica-tools) writes them, are 4 to 10."""
    content = compiled["priorities"]
    choices: list[Choice] = [(priority, [{"irq": [5]}]) for priority in PRIORITIES]
    document = inspected(str(image_of(content, tmp_path)))
    (device,) = document["devices"]
    assert plain_device(device) == ([], choices)

    image = built(profile([], choices), tmp_path, "--allow-faults")
    check_built(image, content[:-2])


@pytest.mark.parametrize("text", IDS)
def test_packs_an_id_as_the_compiler_does(
    text: str, compiled: dict[str, bytes], tmp_path: Path
) -> None:
    """`EisaId()` of `iasl` (Debian acpica-tools) is a card's, a device's and a compatible ID."""
    image = built(
        f'[card]\nid = "{text}"\nserial = 1\n\n'
        f'[[device]]\nid = "{text}"\ncompatible = ["{text}"]\nresources = [ {{ irq = [5] }} ]\n',
        tmp_path,
        "--allow-faults",
    )
    packed = compiled[text]
    assert image[:4].hex(" ") == packed.hex(" ")
    assert image[8] == identifier_checksum(image[:8])
    _version, device, compatible, *_others = items(image[9:])
    assert device.hex(" ") == (b"\x15" + packed + b"\0").hex(" ")
    assert compatible.hex(" ") == (b"\x1c" + packed).hex(" ")

    document = inspected(str(tmp_path / "card.bin"))
    assert document["card"]["id"] == text
    assert [each["id"] for each in document["devices"]] == [text]
    assert [each["compatible"] for each in document["devices"]] == [[text]]
