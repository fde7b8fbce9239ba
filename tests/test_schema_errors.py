"""Schema files: what is shipped is right, and one bad thing in a user's own is told in its place.

A caret stands in the text of each case where the fault is expected; it is taken out before the
tool sees the file, so that lines and columns are counted here. The layout that is spoilt is the
invented one of samples/schemas.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from romtool.errors import InputError
from romtool.files.schemas import schema_files, shipped_folder
from romtool.schema.loading import SchemaFile, load
from romtool.text.problems import problem_line
from romtool.toml.parse import located
from tests.support.amount import examples
from tests.support.tool import CARD, PROFILE, identifier, romtool, told

ROOT = Path(__file__).resolve().parent.parent
SHIPPED = sorted(path for path in (ROOT / "schemas").rglob("*.toml") if path.parent.name != "hosts")
SAMPLE = ROOT / "samples" / "schemas" / "hollow-lane-24.toml"
CARET = "‸"


@cache
def sample() -> str:
    """The user's schema file that the cases spoil."""
    return SAMPLE.read_text(encoding="utf-8")


# --- the schema for the schemas ---------------------------------------------------------------


def parsed(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def described() -> dict[str, dict[str, dict[str, Any]]]:
    """The keys of each table, as schemas/schema.toml describes them."""
    tables = parsed(ROOT / "schemas" / "schema.toml")["table"]
    return {table["name"]: table["keys"] for table in tables}


def used(data: dict[str, Any], table: str = "file") -> Iterator[tuple[str, str]]:
    """Yield every (table, key) that a parsed schema file uses."""
    for key, value in data.items():
        yield table, key
        spec = described_once()[table].get(key, {})
        if table == "table" and key == "keys":
            for inner in value.values():
                yield from used(inner, "key")
        elif spec.get("type") in ("table", "tables") and "table" in spec:
            for row in value if isinstance(value, list) else [value]:
                yield from used(row, spec["table"])


@cache
def described_once() -> dict[str, dict[str, dict[str, Any]]]:
    return described()


def all_used() -> set[tuple[str, str]]:
    found: set[tuple[str, str]] = set()
    for path in [*SHIPPED, SAMPLE]:
        found.update(used(parsed(path)))
    return found


# Keys that no shipped file uses: a test below does.
USED_BY_TESTS = {("frame", "max_pnp_bytes"), ("field", "pin_bits"), ("field", "source")}


def test_every_key_that_is_used_is_described() -> None:
    known = {(table, key) for table, keys in described().items() for key in keys}
    assert all_used() <= known


def test_every_key_that_is_described_is_used() -> None:
    known = {(table, key) for table, keys in described().items() for key in keys}
    # Where a fact comes from stands at the table that needs it; most are said for the whole file.
    optional = {(table, key) for table, key in known if key == "source" or table == "own-file"}
    assert known - all_used() - optional <= USED_BY_TESTS


def test_every_type_that_is_described_is_used() -> None:
    types = set(described()["field"]["type"]["choices"])
    fields = [
        row["type"]
        for path in [*SHIPPED, SAMPLE]
        for row in rows(parsed(path), "field")
        if "type" in row
    ]
    assert set(fields) == types


def rows(data: Any, name: str) -> Iterator[dict[str, Any]]:
    """Yield every table of this name, however deep."""
    if isinstance(data, dict):
        for key, value in data.items():
            if key == name and isinstance(value, list):
                yield from (row for row in value if isinstance(row, dict))
            yield from rows(value, name)
    elif isinstance(data, list):
        for row in data:
            yield from rows(row, name)


@pytest.mark.parametrize("path", SHIPPED, ids=[path.name for path in SHIPPED])
def test_every_shipped_file_says_what_it_is_and_from_where(path: Path) -> None:
    data = parsed(path)
    assert data["title"].strip()
    assert data["source"].strip()
    assert set(data) <= set(described()["file"])


def test_the_shipped_files_load() -> None:
    files = [SchemaFile(str(path), path.read_text(encoding="utf-8"), own=False) for path in SHIPPED]
    catalog = load(files)
    names = {
        kind: {row["name"] for path in SHIPPED for row in rows(parsed(path), kind)}
        for kind in ("frame", "part", "record", "rule", "read_fault")
    }
    # Resource data alone is read, but is no image that could be built.
    assert set(catalog.layouts) == names["frame"] - {"items"}
    assert set(catalog.parts) == names["part"]
    assert set(catalog.records) == names["record"]
    assert set(catalog.rules) == names["rule"]
    assert set(catalog.read_faults) == names["read_fault"]


def test_the_order_of_the_files_settles_nothing() -> None:
    files = [SchemaFile(str(path), path.read_text(encoding="utf-8"), own=False) for path in SHIPPED]
    catalog = load(files[::-1])
    assert set(catalog.layouts) == {"counted-19", "counted-7", "marked-8", "plain"}
    assert catalog.default_layout.name == "plain"


# --- one bad thing ----------------------------------------------------------------------------

EVERY_BYTE = "every byte must be in a field: name it, if only as reserved or unknown"
EVERY_BIT = "every bit must be in a field: name it, if only as reserved or unknown"
TITLE = (
    'title = "An invented controller of the Hollow Lane workshop: copy this for a chip of your '
    'own"\n'
)
SIGNATURE = '{ at = 0, bytes = 3, key = "signature", type = "constant", value = "48 4C 24",'
FRAME = (
    '[[frame]]\nname = "hollow-lane-24"\n'
    'title = "three mark bytes, count, 6 configuration bytes, checksum"\nsize = 12\n'
)
GAIN = '{ at = 5, bits = "4:0", key = "line_out_gain", type = "number", default = 16,'
TUNING = '{ at = 9, bytes = 2, key = "tuning", type = "number", default = 0x1000, show = "hex",'
MUTE = '{ at = 5, bits = "7", key = "mute", type = "flag", default = false,'
UNUSED = (
    '  { at = 5, bits = "6:5", key = "unused", type = "number", default = 0, '
    'title = "unused bits" },\n'
)
CHECK = (
    '{ at = 11, bytes = 1, key = "frame_checksum", type = "checksum", checksum = "xor", '
    'covers = "0-10",'
)
COUNT = '{ at = 3, bytes = 2, key = "count", type = "count", counts = ["identifier", "items"],'
WIRING = (
    '{ at = 6, bytes = 2, key = "irq_wiring", type = "pins", bus = "irq", unconnected = 0, '
    "default = [5, 7, 9, 10],"
)


class Case(NamedTuple):
    """What is replaced in the sample, with carets, and what is said at each; `*`: any words."""

    name: str
    old: str
    new: str
    said: tuple[str, ...]


def case(name: str, old: str, new: str, *said: str) -> Case:
    return Case(name, old, new, said)


def field(name: str, old: str, change: tuple[str, str], *said: str) -> Case:
    """A case in which the fault is told at the field's own table."""
    assert change[0] in old
    return Case(name, old, CARET + old.replace(*change), said)


CASES = [
    case(
        "unknown-table",
        "[[part]]",
        f"[[{CARET}parts]]",
        "unknown key parts; did you mean part?",
    ),
    case(
        "unknown-key",
        'title = "An invented',
        f'{CARET}titel = "x"\ntitle = "An invented',
        "unknown key titel; did you mean title?",
    ),
    case(
        "unknown-key-of-a-part",
        "page = 32",
        f"{CARET}pages = 32",
        "unknown key pages in [part]; did you mean page?",
    ),
    case(
        "unknown-key-of-a-frame",
        "fill = 0x00",
        f"{CARET}filling = 0x00",
        "unknown key filling in [frame]; did you mean fill?",
    ),
    case(
        "unknown-key-of-a-field",
        'show = "hex"',
        f'{CARET}shows = "hex"',
        "unknown key shows in [field]; did you mean show?",
    ),
    case(
        "no-title",
        TITLE,
        CARET,
        "the file has no title; *what the file describes, in one line",
    ),
    case(
        "no-source",
        TITLE + 'source = "invented; for a real chip: its data sheet and a donor dump"\n',
        CARET + TITLE,
        "the file has no source; *where its facts come from: document and chapter, "
        'or "from memory"',
    ),
    case(
        "no-part-name",
        '[[part]]\nname = "24C32"\n',
        f"[[{CARET}part]]\n",
        "*part* has no name; *generic part number",
    ),
    case(
        "no-part-bytes",
        '[[part]]\nname = "24C32"\nbus = "two-wire"\nbytes = 4096\n',
        f'[[{CARET}part]]\nname = "24C32"\nbus = "two-wire"\n',
        "*part* has no bytes; *its size",
    ),
    case(
        "no-frame-size",
        FRAME,
        f"[[{CARET}" + FRAME[2:].replace("size = 12\n", ""),
        "*frame* has no size; *bytes before the PnP data",
    ),
    field("no-at", MUTE, ("at = 5, ", ""), "*field* has no at; *its first byte, from 0"),
    field(
        "no-type", MUTE, (' type = "flag",', ""), "the field has no type; or write use = a block"
    ),
    field("no-key", MUTE, (' key = "mute",', ""), "the field has no key; its name in profiles"),
    field(
        "no-bus",
        WIRING,
        (' bus = "irq",', ""),
        "irq_wiring: a field of type pins needs bus; *",
    ),
    field(
        "no-unconnected",
        WIRING,
        (" unconnected = 0,", ""),
        "irq_wiring: a field of type pins needs unconnected; *",
    ),
    field(
        "no-counts",
        COUNT,
        (', counts = ["identifier", "items"]', ""),
        "count: a field of type count needs counts; *",
    ),
    # Widths, gaps and overlaps.
    case(
        "size-too-small",
        FRAME,
        f"[[{CARET}" + FRAME[2:].replace("size = 12", "size = 11"),
        "the fields end at byte 11, but size is 11; write size = 12",
    ),
    case(
        "size-too-large",
        FRAME,
        f"[[{CARET}" + FRAME[2:].replace("size = 12", "size = 13"),
        f"byte 12 is not accounted for; {EVERY_BYTE}",
    ),
    field(
        "overlap-of-bytes",
        TUNING,
        ("at = 9", "at = 8"),
        "tuning begins at byte 8, inside the field before it; "
        "fields must not overlap: the next free byte is 9",
    ),
    field(
        "byte-unaccounted-for",
        CHECK,
        ("at = 11", "at = 12"),
        f"byte 11 is not accounted for; {EVERY_BYTE}",
    ),
    field(
        "bytes-unaccounted-for",
        CHECK,
        ("at = 11", "at = 14"),
        f"bytes 11 to 13 are not accounted for; {EVERY_BYTE}",
    ),
    field(
        "overlap-of-bits",
        GAIN,
        ('"4:0"', '"5:0"'),
        "line_out_gain takes bit 5 of byte 5, as unused does; fields must not overlap",
    ),
    case(
        "bit-unaccounted-for",
        f'{GAIN} title = "line-out gain" }},\n{UNUSED}',
        f'{CARET}{GAIN} title = "line-out gain" }},\n{UNUSED.replace("6:5", "6")}',
        f"bit 5 is not accounted for in byte 5; {EVERY_BIT}",
    ),
    case(
        "lowest-bit-unaccounted-for",
        GAIN,
        f'{CARET}{{ at = 5, bits = "4:1", key = "gain", type = "number", default = 8,',
        f"bit 0 is not accounted for in byte 5; {EVERY_BIT}",
    ),
    case(
        "bits-unaccounted-for",
        f'{GAIN} title = "line-out gain" }},\n{UNUSED}',
        f'{CARET}{GAIN} title = "line-out gain" }},\n',
        f"bits 6:5 are not accounted for in byte 5; {EVERY_BIT}",
    ),
    case(
        "highest-bit-unaccounted-for",
        f'{GAIN} title = "line-out gain" }},\n{UNUSED}  {MUTE} title = "mute" }},\n',
        f'{CARET}{GAIN} title = "line-out gain" }},\n{UNUSED}',
        f"bit 7 is not accounted for in byte 5; {EVERY_BIT}",
    ),
    case(
        "rest-not-last",
        TUNING,
        f'{CARET}{{ at = 9, bytes = "rest", key = "tuning", type = "hex", default = "",',
        "tuning takes the rest, but isn't last; *",
    ),
    case(
        "field-is-a-number",
        "field = [\n",
        f"field = [\n  {CARET}5,\n",
        "*field* is not a table; *",
    ),
    case(
        "bits-text",
        'bits = "4:0"',
        f'bits = {CARET}"0-4"',
        'bits: "0-4" is no range of bits; write "7" or "4:0", the highest first, below 8',
    ),
    case(
        "bits-backwards",
        'bits = "4:0"',
        f'bits = {CARET}"0:4"',
        'bits: "0:4" is no range of bits; write "7" or "4:0", the highest first, below 8',
    ),
    case(
        "bits-too-high",
        'bits = "7"',
        f'bits = {CARET}"8"',
        'bits: "8" is no range of bits; write "7" or "4:0", the highest first, below 8',
    ),
    case(
        "bits-empty",
        'bits = "7"',
        f'bits = {CARET}""',
        'bits: "" is no range of bits; write "7" or "4:0", the highest first, below 8',
    ),
    case(
        "bits-other-digits",
        'bits = "7"',
        f'bits = {CARET}"²"',
        'bits: "²" is no range of bits; write "7" or "4:0", the highest first, below 8',
    ),
    case(
        "bytes-word",
        'bytes = 2, key = "tuning"',
        f'bytes = {CARET}"all", key = "tuning"',
        'bytes: *all* is not a size; a number of bytes, or "rest"',
    ),
    case(
        "bytes-0",
        'bytes = 2, key = "tuning"',
        f'bytes = {CARET}0, key = "tuning"',
        'bytes: 0 is not a size; a number of bytes, or "rest"',
    ),
    case(
        "bytes-list",
        'bytes = 2, key = "tuning"',
        f'bytes = {CARET}[2], key = "tuning"',
        'bytes: * is not a size; a number of bytes, or "rest"',
    ),
    field(
        "width-of-pins",
        WIRING,
        ("unconnected = 0,", "pin_bits = 5, unconnected = 0,"),
        "irq_wiring: 16 bits are no whole number of 5-bit pins; *",
    ),
    field(
        "checksum-of-two-bytes",
        CHECK,
        ("bytes = 1", "bytes = 2"),
        "frame_checksum: a checksum takes one byte; *",
    ),
    # Names that nothing has.
    case(
        "unknown-block",
        TUNING,
        f'{{ at = 9, bytes = 2, use = {CARET}"tuning",',
        "no block is called tuning; *",
    ),
    field(
        "unknown-spelling",
        TUNING,
        ('type = "number", default = 0x1000,', 'type = "spelled", spelling = "packed",'),
        "tuning: no spelling of 16 bits is called packed; *",
    ),
    field(
        "spelling-of-another-width",
        TUNING,
        ('type = "number", default = 0x1000,', 'type = "spelled", spelling = "packed-id",'),
        "tuning: *packed-id*; *",
    ),
    field(
        "unknown-checksum",
        CHECK,
        ('"xor"', '"crc"'),
        "frame_checksum: no checksum is called crc; *",
    ),
    case(
        "unknown-type",
        'key = "mute", type = "flag"',
        f'key = "mute", type = {CARET}"bool"',
        'type: "bool" is not one of its values; write number, range, flag, choice, flags, lines, '
        "pins, spelled, text, hex, constant, reserved, count or checksum",
    ),
    case(
        "unknown-show",
        'show = "hex"',
        f'show = {CARET}"octal"',
        'show: "octal" is not one of its values; write decimal, hex, address or size',
    ),
    field("unknown-count", COUNT, ('"identifier", "items"', '"identifier", "frame"'), "*frame*; *"),
    field(
        "block-of-another-size",
        TUNING,
        (
            'bytes = 2, key = "tuning", type = "number", default = 0x1000,',
            'bytes = 2, use = "counted-start",',
        ),
        "block counted-start has 4 bytes; write bytes = 4",
    ),
    # Checksums.
    field(
        "covers-itself",
        CHECK,
        ('"0-10"', '"0-11"'),
        "frame_checksum: a checksum covers bytes that stand before it; *",
    ),
    field(
        "covers-beyond",
        CHECK,
        ('"0-10"', '"0-40"'),
        "frame_checksum: a checksum covers bytes that stand before it; *",
    ),
    field("covers-backwards", CHECK, ('"0-10"', '"9-3"'), "frame_checksum: *; *"),
    field(
        "covers-words",
        CHECK,
        ('"0-10"', '"all"'),
        'frame_checksum: covers: "all" is not like "0-10"; *',
    ),
    # Values.
    field(
        "constant-too-short",
        SIGNATURE,
        ('"48 4C 24"', '"48 4C"'),
        "signature: value: 2 bytes, but the field has 24 bits; *",
    ),
    field(
        "constant-not-hex",
        SIGNATURE,
        ('"48 4C 24"', '"HL$"'),
        'signature: "HL$" is not bytes in hex digits; write bytes as "55 BB 00"',
    ),
    field(
        "constant-too-large",
        SIGNATURE,
        ('"48 4C 24"', "0x1000000"),
        "signature: value: 16777216 doesn't fit 24 bits; *",
    ),
    field(
        "no-value",
        SIGNATURE,
        (', value = "48 4C 24"', ""),
        "signature: a field of type constant needs value; *",
    ),
    field(
        "default-too-large",
        GAIN,
        ("default = 16", "default = 32"),
        "line_out_gain: 32 is outside 0 to 31; *",
    ),
    field(
        "default-of-another-type",
        MUTE,
        ("default = false", "default = 0"),
        "mute: 0 is not true or false; *",
    ),
    field(
        "default-wiring",
        WIRING,
        ("[5, 7, 9, 10]", "[5, 7]"),
        "irq_wiring: the chip has 4 IRQ pins, 2 given; "
        "one number a pin, in pin order; 0: not connected",
    ),
    field(
        "no-default",
        TUNING,
        (" default = 0x1000,", ""),
        "tuning has no default; a profile may leave it out: give its typical value",
    ),
    field("key-twice", TUNING, ('"tuning"', '"mute"'), "two fields have the key mute; *"),
    # Names that are taken.
    case(
        "frame-of-a-shipped-name",
        'name = "hollow-lane-24"',
        f'name = {CARET}"plain"',
        "frame plain is described twice; *",
    ),
    case(
        "part-of-a-shipped-name",
        'name = "24C32"',
        f'name = {CARET}"24C16"',
        "part 24C16 is described twice; *",
    ),
    case(
        "part-twice",
        "page = 32\n",
        f'page = 32\n\n[[part]]\nname = {CARET}"24C32"\nbus = "two-wire"\nbytes = 4096\n',
        "part 24C32 is described twice; *",
    ),
    # Types and limits.
    case(
        "bytes-as-text",
        "bytes = 4096",
        f'bytes = {CARET}"4096"',
        'bytes takes a whole number, not "4096"; its size',
    ),
    case(
        "bytes-of-a-part-0",
        "bytes = 4096",
        f"bytes = {CARET}0",
        "bytes: 0 is less than 1; its size",
    ),
    case(
        "bytes-of-a-part-above",
        "bytes = 4096",
        f"bytes = {CARET}65537",
        "bytes: 65537 is more than 65536; its size",
    ),
    case(
        "size-above",
        "size = 12",
        f"size = {CARET}4097",
        "size: 4097 is more than 4096; bytes before the PnP data",
    ),
    case(
        "fill-above",
        "fill = 0x00",
        f"fill = {CARET}256",
        "fill: 256 is more than 255; the byte that fills the rest of the part",
    ),
    case(
        "fill-bad-number",
        "fill = 0x00",
        f'fill = {CARET}"22xh"',
        'fill: "22xh" is not a number; write 544, 0x220 or "220h"',
    ),
    case(
        "name-as-number",
        'name = "24C32"',
        f"name = {CARET}24",
        "name takes a name in quotes, not 24; generic part number",
    ),
    case(
        "at-negative",
        "at = 11,",
        f"at = {CARET}-1,",
        "at: -1 is less than 0; its first byte, from 0",
    ),
    case(
        "flag-as-number",
        "fill = 0x00",
        f"fill = 0\npatch = {CARET}1",
        "patch takes true or false, not 1; a firmware patch area may stand after the PnP data",
    ),
    case(
        "unit-0",
        'show = "hex",',
        f'show = "hex", unit = {CARET}0,',
        "unit: 0 is less than 1; number, range: bytes that 1 stands for",
    ),
    case(
        "counts-as-text",
        '["identifier", "items"]',
        f'{CARET}"items"',
        'counts takes a list in [ ], not "items"; count: what it counts: identifier, items',
    ),
    case(
        "accepts-as-text",
        '["identifier", "items"],',
        f'["items"], accepts = {CARET}"all",',
        'accepts takes a table of values, not "all"; count: other ways of counting that are found '
        "in images, with a name each",
    ),
    case(
        "part-as-table",
        "[[part]]",
        f"[{CARET}part]",
        "part takes a list of tables, not a table; EEPROM parts",
    ),
]


def spoilt(one: Case) -> tuple[str, list[str]]:
    """The file of a case without carets, and the lines that it should be refused with."""
    assert sample().count(one.old) == 1, f"{one.name}: {sample().count(one.old)} places"
    text = sample().replace(one.old, one.new)
    places = []
    for at in (found.start() for found in re.finditer(CARET, text)):
        before = text[:at].replace(CARET, "")
        places.append((before.count("\n") + 1, len(before) - before.rfind("\n")))
    pairs = zip(places, one.said, strict=True)
    lines = [f"romtool: bad.toml:{line}:{column}: {said}" for (line, column), said in pairs]
    return text.replace(CARET, ""), lines


def agree(lines: list[str], wanted: list[str]) -> None:
    """Hold lines against those wanted; `*` stands for any words, or none.

    Each must say what is wrong and what to do.
    """
    assert len(lines) == len(wanted), lines
    for line, want in zip(lines, wanted, strict=True):
        pattern = ".*".join(re.escape(piece) for piece in want.split("*"))
        assert re.fullmatch(pattern, line), f"told:   {line}\nwanted: {want}"
        assert re.search(r": [^;]+; ..", line), f"no word of what to do: {line}"


def lint(text: str | bytes, folder: Path) -> subprocess.CompletedProcess[bytes]:
    content = text if isinstance(text, bytes) else text.encode()
    (folder / "bad.toml").write_bytes(content)
    return romtool("schema", "lint", "bad.toml", cwd=folder)


def test_case_names_are_unique() -> None:
    assert len({one.name for one in CASES}) == len(CASES)


@pytest.mark.parametrize("one", CASES, ids=[one.name for one in CASES])
def test_lint(one: Case, tmp_path: Path) -> None:
    text, wanted = spoilt(one)
    run = lint(text, tmp_path)
    lines = told(run).splitlines()
    assert (run.returncode, run.stdout) == (2, b""), lines
    agree(lines, wanted)


def test_lint_of_the_good_one() -> None:
    run = romtool("schema", "lint", str(SAMPLE))
    assert run.returncode == 0, told(run)
    assert told(run) == ""
    assert run.stdout.decode() == f"{SAMPLE}: no faults\n"


def test_lint_of_host_files_and_profiles(tmp_path: Path) -> None:
    """What a file is its keys tell; a profile is none of the schemas."""
    (tmp_path / "pc.toml").write_text('name = "Old PC"\nirq = [3, 4]\n')
    (tmp_path / "own.toml").write_text(sample())
    for words in (("lint", "."), ("list", "--schemas", ".")):
        run = romtool("schema", *words, cwd=tmp_path)
        assert (run.returncode, told(run)) == (0, "")
    (tmp_path / "pc.toml").write_text('name = "Old PC"\nirqs = [3, 4]\nirq = [16]\n')
    run = romtool("schema", "lint", "own.toml", "pc.toml", cwd=tmp_path)
    assert run.returncode == 2
    assert "romtool: pc.toml:2:1: unknown key irqs; did you mean irq?" in told(run)
    assert "romtool: pc.toml:3:" in told(run)
    (tmp_path / "card.toml").write_text(PROFILE)
    run = romtool("schema", "lint", "card.toml", cwd=tmp_path)
    message = (
        "romtool: card.toml: is a card profile, no schema; `romtool check card.toml` checks it"
    )
    assert (run.returncode, told(run)) == (2, f"{message}\n")


def test_lint_of_two_files_of_which_one_is_bad(tmp_path: Path) -> None:
    (tmp_path / "good.toml").write_text(sample(), encoding="utf-8")
    (tmp_path / "bad.toml").write_text(
        sample().replace("hollow-lane-24", "hollow-lane-25").replace('"24C32"', '"24C64"')
        + "\n[[parts]]\n",
        encoding="utf-8",
    )
    run = romtool("schema", "lint", "good.toml", "bad.toml", cwd=tmp_path)
    assert run.returncode == 2
    line = sample().count("\n") + 2
    said = "unknown key parts; did you mean part?"
    assert told(run) == f"romtool: bad.toml:{line}:3: {said}\n"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("size = 12", f"size = {CARET}"),
        ("size = 12", f"size = {CARET}twelve"),
        ("size = 12", f"size {CARET}12"),
        ("size = 12", f"size = 12\nsize = 12{CARET}"),
        ("[[part]]", f"[[part{CARET}]"),
        ('name = "24C32"', f'name = "24C32{CARET}'),
    ],
)
def test_lint_of_bad_toml(old: str, new: str, tmp_path: Path) -> None:
    """The words are those of Python's TOML reader; the line is the fault's own."""
    text = sample().replace(old, new)
    line = text[: text.index(CARET)].count("\n") + 1
    run = lint(text.replace(CARET, ""), tmp_path)
    assert run.returncode == 2
    [told_line] = told(run).splitlines()
    assert re.fullmatch(rf"romtool: bad\.toml:{line}:\d+: [^;]+; ..+", told_line)


@pytest.mark.parametrize(
    "value", ["[" * 5000, "{a=" * 5000, "9" * 5000], ids=["lists", "tables", "number"]
)
def test_lint_beyond_measure(value: str, tmp_path: Path) -> None:
    run = lint(sample().replace("fill = 0x00", f"fill = {value}"), tmp_path)
    assert run.returncode == 2, told(run)
    [line] = told(run).splitlines()
    assert re.match(r"romtool: bad\.toml:(?: |13:\d+: )", line)
    assert line.count(";") == 1
    assert "card profile" not in line


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("fill = 0x00", "fill = {}0x" + "F" * 5000),
        ("fill = 0x00", 'fill = {}"' + "9" * 5000 + '"'),
        ("size = 12", "size = {}0x" + "F" * 5000),
        ('name = "24C32"', "name = {}0x" + "F" * 5000),
    ],
    ids=["number", "text", "integer", "word"],
)
def test_lint_of_thousands_of_digits(old: str, new: str, tmp_path: Path) -> None:
    """Python turns no more than 4300 digits into a number, or a number into that many digits."""
    text, wanted = spoilt(case("digits", old, new.format(CARET), "*; *"))
    run = lint(text, tmp_path)
    lines = told(run).splitlines()
    assert run.returncode == 2, lines
    agree(lines, wanted)


def test_lint_of_no_text(tmp_path: Path) -> None:
    run = lint(sample().replace("mark", "m\xe4rk").encode("latin-1"), tmp_path)
    assert run.returncode == 2
    [line] = told(run).splitlines()
    assert re.fullmatch(r"romtool: bad\.toml: is no UTF-8 text; .+", line)


def test_lint_of_a_mebibyte_and_more(tmp_path: Path) -> None:
    """The contract: TOML over 1 MiB is refused unread."""
    run = lint(sample().ljust((1 << 20) + 1, "#"), tmp_path)
    assert run.returncode == 2
    [line] = told(run).splitlines()
    assert line.startswith("romtool: bad.toml: 1048577 bytes")


def test_lint_of_what_is_not_there(tmp_path: Path) -> None:
    run = romtool("schema", "lint", "absent.toml", cwd=tmp_path)
    assert run.returncode == 2
    said = "no such file or directory; check the name and the rights"
    assert told(run) == f"romtool: absent.toml: {said}\n"


def test_lint_of_a_folder(tmp_path: Path) -> None:
    run = romtool("schema", "lint", str(tmp_path))
    assert run.returncode == 2
    [line] = told(run).splitlines()
    assert re.fullmatch(rf"romtool: {re.escape(str(tmp_path))}: no .toml file in .*; .+", line)


def test_places_hold_with_a_byte_order_mark(tmp_path: Path) -> None:
    """Some editors write one; it is no character of the text."""
    text, wanted = spoilt(next(one for one in CASES if one.name == "unknown-table"))
    run = lint(text.encode("utf-8-sig"), tmp_path)
    assert run.returncode == 2
    agree(told(run).splitlines(), wanted)


def test_places_hold_with_carriage_returns(tmp_path: Path) -> None:
    text, wanted = spoilt(next(one for one in CASES if one.name == "unknown-table"))
    run = lint(text.replace("\n", "\r\n"), tmp_path)
    assert run.returncode == 2
    agree(told(run).splitlines(), wanted)


def test_several_faults_are_all_told(tmp_path: Path) -> None:
    """One line each."""
    together = ["unknown-key", "unknown-key-of-a-part", "size-above", "fill-above"]
    text = sample()
    for name in together:
        one = next(one for one in CASES if one.name == name)
        text = text.replace(one.old, one.new)
    clean, wanted = spoilt(Case("together", sample(), text, ("*; *",) * len(together)))
    run = lint(clean, tmp_path)
    assert run.returncode == 2
    agree(sorted(told(run).splitlines()), sorted(wanted))


# --- the same faults elsewhere ----------------------------------------------------------------

ELSEWHERE = [
    "unknown-key-of-a-field",
    "byte-unaccounted-for",
    "no-default",
    "part-of-a-shipped-name",
]


@pytest.mark.parametrize("how", ["option", "environment"])
@pytest.mark.parametrize("name", ELSEWHERE)
def test_the_same_is_told_when_a_folder_is_used(name: str, how: str, tmp_path: Path) -> None:
    text, wanted = spoilt(next(one for one in CASES if one.name == name))
    folder = tmp_path / "mine" / "chips"
    folder.mkdir(parents=True)
    (folder / "bad.toml").write_text(text, encoding="utf-8")
    (tmp_path / "card.bin").write_bytes(identifier("QRL0301", 1) + bytes.fromhex("0A 10 00 79 00"))
    run = inspect(tmp_path, how, "mine")
    assert run.returncode == 2 and set(json.loads(run.stdout)) == {"file", "error"}
    lines = told(run).splitlines()
    agree(lines, [want.replace("bad.toml", str(Path("mine/chips/bad.toml"))) for want in wanted])


def inspect(folder: Path, how: str, schemas: str) -> subprocess.CompletedProcess[bytes]:
    """Inspect card.bin with a folder of schemas, given by option or by environment."""
    if how == "option":
        return romtool("inspect", "--json", "card.bin", "--schemas", schemas, cwd=folder)
    return subprocess.run(
        [str(Path(sys.executable).parent / "romtool"), "inspect", "--json", "card.bin"],
        capture_output=True,
        cwd=folder,
        env={**os.environ, "ROMTOOL_SCHEMAS": schemas},
        timeout=300,
        check=False,
    )


@pytest.mark.parametrize("how", ["option", "environment"])
def test_a_good_folder_is_used(how: str, tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "chip.toml").write_text(sample(), encoding="utf-8")
    image = bytes.fromhex("48 4C 24 0E 00 10 75 A9 31 00 10 E3")
    image += identifier("QRL0301", 1) + bytes.fromhex("0A 10 00 79 00")
    (tmp_path / "card.bin").write_bytes(image.ljust(4096, b"\0"))
    run = inspect(tmp_path, how, "mine")
    assert run.returncode == 0, told(run)
    assert b'"layout": "hollow-lane-24"' in run.stdout
    assert b'"part": "24C32"' in run.stdout
    assert inspect(tmp_path, how, "absent").returncode == 2


# --- what loads must work ---------------------------------------------------------------------

FLAG = 'type = "flag", default = false'
NUMBERED = 'type = "number", default = 0x1000, show = "hex"'
TWO_BITS = 'bits = "6:5", key = "unused", type = "number", default = 0'
COUNTED = '["identifier", "items"],'


def instead(name: str, old: str, new: str) -> Case:
    """A case in which the fault is told in the line of what is replaced."""
    return case(name, old, CARET + new, "*")


def added(name: str, table: str, *lines: str) -> Case:
    """A case with one more table, before the part."""
    text = "".join(f"{line}\n" for line in lines)
    head = f"[{CARET}{table}]" if table == "identifier" else f"[[{CARET}{table}]]"
    return case(name, "[[part]]", f'{head}\nname = "own"\n{text}\n[[part]]', "*")


SPELLING = ('title = "x"', 'endian = "big"', "bits = 2", "unused = 0")
HEADER = ('title = "x"', "size = 1")
RECORD = ('title = "x"', 'header = "small"', 'role = "resource"', 'say = "x"', "field = []")

# Files that ask for what can't be: each must be refused, in the line (or, for a whole table, at
# the line of its head or its name) where the caret stands.
IMPOSSIBLE = [
    instead("count-of-nothing", COUNTED, '["identifier", "frame"],'),
    instead("accepts-a-number", COUNTED, '["items"], accepts = { other = 5 },'),
    instead("accepts-nothing-known", COUNTED, '["items"], accepts = { other = ["frame"] },'),
    instead(
        "flag-of-two-bits",
        TWO_BITS,
        'bits = "6:5", key = "unused", type = "flag", default = false',
    ),
    instead("text-of-two-bytes", NUMBERED, 'type = "text", encoding = "ascii", default = "A"'),
    instead(
        "choice-of-words", FLAG, 'type = "choice", names = { off_value = "off" }, default = "off"'
    ),
    instead("choice-names-a-number", FLAG, 'type = "choice", names = 5, default = "off"'),
    instead(
        "choice-beyond-its-bits",
        FLAG,
        'type = "choice", names = { 0 = "off", 2 = "on" }, default = "off"',
    ),
    instead("flags-names-a-number", FLAG, 'type = "flags", names = 5, default = []'),
    instead("flags-beyond-its-bits", FLAG, 'type = "flags", names = ["a", "b"], default = []'),
    instead("unconnected-16", "unconnected = 0", "unconnected = 16"),
    instead("optional-in-a-frame", TUNING, f"{TUNING[:-1]}, optional = true,"),
    added("seed-of-two-bytes", "checksum", "algorithm = 'lfsr8'", "taps = [0]", "seed = 0x16A"),
    added("tap-below-0", "checksum", "algorithm = 'lfsr8'", "seed = 1", "taps = [-1]"),
    added(
        "alphabet-too-long",
        "spelling",
        *SPELLING,
        'usual = "x"',
        'group = [ { count = 1, bits = 2, alphabet = "abcdef" } ]',
    ),
    added(
        "pattern-broken",
        "spelling",
        *SPELLING,
        'usual = "("',
        'group = [ { count = 1, bits = 2, alphabet = "abcd" } ]',
    ),
    added("table-keys-a-number", "table", "keys = 5"),
    added("table-key-a-number", "table", "keys = { a = 5 }"),
    added("table-key-unknown", "table", "keys = { a = { zzz = 5 } }"),
    added("header-without-code", "header", *HEADER, "field = [ { at = 0, type = 'reserved' } ]"),
    added("identifier-again", "identifier", *HEADER, "field = [ { at = 0, type = 'reserved' } ]"),
    added("record-of-a-taken-code", "record", *RECORD, "code = 4"),
    added("record-codes-words", "record", *RECORD, "codes = ['x']"),
    case(
        "table-of-a-shipped-name",
        "[[part]]",
        f'[[{CARET}table]]\nname = "profile"\nkeys = {{ }}\n\n[[part]]',
        "*",
    ),
    case(
        "header-of-a-shipped-name",
        "[[part]]",
        f'[[{CARET}header]]\nname = "small"\ntitle = "x"\nsize = 1\n'
        'field = [ { at = 0, key = "code", type = "number" } ]\n\n[[part]]',
        "*",
    ),
]


@pytest.mark.parametrize("one", IMPOSSIBLE, ids=[one.name for one in IMPOSSIBLE])
def test_what_cannot_be_is_refused(one: Case, tmp_path: Path) -> None:
    """In the line of the caret: neither a traceback nor a file that fails when it is used."""
    text, [wanted] = spoilt(one)
    run = lint(text, tmp_path)
    lines = told(run).splitlines()
    assert run.returncode == 2, lines
    first = int(wanted.split(":")[2])
    last = first + text.split("\n")[first - 1 :].index("") if "[[" in one.new else first
    found = [re.match(r"romtool: bad\.toml:(\d+):\d+: ", line) for line in lines]
    assert any(one and first <= int(one[1]) <= last for one in found), lines
    assert all(re.match(r"romtool: bad\.toml:\d+:\d+: ", line) for line in lines), lines


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (MUTE, MUTE.replace('type = "flag"', 'type = "flag", source = "from memory"')),
        (WIRING, WIRING.replace("default = [5, 7, 9, 10]", "pin_bits = 8, default = [5, 7]")),
        ("fill = 0x00", "fill = 0x00\nmax_pnp_bytes = 384"),
        (TUNING, TUNING.replace("bytes = 2", 'bytes = 2, endian = "big"')),
        (TUNING, '{ at = 9, bytes = 2, key = "tuning", type = "hex", default = "10 00",'),
        (
            MUTE,
            MUTE.replace(
                '"flag", default = false', '"choice", names = {0 = "a", 1 = "b"}, default = "b"'
            ),
        ),
        (MUTE, MUTE.replace('"flag", default = false', '"flags", names = ["a"], default = ["a"]')),
        (MUTE, '{ at = 5, bits = "7", type = "reserved",'),
        ('name = "24C32"', 'name = "own-32"'),
    ],
)
def test_other_good_files_build_and_read_back(old: str, new: str, tmp_path: Path) -> None:
    """A layout that loads builds a card of its own layout, and that is recognised again."""
    assert sample().count(old) == 1
    text = sample().replace(old, new)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "chip.toml").write_text(text, encoding="utf-8")
    part = "own-32" if "own-32" in new else "24C32"
    card = f'[image]\nlayout = "hollow-lane-24"\npart = "{part}"\n\n{CARD}'
    (tmp_path / "card.toml").write_text(
        card.replace(", 9, 10", "").replace("dma = [0, 1, 3]", "dma = [1, 3]"), encoding="utf-8"
    )
    run = romtool("build", "card.toml", "--schemas", "mine", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    run = romtool("inspect", "--json", "card.bin", "--schemas", "mine", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    assert b'"layout": "hollow-lane-24"' in run.stdout


# --- any text ---------------------------------------------------------------------------------


@cache
def shipped() -> list[SchemaFile]:
    return schema_files(shipped_folder(), own=False)


def only_refused(text: str) -> None:
    """Load the shipped files and one with this text: it loads or is refused, with places."""
    try:
        load([*shipped(), SchemaFile("bad.toml", text)])
    except InputError as refusal:
        assert refusal.problems
        for problem in refusal.problems:
            line = problem_line(located(problem, text))
            assert re.match(r"bad\.toml:\d+:\d+: .", line) or "nested too deep" in line, line


ODD_VALUES = [
    "-1", "0", "1", "2", "3", "12", "16", "256", "65536", "0x10000000000000000", "1.5", "nan",
    "true", "false", "1994-05-05", '""', '"x"', '"5"', '"22xh"', '"rest"', '"4:0"', '"0-3"',
    '"number"', '"range"', '"flag"', '"choice"', '"flags"', '"lines"', '"pins"', '"spelled"',
    '"text"', '"hex"', '"constant"', '"reserved"', '"count"', '"checksum"', '"packed-id"',
    '"counted-start"', '"identifier"', '"xor"', '"55 BB"', '"plain"', "[]", "[5]", '["a", "b"]',
    "[[]]", "{}", "{ a = 1 }", '{ 0 = "a", 1 = "b" }', '{ a = "b" }', '{ a = ["items"] }',
]  # fmt: skip
VALUE = re.compile(r'(?<== )(?:"[^"\n]*"|\[[^\]\n]*\]|[A-Za-z0-9_.-]+)')
KEY = re.compile(r"[a-z_]+(?= = )|(?<=\[\[)[a-z]+(?=\]\])")


@st.composite
def mutated(draw: st.DrawFn) -> str:
    """The sample with a few values, keys or characters changed."""
    text = sample()
    keys = sorted({key for table in described_once().values() for key in table})
    for _ in range(draw(st.integers(1, 4))):
        match draw(st.sampled_from(["value", "value", "key", "add", "add", "delete", "insert"])):
            case "value":
                spans = [found.span() for found in VALUE.finditer(text)]
                new = draw(st.sampled_from(ODD_VALUES))
            case "key":
                spans = [found.span() for found in KEY.finditer(text)]
                new = draw(st.sampled_from(keys))
            case "add":
                spans = [(at, at) for at in (found.end() for found in re.finditer("{ ", text))]
                spans += [
                    (at, at) for at in (found.end() for found in re.finditer(r"\]\]\n", text))
                ]
                end = ", " if draw(st.booleans()) else "\n"
                new = f"{draw(st.sampled_from(keys))} = {draw(st.sampled_from(ODD_VALUES))}{end}"
            case "delete":
                at = draw(st.integers(0, len(text)))
                spans, new = [(at, at + draw(st.integers(1, 30)))], ""
            case _:
                at = draw(st.integers(0, len(text)))
                spans, new = [(at, at)], draw(st.text("[]{}=,.\"'#\\\n\r 0x5é\0", max_size=5))
        if spans:
            start, end_ = draw(st.sampled_from(spans))
            text = text[:start] + new + text[end_:]
    return text


@settings(max_examples=examples(300), deadline=None, suppress_health_check=list(HealthCheck))
@given(mutated())
def test_spoilt_schemas_load_or_are_refused(text: str) -> None:
    only_refused(text)


@settings(max_examples=examples(300), deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 60), st.sampled_from(ODD_VALUES))
def test_one_odd_value(index: int, odd: str) -> None:
    found = list(VALUE.finditer(sample()))
    start, end = found[index % len(found)].span()
    only_refused(sample()[:start] + odd + sample()[end:])


def fitting(spec: dict[str, Any]) -> list[str]:
    """The odd values that a key of this type takes, so that more than the type is put to it."""
    if "choices" in spec:
        return [f'"{choice}"' for choice in spec["choices"]]
    starts = {
        "text": '"',
        "word": '"',
        "integer": "0123456789-",
        "number": "0123456789-",
        "boolean": "tf",
        "list": "[",
        "names": "{",
    }.get(spec["type"], "")
    return [odd for odd in ODD_VALUES if not starts or odd[0] in starts]


@st.composite
def one_field(draw: st.DrawFn) -> str:
    """The sample with a field of any type, with some of the keys that fields have."""
    specs = described_once()["field"]
    keys = sorted(set(specs) - {"at", "bytes", "key", "type", "use"})
    chosen = draw(st.sets(st.sampled_from(keys), max_size=6))
    row = {key: draw(st.sampled_from(fitting(specs[key]))) for key in sorted(chosen)}
    row |= {"at": "9", "bytes": "2", "key": '"tuning"'}
    row["default"] = draw(st.sampled_from(ODD_VALUES))
    row["type"] = draw(st.sampled_from(fitting(specs["type"])))
    words = ", ".join(f"{key} = {value}" for key, value in row.items())
    return sample().replace(f'{TUNING} title = "tuning word" }}', f"{{ {words} }}")


@settings(max_examples=examples(500), deadline=None, suppress_health_check=list(HealthCheck))
@given(one_field())
def test_any_field_loads_or_is_refused(text: str) -> None:
    assert text != sample()
    only_refused(text)
