"""Rules about what devices ask for: a bad case for each, which makes it fire, and no other.

"Spec" is the Plug and Play ISA Specification 1.0a. What PnP software keeps and where it looks is
from the PnP code of one operating system kernel, read and run; lines of the bus, ports of the
system board and aliases are common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.checking import (
    CARD,
    CARET,
    CHOICES,
    DEVICE,
    DEVICES,
    GOOD,
    GOOD_ITEMS,
    NAME,
    PNP,
    START,
    VERSION,
    Bytes,
    Said,
    Spoilt,
    check_image,
    check_profile,
    checked,
    closed,
    counted,
    error,
    note,
    plain,
    spoilt,
    warning,
    with_device,
)

DMA = "{ dma = [1, 3] }"
IO = "{ io = [0x220, 0x280], align = 0x20, length = 16 }"
LINES = "{ irq = [5, 7] }"
MEMORY = "{ memory24 = [0xC0000, 0xE0000], align = 0x4000, length = 0x4000 }"
FIRST = "{ io = 0x220, length = 16 }"
WIRING = "irq_wiring = [5, 7, 0, 0, 0, 0]"


def device(*choices: str, after: str = "", number: int = 1, offers: str = DMA) -> str:
    """A device that offers what the good card does; each choice: its priority and resources."""
    offered = f"{offers}, {LINES}" if number == 1 else offers
    lines = f"resources = [ {offered} ]\n"
    stop = f"resources_after = [ {after} ]\n" if after else ""
    tables = [f'[[device]]\n{{}}id = "QRL{number:04}"\n{lines}{stop}']
    for choice in choices:
        priority, _, resources = choice.partition(": ")
        mark = CARET if priority.startswith(CARET) else ""
        priority = priority.removeprefix(CARET)
        tables.append(
            f'[[device.choice]]\n{mark}priority = "{priority}"\nresources = [ {resources} ]\n'
        )
    return "\n".join(tables).replace("{}", "") + "\n"


def many(count: int, entry: str) -> str:
    """So many entries, `{n}` counting from 0."""
    return ", ".join(entry.replace("{n}", str(n)) for n in range(count))


PROFILES = [
    # IRQ and DMA (common practice, no source).
    spoilt("not-wired", LINES, f"{CARET}{{ irq = [5, 7, 10] }}", error("not-wired")),
    # On the bus 2 is 9 (Spec 4.6.2), whichever of the two the wiring says.
    spoilt(
        "wired-twice/2-is-9",
        f"{WIRING}",
        f"{CARET * 2}irq_wiring = [5, 7, 2, 9, 0, 0]",
        warning("wired-twice"),
        note("pin-idle"),
    ),
    spoilt("not-wired/dma", DMA, f"{CARET}{{ dma = [0, 1, 3] }}", error("not-wired")),
    spoilt("line-off-bus", LINES, f"{CARET}{{ irq = [0, 5, 7] }}", error("line-off-bus")),
    spoilt("line-off-bus/1", LINES, f"{CARET}{{ irq = [1, 5, 7] }}", error("line-off-bus")),
    spoilt("line-off-bus/8", LINES, f"{CARET}{{ irq = [5, 7, 8] }}", error("line-off-bus")),
    spoilt("line-off-bus/13", LINES, f"{CARET}{{ irq = [5, 7, 13] }}", error("line-off-bus")),
    spoilt("line-off-bus/dma", DMA, f"{CARET}{{ dma = [1, 3, 4] }}", error("line-off-bus")),
    spoilt("line-renamed", LINES, f"{CARET}{{ irq = [2, 5, 7] }}", error("line-renamed")),
    spoilt(
        "channel-width", DMA, f'{CARET}{{ dma = [1, 3], width = "16" }}', error("channel-width")
    ),
    spoilt("pin-idle", WIRING, f"{CARET}irq_wiring = [5, 7, 9, 11, 0, 0]", note("pin-idle")),
    spoilt(
        "pin-idle/dma", "dma_wiring = [4, 1, 3]", f"{CARET}dma_wiring = [0, 1, 3]", note("pin-idle")
    ),
    # Ranges: Spec 6.2.2.8, 6.2.2.9, 6.2.3.1.
    spoilt(
        "memory-width",
        "{ memory24 = [0xC0000, 0xE0000],",
        f'{CARET}{{ memory24 = [0xC0000, 0xE0000], width = "32",',
        error("memory-width"),
    ),
    spoilt(
        "range-backwards",
        "  { io = [0x220, 0x280]",
        f"  {CARET}{{ io = [0x280, 0x220]",
        error("range-backwards"),
    ),
    spoilt(
        "range-backwards/memory",
        "{ memory24 = [0xC0000, 0xE0000]",
        f"{CARET}{{ memory24 = [0xE0000, 0xC0000]",
        error("range-backwards"),
    ),
    spoilt(
        "base-askew",
        IO,
        f"{CARET}{{ io = [0x228, 0x288], align = 0x20, length = 8 }}",
        error("base-askew"),
    ),
    spoilt(
        "base-askew/one-base",
        FIRST,
        f"{CARET}{{ io = 0x228, align = 0x10, length = 8 }}",
        error("base-askew"),
    ),
    spoilt(
        "base-askew/memory",
        MEMORY,
        f"{CARET}{{ memory24 = [0xC1000, 0xE1000], align = 0x4000, length = 0x4000 }}",
        error("base-askew"),
    ),
    # Memory: least alignment (Spec 6.2.3.1); a mask's length and bases (Spec A.3.1).
    spoilt(
        "align-low",
        MEMORY,
        f"{CARET}{{ memory24 = [0xC0000, 0xE0000], align = 0x80, length = 0x4000, "
        "high_address = true }",
        error("align-low"),
    ),
    spoilt(
        "mask-length",
        MEMORY,
        f"{CARET}{{ memory24 = [0xC0000, 0xE0000], align = 0x4000, length = 0x3000 }}",
        error("mask-length"),
    ),
    spoilt(
        "mask-length/32-bit",
        MEMORY,
        f"{CARET}{{ memory32_fixed = 0x1000000, length = 0x1800 }}",
        error("mask-length"),
    ),
    spoilt(
        "mask-align",
        MEMORY,
        f"{CARET}{{ memory24 = [0xC0000, 0xE0000], align = 0x4000, length = 0x8000 }}",
        error("mask-align"),
    ),
    spoilt(
        "mask-align/fixed",
        MEMORY,
        f"{CARET}{{ memory32_fixed = 0x1001000, length = 0x2000 }}",
        error("mask-align"),
    ),
    spoilt(
        "mask-align/more-than-an-alignment",  # 32 bits of alignment can say more than 64 KiB
        MEMORY,
        f"{CARET}{{ memory32 = [0x1000000, 0x1100000], align = 0x10000, length = 0x20000 }}",
        error("mask-align"),
    ),
    # Devices that may take part in boot (Spec 6.2.1, 6.2.2.2, C.1).
    spoilt(
        "rom-not-boot",
        MEMORY,
        f"{CARET}{MEMORY[:-2]}, rom = true }}",
        warning("rom-not-boot"),
    ),
    spoilt(
        "boot-empty",
        f'id = "QRL0002"\nresources = [ {MEMORY} ]',
        f'{CARET}id = "QRL0002"\nboot = true',
        warning("boot-empty"),
    ),
    # A line of which each slot can do high edge (Spec 6.2.2.4).
    spoilt(
        "high-edge",
        LINES,
        f'{CARET}{{ irq = [5, 7], trigger = ["low-level"] }}',
        error("high-edge"),
    ),
    spoilt(
        "high-edge/no-type",
        LINES,
        f"{CARET}{{ irq = [5, 7], trigger = [] }}",
        error("high-edge"),
    ),
    # Registers of a device: Spec A.2.
    spoilt(
        "registers-reserved",
        'id = "QRL0002"',
        f'{CARET}id = "QRL0002"\nregisters = [0x31, 0x32, 0x37, 0x38]',
        warning("registers-reserved"),
    ),
    # One line and one base, and no other (Spec 5.2).
    spoilt(
        "fixed-only",
        f'id = "QRL0002"\nresources = [ {MEMORY} ]',
        f'{CARET}id = "QRL0002"\nresources = [ {{ dma = [3] }}, {{ io = 0x330, length = 2 }} ]',
        warning("fixed-only"),
    ),
    spoilt("length-zero", MEMORY, f"{CARET}{{ io = 0x300, length = 0 }}", error("length-zero")),
    spoilt(
        "length-zero/in-every-choice",
        DEVICES,
        device(
            f"good: {CARET}{{ io = 0x300, length = 0 }}, {FIRST}",
            f"acceptable: {CARET}{{ io = 0x310, length = 0 }}, {IO}",
        ),
        error("length-zero"),
        error("length-zero"),
    ),
    spoilt(
        "decode-short",
        MEMORY,
        f"{CARET}{{ io = 0x530, length = 8, decode = 10 }}",
        error("decode-short"),
    ),
    spoilt(
        "decode-short/end",
        MEMORY,
        f"{CARET}{{ io = 0x3FC, length = 8, decode = 10 }}",
        error("decode-short"),
    ),
    spoilt("system-ports", MEMORY, f"{CARET}{{ io = 0x60, length = 4 }}", error("system-ports")),
    spoilt("base-decimal", MEMORY, f"{CARET}{{ io = 330, length = 2 }}", warning("base-decimal")),
    spoilt(
        "base-decimal/low",
        MEMORY,
        f"{CARET}{CARET}{{ io = 220, length = 4 }}",
        warning("base-decimal"),
        error("system-ports"),
    ),
    spoilt(
        "system-ports/a-range",
        MEMORY,
        f"{CARET}{{ io = [0xF8, 0x1F8], align = 8, length = 8 }}",
        error("system-ports"),
    ),
    spoilt(
        "align-loose",
        "{ io = [0x220, 0x280], align = 0x20",
        f"{CARET}{{ io = [0x220, 0x280], align = 1",
        note("align-loose"),
    ),
    spoilt("block", MEMORY, f"{CARET}{{ io = 0x310, length = 16 }}", note("block")),
    spoilt(
        "block/a-range",
        MEMORY,
        f"{CARET}{{ io = [0x300, 0x3F0], align = 0x10, length = 16 }}",
        note("block"),
    ),
    spoilt("decode-10", MEMORY, f"{CARET}{{ io_fixed = 0x300, length = 4 }}", note("decode-10")),
    spoilt(
        "decode-10/stated",
        MEMORY,
        f"{CARET}{{ io = 0x300, length = 4, decode = 10 }}",
        note("decode-10"),
    ),
    # 279h and A79h: Spec 3.1.
    spoilt("pnp-port", MEMORY, f"{CARET}{{ io = 0x278, length = 4 }}", warning("pnp-port")),
    spoilt("pnp-port/write", MEMORY, f"{CARET}{{ io = 0xA78, length = 2 }}", warning("pnp-port")),
    # 213h + 20h n, leaving out 280h-380h: the PnP code of an operating system kernel.
    spoilt("read-scan", MEMORY, f"{CARET}{{ io = 0x390, length = 4 }}", note("read-scan")),
    # So many registers has a device (Spec appendix A).
    spoilt(
        "too-many",
        f'id = "QRL0002"\nresources = [ {MEMORY} ]',
        f'{CARET}id = "QRL0002"\nresources = [ {many(9, "{ io = 0x30{n}, length = 1 }")} ]',
        error("too-many"),
    ),
    spoilt(
        "too-many/irq",
        f'id = "QRL0002"\nresources = [ {MEMORY} ]',
        f'{CARET}id = "QRL0002"\nresources = [ {many(3, "{ irq = [] }")} ]',
        error("too-many"),
    ),
    spoilt(
        "too-many/dma",
        f'id = "QRL0002"\nresources = [ {MEMORY} ]',
        f'{CARET}id = "QRL0002"\nresources = [ {many(3, "{ dma = [] }")} ]',
        error("too-many"),
    ),
    spoilt(
        "too-many/memory",
        f'id = "QRL0002"\nresources = [ {MEMORY} ]',
        f'{CARET}id = "QRL0002"\nresources = [ '
        + many(5, "{ memory24 = [0xC{n}000, 0xC{n}000], align = 0x1000, length = 0x100 }")
        + " ]",
        error("too-many"),
    ),
    spoilt(
        "too-many/with-a-choice",  # two lines always, a third in each choice
        DEVICES,
        device(
            f"{CARET}good: {FIRST}, {LINES}",
            f"acceptable: {IO}, {LINES}",
            offers=f"{DMA}, {{ irq = [] }}",
        ),
        error("too-many"),
    ),
    spoilt(
        "memory-mixed",
        f"resources = [ {MEMORY} ]",
        f"resources = [\n  {MEMORY},\n"
        f"  {CARET}{{ memory32 = [0x1000000, 0x2000000], align = 0x10000, length = 0x1000 }},\n]",
        error("memory-mixed"),
    ),
    # What PnP software of the field keeps.
    spoilt(
        "compatible-many",
        'compatible = ["PNPB002"]',
        f'compatible = [\n  "PNPB000", "PNPB001", "PNPB002", "PNPB003",\n  {CARET}"PNPB004",\n]',
        warning("compatible-many"),
    ),
    spoilt(
        "devices-many",
        DEVICES,
        device()
        + many(10, '[[device]]\nid = "QRL100{n}"\n').replace(", ", "")
        + f'[[device]]\n{CARET}id = "QRL2000"\n\n',
        warning("devices-many"),
    ),
    spoilt(
        "name-long",
        'name = "Digital audio"',
        f'{CARET}name = "{"Hollow Lane " * 4}25"',
        warning("name-long"),
    ),
    # Needs against each other (Spec 7: dependent functions are what can be had together).
    spoilt(
        "collide",
        MEMORY,
        f"{{ io = 0x300, length = 8 }},\n  {CARET}{{ io = 0x304, length = 2 }},\n",
        error("collide"),
    ),
    spoilt(
        "collide/an-alias",
        MEMORY,
        "\n  { io = 0x704, length = 2 },\n"
        f"  {CARET * 2}{{ io = 0x300, length = 8, decode = 10 }},\n",
        error("collide"),
        note("decode-10"),
    ),
    spoilt(
        "collide/a-choice-with-what-always-is",
        DEVICES,
        device(
            f"good: {CARET}{FIRST}",
            f"acceptable: {IO}",
            offers=f"{DMA}, {{ io = 0x228, length = 2 }}",
        ),
        error("collide"),
    ),
    spoilt(
        "collide/one-line",
        f"resources = [ {MEMORY} ]",
        f"resources = [\n  {{ irq = [7] }},\n  {CARET}{{ irq = [7] }},\n]",
        error("collide"),
    ),
    spoilt(
        "devices-collide",
        DEVICES,
        device()
        + device(number=2, offers="{ io = 0x300, length = 8 }")
        + device(number=3, offers=f"{CARET}{{ io = 0x304, length = 2 }}"),
        error("devices-collide"),
    ),
    spoilt(
        "devices-collide/an-alias",
        DEVICES,
        device()
        + device(number=2, offers="{ io = 0xF04, length = 2 }")
        + device(number=3, offers=f"{CARET * 2}{{ io_fixed = 0x300, length = 8 }}"),
        error("devices-collide"),
        note("decode-10"),
    ),
    spoilt(
        "devices-collide/one-line",
        DEVICES,
        device()
        + device(number=2, offers="{ irq = [5] }")
        + device(number=3, offers=f"{CARET}{{ irq = [5] }}"),
        error("devices-collide"),
    ),
    spoilt(
        "devices-collide/in-every-choice",
        DEVICES,
        device(f"good: {FIRST}", "sub-optimal: { io = [0x228, 0x22A], align = 2, length = 8 }")
        + device(number=2, offers=f"{CARET}{{ io = 0x22A, length = 6 }}"),
        error("devices-collide"),
    ),
    spoilt(
        "no-assignment",  # three devices, two lines
        DEVICES,
        device()
        + device(number=2, offers=LINES)
        + device(number=3, offers=LINES).replace("id =", f"{CARET}id ="),
        error("no-assignment"),
    ),
    # Choices against each other.
    spoilt(
        "priority-order",
        DEVICES,
        device(f"acceptable: {FIRST}", f"{CARET}good: {IO}"),
        warning("priority-order"),
    ),
    spoilt(
        "priority-order/absent",  # a choice that states none is an acceptable one (Spec 6.2.2.6)
        DEVICES,
        device(f"sub-optimal: {FIRST}", f"{CARET}acceptable: {IO}").replace(
            f'[[device.choice]]\n{CARET}priority = "acceptable"\n', f"{CARET}[[device.choice]]\n"
        ),
        warning("priority-order"),
    ),
    spoilt(
        "priority-order/later",
        DEVICES,
        device(
            f"good: {FIRST}", "sub-optimal: { io = 0x240, length = 16 }", f"{CARET}acceptable: {IO}"
        ),
        warning("priority-order"),
    ),
    spoilt(
        "behind-choices",
        DEVICES,
        device(
            f"good: {FIRST}, {{ io = 0x388, length = 4 }}",
            f"acceptable: {IO}",
            after="{ io = 0x300, length = 8 }",
        ).replace("resources_after", f"{CARET}resources_after"),
        warning("behind-choices"),
    ),
    spoilt(
        "after-choices",  # always in effect, and yet not before the choices (Spec 4.6.1)
        DEVICES,
        device(f"good: {FIRST}", f"acceptable: {IO}", after="{ io = 0x300, length = 8 }").replace(
            "resources_after", f"{CARET}resources_after"
        ),
        warning("after-choices"),
    ),
    spoilt(
        "choices-uneven",  # no null item keeps the place (Spec 6.2.1, example 7.3)
        DEVICES,
        device(f"good: {FIRST}, {{ io = 0x388, length = 4 }}", f"acceptable: {IO}").replace(
            'id = "QRL0001"', f'{CARET}id = "QRL0001"'
        ),
        warning("choices-uneven"),
    ),
    spoilt(
        "last-narrow",
        DEVICES,
        device(f"good: {FIRST}", f"{CARET}acceptable: {{ io = 0x240, length = 16 }}"),
        note("last-narrow"),
    ),
    spoilt(
        "choice-hidden",
        DEVICES,
        device(
            f"good: {IO}",
            f"{CARET}acceptable: {FIRST}",
            "sub-optimal: { io = [0x220, 0x2A0], align = 0x20, length = 16 }",
        ),
        warning("choice-hidden"),
    ),
    spoilt(
        "choice-hidden/the-same",
        DEVICES,
        device(
            f"good: {FIRST}",
            f"{CARET}good: {FIRST}",
            f"acceptable: {IO}",
        ),
        warning("choice-hidden"),
    ),
    spoilt(
        "choice-blocked",
        DEVICES,
        device(f"good: {CARET}{FIRST}", f"acceptable: {IO}")
        + device(number=2, offers="{ io = 0x228, length = 2 }"),
        warning("choice-blocked"),
    ),
    # Settings, serial number, bytes after the end (from memory; Spec 6.1; common practice).
    spoilt(
        "untypical",
        "dma_wiring = [4, 1, 3]",
        f"dma_wiring = [4, 1, 3]\n{CARET}code_base = 0x0C\nmodem_decode = 0",
        note("untypical"),
    ),
    spoilt("no-serial", 'id = "QRL0301"\nserial = 1', f'{CARET}id = "QRL0301"', note("no-serial")),
    spoilt(
        "tail",
        'part = "24C04"',
        f'part = "24C04"\ntail = [\n  {CARET}{{ at = 0x1F0, raw = "01 02" }},\n]',
        note("tail"),
    ),
]


def named(name: bytes) -> bytes:
    """An image whose card has this name."""
    return plain(VERSION + bytes([0x82, len(name), 0]) + name + DEVICE)


NAME_AT = len(CARD) + len(VERSION) + 3

IMAGES = [
    Bytes("memory-width", with_device(bytes.fromhex("81 09 00 18 00 0C 00 0E 00 40 40 00")),
          (Said("memory-width", "error", START),)),
    Bytes("range-backwards", with_device(bytes.fromhex("47 01 80 02 20 02 20 10")),
          (Said("range-backwards", "error", START),)),
    Bytes("range-backwards/32-bit",
          with_device(bytes.fromhex("85 11 00 00 00 00 0E 00 00 00 0C 00 00 40 00 00 00 40 00 00")),
          (Said("range-backwards", "error", START),)),
    Bytes("align-loose", with_device(bytes.fromhex("47 01 20 02 80 02 01 10")),
          (Said("align-loose", "note", START),)),
    Bytes("not-wired",
          counted(CARD + closed(GOOD_ITEMS + bytes.fromhex("22 00 04"))),
          (Said("not-wired", "error", PNP + 9 + len(GOOD_ITEMS)),)),
    Bytes("not-wired/dma",
          counted(CARD + closed(GOOD_ITEMS + bytes.fromhex("2A 20 02"))),
          (Said("not-wired", "error", PNP + 9 + len(GOOD_ITEMS)),)),
    # A frame without wiring says nothing of pins: any line of the bus may be right.
    Bytes("line-off-bus", with_device(bytes.fromhex("22 FF FF")),
          (*[Said("line-off-bus", "error", START)] * 2,
         Said("line-renamed", "error", START),
         *[Said("line-off-bus", "error", START)] * 2)),
    # Bit 7 of the first byte of an ID is 0 (Spec 6.1).
    Bytes("id-unspelt/device",
          plain(VERSION + NAME + bytes.fromhex("15 C6 4C 00 01 00 22 20 00")),
          (Said("id-unspelt", "warning", START - len(DEVICE)),)),
    Bytes("id-unspelt/compatible", with_device(bytes.fromhex("1C C1 D0 B0 02")),
          (Said("id-unspelt", "warning", START),)),
    # Characters of a name: printable ASCII is 20h to 7Eh (Spec 6.2.3.2: text).
    Bytes("name-control", named(b"Hollow\x07"), (Said("name-control", "error", NAME_AT + 6),)),
    Bytes("name-control/zero", named(b"Ho\0\0"), (Said("name-control", "error", NAME_AT + 2),)),
    Bytes("name-control/last", named(b"\x1f"), (Said("name-control", "error", NAME_AT),)),
    Bytes("name-bytes", named(b"H\xf6llow"), (Said("name-bytes", "warning", NAME_AT + 1),)),
    Bytes("name-bytes/first", named(b" ~\x7f"), (Said("name-bytes", "warning", NAME_AT + 2),)),
    Bytes("name-control/both", named(b"\xf6\n"),
          (Said("name-bytes", "warning", NAME_AT), Said("name-control", "error", NAME_AT + 1))),
    # A fixed base has 10 bits; a set bit above is reserved (Spec 6.2.2.9).
    Bytes("decode-10/reserved-bits", with_device(bytes.fromhex("4B 20 06 10")),
          (Said("item-bits", "warning", START), Said("decode-10", "note", START))),
]  # fmt: skip


@pytest.mark.parametrize("one", PROFILES, ids=[one.name for one in PROFILES])
def test_profile(one: Spoilt, tmp_path: Path) -> None:
    check_profile(one, tmp_path)


@pytest.mark.parametrize("one", IMAGES, ids=[one.name for one in IMAGES])
def test_image(one: Bytes, tmp_path: Path) -> None:
    check_image(one, tmp_path)


def messages(profile: str, folder: Path) -> list[str]:
    """What is found in a profile, in words."""
    (folder / "card.toml").write_text(profile, encoding="utf-8")
    return [one["message"] for one in checked(folder, "card.toml")[1]["findings"]]


def test_one_fault_is_told_once(tmp_path: Path) -> None:
    """A line that no pin has, offered in two choices and another device, is one finding."""
    offered = "{ irq = [5, 7, 10] }"
    profile = GOOD.replace("{ irq = [5] }", offered).replace(LINES, offered)
    profile = profile.replace(MEMORY, offered)
    (said,) = messages(profile, tmp_path)
    assert said == (
        "device QRL0001, choices 1 and 2; device QRL0002: "
        "IRQ 10 is offered, but no pin of the chip is wired to it"
    )


def test_a_pin_on_2_drives_9(tmp_path: Path) -> None:
    """On the bus that line is 9 (Spec 4.6.2): it is wired, and it is not idle."""
    wired = GOOD.replace(WIRING, "irq_wiring = [5, 7, 2, 0, 0, 0]")
    assert messages(wired.replace(LINES, "{ irq = [5, 7, 9] }"), tmp_path) == []


def test_one_wiring_is_one_finding(tmp_path: Path) -> None:
    profile = GOOD.replace(LINES, "{ irq = [5, 7, 9, 11] }").replace(MEMORY, "{ irq = [7, 10] }")
    assert messages(profile, tmp_path) == [
        "device QRL0001, choice 2; device QRL0002: IRQ 9, 10 and 11 are offered, but no pin of the "
        "chip is wired to them"
    ]


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        (
            "{ io = 0x220, length = 16, decode = 10 }",
            "I/O port 220h-22Fh decodes 10 address bits: it also answers at 620h, A20h, E20h "
            "and so on, every 400h",
        ),
        ("{ io = 0x278, length = 4 }", "I/O port 278h-27Bh lies over 279h, where PnP software"),
        (
            "{ io = [0x230, 0x290], align = 0x20, length = 16 }",
            "I/O port: the lowest base 230h is no multiple of the alignment 20h",
        ),
        ("{ io = 0x60, length = 4 }", "I/O port can begin at 60h: ports below 100h belong to"),
    ],
)
def test_words(entry: str, said: str, tmp_path: Path) -> None:
    profile = GOOD.replace(MEMORY, entry).replace(CHOICES, "").replace(DMA, f"{DMA}, {LINES}")
    assert any(f"device QRL0002: {said}" in one for one in messages(profile, tmp_path))


@pytest.mark.parametrize(
    "entry",
    [
        "{ irq = [] }",  # none, and keeps its place (Spec 7.3)
        "{ dma = [] }",
        "{ io = 0x330, align = 0x10, length = 2 }",
        "{ io = 0x388, align = 8, length = 4 }",
        "{ io = 0x534, align = 4, length = 4 }",
        "{ io = 0x201, align = 1, length = 1 }",
        "{ io = [0x534, 0x608], align = 4, length = 4 }",
        "{ io = [0x300, 0x360], align = 0x10, length = 2 }",
        "{ io = [0x100, 0xFFF8], align = 8, length = 8 }",  # the PC may keep off 279h
        '{ dma = [1, 3], width = "8+16" }',
    ],
)
def test_nothing_is_found_in_common_items(entry: str, tmp_path: Path) -> None:
    assert messages(GOOD.replace(MEMORY, entry), tmp_path) == []


def test_length_0_keeps_a_place(tmp_path: Path) -> None:
    """In one choice nothing, in another a range at the same place (Spec 7.3)."""
    profile = GOOD.replace(
        DEVICES,
        device(
            "good: { io = 0x220, length = 16 }, { io = 0x300, length = 4 }",
            "acceptable: { io = [0x220, 0x280], align = 0x20, length = 16 }, "
            "{ io = 0, length = 0 }",
        ),
    )
    assert messages(profile, tmp_path) == []
