"""One bad thing at a time in a good profile: exit 2, nothing written, and a line that places it.

What a line must look like is the contract's `romtool: FILE:LINE:COLUMN: what is wrong; what to
do`. Where a case expects a fault, a caret stands in its text before the value (or the key, where
the key itself is unknown); the caret is taken out before the tool sees the profile, so lines and
columns are counted here and not by the tool. Limits and widths of items: Plug and Play ISA
Specification 1.0a ("Spec") 6.1 and 6.2, named beside each group.
"""

from __future__ import annotations

import re
import subprocess
import tempfile
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from romtool.errors import InputError
from romtool.files.schemas import load_catalog
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.schema.catalog import Catalog
from romtool.text.problems import problem_line
from romtool.toml.parse import located, parse_toml
from tests.support.amount import examples
from tests.support.tool import romtool, told

CARET = "‸"

GOOD = """\
[image]
layout = "counted-19"
part = "24C04"
fill = 0xFF
patch = "01 02"
tail = [ { at = 0x1F0, raw = "AA" } ]

[config]
code_base = 0x0B
pnp_key_off = false
reserved_code = "20 04 08 10 80 00 00"
irq_wiring = [5, 7, 9, 11, 0, 0]
dma_wiring = [4, 1, 3]

[card]
id = "QRL0301"
serial = 1
name = "Hollow Lane audio card"
pnp_version = "1.0"
vendor_version = 0x10
resources = [ { vendor = "01 02", form = "small" } ]

[[device]]
id = "QRL0001"
name = "Digital audio"
compatible = ["PNPB002"]
boot = false
registers = [0x31, 0x38]
id_length = 6
resources = [ { dma = [1, 3], width = "8", count = ["byte"], speed = "F" } ]
resources_after = [ { io_fixed = 0x200, length = 1 } ]

[[device.choice]]
priority = "good"
resources = [
  { io = [0x220, 0x280], align = 0x20, length = 16, decode = 10 },
  { irq = [5, 7], trigger = ["high-edge"] },
]

[[device.choice]]
resources = [
  { memory24 = [0xC0000, 0xE0000], align = 0x4000, length = 0x4000, width = "16" },
  { memory32_fixed = 0xD0000, length = 0x4000, rom = true },
]

[override]
count = "without-identifier"
"""

# Bytes in front of what nothing uses: the frame's 23; the identifier's 9 (Spec 6.1); version 3,
# card name 25, vendor data 3, device ID 7, compatible ID 5, name 16, DMA 3, choice 2, I/O 8, IRQ 4,
# choice 1, memory 12 and 12, end of choices 1, fixed I/O 4, end 2 (Spec 6.2); the patch's 2.
USED = 23 + 9 + (3 + 25 + 3 + 7 + 5 + 16 + 3 + 2 + 8 + 4 + 1 + 12 + 12 + 1 + 4 + 2) + 2

COUNT = 'count = "without-identifier"'
NUMBERS = 'write 544, 0x220 or "220h"'
AN_ID = "is not three letters and four hex digits, such as QRL0301"
HEX = 'write bytes as "55 BB 00"'
KEYBOARD = "use letters, digits, spaces and the signs of a plain keyboard"
CARD_KEYS = "id, id_raw, serial, name, pnp_version, vendor_version, resources"
HEADS = (
    "irq, dma, io, io_fixed, vendor, compatible, "
    "memory24, name, unicode, memory32, memory32_fixed, raw"
)
OF_ITEMS = "can't stand in layout items; it holds items alone, without an identifier: leave it out"
PARTS = "93C46, 93C56, 93C66, 93C76, 93C86, 24C01, 24C02, 24C04, 24C08, 24C16"
BIT = "each number stands for one bit of the item"
PINS = "the bus line on each IRQ pin of the chip, A first; 0: not connected"


class Case(NamedTuple):
    """What is replaced in GOOD, with carets where faults are expected, and what is said there."""

    name: str
    old: str
    new: str
    said: tuple[str, ...]


def case(name: str, old: str, new: str, *said: str) -> Case:
    return Case(name, old, new, said)


UNKNOWN_KEYS = [
    case(
        "table",
        "[override]",
        f"[{CARET}overide]",
        "unknown key overide; did you mean override?",
    ),
    case(
        "table-far",
        "[override]",
        f"[{CARET}zzz]",
        "unknown key zzz; the keys here are: image, config, card, device, override, board, variant",
    ),
    case(
        "image",
        "fill = 0xFF",
        f"{CARET}fil = 0xFF",
        "unknown key fil in [image]; did you mean fill?",
    ),
    case(
        "tail",
        'raw = "AA"',
        f'raw = "AA", {CARET}row = 1',
        "unknown key row in [tail]; did you mean raw?",
    ),
    case(
        "config",
        "code_base = 0x0B",
        f"{CARET}code_bass = 0x0B",
        "layout counted-19 has no configuration code_bass; did you mean code_base?",
    ),
    case(
        "card",
        "serial = 1",
        f"{CARET}seriel = 1",
        "unknown key seriel in [card]; did you mean serial?",
    ),
    case(
        "card-far",
        "serial = 1",
        f"{CARET}zzz = 1",
        f"unknown key zzz in [card]; the keys here are: {CARD_KEYS}",
    ),
    case(
        "device",
        "boot = false",
        f"{CARET}boots = false",
        "unknown key boots in [device]; did you mean boot?",
    ),
    case(
        "choice",
        'priority = "good"',
        f'{CARET}prioritty = "good"',
        "unknown key prioritty in [choice]; did you mean priority?",
    ),
    case(
        "entry",
        "decode = 10",
        f"{CARET}decoder = 10",
        "unknown key decoder beside io; did you mean decode?",
    ),
    case(
        "entry-far",
        "decode = 10",
        f"{CARET}zzz = 10",
        "unknown key zzz beside io; it takes io, align, length, decode",
    ),
    case(
        "head",
        "{ irq = [5, 7],",
        f"{{ {CARET}irqs = [5, 7],",
        "unknown resource irqs; did you mean irq?",
    ),
    case(
        "override",
        COUNT,
        f"{CARET}counts = 100",
        "nothing called counts is computed in layout counted-19; did you mean count?",
    ),
    case(
        "quoted",
        "serial = 1",
        f'{CARET}"se rial" = 1',
        "unknown key se rial in [card]; did you mean serial?",
    ),
]

# Spec 6.1: three letters, packed 5 bits each, and four hex digits.
IDS = [
    case(
        f"{name}-{index}",
        old,
        old.replace('"QRL0301"', CARET + text)
        .replace('"QRL0001"', CARET + text)
        .replace('"PNPB002"', CARET + text),
        f"{title}: {text} {AN_ID}; {hint}",
    )
    for name, old, title, hint in [
        (
            "card-id",
            '"QRL0301"',
            "card ID",
            "three letters of the vendor, three hex digits of the product, one of its revision",
        ),
        (
            "device-id",
            '"QRL0001"',
            "device ID",
            "drivers find the function by this ID or by a compatible one",
        ),
        (
            "compatible-id",
            '"PNPB002"',
            "compatible ID",
            "a published ID whose drivers can work this device",
        ),
    ]
    for index, text in enumerate(
        ['"QR0301"', '"QRL301"', '"QRL03011"', '"QRL030G"', '"1RL0301"', '""', "301", "true"]
    )
]

NUMBER_FAULTS = [
    # Spec 6.2.2.4: a mask of lines 0 to 15.
    case(
        "irq-16",
        "irq = [5, 7]",
        f"irq = [5, {CARET}16]",
        f"IRQ lines: 16 is outside 0 to 15; {BIT}",
    ),
    case(
        "irq-negative",
        "irq = [5, 7]",
        f"irq = [{CARET}-1]",
        f"IRQ lines: -1 is outside 0 to 15; {BIT}",
    ),
    case(
        "irq-twice",
        "irq = [5, 7]",
        f"irq = [5, {CARET}5]",
        "IRQ lines: 5 stands twice; write it once",
    ),
    # Spec 6.2.2.5: a mask of channels 0 to 7.
    case(
        "dma-8",
        "dma = [1, 3]",
        f"dma = [1, {CARET}8]",
        f"DMA channels: 8 is outside 0 to 7; {BIT}",
    ),
    # Spec 6.2.2.2: registers 31h to 3Fh.
    case(
        "register-30h",
        "registers = [0x31, 0x38]",
        f"registers = [{CARET}0x30]",
        f"registers: 30h is outside 31h to 3Fh; {BIT}",
    ),
    case(
        "register-40h",
        "registers = [0x31, 0x38]",
        f'registers = [0x31, {CARET}"40h"]',
        f"registers: 40h is outside 31h to 3Fh; {BIT}",
    ),
    # Spec 6.2.2.8: bases of 16 bits, alignment and length of 8.
    case(
        "io-above",
        "io = [0x220, 0x280]",
        f"io = [0x220, {CARET}0x10000]",
        "base: 10000h is outside 0h to FFFFh; the base address, or [lowest, highest] base",
    ),
    case(
        "io-length",
        "length = 16, decode",
        f"length = {CARET}256, decode",
        "length: 256 is outside 0 to 255; number of ports",
    ),
    case(
        "io-align",
        "align = 0x20",
        f"align = {CARET}0x100",
        "alignment: 100h is outside 0h to FFh; step between bases; stated for a range",
    ),
    case(
        "io-decode",
        "decode = 10",
        f"decode = {CARET}12",
        "decode: 12 is not one of its values; write 10 or 16",
    ),
    case(
        "io-decode-word",
        "decode = 10",
        f'decode = {CARET}"12"',
        "decode: 12 is not one of its values; write 10 or 16",
    ),
    case(
        "io-decode-fraction",
        "decode = 10",
        f"decode = {CARET}10.0",
        "decode: 10.0 is not one of its values; write 10 or 16",
    ),
    case(
        "range-of-3",
        "io = [0x220, 0x280]",
        f"io = {CARET}[0x220, 0x240, 0x280]",
        "base: a range has 2 numbers, 3 given; write [lowest, highest] base",
    ),
    case(
        "range-of-1",
        "io = [0x220, 0x280]",
        f"io = {CARET}[0x220]",
        "base: a range has 2 numbers, 1 given; write [lowest, highest] base",
    ),
    # Spec 6.2.2.9: a base of 10 bits.
    case(
        "io-fixed-above",
        "io_fixed = 0x200",
        f"io_fixed = {CARET}0x400",
        "base: 400h is outside 0h to 3FFh; the base address, 10 bits",
    ),
    # Spec 6.2.3.1: bases and length in steps of 256 bytes, 24 bits of address.
    case(
        "memory24-step",
        "[0xC0000, 0xE0000]",
        f"[{CARET}0xC0080, 0xE0000]",
        "base: C0080h is not a multiple of 100h; it is stored in steps of 256 bytes",
    ),
    case(
        "memory24-above",
        "[0xC0000, 0xE0000]",
        f"[0xC0000, {CARET}0x1000000]",
        "base: 1000000h is outside 0h to FFFF00h; [lowest, highest] base in bytes, in steps of 256",
    ),
    case(
        "memory24-single",
        "[0xC0000, 0xE0000]",
        f"{CARET}0xC0000",
        "base: 786432 is not a list; put it in [ ]",
    ),
    case(
        "memory24-length",
        'length = 0x4000, width = "16"',
        f'length = {CARET}0x4001, width = "16"',
        "length: 16385 bytes is not a multiple of 256 bytes; it is stored in steps of 256 bytes",
    ),
    case(
        "memory24-align-0",
        "align = 0x4000",
        f"align = {CARET}0",
        "alignment: 0 can't be stored: it would mean 10000h; "
        "step between bases, in bytes, 100h to 10000h",
    ),
    case(
        "memory24-align-above",
        "align = 0x4000",
        f"align = {CARET}0x10001",
        "alignment: 10001h is outside 0h to FFFFh; step between bases, in bytes, 100h to 10000h",
    ),
    # Spec 6.2.3.6: 32 bits.
    case(
        "memory32-above",
        "memory32_fixed = 0xD0000",
        f"memory32_fixed = {CARET}0x100000000",
        "base: 100000000h is outside 0h to FFFFFFFFh; the base address in bytes",
    ),
    # Spec 6.1: 32 bits, and FFFFFFFFh says that there is none.
    case(
        "serial-above",
        "serial = 1",
        f"serial = {CARET}0x100000000",
        "serial number: 4294967296 is outside 0 to 4294967295; "
        "tells cards of the same ID apart; without one, two such cards can't share a PC",
    ),
    case(
        "serial-negative",
        "serial = 1",
        f"serial = {CARET}-1",
        "serial number: -1 is outside 0 to 4294967295; "
        "tells cards of the same ID apart; without one, two such cards can't share a PC",
    ),
    # Spec 6.2.2.1: two BCD digits, and one byte of the vendor's own.
    case(
        "pnp-version-x",
        'pnp_version = "1.0"',
        f'pnp_version = {CARET}"x"',
        'PnP version: "x" is not two digits with a point between, such as 1.0; '
        'version of the standard, "1.0"; "none" for a dump that has no version item',
    ),
    case(
        "pnp-version-hex",
        'pnp_version = "1.0"',
        f'pnp_version = {CARET}"1.A"',
        'PnP version: "1.A" is not two digits with a point between, such as 1.0; '
        'version of the standard, "1.0"; "none" for a dump that has no version item',
    ),
    case(
        "pnp-version-number",
        'pnp_version = "1.0"',
        f"pnp_version = {CARET}1.0",
        "PnP version: 1.0 is not two digits with a point between, such as 1.0; "
        'version of the standard, "1.0"; "none" for a dump that has no version item',
    ),
    case(
        "vendor-version-above",
        "vendor_version = 0x10",
        f"vendor_version = {CARET}0x100",
        "vendor's version: 100h is outside 00h to FFh; the vendor's own version byte",
    ),
    case(
        "vendor-version-without-version",
        'pnp_version = "1.0"\nvendor_version = 0x10',
        f'pnp_version = "none"\nvendor_version = {CARET}0x10',
        "vendor_version has no place: pnp_version is none; leave it out",
    ),
    # Spec 6.2.2.2: 5 or 6 bytes.
    case(
        "id-length-7",
        "id_length = 6",
        f"id_length = {CARET}7",
        "id_length: 7 is no length of this item; write 5 or 6",
    ),
    case(
        "id-length-word",
        "id_length = 6",
        f'id_length = {CARET}"7h"',
        'id_length: "7h" is no length of this item; write 5 or 6',
    ),
    case(
        "id-length-fraction",
        "id_length = 6",
        f"id_length = {CARET}6.0",
        "id_length: 6.0 is not a number; *",
    ),
    case(
        "id-length-5-for-register-38h",
        "id_length = 6",
        f"id_length = {CARET}5",
        "logical device ID: 5 bytes can't hold it; its content takes 5 or 6 bytes",
    ),
    # Spec 6.2.2.6: priorities 0 to 2 have names, the byte holds 255.
    case(
        "priority-word",
        'priority = "good"',
        f'priority = {CARET}"best"',
        'priority: "best" is not one of its values; '
        'write "good", "acceptable", "sub-optimal" or a number from 3 to 255',
    ),
    case(
        "priority-1",
        'priority = "good"',
        f"priority = {CARET}1",
        "priority: 1 is written acceptable; good, acceptable, sub-optimal, or 3-255; "
        "left out: no priority byte, which counts as acceptable",
    ),
    case(
        "priority-256",
        'priority = "good"',
        f"priority = {CARET}256",
        "priority: 256 is not one of its values; "
        'write "good", "acceptable", "sub-optimal" or a number from 3 to 255',
    ),
    # Spec 6.2.2.10: a small item holds 7 bytes.
    case(
        "vendor-small-8",
        '{ vendor = "01 02", form',
        f'{CARET}{{ vendor = "01 02 03 04 05 06 07 08", form',
        "vendor defined, small: 8 bytes are more than the 7 that fit an item; *",
    ),
    case(
        "vendor-small-0",
        '{ vendor = "01 02", form',
        f'{CARET}{{ vendor = "", form',
        "vendor defined, small: 0 bytes can't hold it; its content takes at least 1 byte",
    ),
    case(
        "vendor-form",
        'form = "small"',
        f'form = {CARET}"tiny"',
        'form: "tiny" is not one of its values; write small or large',
    ),
    case(
        "form-of-irq",
        "{ irq = [5, 7], trigger",
        f'{{ irq = [5, 7], form = {CARET}"small", trigger',
        'form: "small" is not one of its values; leave it out',
    ),
    # Numbers as texts.
    case(
        "number-22xh",
        "serial = 1",
        f'serial = {CARET}"22xh"',
        f'serial number: "22xh" is not a number; {NUMBERS}',
    ),
    case(
        "number-0x",
        "serial = 1",
        f'serial = {CARET}"0x"',
        f'serial number: "0x" is not a number; {NUMBERS}',
    ),
    case(
        "number-empty",
        "serial = 1",
        f'serial = {CARET}""',
        f'serial number: "" is not a number; {NUMBERS}',
    ),
    case(
        "number-other-digits",
        "serial = 1",
        f'serial = {CARET}"١٢"',
        f'serial number: "١٢" is not a number; {NUMBERS}',
    ),
    case(
        "number-in-a-list",
        "irq = [5, 7]",
        f'irq = [5, {CARET}"seven"]',
        f'IRQ lines: "seven" is not a number; {NUMBERS}',
    ),
    case(
        "number-size",
        'part = "24C04"',
        f"size = {CARET}0",
        "size: 0 is less than 1; bytes, for a dump of no part's length",
    ),
    case(
        "number-size-above",
        'part = "24C04"',
        f"size = {CARET}65537",
        "size: 65537 is more than 65536; bytes, for a dump of no part's length",
    ),
    case(
        "fill-256",
        "fill = 0xFF",
        f"fill = {CARET}0x100",
        "fill: 256 is more than 255; the byte in unused places",
    ),
    case(
        "override-count",
        COUNT,
        f"count = {CARET}0x10000",
        "byte count: 65536 is outside 0 to 65535; "
        "bytes of PnP data, the 9-byte identifier included; some images count without it",
    ),
    case(
        "override-count-way",
        COUNT,
        f'count = {CARET}"without-id"',
        'byte count: "without-id" is no way of counting; write "without-identifier" or a number',
    ),
    case(
        "override-checksum",
        COUNT,
        f"end_checksum = {CARET}256",
        "end checksum: 100h is outside 00h to FFh; all bytes after the identifier, this one "
        "included, sum to 0; a stored 0 means not checked",
    ),
]

TYPES = [
    case(
        "image",
        GOOD[: GOOD.index("[config]")],
        f"image = {CARET}5\n",
        "image is not a table; write it as [image]",
    ),
    case(
        "card",
        GOOD[GOOD.index("[card]") : GOOD.index("[[device]]")],
        f"[[{CARET}card]]\nid = 'QRL0301'\n",
        "card is not a table; write it as [card]",
    ),
    case(
        "device",
        GOOD[GOOD.index("[[device]]") : GOOD.index("[override]")],
        f"[{CARET}device]\nid = 'QRL0001'\n",
        "device is not a table; write it as [[device]]",
    ),
    case(
        "config",
        GOOD[GOOD.index("[config]") : GOOD.index("[card]")],
        f"[[{CARET}config]]\ncode_base = 0x0B\n",
        "config is not a table; write it as [config]",
    ),
    case(
        "layout",
        '"counted-19"',
        f"{CARET}19",
        "layout takes a name in quotes, not 19; *",
    ),
    case(
        "part",
        '"24C04"',
        f"{CARET}true",
        "part takes a name in quotes, not true; "
        "generic EEPROM part number; left out: the smallest that holds the image",
    ),
    case(
        "size",
        'part = "24C04"',
        f'size = {CARET}"512k"',
        'size: "512k" is not a number; *',
    ),
    case(
        "fill",
        "fill = 0xFF",
        f"fill = {CARET}[255]",
        'fill takes a whole number, such as 544, 0x220 or "220h", not a list; '
        "the byte in unused places",
    ),
    case(
        "patch",
        'patch = "01 02"',
        f"patch = {CARET}[1, 2]",
        'patch takes bytes in hex digits, or { file = "…" }, not a list; '
        "bytes at once after the PnP data, such as a firmware patch; they move with it; "
        '{ file = "patch.bin" }: those of a file',
    ),
    case(
        "tail",
        '[ { at = 0x1F0, raw = "AA" } ]',
        f'{CARET}{{ at = 0x1F0, raw = "AA" }}',
        "tail takes a list of tables, not a table; "
        "bytes that stay where they are, after the PnP data",
    ),
    case(
        "tail-member",
        '[ { at = 0x1F0, raw = "AA" } ]',
        f"[ {CARET}5 ]",
        "*tail* is not a table; *",
    ),
    case(
        "tail-missing",
        '{ at = 0x1F0, raw = "AA" }',
        f"{CARET}{{ at = 0x1F0 }}",
        "[[image.tail]] has no raw; *",
    ),
    case(
        "flag",
        "pnp_key_off = false",
        f"pnp_key_off = {CARET}0",
        "PnP key off: 0 is not true or false; "
        "the card doesn't answer the PnP key: PnP software can't find it",
    ),
    case(
        "boot",
        "boot = false",
        f'boot = {CARET}"no"',
        'boot: "no" is not true or false; the device may take part in starting the PC',
    ),
    case(
        "serial-true",
        "serial = 1",
        f"serial = {CARET}true",
        f"serial number: true is not a number; {NUMBERS}",
    ),
    case(
        "serial-fraction",
        "serial = 1",
        f"serial = {CARET}1.0",
        f"serial number: 1.0 is not a number; {NUMBERS}",
    ),
    case(
        "serial-date",
        "serial = 1",
        f"serial = {CARET}1994-05-05",
        f"serial number: 1994-05-05 is not a number; {NUMBERS}",
    ),
    case(
        "card-name",
        '"Hollow Lane audio card"',
        f"{CARET}5",
        "name: 5 is not a text; put it in quotes",
    ),
    case(
        "device-name",
        '"Digital audio"',
        f'{CARET}["Digital audio"]',
        "name: a list is not a text; put it in quotes",
    ),
    case(
        "compatible",
        'compatible = ["PNPB002"]',
        f'compatible = {CARET}"PNPB002"',
        "compatible is not a list; put it in [ ]",
    ),
    case(
        "registers",
        "registers = [0x31, 0x38]",
        f"registers = {CARET}0x31",
        "registers: 49 is not a list; put it in [ ]",
    ),
    case(
        "resources",
        "resources = [ { dma",
        f"resources = {CARET}5 # [ {{ dma",
        "resources is not a list; write [ { irq = [5, 7] }, … ]",
    ),
    case(
        "entry",
        "{ irq = [5, 7], trigger = [",
        f'{CARET}"irq 5", # [',
        '"irq 5" is not an entry; write { irq = [5, 7] }, { io = 0x220, length = 16 } and so on',
    ),
    case(
        "irq",
        "irq = [5, 7]",
        f"irq = {CARET}5",
        "IRQ lines: 5 is not a list; put it in [ ]",
    ),
    case(
        "trigger",
        '["high-edge"]',
        f'{CARET}"high-edge"',
        'trigger: "high-edge" is not a list; put it in [ ]',
    ),
    case(
        "trigger-word",
        '["high-edge"]',
        f'[{CARET}"high-egde"]',
        'trigger: "high-egde" is not one of its values; did you mean high-edge?',
    ),
    case(
        "trigger-far",
        '["high-edge"]',
        f'["low-edge", {CARET}"zzz"]',
        'trigger: "zzz" is not one of its values; '
        "write high-edge, low-edge, high-level or low-level",
    ),
    case(
        "width",
        'width = "8"',
        f"width = {CARET}8",
        'transfer width: 8 is not one of its values; write "8", "8+16" or "16"',
    ),
    case(
        "memory-width",
        'width = "16"',
        f'width = {CARET}"64"',
        'memory width: "64" is not one of its values; write "8", "16", "8+16" or "32"',
    ),
    case(
        "speed",
        'speed = "F"',
        f'speed = {CARET}"C"',
        'speed: "C" is not one of its values; write "compatible", "A", "B" or "F"',
    ),
    case(
        "rom",
        "rom = true",
        f"rom = {CARET}1",
        "expansion ROM: 1 is not true or false; *",
    ),
    case(
        "choice",
        GOOD[GOOD.index("[[device.choice]]") : GOOD.index("[override]")],
        f"[{CARET}device.choice]\npriority = 'good'\n",
        "choice is not a list; write it as [[device.choice]]",
    ),
    case(
        "choice-member",
        GOOD[GOOD.index("[[device.choice]]") : GOOD.index("[override]")],
        f"choice = [{CARET}5]\n",
        "a choice is not a table; write it as [[device.choice]]",
    ),
    case(
        "choice-resources",
        "resources = [\n  { io =",
        f"resources = {CARET}{{}}\nresources_ = [\n  {{ io =".replace(
            "resources_ =", f"{CARET}zzz ="
        ),
        "resources is not a list; write [ { irq = [5, 7] }, … ]",
        "unknown key zzz in [choice]; the keys here are: priority, resources",
    ),
    case(
        "override-type",
        COUNT,
        f"count = {CARET}[100]",
        f"byte count: a list is not a number; {NUMBERS}",
    ),
    case(
        "override-signature",
        COUNT,
        f"signature = {CARET}0x55BB",
        'signature: 21947 is not bytes in hex digits; write "55 BB 00"',
    ),
]

TEXTS = [
    # Spec 6.2.3.2; the contract: names in a profile are printable ASCII.
    case(
        "name-not-ascii",
        '"Digital audio"',
        f'{CARET}"Digital café"',
        f"name: \"Digital café\": character 12 ('é') is not printable ASCII; {KEYBOARD}",
    ),
    case(
        "name-control",
        '"Digital audio"',
        f'{CARET}"Digital\\taudio"',
        "name: \"Digital audio\": character 8 ('\\t') is not printable ASCII; " + KEYBOARD,
    ),
    case(
        "bad-hex",
        'patch = "01 02"',
        f'patch = {CARET}"01 0G"',
        f'patch: "01 0G" is not bytes in hex digits; {HEX}',
    ),
    case(
        "odd-hex",
        'patch = "01 02"',
        f'patch = {CARET}"01 2"',
        f'patch: "01 2" is an odd number of hex digits; {HEX}',
    ),
    case(
        "bad-hex-in-tail",
        'raw = "AA"',
        f'raw = {CARET}"0xAA"',
        f'raw: "0xAA" is not bytes in hex digits; {HEX}',
    ),
    case(
        "bad-hex-in-entry",
        '{ vendor = "01 02", form = "small" }',
        f'{{ raw = {CARET}"79 0" }}',
        f'raw: "79 0" is an odd number of hex digits; {HEX}',
    ),
    case(
        "raw-number-in-entry",
        '{ vendor = "01 02", form = "small" }',
        f"{{ raw = {CARET}0x79 }}",
        'raw takes a text; bytes, as "84 03 00 01 02 03"',
    ),
    case(
        "bad-hex-vendor",
        'vendor = "01 02"',
        f'vendor = {CARET}"01 0h"',
        f'vendor data: "01 0h" is not bytes in hex digits; {HEX}',
    ),
    case(
        "vendor-number",
        'vendor = "01 02"',
        f"vendor = {CARET}0x0102",
        'vendor data: 258 is not bytes in hex digits; write "55 BB 00"',
    ),
    case(
        "config-hex-length",
        '"20 04 08 10 80 00 00"',
        f'{CARET}"20 04 08"',
        "reserved: 7 bytes belong here, 3 given; *",
    ),
    case(
        "override-signature-length",
        COUNT,
        f'signature = {CARET}"55"',
        "signature: 2 bytes belong here, 1 given; the chip reads on only if it finds this",
    ),
]

SHAPE = [
    case(
        "two-heads",
        "{ irq = [5, 7], trigger",
        f"{{ irq = [5, 7], {CARET}dma = [1], trigger",
        "irq and dma can't stand in one entry; write one { } for each",
    ),
    case(
        "no-head",
        "{ io_fixed = 0x200, length = 1 }",
        f"{CARET}{{ length = 1 }}",
        f"the entry doesn't say what it asks for; it needs one of {HEADS}",
    ),
    case(
        "empty-entry",
        "{ io_fixed = 0x200, length = 1 }",
        f"{CARET}{{ }}",
        f"the entry doesn't say what it asks for; it needs one of {HEADS}",
    ),
    case(
        "beside-raw",
        '{ vendor = "01 02", form = "small" }',
        f'{{ raw = "71 00", form = {CARET}"small" }}',
        "form can't stand beside raw; raw is whole items as they are",
    ),
    case(
        "no-length",
        "{ io_fixed = 0x200, length = 1 }",
        f"{CARET}{{ io_fixed = 0x200 }}",
        "fixed I/O port has no length; state length: number of ports",
    ),
    case(
        "no-align",
        "{ memory24 = [0xC0000, 0xE0000], align = 0x4000",
        f"{CARET}{{ memory24 = [0xC0000, 0xE0000]",
        "memory range has no align; state align: step between bases, in bytes, 100h to 10000h",
    ),
    case(
        "layout",
        'layout = "counted-19"',
        f'layout = {CARET}"counted-20"',
        "no layout is called counted-20; known are counted-19, counted-7, marked-8, plain*",
    ),
    case(
        "part",
        'part = "24C04"',
        f'part = {CARET}"24C05"',
        f"no part is called 24C05; known are {PARTS}; or write size = …",
    ),
    case(
        "part-and-size",
        'part = "24C04"',
        f'part = "24C04"\n{CARET}size = 512',
        "part and size can't both stand; size is for a dump of no part's length",
    ),
    case(
        "wiring-4-irq",
        "irq_wiring = [5, 7, 9, 11, 0, 0]",
        f"irq_wiring = {CARET}[5, 7, 9, 11]",
        "IRQ wiring: the chip has 6 IRQ pins, 4 given; "
        "one number a pin, in pin order; 0: not connected",
    ),
    case(
        "wiring-4-dma",
        "dma_wiring = [4, 1, 3]",
        f"dma_wiring = {CARET}[4, 1, 3, 4]",
        "DMA wiring: the chip has 3 DMA pins, 4 given; "
        "one number a pin, in pin order; 4: not connected",
    ),
    case(
        "wiring-16",
        "irq_wiring = [5, 7, 9, 11, 0, 0]",
        f"irq_wiring = [5, 7, 9, {CARET}16, 0, 0]",
        f"IRQ wiring: 16 is outside 0 to 15; {PINS}",
    ),
    case(
        "wiring-number",
        "irq_wiring = [5, 7, 9, 11, 0, 0]",
        f"irq_wiring = {CARET}0x75B9",
        "IRQ wiring: 30137 is not a list; put it in [ ]",
    ),
    case(
        "config-of-another-layout",
        "code_base = 0x0B",
        f"{CARET}unknown_a = 0x0B",
        "layout counted-19 has no configuration unknown_a; its keys are "
        "cdrom_decode, modem_decode, misc_low, volume_control, misc_middle, pnp_key_off, "
        "misc_high, global_low, dsp_serial_port, wavetable_port, global_middle, internal_fm, "
        "code_base, reserved_code, external_decode, reserved_wiring, irq_wiring, dma_wiring, "
        "dma_unused",
    ),
    case(
        "config-of-plain",
        GOOD,
        f"[config]\n{CARET}code_base = 0\n{CARET}signature = 'A5'\n"
        f"[card]\nid = 'QRL0301'\n[override]\n{CARET}count = 9\n",
        "layout plain has no configuration code_base; *",
        "layout plain has no configuration signature; *",
        "nothing called count is computed in layout plain; "
        "what can be overridden here: id_checksum, end_checksum",
    ),
    case(
        "override-not-computed",
        COUNT,
        f"{CARET}serial = 100",
        "nothing called serial is computed in layout counted-19; "
        "what can be overridden here: signature, count, id_checksum, end_checksum",
    ),
    case(
        "override-of-another-layout",
        COUNT,
        f"{CARET}frame_checksum = 1",
        "nothing called frame_checksum is computed in layout counted-19; "
        "did you mean end_checksum?",
    ),
    case(
        "no-card",
        GOOD,
        f"{CARET}[image]\nlayout = 'plain'\n",
        'the profile has no [card]; write [card] with id = "QRL0301" or the like',
    ),
    case(
        "no-card-id",
        '[card]\nid = "QRL0301"',
        f"[{CARET}card]",
        '[card] has no id; three letters and four hex digits, such as "QRL0301"',
    ),
    case(
        "no-device-id",
        '[[device]]\nid = "QRL0001"',
        f"[[{CARET}device]]",
        "logical device ID has no id; "
        "state id: drivers find the function by this ID or by a compatible one",
    ),
    case(
        "tail-overlaps-data",
        '{ at = 0x1F0, raw = "AA" }',
        f'{CARET}{{ at = 0x40, raw = "AA" }}',
        f"tail at 40h: what stands before it ends at {USED:X}h; move it, or leave it out",
    ),
    case(
        "raw-beside-tables",
        GOOD,
        f'[image]\nraw = "00"\n{CARET}fill = 0\n\n[{CARET}card]\nid = "QRL0301"\n',
        "fill can't stand beside the image's raw bytes; raw is the whole image: leave all else out",
        "card can't stand beside the image's raw bytes; raw is the whole image: leave all else out",
    ),
    case(
        "raw-empty",
        GOOD,
        f'[image]\nraw = {CARET}""\n',
        "raw: 0 bytes are no image; 1 byte to 64 KiB",
    ),
    case(
        "raw-bad",
        GOOD,
        f'[image]\nraw = {CARET}"0"\n',
        f'raw: "0" is an odd number of hex digits; {HEX}',
    ),
    case(
        "raw-number",
        GOOD,
        f"[image]\nraw = {CARET}0x79\n",
        'raw takes bytes in hex digits, such as "55 BB", not 121; '
        "the whole image as bytes; then no other table stands",
    ),
    case(
        "numbers-for-devices",
        GOOD,
        f'device = {CARET}[1, 2]\n\n[card]\nid = "QRL0301"\n',
        "device is not a table; write it as [[device]]",
    ),
    case(
        "count-too-large",
        GOOD,
        f'[{CARET}image]\nlayout = "counted-7"\n\n[card]\nid = "QRL0301"\n'
        f'resources = [ {{ raw = "84 F0 FF {"00 " * 0xFFF0}" }} ]\n',
        "byte count: 65537 is more than 65535; the PnP data is too long for this layout",
    ),
    case(
        "lead-beside-layout",
        GOOD,
        f'[image]\nlayout = "plain"\n{CARET}lead = "01"\n\n[card]\nid = "QRL0301"\n',
        "lead can't stand beside layout; a lead is of no known layout",
    ),
    case(
        "lead-without-bytes",
        GOOD,
        f'[image]\nlead = {CARET}""\n\n[card]\nid = "QRL0301"\n',
        "lead has no bytes; leave it out, or give its bytes",
    ),
    case(
        "variant-all",
        COUNT,
        f"{COUNT}\n\n[variant.{CARET}all]\nwithout = []",
        "a variant can't be called all; "
        "`build --variant all` builds the profile itself and every variant",
    ),
    case(
        "identifier-of-items",
        GOOD,
        f'[image]\nlayout = "items"\n\n[card]\n{CARET}id = "QRL0301"\n{CARET}serial = 1\n',
        f"id {OF_ITEMS}",
        f"serial {OF_ITEMS}",
    ),
    case(
        "raw-id-of-items",
        GOOD,
        f'[image]\nlayout = "items"\n\n[card]\n{CARET}id_raw = "11 22 33 44"\n',
        f"id_raw {OF_ITEMS}",
    ),
    case(
        "identifier-and-id",
        GOOD,
        f'[card]\n{CARET}id = "QRL0301"\n\n[override]\nidentifier = "00 11 22 33 44 55 66 77 88"\n',
        "id can't stand beside the overridden identifier; leave one of them out",
    ),
    case(
        "identifier-too-short",
        GOOD,
        f'[card]\nid = "QRL0301"\n\n[override]\nidentifier = {CARET}"00 11"\n',
        "identifier: 9 bytes belong here, 2 given; "
        "write all bytes of the identifier, its checksum included",
    ),
    case(
        "raw-id-and-id",
        'id = "QRL0301"',
        f'id = "QRL0301"\n{CARET}id_raw = "11 22 33 44"',
        "id_raw can't stand beside id; leave one of them out",
    ),
    case(
        "raw-id-and-id/device",
        'id = "QRL0001"',
        f'id = "QRL0001"\n{CARET}id_raw = "11 22 33 44"',
        "id_raw can't stand beside id; leave one of them out",
    ),
    case(
        "raw-id-too-short",
        'id = "QRL0301"',
        f'id_raw = {CARET}"11"',
        "id_raw: 4 bytes belong here, 1 given; write all bytes of the ID",
    ),
    case(
        "variant-of-a-missing-device",
        COUNT,
        f'{COUNT}\n\n[variant.small]\nwithout = [{CARET}"QRL9"]',
        'variant small: no device is called "QRL9"; its devices are QRL0001',
    ),
    case(
        "configuration-of-a-lead",
        GOOD,
        f'[image]\nlead = "01"\n\n[config]\n{CARET}irq_wiring = [1]\n\n[card]\nid = "QRL0301"\n',
        "a lead of no known layout has no configuration irq_wiring; "
        "name the chip's layout in [image], such as counted-19, counted-7 or marked-8",
    ),
    case(
        "raw-too-long",
        GOOD,
        f'[image]\nraw = {CARET}"{"00" * 65537}"\n',
        "raw: 65537 bytes are no image; 1 byte to 64 KiB",
    ),
    case(
        "empty",
        GOOD,
        CARET,
        'the profile has no [card]; write [card] with id = "QRL0301" or the like',
    ),
]

ALL = {
    f"{group}:{one.name}": one
    for group, cases in [
        ("key", UNKNOWN_KEYS),
        ("id", IDS),
        ("number", NUMBER_FAULTS),
        ("type", TYPES),
        ("text", TEXTS),
        ("shape", SHAPE),
    ]
    for one in cases
}


def spoilt(one: Case, base: str = GOOD) -> str:
    """The profile of a case, its carets still in."""
    assert base.count(one.old) == 1, f"{one.name}: {base.count(one.old)} places"
    return base.replace(one.old, one.new)


def marked(text: str) -> tuple[str, list[tuple[int, int]]]:
    """A text without its carets, and the line and the column (from 1) where each one stood."""
    found = []
    for at in (match.start() for match in re.finditer(CARET, text)):
        before = text[:at].replace(CARET, "")
        found.append((before.count("\n") + 1, len(before) - before.rfind("\n")))
    return text.replace(CARET, ""), found


def expected(name: str, places: list[tuple[int, int]], said: tuple[str, ...]) -> list[str]:
    assert len(places) == len(said)
    pairs = zip(places, said, strict=True)
    return [f"romtool: {name}:{line}:{column}: {words}" for (line, column), words in pairs]


def build(text: str | bytes, folder: Path, *options: str) -> subprocess.CompletedProcess[bytes]:
    """Build a profile named bad.toml in the folder, into a folder `out` of it."""
    content = text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass")
    (folder / "bad.toml").write_bytes(content)
    return romtool("build", "bad.toml", "-o", "out", *options, cwd=folder)


def refused(run: subprocess.CompletedProcess[bytes], folder: Path) -> list[str]:
    """The lines on standard error of a run that refused its input and wrote nothing."""
    lines = told(run).splitlines()
    assert run.returncode == 2, lines
    assert run.stdout == b""
    assert sorted(path.name for path in folder.iterdir()) == ["bad.toml"]
    return lines


def agree(lines: list[str], wanted: list[str]) -> None:
    """Hold lines against those wanted, in any order; `*` stands for any words, or none.

    Each must say what is wrong and what to do.
    """
    left = list(lines)
    for want in wanted:
        pattern = ".*".join(re.escape(piece) for piece in want.split("*"))
        found = [line for line in left if re.fullmatch(pattern, line)]
        assert found, f"not told: {want}\ntold: " + "\n".join(lines)
        left.remove(found[0])
        assert re.search(r": .+; ..", found[0]), f"no word of what to do: {found[0]}"
    assert not left, left


# --- one thing at a time ----------------------------------------------------------------------


def test_the_good_profile_is_good(tmp_path: Path) -> None:
    """All of it can be encoded; that a card's memory is of one kind is a rule's matter."""
    run = build(GOOD, tmp_path, "--allow-faults")
    assert run.returncode == 0, told(run)
    errors = [line for line in told(run).splitlines() if ": warning: " not in line]
    assert len(errors) == 1
    assert "32-bit fixed memory on a card whose first memory item is a memory range" in errors[0]
    assert "fixed I/O port stands after choices with 0 or 1 such items" in told(run)
    image = (tmp_path / "out" / "bad.bin").read_bytes()
    assert len(image) == 512
    assert image[USED - 2 : USED + 1] == bytes.fromhex("01 02 FF")
    assert image[0x1EF:0x1F2] == bytes.fromhex("FF AA FF")


def test_case_names_are_unique() -> None:
    groups = [UNKNOWN_KEYS, IDS, NUMBER_FAULTS, TYPES, TEXTS, SHAPE]
    assert len(ALL) == sum(len(group) for group in groups)


@pytest.mark.parametrize("name", ALL)
def test_one_bad_thing(name: str, tmp_path: Path) -> None:
    one = ALL[name]
    text, places = marked(spoilt(one))
    lines = refused(build(text, tmp_path), tmp_path)
    agree(lines, expected("bad.toml", places, one.said))


# --- what doesn't fit the part ----------------------------------------------------------------

BIG = """\
[image]
part = "24C01"

[card]
id = "QRL0301"
name = "Hollow Lane audio card"

[[device]]
id = "QRL0001"
name = "Digital audio"
compatible = ["PNPB002"]
resources = [ { io = 0x220, length = 16 }, { irq = [5] }, { dma = [1] } ]

[[device]]
id = "QRL0002"
resources = [ { io = 0x330, length = 2 }, { irq = [9] } ]

[[device]]
id = "QRL0003"
name = "16-bit codec"
resources = [ { io = 0x534, length = 4 } ]
"""


# Sizes of items: Spec 6.2. The identifier takes 9 bytes, a version 3, a name 3 and its letters, a
# device ID 6, a compatible ID 5, an I/O port 8, IRQ lines 3, DMA channels 3, the end item 2.
COSTS = (
    f"the card itself takes {3 + 25} bytes, 25 of them its name; "
    f"device QRL0001 (Digital audio) takes {6 + 5 + 16 + 8 + 3 + 3} bytes, 16 of them its name; "
    f"device QRL0002 takes {6 + 8 + 3} bytes; "
    f"device QRL0003 (16-bit codec) takes {6 + 15 + 8} bytes, 15 of them its name; "
    f"frame, identifier, end and patch take {9 + 2}"
)
NEEDED = 9 + 28 + 41 + 17 + 29 + 2


@pytest.mark.parametrize(
    ("part", "frame", "size", "larger"),
    [
        ("24C01", "", 128, "24C02"),
        ("93C46", "", 128, "93C56"),
        ("24C01", "counted-19", 128, "24C02"),
    ],
)
def test_too_big_for_the_part(
    part: str, frame: str, size: int, larger: str, tmp_path: Path
) -> None:
    """By how many bytes, what each device and name costs, and a larger part of the same bus."""
    more = (
        f'layout = "{frame}"\n'
        if frame
        else 'fill = 0x00\npatch = "D1 D2"\ntail = [ { at = 127, raw = "00 01" } ]\n'
    )
    needed = NEEDED + 23 if frame else size + 1
    bad = BIG.replace('part = "24C01"\n', f'{more}part = {CARET}"{part}"\n')
    text, places = marked(bad)
    lines = refused(build(text, tmp_path), tmp_path)
    costs = COSTS.replace(f"take {9 + 2}", f"take {9 + 2 + (23 if frame else 2)}")
    said = (
        f"{needed} bytes don't fit {part}: {needed - size} too many for its {size}; "
        f"{costs}; shorten it, or take a {larger}"
    )
    assert lines == expected("bad.toml", places, (said,))


def test_too_big_for_a_size(tmp_path: Path) -> None:
    """The largest that fits is one byte more, which the next test of a pair shows."""
    text, places = marked(BIG.replace('part = "24C01"', f"size = {CARET}{NEEDED - 1}"))
    lines = refused(build(text, tmp_path), tmp_path)
    said = f"{NEEDED} bytes don't fit the image: 1 too many for its {NEEDED - 1}; {COSTS}; *"
    agree(lines, expected("bad.toml", places, (said,)))


def test_what_just_fits(tmp_path: Path) -> None:
    run = build(BIG.replace('part = "24C01"', f"size = {NEEDED}"), tmp_path)
    assert run.returncode == 0, told(run)
    assert (tmp_path / "out" / "bad.bin").stat().st_size == NEEDED


def test_too_big_for_every_part(tmp_path: Path) -> None:
    """The largest part known has 2048 bytes."""
    long = BIG.replace('part = "24C01"', "fill = 0").replace(
        "{ dma = [1] }", f'{{ dma = [1] }}, {{ vendor = "{"00" * 2000}" }}'
    )
    text, places = marked(long.replace("[image]", f"[{CARET}image]"))
    lines = refused(build(text, tmp_path), tmp_path)
    needed, device = NEEDED + 3 + 2000, 41 + 3 + 2000
    said = (
        f"{needed} bytes fit no part: the largest has 2048; "
        + COSTS.replace("takes 41 bytes", f"takes {device} bytes")
        + "; shorten it, or write size = …"
    )
    assert lines == expected("bad.toml", places, (said,))


@pytest.mark.parametrize("length", [65535, 65536])
def test_an_item_holds_65535_bytes(length: int, tmp_path: Path) -> None:
    """A large item's length is a 16-bit number (Spec 6.2.3)."""
    entry = f'{{ irq = [5] }}, {CARET}{{ vendor = "{"00" * length}" }}'
    bad = BIG.replace('part = "24C01"', "fill = 0").replace("{ irq = [5] }", entry)
    text, places = marked(bad)
    lines = refused(build(text, tmp_path), tmp_path)
    if length == 65535:
        agree(lines, [f"romtool: bad.toml:1:2: {NEEDED + 3 + length} bytes fit no part: *; *"])
    else:
        said = "vendor defined, large: 65536 bytes are more than the 65535 that fit an item; *"
        agree(lines, expected("bad.toml", places, (said,)))


# --- files that are no profiles ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("serial = 1", f"serial = {CARET}"),
        ("serial = 1", f"serial {CARET}1"),
        ("serial = 1", f"serial = {CARET}one"),
        ('"Digital audio"', f'"Digital audio{CARET}'),
        ("irq = [5, 7]", f"irq = [5 {CARET}7]"),
        ("serial = 1", f"serial = {CARET}0x"),
        ("[override]", f"[override{CARET}"),
        ("serial = 1", f"serial = 1\nserial = 2{CARET}"),
        ("[override]", f"[card{CARET}]\n[override]"),
        ("serial = 1", f"serial = {CARET}01"),
        ("serial = 1", f"serial = 1 {CARET}name = 2"),
        ("serial = 1", f'serial = "{CARET}\\q"'),
    ],
)
def test_toml_syntax(old: str, new: str, tmp_path: Path) -> None:
    """The words are those of Python's TOML reader; the line is the fault's own."""
    text, [(line, _)] = marked(GOOD.replace(old, new))
    [told_line] = refused(build(text, tmp_path), tmp_path)
    assert re.fullmatch(rf"romtool: bad\.toml:{line}:\d+: [^;]+; ..+", told_line)


def test_end_of_the_text_in_the_middle_of_a_value(tmp_path: Path) -> None:
    text, [(line, column)] = marked(GOOD[: GOOD.index("0x280]")].rstrip() + CARET)
    [told_line] = refused(build(text, tmp_path), tmp_path)
    assert told_line.startswith(f"romtool: bad.toml:{line}:{column}: ")
    assert "; " in told_line


def placed_or_whole(line: str, at: int) -> bool:
    """Whether a line names no place, or the whole of it: line and column."""
    return re.match(rf"romtool: bad\.toml:(?: |{at}:\d+: )", line) is not None


@pytest.mark.parametrize(
    "value",
    [
        "[" * 5000,
        "{a=" * 5000,
        "[" * 5000 + "]" * 5000,
        "9" * 5000,
        "-" + "9" * 5000,
        "1_" * 3000 + "1",
    ],
    ids=["lists", "tables", "closed", "number", "negative", "underscores"],
)
def test_beyond_measure(value: str, tmp_path: Path) -> None:
    """Python's TOML reader gives up without a place: then none is told, or the right one."""
    [line] = refused(build(GOOD.replace("serial = 1", f"serial = {value}"), tmp_path), tmp_path)
    assert "nested too deep, or a number too long; " in line or "too long; " in line
    assert placed_or_whole(line, GOOD[: GOOD.index("serial = 1")].count("\n") + 1)


LONG_NUMBERS = {
    "decimal text": ("serial = 1", 'serial = {}"' + "9" * 5000 + '"'),
    "hex text": ("serial = 1", 'serial = {}"' + "F" * 5000 + 'h"'),
    "hex": ("serial = 1", "serial = {}0x" + "F" * 5000),
    "hex fill": ("fill = 0xFF", "fill = {}0x" + "F" * 5000),
    "octal": ("serial = 1", "serial = {}0o" + "7" * 6000),
    "binary": ("serial = 1", "serial = {}0b" + "1" * 20000),
    "hex line": ("irq = [5, 7]", "irq = [5, {}0x" + "F" * 5000 + "]"),
    "decimal text line": ("irq = [5, 7]", 'irq = [5, {}"' + "9" * 5000 + '"]'),
    "hex base": ("io_fixed = 0x200", "io_fixed = {}0x" + "F" * 5000),
    "hex name": ('name = "Digital audio"', "name = {}0x" + "F" * 5000),
    "hex priority": ('priority = "good"', "priority = {}0x" + "F" * 5000),
    "hex id_length": ("id_length = 6", "id_length = {}0x" + "F" * 5000),
    "hex layout": ('layout = "counted-19"', "layout = {}0x" + "F" * 5000),
    "hex length": ("length = 16, decode", "length = {}0x" + "F" * 5000 + ", decode"),
    "hex memory length": ('length = 0x4000, width = "16"', "length = {}0x" + "F" * 5000),
}


@pytest.mark.parametrize("name", LONG_NUMBERS)
def test_numbers_of_thousands_of_digits(name: str, tmp_path: Path) -> None:
    """Python turns no more than 4300 digits into a number, or a number into that many digits."""
    old, new = LONG_NUMBERS[name]
    assert GOOD.count(old) == 1
    text, places = marked(GOOD.replace(old, new.format(CARET)))
    lines = refused(build(text, tmp_path), tmp_path)
    agree(lines, expected("bad.toml", places, ("*; *",)))


LONG = "x" * 3000


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('layout = "counted-19"', f'layout = {CARET}"{LONG}"'),
        ('part = "24C04"', f'part = {CARET}"{LONG}"'),
        ("serial = 1", f'serial = {CARET}"{LONG}"'),
        ('id = "QRL0301"', f'id = {CARET}"{LONG}"'),
        ("boot = false", f"{CARET}{LONG} = false"),
        (COUNT, f"{CARET}{LONG} = 1"),
        ("code_base = 0x0B", f"{CARET}{LONG} = 0x0B"),
        ("decode = 10", f"{CARET}{LONG} = 10"),
        ('patch = "01 02"', f'patch = {CARET}"{LONG}"'),
        ('"Digital audio"', f'{CARET}"{LONG}\\u0007"'),
    ],
)
def test_a_long_text_is_cut_in_the_message(old: str, new: str, tmp_path: Path) -> None:
    text, places = marked(GOOD.replace(old, new))
    lines = refused(build(text, tmp_path), tmp_path)
    agree(lines, expected("bad.toml", places, ("*; *",)))
    assert len(lines[0]) < 600


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("boot = false", f'{CARET}"bo\\u0007\\u001b[31mot" = false'),
        ("serial = 1", f'serial = {CARET}"\\u0007\\u009b31m"'),
        ('layout = "counted-19"', f'layout = {CARET}"a\\u0007\\n b"'),
        ('"Digital audio"', f'{CARET}"Digital\\u0007audio"'),
        ('width = "8"', f'width = {CARET}"\\u0007"'),
    ],
)
def test_no_control_character_reaches_the_terminal(old: str, new: str, tmp_path: Path) -> None:
    """A profile may come from anyone: what it holds must not steer the terminal."""
    text, places = marked(GOOD.replace(old, new))
    run = build(text, tmp_path)
    lines = run.stderr.decode().splitlines()
    assert run.returncode == 2
    agree(lines, expected("bad.toml", places, ("*; *",)))
    assert lines[0].isprintable()


def test_not_utf8(tmp_path: Path) -> None:
    bad = GOOD.replace("Digital audio", "Digital caf\xe9").encode("latin-1")
    lines = refused(build(bad, tmp_path), tmp_path)
    agree(lines, ["romtool: bad.toml:25:20: no UTF-8 text; *"])


def test_an_image_for_a_profile(tmp_path: Path) -> None:
    lines = refused(build(bytes(range(256)), tmp_path), tmp_path)
    agree(lines, ["romtool: bad.toml:2:118: no UTF-8 text; *"])


@pytest.mark.parametrize("text", ["", "\n\n", "# nothing but a note\n", "\ufeff"])
def test_nothing_in_the_file(text: str, tmp_path: Path) -> None:
    lines = refused(build(text, tmp_path), tmp_path)
    said = 'the profile has no [card]; write [card] with id = "QRL0301" or the like'
    assert lines == [f"romtool: bad.toml:1:1: {said}"]


def test_longer_than_a_mebibyte(tmp_path: Path) -> None:
    """The contract: TOML over 1 MiB is refused unread."""
    lines = refused(build(GOOD.ljust((1 << 20) + 1, "#"), tmp_path), tmp_path)
    agree(lines, ["romtool: bad.toml: 1048577 bytes * too many*; is this the right file?"])


def test_exactly_a_mebibyte(tmp_path: Path) -> None:
    run = build(GOOD.ljust(1 << 20, "#"), tmp_path, "--allow-faults")
    assert run.returncode == 0, told(run)


def test_missing_file(tmp_path: Path) -> None:
    run = romtool("build", "absent.toml", "-o", "out", cwd=tmp_path)
    assert run.returncode == 2
    said = "no such file or directory; check the name and the rights"
    assert told(run) == f"romtool: absent.toml: {said}\n"
    assert list(tmp_path.iterdir()) == []


def test_folder(tmp_path: Path) -> None:
    (tmp_path / "folder.toml").mkdir()
    run = romtool("build", "folder.toml", "-o", "out", cwd=tmp_path)
    assert run.returncode == 2
    assert told(run) == "romtool: folder.toml: is a folder; name a file\n"
    assert [path.name for path in tmp_path.iterdir()] == ["folder.toml"]


def test_standard_input(tmp_path: Path) -> None:
    text, places = marked(GOOD.replace("irq = [5, 7]", f"irq = [5, {CARET}16]"))
    run = romtool("build", "-", "-o", "out", stdin=text.encode(), cwd=tmp_path)
    said = f"IRQ lines: 16 is outside 0 to 15; {BIT}"
    assert run.returncode == 2
    assert told(run).splitlines() == expected("standard input", places, (said,))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["inspect", "check"])
def test_other_commands_tell_the_same(command: str, tmp_path: Path) -> None:
    """A profile is an IMAGE for every command, and the fault's place is the same."""
    text, places = marked(GOOD.replace("irq = [5, 7]", f"irq = [5, {CARET}16]"))
    (tmp_path / "bad.toml").write_text(text, encoding="utf-8")
    run = romtool(command, "bad.toml", cwd=tmp_path)
    said = f"IRQ lines: 16 is outside 0 to 15; {BIT}"
    lines = refused(run, tmp_path)
    assert lines == expected("bad.toml", places, (said,))


# --- places in texts of other hands -----------------------------------------------------------


@pytest.mark.parametrize("how", ["crlf", "bom", "tabs", "wide"])
def test_places_hold_in_other_texts(how: str, tmp_path: Path) -> None:
    """Columns count characters from 1, whatever the line ends and however many bytes they take."""
    bad = GOOD.replace("irq = [5, 7]", f"irq = [5, {CARET}16]")
    if how == "tabs":
        bad = bad.replace("  { irq", "\t\t{ irq")
    elif how == "wide":
        bad = bad.replace("  { io = [0x220", "  # a note: \u6f22\u5b57 \U0001f3b5\n  { io = [0x220")
        bad = bad.replace(f"{CARET}16", f"{CARET}16 ]}}, # \u6f22\u5b57\n {{ dma = [ {CARET}8")
        bad = bad.replace(', trigger = ["high-edge"]', "")
    text, places = marked(bad)
    said = (f"IRQ lines: 16 is outside 0 to 15; {BIT}", f"DMA channels: 8 is outside 0 to 7; {BIT}")
    if how == "crlf":
        text = text.replace("\n", "\r\n")
    content = text.encode("utf-8-sig" if how == "bom" else "utf-8")
    lines = refused(build(content, tmp_path), tmp_path)
    assert lines == expected("bad.toml", places, said[: len(places)])


# --- several at once --------------------------------------------------------------------------

TOGETHER = [
    "key:image",
    "text:bad-hex-in-tail",
    "shape:config-of-another-layout",
    "shape:wiring-4-irq",
    "shape:wiring-4-dma",
    "number:serial-above",
    "text:name-not-ascii",
    "number:pnp-version-x",
    "key:device",
    "number:register-40h",
    "number:dma-8",
    "number:io-fixed-above",
    "number:priority-1",
    "number:io-length",
    "number:irq-16",
    "number:memory24-step",
    "number:memory32-above",
    "shape:override-not-computed",
]


def test_several_faults_are_all_told(tmp_path: Path) -> None:
    """One line each."""
    text = GOOD
    for name in TOGETHER:
        text = spoilt(ALL[name], text)
    clean, places = marked(text)
    lines = refused(build(clean, tmp_path), tmp_path)
    wanted = []
    for name in TOGETHER:
        _, here = marked(_only(text, ALL[name].new))
        wanted += expected("bad.toml", here, ALL[name].said)
    agree(lines, wanted)
    assert len(places) == len(wanted) == len(TOGETHER)


def _only(text: str, new: str) -> str:
    """A text with the caret of one replacement only."""
    before, _, after = text.partition(new)
    return before.replace(CARET, "") + new + after.replace(CARET, "")


# --- any text ---------------------------------------------------------------------------------

ODD_VALUES = [
    "-1", "0", "1", "255", "256", "65535", "65536", "4294967296", "0x10000000000000000",
    "1.5", "6.0", "16.0", "nan", "inf", "true", "false", "1994-05-05", "12:00:00",
    "1994-05-05T12:00:00Z", '""', '"x"', '"é"', '"5"', '"220h"', '"22xh"', '"none"', '"QRL0001"',
    '"55 BB"', '"without-identifier"', '"\\u0000"', '"\\U0001F3B5"', "'''\n'''",
    "[]", "[[]]", "[{}]", "[true]", "[1, 2, 3]", '["high-edge"]', "{}", "{ a = 1 }",
    "{ irq = [5] }", "[ { irq = [5] } ]",
]  # fmt: skip

VALUE = re.compile(
    r'(?<=[=\[,] )(?:"[^"\n]*"|\[[^\]\n]*\]|[A-Za-z0-9_.-]+)|(?<== )\[\n(?:.*\n)*?\]'
)
KEY = re.compile(r"[a-z_0-9]+(?= = )|(?<=\[)[a-z.]+(?=\])")


@cache
def catalog() -> Catalog:
    return load_catalog()


def only_refused(text: str) -> list[str]:
    """The lines that a text is refused with, none for a profile; nothing else may happen."""
    try:
        assemble(read_profile(catalog(), parse_toml(text)))
    except InputError as refusal:
        lines = [problem_line(located(problem, text)) for problem in refusal.problems]
        assert lines
        for line in lines:
            assert re.match(r":\d+:\d+: .", line) or "nested too deep" in line, line
            assert len(line.splitlines()) == 1
        return lines
    return []


@st.composite
def mutated(draw: st.DrawFn) -> str:
    """GOOD with a few values, keys or characters changed."""
    text = GOOD
    for _ in range(draw(st.integers(1, 4))):
        match draw(st.sampled_from(["value", "value", "key", "swap", "delete", "insert", "line"])):
            case "value":
                spans = [found.span() for found in VALUE.finditer(text)]
                new = draw(st.sampled_from(ODD_VALUES))
            case "key":
                spans = [found.span() for found in KEY.finditer(text)]
                keys = sorted(
                    set(KEY.findall(GOOD)) | {"raw", "size", "zzz", '""', "a.b", "memory32"}
                )
                new = draw(st.sampled_from(keys))
            case "swap":
                spans = [found.span() for found in VALUE.finditer(text)]
                new = draw(st.sampled_from(VALUE.findall(GOOD)))
            case "delete":
                at = draw(st.integers(0, len(text)))
                spans, new = [(at, at + draw(st.integers(1, 30)))], ""
            case "insert":
                at = draw(st.integers(0, len(text)))
                spans, new = [(at, at)], draw(st.text("[]{}=,.\"'#\\\n\r \t0x5aé\0", max_size=5))
            case _:
                starts = [0, *(found.end() for found in re.finditer("\n", text))]
                spans = [(at, text.find("\n", at) + 1 or len(text)) for at in starts[:-1]]
                new = draw(st.sampled_from(["", "[card]\n", "[[device]]\n", "[[device.choice]]\n"]))
        if spans:
            start, end = draw(st.sampled_from(spans))
            text = text[:start] + new + text[end:]
    return text


@settings(max_examples=examples(600), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(mutated())
def test_spoilt_profiles_are_built_or_refused(text: str) -> None:
    only_refused(text)


@settings(max_examples=examples(200), deadline=None)
@given(st.sampled_from(VALUE.findall(GOOD)), st.sampled_from(ODD_VALUES))
def test_one_odd_value(value: str, odd: str) -> None:
    only_refused(GOOD.replace(value, odd, 1))


@settings(max_examples=examples(200), deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_built_or_refused(text: str) -> None:
    only_refused(text)


@settings(max_examples=examples(12), deadline=None)
@given(mutated())
def test_spoilt_profiles_by_process(text: str) -> None:
    """The same through the process: exit 0, 1 or 2, and no traceback."""
    with tempfile.TemporaryDirectory() as folder:
        run = romtool("build", "-", "-o", str(Path(folder) / "out"), stdin=text.encode())
        lines = told(run).splitlines()
        assert run.returncode in (0, 1, 2)
        assert (run.returncode == 0) == (Path(folder) / "out").exists()
        assert run.returncode == 0 or lines
