"""Intel HEX and S-record, compared with four programs by other hands.

`bincopy` and `hexrec` (PyPI), `objcopy` (binutils) and `srec_cat` (Debian srecord) read what
`build` writes, and write what `inspect` reads. Files that none of them writes are made here, after
Intel's Hexadecimal Object File Format Specification, Rev. A, 1988, and the S-record layout in
srecord's manual (srec_motorola(5)); the four programs are asked about these files too, so that a
mistake made here shows.
"""

import json
import re
import subprocess
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from tests.support.tool import (
    CARD,
    CARD_ITEMS,
    PROFILE,
    identifier,
    inspected,
    need,
    need_module,
    romtool,
    told,
)

FORMATS = ["hex", "srec"]


def image(size: int) -> bytes:
    """A card's data, then bytes that differ from their neighbours up to the size."""
    data = identifier("QRL0301", 1) + CARD_ITEMS
    return data + bytes((7 * n + (n >> 8)) & 0xFF for n in range(size - len(data)))


# 300 bytes end in a short record; 64 KiB is the most that 16-bit addresses reach.
IMAGE = image(300)
LARGEST = image(0x10000)

# --- the four programs ------------------------------------------------------------------------


def run(*words: str | Path) -> None:
    subprocess.run([str(word) for word in words], check=True, capture_output=True)


def bincopy_read(path: Path, form: str) -> tuple[int | None, bytes]:
    file = need_module("bincopy").BinFile()
    (file.add_ihex if form == "hex" else file.add_srec)(path.read_text(encoding="ascii"))
    assert len(file.segments) == 1
    return file.minimum_address, bytes(file.as_binary())


def hexrec_read(path: Path, form: str) -> tuple[int | None, bytes]:
    hexrec = need_module("hexrec")
    file = (hexrec.IhexFile if form == "hex" else hexrec.SrecFile).load(str(path))
    ((start, data),) = file.apply_records().memory.to_blocks()
    return start, bytes(data)


def objcopy_read(path: Path, form: str) -> tuple[int | None, bytes]:
    out = path.with_name("objcopy.out")
    run(need("objcopy"), "-I", "ihex" if form == "hex" else "srec", "-O", "binary", path, out)
    return None, out.read_bytes()


def srec_cat_read(path: Path, form: str) -> tuple[int | None, bytes]:
    out = path.with_name("srec_cat.out")
    kind = "-intel" if form == "hex" else "-motorola"
    run(need("srec_cat"), path, kind, "-o", out, "-binary")
    data = out.read_bytes()
    # It writes a binary from address 0 on, with 00h below the first address of the file.
    start = int(
        subprocess.run([need("srec_info"), path, kind], check=True, capture_output=True, text=True)
        .stdout.rpartition("Data:")[2]
        .split("-")[0],
        16,
    )
    return start, data[start:]


READERS: dict[str, Callable[[Path, str], tuple[int | None, bytes]]] = {
    "bincopy": bincopy_read,
    "hexrec": hexrec_read,
    "objcopy": objcopy_read,
    "srec_cat": srec_cat_read,
}

# A writer takes the format, the bytes, the first address and a path. S-records without an end
# record are asked to have one: bincopy and srec_cat write it only with a start address.
Writer = Callable[[str, bytes, int, Path], None]


def bincopy_write(form: str, data: bytes, at: int, path: Path, *, length: int, bits: int) -> None:
    file = need_module("bincopy").BinFile()
    file.add_binary(data, address=at)
    if form == "srec":
        file.execution_start_address = 0
        file.header = "Hollow Lane"
    text = (file.as_ihex if form == "hex" else file.as_srec)(length, bits)
    path.write_text(text, encoding="ascii", newline="\n")


def hexrec_write(form: str, data: bytes, at: int, path: Path, *, length: int, wide: bool) -> None:
    hexrec = need_module("hexrec")
    kind = hexrec.IhexFile if form == "hex" else hexrec.SrecFile
    file = kind.from_bytes(data, offset=at, maxdatalen=length, startaddr=at)
    if form == "hex":
        file.linear = wide  # else a start segment record takes the start linear record's place
        file.update_records()
    else:
        tags = kind.Record.Tag
        file.update_records(data_tag=tags.DATA_32 if wide else tags.DATA_16)
    file.save(str(path))


def objcopy_write(form: str, data: bytes, at: int, path: Path, *, options: list[str]) -> None:
    source = path.with_name("source.bin")
    source.write_bytes(data)
    kind = "ihex" if form == "hex" else "srec"
    run(
        need("objcopy"),
        *("-I", "binary", "-O", kind, "--change-addresses", hex(at)),
        *options,
        source,
        path,
    )


def srec_cat_write(form: str, data: bytes, at: int, path: Path, *, options: list[str]) -> None:
    source = path.with_name("source.bin")
    source.write_bytes(data)
    run(
        *(need("srec_cat"), source, "-binary", "-offset", hex(at), "-o", path),
        "-intel" if form == "hex" else "-motorola",
        *options,
        *("-execution-start-address", hex(at)),
    )


WRITERS: dict[str, tuple[str, Writer]] = {
    "bincopy-hex-16": ("hex", partial(bincopy_write, length=16, bits=16)),
    "bincopy-hex-7": ("hex", partial(bincopy_write, length=7, bits=16)),
    "bincopy-hex-32": ("hex", partial(bincopy_write, length=32, bits=16)),
    "bincopy-srec-16": ("srec", partial(bincopy_write, length=16, bits=16)),
    "bincopy-srec-32-s2": ("srec", partial(bincopy_write, length=32, bits=24)),
    "bincopy-srec-9-s3": ("srec", partial(bincopy_write, length=9, bits=32)),
    "hexrec-hex-255": ("hex", partial(hexrec_write, length=255, wide=True)),
    "hexrec-hex-10-segment": ("hex", partial(hexrec_write, length=10, wide=False)),
    "hexrec-srec-250-s3": ("srec", partial(hexrec_write, length=250, wide=True)),
    "hexrec-srec-10": ("srec", partial(hexrec_write, length=10, wide=False)),
    "objcopy-hex": ("hex", partial(objcopy_write, options=[])),
    "objcopy-srec-32": ("srec", partial(objcopy_write, options=["--srec-len", "32"])),
    "objcopy-srec-s3": ("srec", partial(objcopy_write, options=["--srec-forceS3"])),
    "srec_cat-hex": ("hex", partial(srec_cat_write, options=[])),
    "srec_cat-hex-segment": ("hex", partial(srec_cat_write, options=["-address-length=3"])),
    "srec_cat-hex-short": (
        "hex",
        partial(srec_cat_write, options=["-address-length=2", "-line-length=30"]),
    ),
    "srec_cat-srec": ("srec", partial(srec_cat_write, options=[])),
    "srec_cat-srec-s2": ("srec", partial(srec_cat_write, options=["-address-length=3"])),
    "srec_cat-srec-s3-no-count": (
        "srec",
        partial(srec_cat_write, options=["-address-length=4", "-disable=data-count"]),
    ),
}


def lower(text: bytes) -> bytes:
    """Lower-case digits; the letter that begins an S-record stays."""
    return text.lower().replace(b"\ns", b"\nS").replace(b"s0", b"S0", 1)


ENDINGS: dict[str, Callable[[bytes], bytes]] = {
    "lower-case": lower,
    "crlf": lambda text: text.replace(b"\r\n", b"\n").replace(b"\n", b"\r\n"),
    "lf": lambda text: text.replace(b"\r\n", b"\n"),
    "no-last-line-end": bytes.rstrip,
}

# --- files made here --------------------------------------------------------------------------


def hex_record(kind: int, address: int, data: bytes) -> str:
    """One record of Intel's specification: length, address, type, data, sum to 0 mod 256."""
    body = bytes([len(data), address >> 8, address & 0xFF, kind]) + data
    return ":" + (body + bytes([-sum(body) & 0xFF])).hex().upper()


def srec_record(kind: int, address: int, data: bytes = b"") -> str:
    """One S-record: type, count, address, data, one's complement of the sum (srec_motorola(5))."""
    width = {0: 2, 1: 2, 2: 3, 3: 4, 5: 2, 7: 4, 8: 3, 9: 2}[kind]
    body = bytes([width + len(data) + 1]) + address.to_bytes(width, "big") + data
    return f"S{kind}" + (body + bytes([~sum(body) & 0xFF])).hex().upper()


def data_records(form: str, data: bytes, at: int = 0, length: int = 16) -> list[str]:
    kind = 0 if form == "hex" else 1
    record = hex_record if form == "hex" else srec_record
    return [record(kind, at + n, data[n : n + length]) for n in range(0, len(data), length)]


HEX_END = ":00000001FF"  # as Intel's specification prints it
SREC_END = "S9030000FC"
END = {"hex": HEX_END, "srec": SREC_END}


def segment(value: int) -> str:
    """An extended segment address record: 16 times its value is added to what follows."""
    return hex_record(2, 0, value.to_bytes(2, "big"))


def linear(value: int) -> str:
    """An extended linear address record: its value stands above the 16 bits that follow."""
    return hex_record(4, 0, value.to_bytes(2, "big"))


@dataclass
class Handmade:
    """Records that hold IMAGE, from an address on."""

    form: str
    lines: list[str]
    start: int = 0


# No file mixes both kinds of extended address: bincopy and objcopy then add the segment to the
# linear address, hexrec and srec_cat let the later record replace the earlier one.
HANDMADE = {
    "hex-segment-0": Handmade("hex", [segment(0), *data_records("hex", IMAGE), HEX_END]),
    "hex-segment-10": Handmade("hex", [segment(0x10), *data_records("hex", IMAGE), HEX_END], 0x100),
    "hex-two-segments": Handmade(
        "hex",
        [
            *data_records("hex", IMAGE[:0x100]),
            segment(0x10),
            *data_records("hex", IMAGE[0x100:]),
            HEX_END,
        ],
    ),
    "hex-last-segment": Handmade(
        "hex", [segment(0xFE0), *data_records("hex", IMAGE), HEX_END], 0xFE00
    ),
    "hex-linear-again": Handmade(
        "hex",
        [
            linear(0),
            *data_records("hex", IMAGE[:0x80]),
            linear(0),
            *data_records("hex", IMAGE[0x80:], 0x80),
            HEX_END,
        ],
    ),
    "hex-out-of-order": Handmade("hex", [*reversed(data_records("hex", IMAGE)), HEX_END]),
    "hex-last-addresses": Handmade(
        "hex", [*data_records("hex", IMAGE, 0x10000 - len(IMAGE)), HEX_END], 0x10000 - len(IMAGE)
    ),
    "hex-one-byte-records": Handmade("hex", [*data_records("hex", IMAGE, length=1), HEX_END]),
    "srec-out-of-order": Handmade("srec", [*reversed(data_records("srec", IMAGE)), SREC_END]),
    "srec-mixed-widths": Handmade(
        "srec",
        [
            srec_record(0, 0, b"Hollow Lane"),
            *data_records("srec", IMAGE[:0x100]),
            srec_record(2, 0x100, IMAGE[0x100:0x110]),
            srec_record(3, 0x110, IMAGE[0x110:]),
            SREC_END,
        ],
    ),
    "srec-last-addresses": Handmade(
        "srec",
        [*data_records("srec", IMAGE, 0x10000 - len(IMAGE)), SREC_END],
        0x10000 - len(IMAGE),
    ),
    "srec-no-header": Handmade("srec", [*data_records("srec", IMAGE), SREC_END]),
}


@dataclass
class Bad:
    """A faulty file, and the lines (from 1) of which one must be named."""

    form: str
    lines: list[str]
    named: list[int]
    # What bincopy says of it: part of its refusal, or a fact of what it read.
    refused: str | None = None
    seen: dict[str, Any] = field(default_factory=dict)


def bad_files() -> dict[str, Bad]:
    found: dict[str, Bad] = {}
    for form in FORMATS:
        good = data_records(form, IMAGE)  # 19 lines
        end = END[form]
        other = f"{int(good[4][-2:], 16) ^ 0x10:02X}"
        found |= {
            f"{form}-sum": Bad(
                form, [*good[:4], good[4][:-2] + other, *good[5:], end], [5], "expected crc"
            ),
            f"{form}-sum-of-end": Bad(form, [*good, end[:-2] + "00"], [20], "expected crc"),
            f"{form}-no-end": Bad(form, good, [19, 20], None, {"segments": 1}),
            f"{form}-overlap-same": Bad(
                form, [*good[:9], good[8], *good[9:], end], [10], "overlapping"
            ),
            f"{form}-overlap-other": Bad(
                form,
                [*good, *data_records(form, b"\x5a\xa5", at=0x2F), end],
                [20],
                "overlapping",
            ),
            f"{form}-gap": Bad(form, [*good[:9], *good[10:], end], [10], None, {"segments": 2}),
            f"{form}-gap-of-a-byte": Bad(
                form,
                [*good[:9], *data_records(form, IMAGE[0x91:0xA0], at=0x91), *good[10:], end],
                [10],
                None,
                {"segments": 2},
            ),
            f"{form}-short-record": Bad(
                form, [*good[:2], good[2][:-6], *good[3:], end], [3], "wrong size"
            ),
            f"{form}-no-digit": Bad(
                form, [*good[:2], good[2][:11] + "G" + good[2][12:], *good[3:], end], [3], "hex"
            ),
        }
    good = data_records("hex", IMAGE)
    found["hex-above-linear"] = Bad(
        "hex", [linear(1), *good, HEX_END], [1, 2], None, {"maximum_address": 0x10000 + 300}
    )
    found["hex-above-segment"] = Bad(
        "hex", [segment(0x1000), *good, HEX_END], [1, 2], None, {"maximum_address": 0x10000 + 300}
    )
    found["hex-above-within"] = Bad(
        "hex", [segment(0xFEE), *good, HEX_END], [20], None, {"maximum_address": 0xFEE0 + 300}
    )
    found["srec-above"] = Bad(
        "srec",
        [srec_record(2, 0x10000 + n, IMAGE[n : n + 16]) for n in range(0, 300, 16)]
        + [srec_record(8, 0)],
        [1],
        None,
        {"maximum_address": 0x10000 + 300},
    )
    found["srec-above-within"] = Bad(
        "srec",
        [srec_record(2, 0xFEE0 + n, IMAGE[n : n + 16]) for n in range(0, 300, 16)]
        + [srec_record(8, 0)],
        [19],
        None,
        {"maximum_address": 0xFEE0 + 300},
    )
    found["hex-above-in-a-record"] = Bad(
        "hex",
        [linear(0), *data_records("hex", IMAGE[:0x80], 0xFF88), HEX_END],
        [9],
        None,
        {"maximum_address": 0xFF88 + 0x80},
    )
    found["srec-above-in-a-record"] = Bad(
        "srec",
        [*data_records("srec", IMAGE[:0x88], 0xFF80, length=17), SREC_END],
        [8],
        None,
        {"maximum_address": 0xFF80 + 0x88},
    )
    return found


BAD = bad_files()


def text_of(lines: list[str]) -> bytes:
    return "".join(line + "\n" for line in lines).encode("ascii")


# --- what the tool says -------------------------------------------------------------------------


def shape(document: dict[str, Any]) -> dict[str, Any]:
    """What an image holds, without what names its file."""
    return {
        key: document[key]
        for key in ("layout", "size", "frame", "card", "devices", "end", "items", "tail")
    }


@pytest.fixture(scope="module")
def expected(tmp_path_factory: pytest.TempPathFactory) -> dict[bytes, dict[str, Any]]:
    """What `inspect` says of the bytes as a raw binary."""
    folder = tmp_path_factory.mktemp("raw")
    found: dict[bytes, dict[str, Any]] = {}
    for data in (IMAGE, LARGEST):
        (folder / "card.bin").write_bytes(data)
        found[data] = inspected("card.bin", cwd=folder)
        assert found[data]["size"] == len(data)
        assert found[data]["card"]["id"] == "QRL0301"
        for item in found[data]["items"]:
            raw = bytes.fromhex(item["raw"])
            assert data[item["offset"] :].startswith(raw)
    return found


def check_read(path: Path, data: bytes, start: int, expected: dict[bytes, dict[str, Any]]) -> None:
    """The file gives the same as the raw bytes; a first address above 0 is told."""
    answer = romtool("inspect", "--json", path.name, cwd=path.parent)
    messages = told(answer)
    assert answer.returncode == 0, messages
    assert shape(json.loads(answer.stdout)) == shape(expected[data])
    check_offset(messages.replace(path.name, ""), start)


def check_offset(messages: str, start: int) -> None:
    address = re.compile(rf"(?<![0-9A-Fa-f])0*{start:X}h(?![0-9A-Za-z])", re.IGNORECASE)
    if start:
        assert len(address.findall(messages)) == 1, messages
        assert len(messages.splitlines()) == 1, messages
    else:
        assert messages == ""


# --- written ------------------------------------------------------------------------------------

SIZES = {
    "128": 'part = "24C01"',
    "300": "size = 300",
    "2048": 'part = "24C16"',
    "65536": "size = 65536",
}


@pytest.fixture(scope="module", params=SIZES)
def written(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder where `build` wrote one card in all formats, in parts of several sizes."""
    folder = tmp_path_factory.mktemp("written")
    size: str = request.param
    text = f"[image]\n{SIZES[size]}\n\n{CARD}"
    (folder / "card.toml").write_text(text, encoding="utf-8")
    answer = romtool("build", "card.toml", "-o", ".", "--format", "bin,hex,srec", cwd=folder)
    assert answer.returncode == 0, told(answer)
    assert (folder / "card.bin").stat().st_size == int(size)
    return folder


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("program", READERS)
def test_others_read_what_build_writes(program: str, form: str, written: Path) -> None:
    """bincopy, hexrec (PyPI), objcopy (binutils), srec_cat (srecord) find the .bin's bytes."""
    start, data = READERS[program](written / f"card.{form}", form)
    assert start in (0, None)
    assert data == (written / "card.bin").read_bytes()


def test_hex_ends_as_the_specification_says(written: Path) -> None:
    # Intel's Hexadecimal Object File Format Specification, Rev. A, 1988: the end of file record.
    lines = (written / "card.hex").read_text(encoding="ascii").splitlines()
    assert [number for number, line in enumerate(lines, 1) if line == HEX_END] == [len(lines)]


def test_srec_ends_with_a_termination_record(written: Path) -> None:
    # srec_motorola(5) of srecord: S7, S8 or S9 ends S3, S2 or S1 records.
    lines = (written / "card.srec").read_text(encoding="ascii").splitlines()
    (kind,) = {line[:2] for line in lines if line[:2] in ("S1", "S2", "S3")}
    ends = {"S1": "S9", "S2": "S8", "S3": "S7"}
    numbered = [(n, line[:2]) for n, line in enumerate(lines, 1) if line[:2] in ends.values()]
    assert numbered == [(len(lines), ends[kind])]


def test_build_writes_hex_without_being_asked_but_no_srec(tmp_path: Path) -> None:
    (tmp_path / "card.toml").write_text(PROFILE, encoding="utf-8")
    answer = romtool("build", "card.toml", "-o", "out", cwd=tmp_path)
    assert answer.returncode == 0, told(answer)
    assert sorted(each.name for each in (tmp_path / "out").iterdir()) == ["card.bin", "card.hex"]
    _start, data = bincopy_read(tmp_path / "out" / "card.hex", "hex")
    assert data == (tmp_path / "out" / "card.bin").read_bytes()


def test_inspect_reads_its_own_formats(written: Path) -> None:
    raw, *others = (shape(inspected(f"card.{end}", cwd=written)) for end in ("bin", "hex", "srec"))
    assert others == [raw, raw]


# --- read ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("start", [0, 0x100], ids=["at-0", "at-100h"])
@pytest.mark.parametrize("name", WRITERS)
def test_inspect_reads_what_others_write(
    name: str, start: int, tmp_path: Path, expected: dict[bytes, dict[str, Any]]
) -> None:
    """Files of bincopy and hexrec (PyPI), objcopy (binutils) and srec_cat (srecord)."""
    form, write = WRITERS[name]
    path = tmp_path / f"card.{form}"
    write(form, IMAGE, start, path)
    check_read(path, IMAGE, start, expected)


@pytest.mark.parametrize(
    "name", ["bincopy-hex-16", "hexrec-srec-10", "objcopy-srec-s3", "srec_cat-hex"]
)
def test_inspect_reads_64_kib_that_others_write(
    name: str, tmp_path: Path, expected: dict[bytes, dict[str, Any]]
) -> None:
    """The most that an image may be, by bincopy, hexrec (PyPI), objcopy and srec_cat."""
    form, write = WRITERS[name]
    path = tmp_path / f"card.{form}"
    write(form, LARGEST, 0, path)
    check_read(path, LARGEST, 0, expected)


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("name", ["objcopy-hex", "hexrec-hex-255", "objcopy-srec-32"])
def test_inspect_reads_any_case_and_line_end(
    name: str, ending: str, tmp_path: Path, expected: dict[bytes, dict[str, Any]]
) -> None:
    """What objcopy (binutils) and hexrec (PyPI) wrote, as an editor may have changed it."""
    form, write = WRITERS[name]
    path = tmp_path / f"card.{form}"
    write(form, IMAGE, 0, path)
    path.write_bytes(ENDINGS[ending](path.read_bytes()))
    assert bincopy_read(path, form) == (0, IMAGE)
    check_read(path, IMAGE, 0, expected)


@pytest.mark.parametrize("form", FORMATS)
def test_inspect_knows_text_by_its_bytes(
    form: str, tmp_path: Path, expected: dict[bytes, dict[str, Any]]
) -> None:
    """The name of the file says nothing."""
    path = tmp_path / "card.bin"
    path.write_bytes(text_of([*data_records(form, IMAGE), END[form]]))
    check_read(path, IMAGE, 0, expected)


@pytest.mark.parametrize("form", FORMATS)
def test_inspect_reads_standard_input(
    form: str, tmp_path: Path, expected: dict[bytes, dict[str, Any]]
) -> None:
    """What bincopy (PyPI) wrote, from a pipe."""
    path = tmp_path / "card"
    bincopy_write(form, IMAGE, 0, path, length=16, bits=16)
    document = inspected("--input", form, "-", stdin=path.read_bytes())
    assert shape(document) == shape(expected[IMAGE])


@pytest.mark.parametrize("program", READERS)
@pytest.mark.parametrize("name", HANDMADE)
def test_others_read_the_files_made_here(name: str, program: str, tmp_path: Path) -> None:
    """bincopy and hexrec (PyPI), objcopy (binutils) and srec_cat (srecord) agree with this test."""
    case = HANDMADE[name]
    path = tmp_path / f"card.{case.form}"
    path.write_bytes(text_of(case.lines))
    start, data = READERS[program](path, case.form)
    assert start in (case.start, None)
    assert data == IMAGE


@pytest.mark.parametrize("name", HANDMADE)
def test_inspect_reads_the_files_made_here(
    name: str, tmp_path: Path, expected: dict[bytes, dict[str, Any]]
) -> None:
    """Segments, linear addresses and orders that the specifications allow."""
    case = HANDMADE[name]
    path = tmp_path / f"card.{case.form}"
    path.write_bytes(text_of(case.lines))
    check_read(path, IMAGE, case.start, expected)


# --- refused ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", BAD)
def test_bad_files_are_as_bad_as_they_say(name: str, tmp_path: Path) -> None:
    """bincopy (PyPI) refuses the file, or sees in it what makes it bad."""
    bincopy = need_module("bincopy")
    case = BAD[name]
    file = bincopy.BinFile()
    read = file.add_ihex if case.form == "hex" else file.add_srec
    text = text_of(case.lines).decode("ascii")
    if case.refused is not None:
        with pytest.raises(Exception, match=case.refused):
            read(text)
        return
    read(text)
    seen = {"segments": len(file.segments), "maximum_address": file.maximum_address}
    assert {key: seen[key] for key in case.seen} == case.seen


@pytest.mark.parametrize("name", BAD)
def test_inspect_refuses_bad_files_with_the_line(name: str, tmp_path: Path) -> None:
    case = BAD[name]
    path = tmp_path / f"card.{case.form}"
    path.write_bytes(text_of(case.lines))
    answer = romtool("inspect", "--json", path.name, cwd=tmp_path)
    messages = told(answer)
    assert answer.returncode == 2, messages
    (message,) = messages.splitlines()
    assert json.loads(answer.stdout)["error"] == message.removeprefix("romtool: ")
    found = re.fullmatch(rf"romtool: {re.escape(path.name)}:(\d+):\d+: [^;]+; .+", message)
    assert found, message
    assert int(found[1]) in case.named, message
