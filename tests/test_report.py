"""The page of `romtool report`: what it says, compared with the image's own bytes, and its form.

The parser is of other hands and strict; the browser's part stands in test_report_browser.py.
Offsets are counted by hand: 4 bytes of signature and count, 19 configuration bytes, then the
identifier (Spec 6.1) at 17h.
"""

from __future__ import annotations

import hashlib
import os
import random
import re
import shutil
import subprocess
import sys
import tomllib
from itertools import pairwise
from pathlib import Path
from xml.etree.ElementTree import Element

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romtool import __version__
from romtool.assign.assign import assign
from romtool.assign.host import Host
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.report import grids, model, ports, regions
from romtool.report.model import report_of
from romtool.report.page import page
from romtool.report.pc import InThatPC
from romtool.report.subject import Subject
from romtool.requirements.collide import Placed
from romtool.requirements.read import requirements_of
from romtool.rules.check import check
from tests.support import amount
from tests.support.amount import examples
from tests.support.pages import (
    HTML,
    SVG,
    by_id,
    found,
    parsed,
    rows,
    section,
    text,
    with_class,
)
from tests.support.tool import identifier, identifier_checksum, inspected, romtool, told

ROOT = Path(__file__).resolve().parent.parent
SAMPLE = ROOT / "samples" / "hollow-lane.toml"
FAULTS = ROOT / "samples" / "tour" / "faults.toml"
END_CHECKSUM_AT = 0x110
PART = 1 if amount.is_whole else 40
"""The usual run's pages leave out rows after this part of what a page shows."""

MOST = {
    regions: "MOST_ENTRIES",
    grids: "MOST_ROWS",
    ports: "MOST_ROWS",
    model: "MOST_FINDINGS",
}
"""How many of what a page shows."""

MOST_BYTES = (3 << 20) if amount.is_whole else (1 << 19)
"""A page that a browser still opens at once."""

HOSTILE = "<script>alert(1)</script>&\"'{{ 7 * 7 }}"


@pytest.fixture(scope="module")
def image(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The image of the sample."""
    folder = tmp_path_factory.mktemp("image")
    run = romtool("build", str(SAMPLE), "-o", str(folder), "--format", "bin")
    assert run.returncode == 0, told(run)
    return (folder / "hollow-lane.bin").read_bytes()


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Element:
    """The sample's page."""
    return parsed(reported(tmp_path_factory.mktemp("page"), str(SAMPLE)))


def reported(folder: Path, *args: str) -> bytes:
    """The page that the command writes."""
    path = folder / "page.html"
    run = romtool("report", *args, "-o", str(path), "--force", cwd=folder)
    assert run.returncode == 0, told(run)
    assert told(run) == ""
    return path.read_bytes()


def of_bytes(folder: Path, data: bytes, *args: str) -> bytes:
    """The page about these bytes."""
    (folder / "image.bin").write_bytes(data)
    return reported(folder, "image.bin", *args)


def card(name: bytes, items: bytes = b"") -> bytes:
    """An image without a frame: identifier, version, name, device, items, end (Spec 6.1, 6.2)."""
    head = identifier("QRL0301", 1) + bytes.fromhex("0A 10 00")
    named = b"\x82" + len(name).to_bytes(2, "little") + name
    device = bytes.fromhex("15 46 4C 00 01 00")
    data = head + named + device + items + bytes.fromhex("79")
    return data + bytes([-sum(data[9:]) % 256])


# --- the command


def test_default_name(tmp_path: Path) -> None:
    """STEM.html in the current folder; an existing file is left alone unless --force."""
    run = romtool("report", str(SAMPLE), cwd=tmp_path)
    assert (run.returncode, run.stdout) == (0, b"wrote hollow-lane.html\n")
    assert os.listdir(tmp_path) == ["hollow-lane.html"]
    before = (tmp_path / "hollow-lane.html").read_bytes()
    (tmp_path / "hollow-lane.html").write_bytes(b"mine")
    again = romtool("report", str(SAMPLE), cwd=tmp_path)
    assert again.returncode == 2
    assert told(again) == "romtool: hollow-lane.html: exists already; give --force to replace it\n"
    assert (tmp_path / "hollow-lane.html").read_bytes() == b"mine"
    assert romtool("report", str(SAMPLE), "--force", cwd=tmp_path).returncode == 0
    assert (tmp_path / "hollow-lane.html").read_bytes() == before


def test_from_standard_input(tmp_path: Path, image: bytes) -> None:
    run = romtool("report", "-", cwd=tmp_path, stdin=image)
    assert (run.returncode, run.stdout) == (0, b"wrote image.html\n")
    assert "standard input" in text(parsed((tmp_path / "image.html").read_bytes()))


def test_unusable(tmp_path: Path) -> None:
    run = romtool("report", "nowhere.bin", cwd=tmp_path)
    assert run.returncode == 2
    assert told(run).startswith("romtool: nowhere.bin: no such file")
    assert os.listdir(tmp_path) == []


def test_same_input_same_bytes(tmp_path: Path) -> None:
    """Whatever the folder, the time zone, the locale and the order of sets."""
    made = []
    for number, zone in enumerate(("UTC", "Pacific/Auckland")):
        folder = tmp_path / zone.replace("/", "-")
        folder.mkdir()
        shutil.copy(SAMPLE, folder)
        program = Path(sys.executable).with_name("romtool")
        env = {**os.environ, "TZ": zone, "LC_ALL": "C", "PYTHONHASHSEED": str(number)}
        command = [str(program), "report", "hollow-lane.toml"]
        subprocess.run(command, cwd=folder, env=env, check=True, capture_output=True, timeout=300)
        made.append((folder / "hollow-lane.html").read_bytes())
    assert made[0] == made[1]


# --- the form of any page


def kinds(folder: Path, image: bytes) -> dict[str, bytes]:
    """Images of every kind that a page must be able to show."""
    late = random.Random(6)
    return {
        "whole": image,
        "cut": image[:100],
        "one byte": image[:1],
        "blank": b"\xff" * 512,
        "zeros": bytes(128),
        "unreadable": late.randbytes(2048),
        "unreadable, 64 KiB": late.randbytes(0x10000),
        "blank, 64 KiB": b"\xff" * 0x10000,
        "hostile name": card(HOSTILE.encode()),
        "control characters": card(b"a\x00b\x1b[31m\r\n\x7f\x85\x9f\xa0\xff"),
        "long name": card(b"x" * 0xFF00),
        "many devices": card(b"many", bytes.fromhex("15 46 4C 00 01 00") * (10_000 // PART)),
        "many choices": card(b"many", b"\x30" * (30_000 // PART) + b"\x38"),
        "many ranges": card(
            b"many",
            b"".join(
                b"\x31\x00\x47" + bytes([n & 1]) + n.to_bytes(2, "little") + b"\xff\xff\x01\xff"
                for n in range(5_000 // PART)
            )
            + b"\x38",
        ),
    }


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory, image: bytes) -> dict[str, bytes]:
    """The pages about images of every kind, and about profiles and pairs."""
    folder = tmp_path_factory.mktemp("pages")
    with pytest.MonkeyPatch.context() as patch:
        for place, name in MOST.items():
            patch.setattr(place, name, getattr(place, name) // PART)
        made = {name: of_bytes(folder, data) for name, data in kinds(folder, image).items()}
    made["profile"] = reported(folder, str(SAMPLE))
    made["faults"] = reported(folder, str(FAULTS))
    made["marked"] = reported(folder, str(SAMPLE.with_name("hollow-lane-marked.toml")))
    made["two"] = reported(folder, str(FAULTS), str(SAMPLE))
    (folder / "image.bin").write_bytes(image)
    made["same"] = reported(folder, str(SAMPLE), "image.bin")
    (folder / "blank.bin").write_bytes(b"\xff" * 256)
    made["two, unreadable"] = reported(folder, str(SAMPLE), "blank.bin")
    return made


PARSED: dict[bytes, Element] = {}


def each(pages: dict[str, bytes]) -> dict[str, Element]:
    """The pages, each parsed once: a strict parser in Python takes seconds for the largest."""
    for made in pages.values():
        if made not in PARSED:
            PARSED[made] = parsed(made)
    return {name: PARSED[made] for name, made in pages.items()}


def test_well_formed_and_small(pages: dict[str, bytes]) -> None:
    for name, made in pages.items():
        assert len(made) < MOST_BYTES, name
    each(pages)


def test_nothing_from_outside(pages: dict[str, bytes]) -> None:
    """Nothing that a browser would ask for; links stay in the page, and lead somewhere."""
    for name, root in each(pages).items():
        code = [text(one) for tag in ("style", "script") for one in found(root, tag)]
        for outside in ("http", "url(", "@import", "import(", "fetch", "XMLHttp", "data:"):
            assert not [one for one in code if outside in one], (name, outside)
        for tag in ("link", "img", "iframe", "object", "embed", "image", "use", "base"):
            assert not found(root, tag) + found(root, tag, SVG), (name, tag)
        assert not [one for one in root.iter() if {"src", "srcset", "style"} & set(one.keys())], (
            name
        )
        ids = [one.get("id") for one in root.iter() if one.get("id")]
        known = set(ids)
        assert len(ids) == len(known), name
        for link in root.iter():
            href = link.get("href")
            assert href is None or (href[0] == "#" and href[1:] in known), (name, href)


def test_form(pages: dict[str, bytes]) -> None:
    """Language, title, landmarks, headings in order, tables with headers, drawings with names."""
    for name, root in each(pages).items():
        assert root.get("lang") == "en", name
        assert text(found(root, "title")[0]), name
        for landmark in ("header", "nav", "main", "footer", "h1"):
            assert len(found(root, landmark)) == 1, (name, landmark)
        levels = [int(one.tag[-1]) for one in root.iter() if re.fullmatch(f"{HTML}h[1-6]", one.tag)]
        assert levels[0] == 1, name
        assert all(b <= a + 1 for a, b in pairwise(levels)), (name, levels)
        headings = {one.get("id") for one in root.iter() if re.fullmatch(f"{HTML}h2", one.tag)}
        for part in found(root, "section"):
            assert part.get("aria-labelledby") in headings, name
        for table in found(root, "table"):
            assert len(found(table, "caption")) == 1, name
            assert found(table, "th"), name
        for head in found(root, "th"):
            assert head.get("scope") in ("col", "row", "rowgroup"), name
        for drawing in found(root, "svg", SVG):
            assert drawing.get("aria-hidden") == "true" or drawing.get("aria-label"), name
        for link in found(root, "a", SVG):
            assert link.get("aria-label"), name


def test_no_control_characters(pages: dict[str, bytes]) -> None:
    for name, made in pages.items():
        strange = {char for char in made.decode() if not char.isprintable() and char != "\n"}
        assert not strange, (name, strange)


def test_every_box_has_its_row(pages: dict[str, bytes]) -> None:
    """Each entry of the table has a box in the map that leads to it, and no box has none."""
    for name, root in each(pages).items():
        entries = [one.get("id") for one in found(root, "tr") if (one.get("id") or "")[:1] == "b"]
        boxes = [link.get("href", "")[1:] for link in found(root, "a", SVG)]
        assert list(dict.fromkeys(boxes)) == entries, name


@settings(max_examples=examples(60), deadline=None)
@given(st.binary(min_size=1, max_size=400), st.text(max_size=20))
def test_any_bytes(data: bytes, name: str) -> None:
    """Whatever the bytes and the name: a well-formed page, with all bytes in it."""
    catalog = load_catalog()
    read = decode(catalog, data)
    made = page(report_of(Subject(name, "raw", read, None, check(read))))
    root = parsed(made.encode())
    at = 0
    for row in found(by_class(root, "bytes"), "tr"):
        if row.get("id"):
            assert row.get("id") == f"b{at:04X}"
            shown = text(row[1])
            if "…" in shown:
                break
            assert bytes.fromhex(shown) == data[at : at + len(bytes.fromhex(shown))]
            at += len(bytes.fromhex(shown))
    else:
        assert at == len(data)


def by_class(root: Element, name: str) -> Element:
    """The one table of a class."""
    (one,) = (one for one in with_class(root, name) if one.tag == f"{HTML}table")
    return one


# --- what it says


def hosted(image: bytes, host: Host) -> Element:
    """The page about an image in a PC."""
    catalog = load_catalog()
    read = decode(catalog, image)
    pc = InThatPC(host, assign(catalog, [requirements_of(read)], host))
    subject = Subject("card.bin", "raw", read, "24C04", check(read))
    return parsed(page(report_of(subject, pc)).encode())


def test_glance(sample: Element) -> None:
    """Verdict and facts come first, as the profile has them."""
    first = found(sample, "section")[0]
    assert text(by_id(first, "verdict")) == "No faults found"
    facts = with_class(first, "facts")[0]
    assert {text(fact[0]): text(fact[1]) for fact in facts} == {
        "card ID": "QRL0301",
        "serial number": "1 00000001h",
        "devices": "3",
        "layout": "counted-19 from memory: check against the chip's data sheet and a donor dump "
        "before burning",
        "part": "24C04 512 bytes",
        "bytes used": "273 PnP data to 110h",
    }
    assert text(found(sample, "h1")[0]) == "Hollow Lane audio card"


def test_every_byte(sample: Element, image: bytes) -> None:
    """The rows hold the image's bytes in order; meanings are those of `inspect --bytes`."""
    answer = inspected("--bytes", str(SAMPLE))["bytes"]
    entries = [row for row in found(by_class(sample, "bytes"), "tr") if row.get("id")]
    assert len(entries) == len(answer)
    at = 0
    for row, told_row in zip(entries, answer, strict=True):
        assert text(row[0]) == f"{told_row['offset']:04X}" == f"{at:04X}"
        assert [text(one) for one in found(row[2], "p")] == told_row["meanings"]
        if "…" not in text(row[1]):
            assert bytes.fromhex(text(row[1])) == image[at : at + len(bytes.fromhex(text(row[1])))]
        at += len(bytes.fromhex(told_row["raw"]))
    assert at == len(image)


def test_map(sample: Element, image: bytes) -> None:
    """Sixteen bytes a line; of the fill only the first and the last lines, and how much else."""
    drawn = [text(one) for one in found(by_id(sample, "boxes"), "text", SVG)]
    lines = [one for one in drawn if re.fullmatch(r"([0-9A-F]{2}){16}", one)]
    assert [bytes.fromhex(one) for one in lines] == [
        image[at : at + 16] for at in range(0, 512, 16) if at <= 0x110 or at == 0x1F0
    ]
    assert "… 208 bytes of FF, to 01EF …" in drawn


def test_grids(sample: Element) -> None:
    """Pins and offers stand in the columns of their lines, as the profile has them."""
    irq, dma = (table for table in found(sample, "table") if table.get("class") == "grid")
    assert [text(one) for one in irq.iter(f"{HTML}caption")] == ["IRQ lines"]
    lines, pins = rows(irq)[:2]
    assert lines[1:] == [str(line) for line in range(16)]
    assert {int(line): pin for line, pin in zip(lines[1:], pins[1:], strict=True) if pin} == {
        5: "A",
        7: "B",
        9: "C",
        11: "D",
    }
    offers = [
        (row[0], [line for line, mark in enumerate(row[1:]) if mark == "●offered"])
        for row in rows(irq)[2:]
        if len(row) > 1
    ]
    assert offers == [
        ("1 good", [5]),
        ("2 acceptable", [5, 7, 9]),
        ("3 sub-optimal", [5, 7, 9, 11]),
        ("1 good", [9]),
        ("2 acceptable", [5, 7, 9, 11]),
        ("1 good", [7]),
        ("2 acceptable", [7, 9, 11]),
    ]
    barred = [text(one) for one in found(irq, "th") if "barred" in one.get("class", "")]
    assert barred == ["0", "1", "8", "13"]  # common practice, no source
    assert rows(dma)[0][1:] == [str(line) for line in range(8)]


def test_offered_without_a_pin(pages: dict[str, bytes]) -> None:
    """The tour's faulty profile offers IRQ 10, which no pin is wired to."""
    root = parsed(pages["faults"])
    marked = [text(one) for one in with_class(root, "no-pin") if one.tag == f"{HTML}td"]
    assert marked == ["⊘offered, but on no pin of the chip"]
    assert text(by_id(root, "verdict")) == "Not fit to burn"
    first, second = with_class(section(root, "findings"), "what")
    assert text(first).startswith("error line 60: device QRL0002, choice 1: IRQ 10 is offered")
    assert text(second) == "error line 92: end checksum is 55h, the items make E6h"
    assert found(second, "a")[0].get("href") == f"#b{END_CHECKSUM_AT:04X}"
    assert len(with_class(by_id(root, "boxes"), "flag")) == 2


def test_ports(sample: Element) -> None:
    """A range stands once, with all choices that ask for it; 534h lies outside, and is not drawn.

    Places count from 200h, the first port of the strips.
    """
    strips: dict[str, Element] = {}
    for row in found(by_class(sample, "lanes"), "tr"):
        if row[0].get("scope") == "row":
            strips[text(row[0])] = row[1]
    drawn = {
        words: {one.get("class"): one.get("d") for one in found(strip, "path", SVG)}
        for words, strip in strips.items()
    }
    assert drawn["I/O 220h-22Fh choice 1"] == {"fixed": "M32 4h16v15h-16z"}
    assert drawn["I/O 388h-38Bh choices 1, 2"] == {"fixed": "M392 4h4v15h-4z"}
    assert drawn["I/O 534h-537h choice 1; outside 200h to 3FFh: not drawn"] == {}
    places = drawn["I/O 220h to 280h, 16 ports, every 20h choices 2, 3"]["may-be"]
    assert places is not None
    assert re.findall(r"M(\d+) ", places) == ["32", "64", "96", "128"]
    together = with_class(sample, "owned")
    assert [one.get("d") for one in together[:2]] == [
        "M32 0h16v26h-16zM392 0h4v26h-4z",
        "M304 0h2v26h-2z",
    ]


def test_sums(sample: Element, pages: dict[str, bytes], image: bytes) -> None:
    """Stored beside computed, by sums made here."""
    own = identifier_checksum(image[0x17:0x1F])
    end = -sum(image[0x20:END_CHECKSUM_AT]) % 256
    assert rows(by_class(sample, "sums"))[1:] == [
        ["signature", "0000", "55 BB", "55 BB", "right"],
        ["byte count", "0002", "250", "250", "right"],
        ["identifier checksum", "001F", f"{own:02X}h", f"{own:02X}h", "right"],
        ["end, end checksum", "0110", f"{end:02X}h", f"{end:02X}h", "right"],
    ]
    wrong = rows(by_class(parsed(pages["faults"]), "sums"))[-1]
    assert wrong == ["end, end checksum", "0110", "55h", "E6h", "wrong"]


def test_made(sample: Element, image: bytes) -> None:
    """Where it is from, its SHA-256, the profile without its comments, and romtool's version."""
    made = section(sample, "made")
    assert hashlib.sha256(image).hexdigest() in text(made)
    assert f"romtool {__version__}" in text(made)
    profile = "".join(found(made, "pre")[0].itertext())
    assert tomllib.loads(profile) == tomllib.loads(SAMPLE.read_text(encoding="utf-8"))
    assert not [line for line in profile.splitlines() if line.startswith("#")]


def test_differences(pages: dict[str, bytes]) -> None:
    """One changed line is one row; the bytes are marked in the map."""
    root = parsed(pages["two"])
    changes = rows(by_class(root, "changes"))[1:]
    assert changes[0] == ["device QRL0002, choice 1", "IRQ 10", "IRQ 9"]
    assert "The second image differs" in text(found(root, "section")[0])
    assert with_class(by_id(root, "boxes"), "changed")
    same = parsed(pages["same"])
    assert "The second image is the same" in text(found(same, "section")[0])
    assert not with_class(same, "changes")
    assert "blank.bin" in text(section(parsed(pages["two, unreadable"]), "other"))


def test_in_a_pc(image: bytes) -> None:
    """IRQ 5 and the ports at 220h are taken: the best that is left, by the contract's order.

    Device 1 then has choice 2 at best (7 or 9), so one of the others can't have its first choice
    (9 and 7): the choices 2, 1, 2 come before 2, 2, 1, and 7 is the smaller line for device 1.
    """
    host = Host("A <b>PC</b>", irq=[4, 5], dma=[2], io=[Placed(0x220, 16, 10)])
    root = hosted(image, host)
    first = text(found(root, "section")[0])
    assert (
        "Fits A <b>PC</b> QRL0001 gets choice 2 acceptable; QRL0003 gets choice 2 acceptable."
        in first
    )
    titles, *given_out = rows(by_class(root, "given-out"))
    assert titles == ["Device", "Choice", "IRQ line", "DMA channel", "I/O port range"]
    assert given_out == [
        [
            "1 QRL0001 Digital audio and FM",
            "2 acceptable",
            "7, pin B",
            "1, pin B",
            "240h-24Fh, 388h-38Bh",
        ],
        ["2 QRL0002 MIDI UART", "1 good", "9, pin C", "", "330h-331h"],
        ["3 QRL0003 16-bit codec", "2 acceptable", "11, pin D", "3, pin C", "534h-537h"],
    ]
    irq = next(table for table in found(root, "table") if table.get("class") == "grid")
    taken = next(row for row in rows(irq) if row[0] == "A <b>PC</b>")
    assert [line for line, mark in enumerate(taken[1:]) if mark] == [4, 5]
    marks = [row[1:] for row in rows(irq) if row[0] == "2 acceptable"]
    assert marks[0][5] == "✕offered, but taken there"
    assert [row.index("◆given to it") for row in marks if "◆given to it" in row] == [7, 11]
    port_rows = [row[0] for row in rows(by_class(root, "lanes"))]
    assert "220h-22Fh, 10-bit decode taken; also answers at 620h, A20h, E20h: every 400h above" in (
        port_rows
    )
    assert any("given 240h-24Fh" in words for words in port_rows)
    assert len(with_class(root, "tag")) == 3


def test_undriven(tmp_path: Path) -> None:
    """The tour's faulty profile offers IRQ 10 first, and gets it: the page says that no pin has it.

    In the sample's host the best for the others leaves IRQ 10 alone; common practice, no source.
    """
    host = ROOT / "schemas" / "hosts" / "workshop.toml"
    root = parsed(reported(tmp_path, str(FAULTS), "--host", str(host)))
    marked = [text(one) for one in with_class(root, "undriven") if one.tag == f"{HTML}td"]
    assert marked == ["◇given to it, but on no pin of the chip"]
    heads = [text(one) for one in found(root, "h2")]
    assert "In Hollow Lane workshop PC" in heads
    assert "Fits Hollow Lane workshop PC, but not its own wiring" in heads
    words = "QRL0002: no pin of the chip is wired to IRQ 10"
    assert [text(one) for one in with_class(root, "warnings")[0]] == [words]


def test_wrong_host(tmp_path: Path) -> None:
    """A fault of the host file is told with its place, and nothing is written."""
    (tmp_path / "pc.toml").write_text("irq = [16]\n", encoding="utf-8")
    run = romtool("report", str(SAMPLE), "--host", "pc.toml", cwd=tmp_path)
    assert run.returncode == 2
    assert told(run).startswith("romtool: pc.toml:1:8: ")
    assert os.listdir(tmp_path) == ["pc.toml"]


def test_not_in_that_pc(image: bytes) -> None:
    """With all wired lines taken, what stands in the way is told, and who gets nothing."""
    root = hosted(image, Host(irq=[5, 7, 9, 11]))
    assert "Does not fit an empty PC At best 3 devices" in text(found(root, "section")[0])
    *taken, asks = [text(one) for one in with_class(root, "conflict")[0]]
    assert re.fullmatch(r"QRL000[123] of card.bin accepts only IRQ [0-9, or]+", asks)
    wanted = set(re.findall(r"\d+", asks.partition("IRQ")[2]))
    assert taken == [f"IRQ {line} is taken by an empty PC" for line in sorted(wanted, key=int)]
    assert "or free what the PC has taken" in text(section(root, "pc"))
    assert [row[1] for row in rows(by_class(root, "given-out"))[1:]] == ["✕ gets nothing"] * 3


@pytest.mark.parametrize(
    ("name", "words", "rule"),
    [
        ("blank", "Blank, or not read", "blank"),
        ("zeros", "Blank, or not read", "zero"),
        ("unreadable", "Unreadable", "no-frame"),
        ("one byte", "Blank, or not read", "no-frame"),
        ("cut", "Not fit to burn", "no-end"),
    ],
)
def test_what_is_no_card(pages: dict[str, bytes], name: str, words: str, rule: str) -> None:
    root = parsed(pages[name])
    assert text(by_id(root, "verdict")) == words
    assert f"{rule}," in text(section(root, "findings"))


def test_commands_in_findings(pages: dict[str, bytes]) -> None:
    """What a finding says to run is marked as such, without the backticks of a terminal."""
    findings = section(parsed(pages["unreadable"]), "findings")
    assert [text(one) for one in found(findings, "code")] == ["recover"]
    assert "`" not in text(findings)


@pytest.mark.parametrize(
    ("kind", "words"), [("bin", "raw binary"), ("hex", "Intel HEX"), ("srec", "S-record")]
)
def test_formats(tmp_path: Path, kind: str, words: str) -> None:
    """What an image was read from is told; its bytes and its SHA-256 are the same."""
    run = romtool("build", str(SAMPLE), "-o", str(tmp_path), "--format", f"bin,{kind}")
    assert run.returncode == 0, told(run)
    made = section(parsed(reported(tmp_path, f"hollow-lane.{kind}")), "made")
    assert f"hollow-lane.{kind}, {words}" in text(made)
    assert hashlib.sha256((tmp_path / "hollow-lane.bin").read_bytes()).hexdigest() in text(made)
    assert not found(made, "pre")


def test_own_layout(tmp_path: Path) -> None:
    """A frame of a user's own is shown as any other: its fields, its wiring, its checksum."""
    schemas = ROOT / "samples" / "schemas"
    profile = SAMPLE.read_text(encoding="utf-8").replace("counted-19", "hollow-lane-24")
    profile = re.sub(r"(?ms)^\[config\].*?(?=^\[card\])", "", profile)
    (tmp_path / "own.toml").write_text(profile, encoding="utf-8")
    root = parsed(reported(tmp_path, "own.toml", "--schemas", str(schemas)))
    sums = {row[0]: row[-1] for row in rows(by_class(root, "sums"))}
    assert sums["frame checksum"] == "right"
    irq = next(table for table in found(root, "table") if table.get("class") == "grid")
    pins = next(row for row in rows(irq) if row[0] == "chip's pin")
    assert {line: pin for line, pin in enumerate(pins[1:]) if pin} == {
        5: "A",
        7: "B",
        9: "C",
        10: "D",
    }


def test_hostile_names(pages: dict[str, bytes], tmp_path: Path) -> None:
    """What stands in an image, a name of a file or a profile is text, whatever it looks like."""
    root = parsed(pages["hostile name"])
    assert text(found(root, "h1")[0]) == HOSTILE
    assert len(found(root, "script")) == 1
    odd = tmp_path / "<img src=x onerror=alert(1)>&'.toml"
    comment = '[board]\nname = "x" # </code></pre><script>alert(2)</script> \x7f \u202e\n'
    odd.write_text(SAMPLE.read_text(encoding="utf-8") + comment.replace("\x7f ", ""), "utf-8")
    run = romtool("report", odd.name, cwd=tmp_path)
    assert run.returncode == 0, told(run)
    made = parsed(odd.with_suffix(".html").read_bytes())
    assert odd.name in text(found(made, "header")[0])
    assert text(found(made, "pre")[0]).endswith("</code></pre><script>alert(2)</script> \\u202e")
    assert len(found(made, "script")) == 1
    assert not found(made, "img")


def test_control_characters_are_written_out(pages: dict[str, bytes]) -> None:
    shown = text(section(parsed(pages["control characters"]), "bytes"))
    assert "61 00 62 1B 5B 33 31 6D 0D 0A 7F 85 9F A0 FF" in shown
