"""Reads spoilt on purpose, and what `romtool recover` makes of them.

The images come from the independent witness, the faults from tests.support.spoil. How reads go
wrong is common practice, no source; which faults are undone, and what has to be proven first, is
the tool's contract. Each case has one reasonable answer only, which test_decidable holds it to.
"""

from __future__ import annotations

import itertools
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

import pytest

from tests.support import spoil
from tests.support.independent import FRAMES, PARTS, encode, frame_bytes, pnp_bytes, spaced
from tests.support.profiles import generate, needed
from tests.support.tool import romtool, told

PATCH = spaced(bytes(Random(7).randrange(1, 255) for _ in range(40)))


def original(
    layout: str,
    size: int,
    seed: int,
    *,
    fill: int = 0xFF,
    patch: str = "",
    typical: bool = False,
    free: int | None = None,
) -> bytes:
    """A seeded card in the smallest part that holds it; `free`: just so many bytes of fill."""
    part = next(name for name, held in PARTS.items() if held == size)
    for shift in range(1000):
        profile = generate(Random(seed * 1000 + shift), layout)
        profile["image"] = {"layout": layout, "part": part, "fill": fill, "patch": patch}
        if typical:
            profile.pop("config", None)
        if free is not None:  # a vendor defined item takes the rest (Spec 6.2.3.4)
            spare = size - free - needed(profile) - 3
            if not 0 <= spare <= 64:
                continue
            entries = profile["card"].setdefault("resources", [])
            entries.append({"vendor": "5A " * spare, "form": "large"})
        # So much fill that an offset pushes no data off the end; an end checksum of 0 or 1 could
        # be taken for one that says "not checked".
        elif not size // 2 < needed(profile) <= size - 24:
            continue
        if pnp_bytes(profile)[-1] > 1:
            return encode(profile)
    raise AssertionError(f"no card fills {layout} to {size}")


@dataclass(frozen=True)
class Case:
    """Reads, and the image that they are reads of."""

    name: str
    image: bytes
    layout: str
    reads: list[bytes]
    told_layout: bool = False
    """Whether the layout has to be said on the command line."""
    doubtful: list[int] = field(default_factory=list)
    """Bits of the PnP data that the reads leave open."""

    @property
    def options(self) -> list[str]:
        """What the command line says."""
        return ["--layout", self.layout] if self.told_layout else []


def content_at(image: bytes, layout: str) -> list[int]:
    """Places in the image of the content bytes of its items, version and end item left out.

    A byte there can't change where the next item starts.
    """
    at, end = spoil.pnp_span(image, layout)
    at += 12
    places: list[int] = []
    while at < end - 2:
        header, length = (3, image[at + 1] + 256 * image[at + 2]) if image[at] & 0x80 else (1, 0)
        length = length or (0 if image[at] & 0x80 else image[at] & 7)
        places += range(at + header, at + header + length)
        at += header + length
    return places


def bad_reads() -> Iterator[Case]:
    """One read with one fault."""
    # Byte pairs swapped.
    image = original("plain", 256, 1)
    yield Case("swapped-plain", image, "plain", [spoil.swap_pairs(image)])
    image = original("counted-19", 512, 2)
    yield Case("swapped-counted-19", image, "counted-19", [spoil.swap_pairs(image)])
    image = original("marked-8", 256, 3, free=2)
    yield Case("swapped-marked-8-nearly-full", image, "marked-8", [spoil.swap_pairs(image)])

    # Longer than the part.
    image = original("plain", 128, 4)
    yield Case("twice-plain", image, "plain", [spoil.repeat(image, 256)])
    image = original("counted-7", 512, 5)
    yield Case("four-times-counted-7", image, "counted-7", [spoil.repeat(image, 2048)])
    image = original("counted-19", 512, 6, patch=PATCH)
    yield Case("twice-counted-19-patch", image, "counted-19", [spoil.repeat(image, 1024)])

    # One bit late: the bit lost at the end is fill, or the end checksum decides it.
    image = original("plain", 512, 7)
    yield Case("late-plain", image, "plain", [spoil.one_bit_late(image)])
    image = original("counted-19", 256, 8, fill=0)
    yield Case("late-counted-19-fill-00", image, "counted-19", [spoil.one_bit_late(image)])
    image = original("marked-8", 512, 9, free=0)
    last = len(image) * 8 - 8  # the lowest bit of the last byte
    late = spoil.one_bit_late(image)
    yield Case("late-marked-8-full", image, "marked-8", [late], doubtful=[last])

    # Cut short after the end item.
    image = original("plain", 256, 10)
    yield Case(
        "cut-plain-behind-the-end", image, "plain", [image[: spoil.pnp_span(image, "plain")[1]]]
    )
    image = original("counted-7", 1024, 11)
    yield Case("cut-counted-7-in-fill", image, "counted-7", [image[: len(image) - 8]])
    image = original("counted-19", 512, 12, fill=0, patch=PATCH)
    yield Case("cut-counted-19-patch-fill-00", image, "counted-19", [image[: len(image) - 9]])

    # Bytes before the image.
    image = original("plain", 512, 13)
    yield Case("offset-plain-end-pushed-off", image, "plain", [spoil.push(image, b"\xff" * 16)])
    image = original("counted-19", 512, 14, patch=PATCH)
    lead = bytes(Random(14).randrange(0x60, 0xA0) for _ in range(37))
    yield Case("offset-counted-19-patch-longer", image, "counted-19", [lead + image])
    image = original("marked-8", 256, 15, typical=True)
    yield Case("offset-marked-8-end-pushed-off", image, "marked-8", [spoil.push(image, bytes(3))])

    # Only the PnP data kept.
    image = original("counted-19", 256, 16, typical=True)
    data = spoil.lose_frame(image, "counted-19")
    yield Case("lost-frame-counted-19", image, "counted-19", [data], told_layout=True)
    image = original("counted-7", 512, 17, typical=True)
    data = spoil.lose_frame(image, "counted-7", 512)
    yield Case("lost-frame-counted-7-filled", image, "counted-7", [data], told_layout=True)
    image = original("marked-8", 512, 18, typical=True)
    data = image[spoil.pnp_span(image, "marked-8")[0] :]
    yield Case("lost-frame-marked-8-with-its-fill", image, "marked-8", [data], told_layout=True)


def votes_and_hex() -> Iterator[Case]:
    """Several reads, and what other programs saved."""
    # A few bits that differ from read to read.
    image = original("plain", 512, 19)
    reads = spoil.flipped_reads(image, 19, [5, 7, 3], (0, len(image)))
    yield Case("three-reads-plain", image, "plain", reads)
    image = original("marked-8", 256, 20, fill=0)
    reads = spoil.flipped_reads(image, 20, [9, 9, 9], (0, len(image)))
    yield Case("three-reads-marked-8-fill-00", image, "marked-8", reads)
    # Two reads: what the PnP data says there is settled by its checksums, the rest is fill. Bits
    # of unlike weight can't make up for each other in the end checksum, a sum.
    image = original("counted-7", 512, 21)
    content = content_at(image, "counted-7")
    ties = [place * 8 + bit for place, bit in zip(content[5::9], (1, 4, 6), strict=False)]
    spare = [len(image) * 8 - 33, len(image) * 8 - 70]
    reads = [spoil.flip(image, [*ties[:2], spare[0]]), spoil.flip(image, [*ties[2:], spare[1]])]
    yield Case("two-reads-counted-7", image, "counted-7", reads, doubtful=ties)
    image = original("plain", 256, 22)
    content = content_at(image, "plain")
    ties = [2 * 8 + 5, 6 * 8 + 1, content[3] * 8 + 7]  # two of them in the identifier
    reads = [spoil.flip(image, ties[:1]), spoil.flip(image, ties[1:])]
    yield Case("two-reads-plain-identifier", image, "plain", reads, doubtful=ties)

    # Saved as Intel HEX.
    image = original("marked-8", 128, 23)
    yield Case("hex-offset-marked-8", image, "marked-8", [spoil.hex_text(image, 0x100)])
    image = original("counted-19", 512, 24)
    hole = content_at(image, "counted-19")[20]
    text = spoil.hex_text(image, holes=[(hole, hole + 1)])
    doubtful = list(range(hole * 8, hole * 8 + 8))
    yield Case("hex-gap-in-items-counted-19", image, "counted-19", [text], doubtful=doubtful)
    image = original("plain", 512, 25)
    hole = spoil.pnp_span(image, "plain")[1] + 5
    yield Case(
        "hex-gap-in-fill-plain", image, "plain", [spoil.hex_text(image, holes=[(hole, hole + 10)])]
    )
    image = original("marked-8", 256, 26)
    hole = spoil.pnp_span(image, "marked-8")[0] + 3
    text = spoil.hex_text(image, holes=[(hole, hole + 1)])
    doubtful = list(range(hole * 8, hole * 8 + 8))
    yield Case("hex-gap-in-identifier-marked-8", image, "marked-8", [text], doubtful=doubtful)


def two_faults() -> Iterator[Case]:
    """Each pair of the faults that one read can have."""
    image = original("counted-19", 256, 31)
    read = spoil.swap_pairs(spoil.repeat(image, 512))
    yield Case("swapped-and-twice-counted-19", image, "counted-19", [read])
    image = original("plain", 256, 32)
    read = spoil.swap_pairs(spoil.one_bit_late(image))
    yield Case("late-and-swapped-plain", image, "plain", [read])
    image = original("counted-7", 512, 33)
    read = spoil.swap_pairs(spoil.push(image, b"\xff" * 6))
    yield Case("offset-and-swapped-counted-7", image, "counted-7", [read])
    image = original("marked-8", 128, 34)
    read = spoil.one_bit_late(spoil.repeat(image, 256))
    yield Case("twice-and-late-marked-8", image, "marked-8", [read])
    image = original("counted-7", 256, 35, fill=0)
    read = bytes(5) + spoil.repeat(image, 512)
    yield Case("twice-and-offset-counted-7", image, "counted-7", [read])
    image = original("counted-19", 512, 36)
    read = spoil.one_bit_late(spoil.push(image, b"\xff" * 11))
    yield Case("offset-and-late-counted-19", image, "counted-19", [read])
    image = original("marked-8", 256, 37, typical=True)
    read = spoil.swap_pairs(spoil.lose_frame(image, "marked-8", 256))
    yield Case("lost-frame-and-swapped-marked-8", image, "marked-8", [read], told_layout=True)
    image = original("counted-7", 256, 38, typical=True)
    read = spoil.one_bit_late(spoil.lose_frame(image, "counted-7", 256))
    yield Case("lost-frame-and-late-counted-7", image, "counted-7", [read], told_layout=True)
    image = original("counted-19", 512, 39, typical=True)
    read = spoil.repeat(spoil.lose_frame(image, "counted-19", 512), 1024)
    yield Case("lost-frame-and-twice-counted-19", image, "counted-19", [read], told_layout=True)
    image = original("counted-19", 256, 40, typical=True)
    read = b"\xff" * 4 + spoil.lose_frame(image, "counted-19")
    yield Case("lost-frame-and-offset-counted-19", image, "counted-19", [read], told_layout=True)


def more_faults() -> Iterator[Case]:
    """Pairs in the other order, pairs with votes, cuts and HEX, and a large part."""
    image = original("counted-19", 256, 51)
    yield Case(
        "more-swapped-and-late", image, "counted-19", [spoil.one_bit_late(spoil.swap_pairs(image))]
    )
    image = original("plain", 256, 52)
    read = spoil.repeat(spoil.one_bit_late(image), 1024)
    yield Case("more-late-and-four-times", image, "plain", [read])
    image = original("counted-7", 512, 53)
    reads = spoil.flipped_reads(image, 53, [4, 4, 4], (0, len(image)))
    yield Case("more-three-reads-swapped", image, "counted-7", [*map(spoil.swap_pairs, reads)])
    image = original("marked-8", 512, 54)
    reads = spoil.flipped_reads(image, 54, [4, 4, 4], (0, len(image)))
    yield Case("more-three-reads-late", image, "marked-8", [*map(spoil.one_bit_late, reads)])
    image = original("plain", 512, 55)
    read = spoil.swap_pairs(image[: len(image) - 10])
    yield Case("more-cut-and-swapped", image, "plain", [read])
    image = original("counted-19", 512, 56)
    text = spoil.hex_text(spoil.swap_pairs(image), 0x8000)
    yield Case("more-hex-offset-swapped", image, "counted-19", [text])
    image = original("counted-19", 1024, 57)
    yield Case("more-twice-1024", image, "counted-19", [spoil.repeat(image, 2048)])
    image = original("counted-7", 512, 59)
    read = spoil.one_bit_late(spoil.repeat(image, 0x10000))
    yield Case("more-late-64k", image, "counted-7", [read])
    image = original("plain", 512, 58, free=0)
    yield Case("more-swapped-full", image, "plain", [spoil.swap_pairs(image)])


CASES = [*bad_reads(), *votes_and_hex(), *two_faults()]
ALL_CASES = [*CASES, *more_faults()]
IDS = [case.name for case in ALL_CASES]


def recover(folder: Path, reads: list[bytes], *options: str) -> tuple[int, str, str, bytes | None]:
    """Run the tool on reads; exit code, what it answered and told, and what it wrote."""
    names = []
    for at, read in enumerate(reads):
        kind = "hex" if read.startswith(b":") else "bin"
        path = folder / f"read-{at}.{kind}"
        path.write_bytes(read)
        names.append(str(path))
    out = folder / "out" / "recovered.bin"
    run = romtool("recover", *names, "-o", str(out), *options)
    written = out.read_bytes() if out.exists() else None
    return run.returncode, run.stdout.decode(), told(run), written


def assert_not_settled(folder: Path, reads: list[bytes], *options: str) -> str:
    """Assert that nothing came of these reads, and return what the tool told."""
    code, _, text, written = recover(folder, reads, *options)
    assert code == 1, text
    assert written is None
    assert text.strip()
    assert all(line.startswith("romtool: ") for line in text.splitlines()), text
    return text


# --- the cases themselves


def test_number_of_cases() -> None:
    """36 cases that spread over layouts and sizes, no two alike."""
    assert len(CASES) == 36
    assert len(set(IDS)) == len(IDS)
    assert {case.layout for case in CASES} == set(FRAMES)
    assert {len(case.image) for case in CASES} == {128, 256, 512, 1024}


@pytest.mark.parametrize("case", ALL_CASES, ids=IDS)
def test_decidable(case: Case) -> None:
    """The right answer is the only one that the checksums and the rules leave."""
    image = case.image
    assert spoil.sound(image, case.layout)
    assert image not in case.reads
    half = len(image) // 2
    assert image[:half] != image[half:]  # its length is the shortest period of a repetition
    start, end = spoil.pnp_span(image, case.layout)
    for count in range(1, len(case.doubtful) + 1) if len(case.doubtful) < 8 else ():
        for bits in itertools.combinations(case.doubtful, count):
            assert not spoil.sound(spoil.flip(image, bits), case.layout), bits
    if len(case.doubtful) == 8:  # a whole byte
        at = case.doubtful[0] // 8
        values = [bytes([value]) for value in range(256)]
        found = [v for v in values if spoil.sound(image[:at] + v + image[at + 1 :], case.layout)]
        assert found == [image[at : at + 1]]
    assert all(start * 8 <= bit < end * 8 for bit in case.doubtful)
    if "late" in case.name and not case.doubtful:
        assert len(set(image[-8:])) == 1  # the bit lost at the end is fill
    if "lost" in case.name:  # what is put back is the typical frame, in the next part
        assert image[:start] == frame_bytes({"image": {"layout": case.layout}}, end - start)
        assert half < end
    if "cut" in case.name:
        assert all(end <= len(read) and half < len(read) < len(image) for read in case.reads)


def test_faults() -> None:
    """The faults, by hand."""
    assert spoil.swap_pairs(b"\1\2\3\4\5") == b"\2\1\4\3\5"
    assert spoil.repeat(b"\1\2\3", 7) == b"\1\2\3\1\2\3\1"
    assert spoil.one_bit_late(b"\x55\xbb\xff") == b"\x2a\xdd\xff"
    assert spoil.one_bit_late(b"\xff\x01") == b"\x7f\x80"
    assert spoil.push(b"\1\2\3\4", b"\x99") == b"\x99\1\2\3"
    assert spoil.flip(b"\0\0", [0, 15]) == b"\x01\x80"
    assert spoil.two_bytes(5, b"\1\2") == b"\1\2\1\2\1"
    reads = spoil.flipped_reads(bytes(8), 1, [3, 2], (2, 6))
    assert [int.from_bytes(read, "big").bit_count() for read in reads] == [3, 2]
    assert all(read[:2] + read[6:] == bytes(4) for read in reads)
    # Intel, *Hexadecimal Object File Format Specification*, Rev. A, 1988: sums by hand.
    text = spoil.hex_text(b"\x01\x02\x03\x04", 0x100, [(1, 2)])
    assert text.split() == [b":0101000001FD", b":020102000304F4", b":00000001FF"]
    # Identifier: Spec App. B.2; 0A + 10 + 79 is 93h, so 6Dh ends the items (6.2.2.11).
    pnp = bytes.fromhex("43 11 54 09 00 01 00 04 DC  0A 10 00  79 6D")
    image = (bytes.fromhex("A5 59 A7 CB 10 53 02 0C") + pnp).ljust(64, b"\xff")
    assert spoil.pnp_span(image, "marked-8") == (8, 22)
    assert spoil.lose_frame(image, "marked-8") == pnp
    assert spoil.lose_frame(image, "marked-8", 16, 0) == pnp + b"\0\0"
    assert spoil.sound(image, "marked-8")
    assert not spoil.sound(spoil.flip(image, [8 * 8 + 3]), "marked-8")
    assert not spoil.sound(image[:21], "marked-8")


# --- what is undone


@pytest.mark.parametrize("case", ALL_CASES, ids=IDS)
def test_recovered(case: Case, tmp_path: Path) -> None:
    """The image comes back byte for byte."""
    code, _, text, written = recover(tmp_path, case.reads, *case.options)
    assert code == 0, text
    assert written == case.image


def test_json(tmp_path: Path) -> None:
    """The answer names its steps, says how sure it is, and what else there was."""
    case = CASES[IDS.index("swapped-and-twice-counted-19")]
    code, answer, text, written = recover(tmp_path, case.reads, "--json")
    assert code == 0, text
    assert written == case.image
    document = json.loads(answer)
    assert {"steps", "confidence", "alternatives"} <= set(document)
    steps = document["steps"]
    assert len(steps) == 2
    assert all(isinstance(step, str) and step for step in steps)
    assert document["confidence"] is not None
    assert isinstance(document["alternatives"], list)


def test_steps_name_faults_alone(tmp_path: Path) -> None:
    """A vote, and bits filled in, are told in words: only what undoes a fault is a step."""
    image = original("counted-7", 256, 65)
    swapped = spoil.swap_pairs(image)
    reads = [spoil.flip(swapped, [bit]) for bit in (8 * 30 + 3, 8 * 31 + 2, 8 * 40 + 1)]
    code, answer, text, written = recover(tmp_path, reads, "--json")
    assert (code, written) == (0, image), text
    document = json.loads(answer)
    assert document["steps"] == ["swapped-pairs"]
    assert any(note.startswith("voted bit by bit over 3 reads") for note in document["notes"])

    _, end = spoil.pnp_span(image, "counted-7")
    hole = (end + 1, end + 9)
    (tmp_path / "gap.hex").write_bytes(spoil.hex_text(image, 0, [hole]))
    found = romtool("recover", str(tmp_path / "gap.hex"), "--json")
    document = json.loads(found.stdout)
    assert document["steps"] == []
    assert any("filled in at" in note for note in document["notes"])


def test_part_told(tmp_path: Path) -> None:
    """A cut dump of a larger part than it needs: the part on the command line says how large."""
    image = original("plain", 256, 64)
    read = image[: spoil.pnp_span(image, "plain")[1]]
    code, _, text, written = recover(tmp_path, [read], "--part", "24C08")
    assert code == 0, text
    assert written == read.ljust(1024, b"\xff")


@pytest.mark.parametrize("layout", FRAMES)
def test_clean(layout: str, tmp_path: Path) -> None:
    """A clean image stays as it is."""
    image = original(layout, 256, 61)
    code, answer, text, written = recover(tmp_path, [image], "--json")
    assert code == 0, text
    assert written == image
    assert json.loads(answer)["steps"] == []


def test_clean_reads(tmp_path: Path) -> None:
    """Two reads that are the same leave nothing to vote on."""
    image = original("counted-7", 256, 62)
    code, _, text, written = recover(tmp_path, [image, image])
    assert code == 0, text
    assert written == image


@pytest.mark.parametrize("layout", ["counted-19", "counted-7", "marked-8"])
def test_no_frame_invented(layout: str, tmp_path: Path) -> None:
    """Without its frame and a layout, PnP data is an image of the plain layout."""
    image = original(layout, 256, 63, typical=True)
    read = spoil.lose_frame(image, layout, 256)
    code, answer, text, written = recover(tmp_path, [read], "--json")
    assert code == 0, text
    assert written == read
    assert json.loads(answer)["steps"] == []


# --- what is not

NOTHING = {
    "blank": (spoil.blank(512), r"(?i)blank|FFh|\bFF\b"),
    "zero": (spoil.zero(256), r"(?i)zero|00h|\b00\b"),
    "pattern": (spoil.two_bytes(512, b"\x5a\x12"), r"(?i)pattern|two.byte|two bytes|5A\s?12"),
    "pattern-with-ff": (spoil.two_bytes(256, b"\xff\x00"), r"(?i)pattern|two.byte|FF\s?00"),
}


@pytest.mark.parametrize("name", NOTHING)
def test_nothing_read(name: str, tmp_path: Path) -> None:
    """Reads of nothing are called what they are."""
    read, named = NOTHING[name]
    assert re.search(named, assert_not_settled(tmp_path, [read]))


@pytest.mark.parametrize("name", NOTHING)
def test_nothing_read_of_a_layout(name: str, tmp_path: Path) -> None:
    """A layout on the command line makes no card of them."""
    assert_not_settled(tmp_path, [NOTHING[name][0]], "--layout", "counted-19")


@pytest.mark.parametrize("size", [64, 256, 2048])
def test_random(size: int, tmp_path: Path) -> None:
    """Random bytes are no card, however they are turned."""
    assert_not_settled(tmp_path, [Random(size).randbytes(size)])


@pytest.mark.parametrize("layout", FRAMES)
def test_cut_without_end(layout: str, tmp_path: Path) -> None:
    """What stood after the cut can't be known."""
    image = original(layout, 512, 71)
    end = spoil.pnp_span(image, layout)[1]
    assert_not_settled(tmp_path, [image[: end - 12]])


def test_end_pushed_off(tmp_path: Path) -> None:
    """Nor can what an offset pushed off the end, if that was more than fill."""
    image = original("counted-7", 256, 72, free=2)
    assert_not_settled(tmp_path, [spoil.push(image, b"\xff" * 16)])


@pytest.mark.parametrize("layout", FRAMES)
def test_gap_in_items(layout: str, tmp_path: Path) -> None:
    """The end checksum proves one byte, not three."""
    image = original(layout, 512, 73)
    at = content_at(image, layout)[30]
    assert_not_settled(tmp_path, [spoil.hex_text(image, holes=[(at, at + 3)])])


def test_gap_in_identifier(tmp_path: Path) -> None:
    """The identifier's checksum proves one byte, not two."""
    image = original("plain", 256, 74)
    assert_not_settled(tmp_path, [spoil.hex_text(image, holes=[(4, 6)])])


def test_gap_in_configuration(tmp_path: Path) -> None:
    """No checksum covers the configuration bytes, so a typical value would be a guess."""
    image = original("counted-19", 256, 75)
    assert_not_settled(tmp_path, [spoil.hex_text(image, holes=[(19, 20)])])


@pytest.mark.parametrize("layout", FRAMES)
def test_flipped_bit(layout: str, tmp_path: Path) -> None:
    """The end checksum tells that one bit is wrong, not which."""
    image = original(layout, 256, 76)
    at = content_at(image, layout)[10]
    assert_not_settled(tmp_path, [spoil.flip(image, [at * 8 + 2])])


def test_bytes_before_the_image_that_are_no_fill(tmp_path: Path) -> None:
    """They may belong to it: left out only where the user says so; but that is named first."""
    image = original("counted-19", 512, 14, patch=PATCH)
    lead = Random(14).randbytes(37)
    assert_not_settled(tmp_path, [lead + image])
    code, answer, text, written = recover(tmp_path, [lead + image], "--json")
    assert (code, written) == (1, None), text
    steps = [one["steps"] for one in json.loads(answer)["alternatives"]]
    assert steps[0] == ["leading-bytes"]
    pick = 1
    code, _, text, written = recover(tmp_path, [lead + image], "--pick", str(pick))
    assert code == 0, text
    assert written == image


# --- the file that it writes


def test_existing_file(tmp_path: Path) -> None:
    """A file that is there is left alone, unless told otherwise."""
    case = CASES[0]
    out = tmp_path / "out" / "recovered.bin"
    out.parent.mkdir()
    out.write_bytes(b"kept")
    code, _, text, written = recover(tmp_path, case.reads)
    assert code == 2
    assert text.startswith("romtool: ")
    assert written == b"kept"
    code, _, text, written = recover(tmp_path, case.reads, "--force")
    assert code == 0, text
    assert written == case.image
