"""The core of `romtool recover`: reads spoilt by independent code come back, noise doesn't.

How reads go wrong is common practice, no source. "Spec" is the *Plug and Play ISA Specification,
Version 1.0a* (5 May 1994).
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

import romtool.recover.recover as recover_module
from romtool.errors import InputError
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.image.evidence import identifiers
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.recover.judge import consistent
from romtool.recover.reading import Reading, State, late_words, name, vote
from romtool.recover.recover import Recovery, advice, agree, difference, recover, why
from romtool.recover.settle import fill_of, settle
from romtool.recover.undo import bit_shifted, repeats, swapped_pairs
from romtool.toml.parse import parse_toml
from tests.support import spoil
from tests.support.amount import examples, is_whole
from tests.support.independent import identifier_checksum, pack_id
from tests.support.profiles import Table, generate, profiles, to_toml
from tests.support.tool import CARD, PROFILE, romtool, told

CATALOG = load_catalog()

# Cards differ in much that recovery doesn't look at: more of them than the default find no more.
PLENTY = settings(
    max_examples=examples(25), deadline=None, suppress_health_check=[HealthCheck.too_slow]
)


def built(profile: Table | str) -> bytes:
    """The image of a profile, as the tool builds it."""
    text = profile if isinstance(profile, str) else to_toml(profile)
    return assemble(read_profile(CATALOG, parse_toml(text))).data


def plain_fill(profile: Table, fill: int = 0xFF) -> Table:
    """The same card in the smallest part, without patch or tail."""
    layout = profile["image"].get("layout", "plain")
    return profile | {"image": {"layout": layout, "fill": fill}}


def of(*reads: bytes, **options: Any) -> Recovery:
    """What becomes of reads without gaps."""
    return recover(CATALOG, [Reading.of(read) for read in reads], **options)


def assert_image(found: Recovery, image: bytes) -> None:
    """Assert that an image came back, for sure."""
    assert found.settled, found
    assert found.answers[0].data == image
    assert found.confidence == found.answers[0].confidence
    assert found.confidence in ("proven", "likely")


IMAGE = built('[image]\nlayout = "counted-19"\npart = "24C04"\n\n' + CARD)
PLAIN = built(PROFILE)
MARKED = built('[image]\nlayout = "marked-8"\npart = "24C02"\nfill = 0\n\n' + CARD)
PATCHED = built('[image]\nlayout = "counted-7"\npart = "24C04"\npatch = "D1 D2"\n\n' + CARD)
OTHER = built(
    '[image]\nlayout = "counted-19"\npart = "24C04"\n[card]\nid = "QRL0402"\nserial = 77\n'
    'name = "Workshop tone module"\n[[device]]\nid = "QRL0110"\nname = "Synthesiser"\n'
    "resources = [ { io = 0x388, length = 4 } ]\n"
)
PNP, END = spoil.pnp_span(IMAGE, "counted-19")
"""Where the PnP data of IMAGE begins and ends."""


def put(image: bytes, at: int, data: bytes) -> bytes:
    """An image with other bytes from a place on."""
    return image[:at] + data + image[at + len(data) :]


def spoilt_reads() -> dict[str, tuple[list[Reading], dict[str, Any]]]:
    """Reads with a fault of every kind, by what is wrong; and what the user says of them.

    `tests/golden/reads.txt` holds what each is taken for.
    """
    lead = bytes.fromhex("12 34 56 78 9A")
    late = spoil.one_bit_late
    bare = built(PROFILE.replace("serial = 1", 'serial = 1\npnp_version = "none"'))
    at = spoil.pnp_span(bare, "plain")[1] - 1
    tiny = built('[image]\nsize = 64\n[card]\nid = "QRL0301"\n[[device]]\nid = "QRL0001"\n')
    one = {
        "nothing": IMAGE,
        "nothing, marked": MARKED,
        "nothing, a patch behind the data": PATCHED,
        "nothing, no frame": PLAIN,
        "identifier checksum not stored": put(IMAGE, PNP + 8, b"\0"),
        "the same, and the count wrong": put(put(IMAGE, PNP + 8, b"\0"), 3, b"\x77"),
        "the same, and the end not checked": put(put(IMAGE, PNP + 8, b"\0"), END - 1, b"\0"),
        "end checksum not checked": put(IMAGE, END - 1, b"\0"),
        "end item without its checksum": put(IMAGE, END - 2, b"\x78\xff"),
        "no version": bare,
        "no version, swapped": spoil.swap_pairs(bare),
        "no version, the end not checked, swapped": spoil.swap_pairs(put(bare, at, b"\0")),
        "a bit of the serial": spoil.flip(IMAGE, [(PNP + 5) * 8 + 3]),
        "a bit of the items": spoil.flip(IMAGE, [(PNP + 12) * 8]),
        "the same, swapped": spoil.swap_pairs(spoil.flip(IMAGE, [(PNP + 12) * 8])),
        "a bit of the signature": spoil.flip(IMAGE, [3]),
        "the same, inverted": spoil.invert(spoil.flip(IMAGE, [3])),
        "the count": put(IMAGE, 3, b"\x77"),
        "the same, bits reversed": spoil.reverse_bits(put(IMAGE, 3, b"\x77")),
        "signature and count": put(IMAGE, 0, b"\x11\x22\x33\x44"),
        "other data after the fill": put(IMAGE, len(IMAGE) - 9, b"Hollow"),
        "bytes before that nothing explains": (lead + PLAIN).ljust(512, b"\xff")[:512],
        "the same, the end not checked": put(
            (lead + PLAIN).ljust(512, b"\xff")[:512], len(lead) + END - PNP - 1, b"\0"
        ),
        "fill before": (b"\xff" * 5 + PLAIN).ljust(512, b"\xff")[:512],
        "a known layout in what stands before": (lead + IMAGE).ljust(1024, b"\xff")[:1024],
        "a damaged layout before": (spoil.flip(IMAGE, [3]))[1:].ljust(512, b"\xff"),
        "the same, its count wrong, fill before it": b"\xff" * 5
        + put(spoil.flip(IMAGE, [3]), 3, b"\x77"),
        "bytes before, the file longer": b"\xff" * 7 + IMAGE,
        "bytes before, the end pushed off": spoil.push(IMAGE, bytes(9)),
        "bytes before, marked": bytes(3) + MARKED,
        "an image before": PLAIN[: END - PNP] + IMAGE,
        "bytes before, longer than any part": b"\xff" * 7 + IMAGE.ljust(3000, b"\xff"),
        "bytes before, more than any part holds": b"\xff" * 7
        + IMAGE.ljust(3000, b"\xff")
        + b"Hollow Lane",
        "swapped": spoil.swap_pairs(IMAGE),
        "swapped after an odd byte": spoil.swap_pairs(spoil.push(IMAGE, b"\xff")),
        "late": late(MARKED),
        "late, no frame": late(PLAIN),
        "late after other bytes": late(b"\xff\xff" + IMAGE),
        "bytes before, then late": b"\xff\xff" + late(IMAGE),
        "zeros before, then late": bytes(2) + late(IMAGE),
        "late and swapped": spoil.swap_pairs(late(IMAGE)),
        "two bits late": late(late(IMAGE)),
        "twice": IMAGE * 2,
        "twice, late": late(MARKED * 2),
        "three times": PLAIN * 3,
        "twice, a few bits apart": IMAGE + spoil.flip(IMAGE, [40 * 8, 100 * 8 + 4, 300 * 8]),
        "twice and a half, swapped": spoil.swap_pairs(spoil.repeat(IMAGE, 1280)),
        "two and a half times, bytes before": spoil.repeat(b"\xff" * 4 + PLAIN, 660),
        "twice, of a size that no part has": tiny * 2,
        "three times, of a size that no part has": tiny * 3,
        "twice, then fill": IMAGE * 2 + b"\xff" * 100,
        "twice, then other data": PLAIN * 2 + b"Hollow Lane" * 9,
        "twice, bytes before": (b"\xff" * 4 + PLAIN) * 2,
        "inverted": spoil.invert(MARKED),
        "bits reversed": spoil.reverse_bits(PATCHED),
        "words late": spoil.words_one_bit_late(IMAGE),
        "words late, without fill": spoil.words_one_bit_late(PLAIN[: END - PNP - 1]),
        "words late, a byte more": spoil.words_one_bit_late(IMAGE) + b"\x7f",
        "words late and swapped": spoil.swap_pairs(spoil.words_one_bit_late(IMAGE)),
        "words gone round": spoil.words_gone_round(IMAGE),
        "words gone round twice": spoil.words_gone_round(spoil.words_gone_round(IMAGE)),
        "words gone round, swapped": spoil.swap_pairs(spoil.words_gone_round(PATCHED)),
        "begun in the items": spoil.rotate(IMAGE, 60),
        "begun in the fill": spoil.rotate(IMAGE, len(IMAGE) - 9),
        "begun at an odd byte, swapped": spoil.swap_pairs(spoil.rotate(IMAGE, 61)),
        "cut in the fill": IMAGE[:500],
        "cut in the fill, swapped": spoil.swap_pairs(IMAGE[:502]),
        "cut in the items": IMAGE[: END - 12],
        "cut behind the identifier": IMAGE[: PNP + 9],
        "cut in the identifier": IMAGE[: PNP + 6],
        "blank": b"\xff" * 256,
        "two bytes": b"\x5a\x12" * 64 + b"\x5a",
        "a text": b"Hollow Lane workshop, notes of bench 3: one pin is loose." * 4,
        "noise": Random(5).randbytes(256),
    }
    read = Reading.of
    found: dict[str, tuple[list[Reading], dict[str, Any]]] = {
        what: ([read(data)], {}) for what, data in one.items()
    }
    for what, data, *gaps in (
        ("a byte of the signature", IMAGE, (1, 2)),
        ("the frame's count", IMAGE, (2, 4)),
        ("a byte of the configuration", IMAGE, (19, 20)),
        ("a byte of the identifier", IMAGE, (PNP + 3, PNP + 4)),
        ("two bytes of the identifier", IMAGE, (PNP + 3, PNP + 5)),
        ("the identifier checksum", PLAIN, (8, 9)),
        ("an item's first byte", IMAGE, (PNP + 9, PNP + 10)),
        ("an item's length", IMAGE, (PNP + 13, PNP + 14)),
        ("a letter", IMAGE, (IMAGE.index(b"Hollow"), IMAGE.index(b"Hollow") + 1)),
        ("three letters", IMAGE, (IMAGE.index(b"Hollow"), IMAGE.index(b"Hollow") + 3)),
        ("the end checksum", IMAGE, (END - 1, END)),
        ("the end item", IMAGE, (END - 2, END)),
        ("the fill", IMAGE, (END, len(IMAGE))),
        ("a gap in the fill", IMAGE, (END + 20, END + 30)),
        ("fill behind zeros", put(IMAGE, END, bytes(350)), (500, 505)),
        ("the configuration, no end item", IMAGE[: END - 12], (19, 20)),
        ("beside a patch", PATCHED, (PATCHED.index(b"\xd1\xd2") + 2, len(PATCHED) - 3)),
        ("letters and fill", IMAGE, (PNP + 20, PNP + 21), (END + 9, END + 11)),
        ("swapped, a gap", spoil.swap_pairs(IMAGE), (PNP + 40, PNP + 41)),
        ("late, a gap", late(IMAGE), (PNP + 40, PNP + 41)),
        ("twice, a gap", PLAIN * 2, (30, 40)),
        ("twice, a gap in the second", PLAIN * 2, (300, 310)),
        ("inverted, a gap", spoil.invert(IMAGE), (PNP + 40, PNP + 41)),
        ("words gone round, another gap", spoil.words_gone_round(IMAGE), (PNP + 41, PNP + 42)),
        ("words gone round, a gap", spoil.words_gone_round(IMAGE), (PNP + 40, PNP + 41)),
    ):
        found[f"not read: {what}"] = [read(data, gaps)], {}
    bits = [40 * 8 + 1, 60 * 8 + 3, 80 * 8 + 6]
    flipped = [spoil.flip(IMAGE, [bit]) for bit in bits]
    names = [IMAGE.index(b"Hollow") * 8 + 7, IMAGE.index(b"Lane") * 8 + 7]
    for what, reads in {
        "the same": [IMAGE, IMAGE],
        "one blank": [b"\xff" * 512, IMAGE, IMAGE],
        "three, a bit each": flipped,
        "two, a bit each": flipped[:2],
        "two, a bit of the configuration": [IMAGE, spoil.flip(IMAGE, [6 * 8 + 2])],
        "two, bits of the configuration and of the name": [
            IMAGE,
            spoil.flip(IMAGE, [6 * 8 + 2, names[0] - 3, names[1] - 5]),
        ],
        "two, bits that make up for each other": [spoil.flip(IMAGE, [bit]) for bit in names],
        "two, many bits of the name": [
            spoil.flip(IMAGE, [(IMAGE.index(b"Hollow") + n) * 8 for n in range(first, first + 5)])
            for first in (0, 10)
        ],
        "two of noise": [Random(5).randbytes(256), Random(6).randbytes(256)],
        "one swapped, one cut": [flipped[0], spoil.swap_pairs(flipped[1]), flipped[2][:500]],
        "all late": [late(one) for one in flipped],
        "two of another card": [IMAGE, IMAGE[:500], MARKED, spoil.swap_pairs(MARKED)],
        "three, a bit each, and one of another card": [*flipped, OTHER],
        "two of another card, one blank": [b"\xff" * 512, *flipped[:2], OTHER, flipped[2], OTHER],
        "one of another card": [IMAGE, OTHER],
    }.items():
        found[f"reads: {what}"] = [read(data) for data in reads], {}
    gap = [(names[0] // 8, names[0] // 8 + 1)]
    twins = [read(IMAGE, gap), read(spoil.flip(IMAGE, names[1:]), gap)]
    found["reads: two with the same gap, a bit apart"] = twins, {}
    for what, data, options in (
        ("only the PnP data", IMAGE[PNP:END], {"layout": "counted-19"}),
        ("only the PnP data, swapped", spoil.swap_pairs(MARKED[8:]), {"layout": "marked-8"}),
        ("only the PnP data, bytes before", b"\xff" * 4 + PLAIN, {"layout": "counted-7"}),
        ("only the PnP data, pushed", spoil.push(PLAIN, b"\xff" * 4), {"layout": "counted-7"}),
        ("the layout of another", IMAGE, {"layout": "marked-8"}),
        ("a larger part", PLAIN[:200], {"part_size": 1024}),
        ("a part that is too small", PLAIN, {"part_size": 64}),
        ("a smaller part", IMAGE, {"part_size": 128}),
        ("the part of a longer file", IMAGE.ljust(3000, b"\xff"), {"part_size": 512}),
    ):
        found[f"told: {what}"] = [read(data)], options
    return found


READS = spoilt_reads()


def taken_for(what: str) -> str:
    """What one of READS is taken for: every answer, with what was done and what speaks for it."""
    readings, options = READS[what]
    found = recover(CATALOG, readings, **options)
    lines = [f"{found.confidence}{', settled' if found.settled else ''}; {found.tied} as good"]
    if not found.settled:
        lines += [f"why: {why(CATALOG, found)}", f"do: {advice(CATALOG, found, len(readings))}"]
    lines += [f"reads: {note}" for note in found.notes]
    for answer in found.answers:
        same = {
            IMAGE: "IMAGE",
            OTHER: "OTHER",
            MARKED: "MARKED",
            PATCHED: "PATCHED",
            PLAIN: "PLAIN",
        }
        data = same.get(answer.data) or hashlib.sha256(answer.data).hexdigest()[:12]
        lines.append(f"- {answer.confidence}, {len(answer.data)} bytes, {data}")
        evidence = answer.evidence.as_json().items()
        lines.append("  evidence: " + ", ".join(f"{key} {value}" for key, value in evidence))
        lines += [f"  done: {words} ({step})" for step, words in answer.steps]
        lines += [f"  wrong: {problem}" for problem in answer.problems]
        lines += [f"  note: {note}" for note in answer.notes]
    return "\n".join([f"# {what}", *lines, ""])


# --- readings


def test_gap_bytes_are_unknown() -> None:
    """What stands in a gap doesn't matter."""
    reading = Reading.of(b"\1\2\3\4", [(1, 3)])
    assert reading == Reading(b"\1\0\0\4", b"\0\xff\xff\0")
    assert reading.open_bits(0, 2) == [(1, bit) for bit in range(8)]
    assert not reading.known()
    assert reading.known(3)


def test_vote() -> None:
    """The majority of three; a tie of two is unknown; a bit that only one read has, counts."""
    three = vote([Reading.of(b"\x0f"), Reading.of(b"\x1f"), Reading.of(b"\x0e")])
    assert three.reading == Reading(b"\x0f", b"\0")
    assert three.disputed == b"\x11"
    assert three.doubtful == Reading(b"\x0e", b"\x11")
    two = vote([Reading.of(b"\x0f"), Reading.of(b"\x1f")])
    assert two.reading == Reading(b"\x0f", b"\x10")
    gap = vote([Reading.of(b"\x0f", [(0, 1)]), Reading.of(b"\x1f")])
    assert gap.reading == Reading(b"\x1f", b"\0")
    assert gap.count == 0


def test_how_far_reads_of_the_same_bytes_may_differ() -> None:
    """In two bits for every ten bytes that are no fill, which any image has alike."""
    image = b"\xff" * 60 + bytes(range(50))
    flips = [spoil.flip(image, [at * 8 for at in range(count)]) for count in (10, 11)]
    assert [agree(Reading.of(image), Reading.of(other)) for other in flips] == [True, False]
    assert not agree(Reading.of(image), Reading.of(b""))


@given(st.binary(min_size=1, max_size=64))
def test_undone_pairs(data: bytes) -> None:
    """Swapping the pairs of swapped pairs gives them back."""
    first, _ = swapped_pairs(State(Reading.of(spoil.swap_pairs(data))))
    assert first.reading.data == data


@given(st.binary(min_size=1, max_size=64))
def test_undone_late_bit(data: bytes) -> None:
    """All bits but the last come back, and that one is said to be unknown."""
    (state,) = bit_shifted(State(Reading.of(spoil.one_bit_late(data))))
    assert state.reading.data == data[:-1] + bytes([data[-1] & 0xFE])
    assert state.reading.unknown == bytes(len(data) - 1) + b"\1"


@given(st.binary(max_size=200), st.integers(0, 3))
def test_identifiers_are_found(data: bytes, at: int) -> None:
    """The quick search finds every right checksum, and nothing else (Spec App. B.2)."""
    at = min(at, len(data))
    data = data[:at] + bytes.fromhex("43 11 54 09 00 01 00 04 DC") + data[at:]
    places = range(len(data) - 8)
    right = [p for p in places if identifier_checksum(data[p : p + 8]) == data[p + 8]]
    assert list(identifiers(CATALOG, data)) == right
    assert at in right


# --- what comes back


@PLENTY
@given(profiles())
def test_consistent_images_stay(profile: Table) -> None:
    """An image as built comes back as it is, and nothing is said to have been done to it."""
    profile["image"].pop("size", None)  # a file of no part's length is taken for a cut one
    image = built(profile)
    layout = profile["image"].get("layout")
    found = of(image)
    assert_image(found, image)
    assert found.answers[0].steps == ()
    if not {"tail", "patch"} & set(profile["image"]):
        assert consistent(decode(CATALOG, image, layout))
        assert found.confidence == "proven", found.answers[0].notes


FAULTS: dict[str, Callable[[bytes], bytes]] = {
    "swapped-pairs": spoil.swap_pairs,
    "mirrored": lambda data: spoil.repeat(data, 4 * len(data)),
    "bit-shifted": spoil.one_bit_late,
    "leading-bytes": lambda data: b"\xff" * 7 + data,
}


@PLENTY
@given(profiles(), st.permutations(sorted(FAULTS)), st.integers(1, 2), st.sampled_from([0, 0xFF]))
def test_spoilt_images_come_back(profile: Table, order: list[str], count: int, fill: int) -> None:
    """One fault or two, in either order; the steps undo them last first, where that tells."""
    image = built(plain_fill(profile, fill))
    used = spoil.pnp_span(image, profile["image"].get("layout", "plain"))[1]
    assume(used < len(image) - 1)  # fill at the end tells the bit that a late read loses
    read = image
    for problem in order[:count]:
        read = FAULTS[problem](read)
    found = of(read)
    assert_image(found, image)
    names = [step for step, _ in found.answers[0].steps]
    if "mirrored" in order[:count]:
        # Bytes before contents that repeat are the same as contents that begin in the middle.
        names = ["leading-bytes" if name == "rotated" else name for name in names]
    assert sorted(names) == sorted(order[:count])


ALONE: dict[str, tuple[Callable[[bytes], bytes], list[str]]] = {
    "inverted": (spoil.invert, ["inverted"]),
    "bits reversed": (spoil.reverse_bits, ["bits-reversed"]),
    "words gone round": (spoil.words_gone_round, ["word-shifted"]),
    "begun in the items": (lambda data: spoil.rotate(data, 60), ["rotated"]),
    "begun in the fill": (lambda data: spoil.rotate(data, len(data) - 9), ["rotated"]),
    "twice, fill after": (lambda data: data * 2 + b"\xff" * 100, ["mirrored"]),
    "inverted and swapped": (
        lambda data: spoil.invert(spoil.swap_pairs(data)),
        ["inverted", "swapped-pairs"],
    ),
    "inverted, four times": (lambda data: spoil.invert(data) * 4, ["inverted", "mirrored"]),
    "reversed and late": (
        lambda data: spoil.reverse_bits(spoil.one_bit_late(data)),
        ["bit-shifted", "bits-reversed"],
    ),
}


@pytest.mark.parametrize("name", ALONE)
@pytest.mark.parametrize("layout", ["plain", "counted-19", "marked-8"])
def test_read_in_another_way(name: str, layout: str) -> None:
    """Bits turned over or round, contents turned round, words one bit late: undone and named."""
    image = built(f'[image]\nlayout = "{layout}"\npart = "24C04"\n\n' + CARD)
    spoilt, names = ALONE[name]
    found = of(spoilt(image))
    assert_image(found, image)
    assert sorted(step for step, _ in found.answers[0].steps) == names


@PLENTY
@given(profiles(), st.binary(min_size=3, max_size=64), st.sampled_from([0, 1, 2]))
def test_bytes_that_no_layout_explains_are_kept(profile: Table, lead: bytes, way: int) -> None:
    """An image of an unknown chip is one: as it is, and with a fault of the read undone."""
    profile["image"] = {"layout": "plain"}
    profile.pop("config", None)
    pnp = built(profile)
    # A first byte that is nearly a signature's could be that of a layout, corrupted.
    assume(min((lead[0] ^ mark).bit_count() for mark in (0x55, 0xA5)) > 1)
    assume(len(set(lead)) > 1 and pnp[spoil.pnp_span(pnp, "plain")[1] - 1] > 0)
    image = (lead + pnp.rstrip(b"\xff")).ljust(4096, b"\xff")[:2048]
    assume(len(lead + pnp.rstrip(b"\xff")) < 2000)
    spoilt = (bytes, spoil.swap_pairs, spoil.invert)[way](image)
    found = of(spoilt)
    assert_image(found, image)
    assert found.confidence == "likely"
    assert found.answers[0].image.lead == lead
    assert len(found.answers[0].steps) == (way > 0)


def test_a_known_layout_after_other_bytes() -> None:
    """Its signature says where the image begins, but what stands before it may belong to it."""
    found = of(b"\x12\x34\x56" + IMAGE)
    assert not found.settled
    images = [answer.data for answer in found.answers]
    assert IMAGE in images
    assert any(data.startswith(b"\x12\x34\x56" + IMAGE) for data in images)
    assert_image(of(bytes(3) + IMAGE), IMAGE)


def test_words_that_lost_a_bit() -> None:
    """The last bit of every word is more than the checksums prove: named, not settled."""
    found = of(spoil.words_one_bit_late(IMAGE))
    assert not found.settled
    assert found.named is not None
    assert found.named.fault.name == "word-shifted"


def test_copies_with_something_after_them() -> None:
    """What is no fill is only left out with --pick; the copies are named all the same."""
    found = of(IMAGE * 2 + b"Hollow Lane" * 9)
    assert not found.settled
    picks = {tuple(step for step, _ in one.steps): one.data for one in found.answers}
    assert picks["mirrored",] == IMAGE
    assert any(data.startswith(IMAGE * 2) for data in picks.values())


@PLENTY
@given(profiles(), st.integers(0, 0xFFFF))
def test_votes_over_reads_of_unequal_length(profile: Table, seed: int) -> None:
    """One is cut, one goes round again: where they have no bytes, they have no vote."""
    image = built(plain_fill(profile))
    reads = spoil.flipped_reads(image, seed, [3, 3, 3, 3], (0, len(image)))
    used = spoil.pnp_span(image, profile["image"].get("layout", "plain"))[1]
    cut = max(used, len(image) - 20)
    assert_image(of(reads[0], reads[1][:cut], reads[2], reads[3] * 2), image)


@PLENTY
@given(profiles(), st.integers(0, 0xFFFF))
def test_cut_images_are_filled_up(profile: Table, seed: int) -> None:
    """A read that ends after the end item is filled up; one that ends before it isn't."""
    image = built(plain_fill(profile))
    end = spoil.pnp_span(image, profile["image"].get("layout", "plain"))[1]
    parts = [size for size in CATALOG.part_sizes if size < len(image)]
    assume(max([end, *parts]) + 1 < len(image))
    length = Random(seed).randrange(max([end, *(part + 1 for part in parts)]), len(image))
    assert_image(of(image[:length]), image)
    assert not of(image[: end - 2]).settled


@PLENTY
@given(profiles())
def test_lost_frames_need_a_layout(profile: Table) -> None:
    """Only PnP data kept: with the layout, typical configuration is put before it, and said."""
    layout = profile["image"].get("layout", "plain")
    assume(layout != "plain")
    profile.pop("config", None)
    image = built(plain_fill(profile))
    start, _ = spoil.pnp_span(image, layout)
    read = image[start:]
    found = of(read, layout=layout)
    assert_image(found, image)
    best = found.answers[0]
    assert found.confidence == "likely"
    assert [step for step, _ in best.steps] == ["header-missing"]
    assert any("typical" in note for note in best.notes)
    assert best.evidence.signature in ("added", "none")
    without = of(read)
    assert all("header-missing" not in dict(answer.steps) for answer in without.answers)


@PLENTY
@given(profiles(), st.integers(0, 0xFFFF), st.sampled_from([3, 5]))
def test_votes(profile: Table, seed: int, reads: int) -> None:
    """Each read has other bits turned over: the others outvote it everywhere."""
    image = built(plain_fill(profile))
    spoilt = spoil.flipped_reads(image, seed, [4] * reads, (0, len(image)))
    found = of(*spoilt)
    assert_image(found, image)
    assert found.answers[0].steps[0][0] == "vote"
    assert f"over {reads} reads" in found.answers[0].steps[0][1]


@PLENTY
@given(profiles(), st.integers(0, 0xFFFF), st.sampled_from(sorted(FAULTS)))
def test_one_read_has_a_fault_of_its_own(profile: Table, seed: int, problem: str) -> None:
    """A read that is swapped, say, votes too, once that is undone."""
    image = built(plain_fill(profile))
    reads = spoil.flipped_reads(image, seed, [2, 2, 2, 2], (0, len(image)))
    assume(problem != "bit-shifted" or image[-1] == image[-2])
    reads[seed % 4] = FAULTS[problem](reads[seed % 4])
    assert_image(of(*reads), image)


@PLENTY
@example(generate(Random(52)), 1358)  # the length of a name: 256 walks through a kilobyte
@given(profiles(), st.integers(0, 0xFFFF))
def test_gaps(profile: Table, seed: int) -> None:
    """One byte of the PnP data is proven; what is missing after it is fill."""
    image = built(plain_fill(profile))
    start, end = spoil.pnp_span(image, profile["image"].get("layout", "plain"))
    assume(image[end - 1] > 0)
    at = Random(seed).randrange(start, end)
    found = recover(CATALOG, [Reading.of(image, [(at, at + 1)])])
    assert_image(found, image)
    assert [step for step, _ in found.answers[0].steps] == ["gap"]
    assert f"{at:X}h" in found.answers[0].steps[0][1]
    if end < len(image):
        assert_image(recover(CATALOG, [Reading.of(image, [(end, len(image))])]), image)


# --- where the limits are


def known_but(image: bytes, bits: list[tuple[int, int]]) -> Reading:
    """A read of an image of which some bits, (byte, bit), aren't known."""
    data, unknown = bytearray(image), bytearray(len(image))
    for at, bit in bits:
        data[at] &= ~(1 << bit)
        unknown[at] |= 1 << bit
    return Reading(bytes(data), bytes(unknown))


def test_how_short_a_read_may_be_to_vote() -> None:
    """A quarter of the part; less holds hardly more than what all cards of a maker share."""
    for length, reads in ((len(IMAGE) // 4, 3), (len(IMAGE) // 4 - 1, 2)):
        found = of(IMAGE, spoil.flip(IMAGE, [40 * 8]), IMAGE[:length])
        assert_image(found, IMAGE)
        assert f"over {reads} reads" in found.answers[0].steps[0][1]


def test_bits_that_one_of_two_reads_lacks_do_not_differ() -> None:
    """Whichever read is longer: what stands behind the shorter one says nothing."""
    long, short = Reading.of(b"\1\2\3\4", [(1, 2), (3, 4)]), Reading.of(b"\1\xff\2")
    assert difference(long, short) == difference(short, long) == 1


def test_how_many_configuration_bits_may_be_open() -> None:
    """Three: nothing proves them, and eight answers are as many as anybody will look through."""
    layout = CATALOG.layouts["counted-19"]
    bits = [(6, 2), (7, 1), (8, 0), (9, 1)]
    answers = settle(CATALOG, known_but(IMAGE, bits[:3]), layout)
    assert len({answer.image.data for answer in answers}) == 8
    assert not any(answer.open for answer in answers)
    letters = [(PNP + 20, 0), (PNP + 21, 0), (PNP + 22, 0)]
    for more, places in (
        ([*bits, (400, 3)], ("6h-9h",)),
        (bits[:3] + letters, ("6h-8h", "2Bh-2Dh")),
    ):
        (answer,) = settle(CATALOG, known_but(IMAGE, more), layout)
        assert answer.open == places


def test_more_letters_open_than_a_sum_can_prove() -> None:
    """Of twelve bits the end checksum leaves values enough to choose from: the place is told."""
    bits = [(PNP + 20 + at, at % 8) for at in range(12)]
    (answer,) = settle(CATALOG, known_but(IMAGE, bits), CATALOG.layouts["counted-19"])
    assert answer.open == ("2Bh-36h",)
    config = [(6, 2), (7, 1), (8, 0)]
    (answer,) = settle(CATALOG, known_but(IMAGE, config + bits), CATALOG.layouts["counted-19"])
    assert answer.open == ("2Bh-36h",)


def test_which_gap_is_beside_other_data() -> None:
    """Two gaps behind the PnP data: one in the fill, one where other data may have begun."""
    image = put(IMAGE, 400, b"Hollow Lane")
    reading = Reading.of(image, [(300, 305), (398, 400)])
    (answer,) = settle(CATALOG, reading, CATALOG.layouts["counted-19"])
    assert answer.open == ("18Eh-18Fh",)


@pytest.mark.parametrize(("items", "is_sure"), [(3, True), (2, False)])
def test_how_few_items_may_show_an_image(items: int, is_sure: bool) -> None:
    """Two right sums and two items are what chance may give once something has been undone."""
    resources = "resources = [ { dma = [1] } ]\n" if items == 3 else ""
    image = built(
        '[image]\npart = "24C02"\n[card]\nid = "QRL0301"\nserial = 1\npnp_version = "none"\n'
        f'[[device]]\nid = "QRL0001"\n{resources}'
    )
    found = of(spoil.swap_pairs(image))
    assert found.settled is is_sure
    assert not is_sure or found.answers[0].data == image


@pytest.mark.parametrize(
    ("data", "unknown", "fill"),
    [
        ("00 00 00 FE", "00 00 00 01", 0xFF),  # the last bit of a late read: the rest says FFh
        ("00 00 00 00", "00 00 00 01", 0x00),
        ("FF FF 00 FF", "00 00 00 00", 0xFF),
        ("FF 00 00 12", "00 00 00 00", 0x00),
        ("11 22 22 22", "00 00 00 00", 0x22),
    ],
)
def test_what_fills_a_part(data: str, unknown: str, fill: int) -> None:
    """The frame's fill if it ends the read, or the commonest byte, if what was read allows it."""
    reading = Reading(bytes.fromhex(data), bytes.fromhex(unknown))
    assert fill_of(reading, 0, CATALOG.layouts["counted-19"]) == fill


def test_an_image_that_stands_there_twice_is_not_consistent() -> None:
    """Not even where no fill stands between the two, and the second might be a patch."""
    patch = bytes(range(1, 27)).hex(" ")
    image = built(f'[image]\nlayout = "counted-7"\npart = "93C46"\npatch = "{patch}"\n\n{CARD}')
    for one in (image, PLAIN, PATCHED):
        assert not consistent(decode(CATALOG, one * 2))


def test_how_much_must_repeat_to_be_a_copy() -> None:
    """32 bytes, or a smaller period whole; of other bytes one in eight may differ in a copy."""
    data = bytes(range(40))
    for period, least in ((40, 32), (20, 20)):
        one = data[:period]
        assert repeats(Reading.of(one + one[:least]), period)
        assert not repeats(Reading.of(one + one[: least - 1]), period)
    for different, expected in ((4, True), (5, False)):
        copy = spoil.flip(data, [at * 16 + 7 for at in range(different)])
        assert repeats(Reading.of(data + copy), 40, slight=True) is expected
        assert not repeats(Reading.of(data + copy), 40)
    for different, expected in ((3, True), (4, False)):  # of 24 bytes, and a run of fill
        short = data[:24].ljust(40, b"\xff")
        copy = spoil.flip(short, [at * 16 + 7 for at in range(different)])
        assert repeats(Reading.of(short + copy), 40, slight=True) is expected
    assert not repeats(Reading.of(b"\1\2\3" * 40), 3), "three values: fill of a kind"
    assert repeats(Reading.of(b"\1\2\3\4" * 40), 4)


def test_pairs_from_the_second_byte_on() -> None:
    """They make sense after an odd number of bytes only; half of the last pair was pushed off."""
    _, odd = swapped_pairs(State(Reading.of(b"\x00\x02\x01\x04")))
    assert odd.unaligned
    assert odd.reading == Reading(b"\0\1\2\0", b"\0\0\0\xff")
    _, whole = swapped_pairs(State(Reading.of(b"\x00\x02\x01")))
    assert whole.reading == Reading.of(b"\0\1\2")
    first, _ = swapped_pairs(State(Reading.of(b"\1\2"), unaligned=True))
    assert first.unaligned


@pytest.mark.parametrize(
    ("gaps", "more"), [(4, ""), (5, " and 1 more place"), (6, " and 2 more places")]
)
def test_how_many_open_places_are_named(gaps: int, more: str) -> None:
    """Four, and how many more there are."""
    found = recover(CATALOG, [Reading.of(IMAGE, [(at, at + 1) for at in range(6, 18, 2)][:gaps])])
    assert why(CATALOG, found).endswith(f"stood at 6h, 8h, Ah, Ch{more}")


def test_what_tells_words_one_bit_late() -> None:
    """32 words that all begin with a 0 bit, one of them fill: fewer may be so by chance."""

    def is_late(data: bytes) -> bool:
        return late_words(CATALOG, Reading.of(data)) is not None

    fill, word = b"\x7f\xff", b"\x12\xff"
    assert is_late(word * 31 + fill)
    assert is_late(spoil.swap_pairs(word * 31 + fill))
    assert not is_late(word * 30 + fill)
    assert not is_late(word * 31 + fill + b"\x80\xff")
    assert not is_late(word * 32)
    assert not is_late(word * 32 + b"\x12")


def test_what_was_torn_apart_is_not_called_proven() -> None:
    """Byte pairs swapped, then begun at an odd byte: a pair stands at both ends, half in each.

    Put together, its bytes would be the wrong way round, which a sum can't see.
    """
    for start in (59, 61, 63):
        found = of(spoil.rotate(spoil.swap_pairs(IMAGE), start))
        assert not found.settled or found.answers[0].data == IMAGE
    assert_image(of(spoil.swap_pairs(spoil.rotate(IMAGE, 61))), IMAGE)
    assert_image(of(spoil.one_bit_late(spoil.rotate(IMAGE, 60))), IMAGE)


def test_other_bytes_then_late() -> None:
    """Bytes before a late image are left out unasked only if they are fill, every one of them."""
    late = spoil.one_bit_late(IMAGE)
    assert_image(of(b"\xff\xff\xff" + late), IMAGE)
    found = of(b"\xff\x92\xff" + late)
    assert not found.settled
    assert found.answers[0].data == IMAGE


def test_an_item_of_a_reserved_name_beside_a_gap() -> None:
    """An item that was read stays what it is, odd or not; what is missing elsewhere is proven."""
    end = END - PNP
    items = PLAIN[9:12] + b"\x51\x00" + PLAIN[12 : end - 1]  # small item 0Ah: reserved (Spec 6.2)
    image = PLAIN[:9] + items + bytes([-sum(items) % 256])
    gap = (image.index(b"Hollow"), image.index(b"Hollow") + 1)
    (answer,) = settle(CATALOG, Reading.of(image, [gap]), CATALOG.layouts["plain"])
    assert answer.image.data == image
    assert not answer.open


@pytest.mark.parametrize(
    ("data", "is_named"),
    [(b"\x5a\x12\x5a\x12", True), (b"\x5a\x12\x5a", False), (b"\x5a\x5a", True), (b"\x5a", False)],
)
def test_a_pattern_shows_by_its_second_time(data: bytes, is_named: bool) -> None:
    """What stands there once repeats nothing."""
    assert (name(CATALOG, Reading.of(data)) is not None) is is_named


# --- what is said


def test_every_judgement_is_said() -> None:
    """No sentence of the schema is said nowhere, and none that is said is missing there."""
    folder = Path(recover_module.__file__).parent
    code = "".join(path.read_text(encoding="utf-8") for path in folder.glob("*.py"))
    assert [name for name in CATALOG.judgements if f'"{name}"' not in code] == []
    said = set(re.findall(r'(?:say|judgement)\(\s*"([a-z-]+)"', code))
    assert said <= set(CATALOG.judgements)


# --- what doesn't


@settings(max_examples=examples(150), deadline=None)
@given(st.binary(min_size=1, max_size=700), st.sampled_from([None, "counted-7", "marked-8"]))
def test_noise_is_no_image(data: bytes, layout: str | None) -> None:
    """Random bytes are never claimed, and always answered."""
    found = of(data, layout=layout)
    assert not found.settled
    assert why(CATALOG, found)
    assert advice(CATALOG, found, 1)


def test_a_large_read_of_noise() -> None:
    """Nor is an image found somewhere in 64 KiB of noise."""
    assert not of(Random(64).randbytes(0x10000)).settled


@pytest.mark.parametrize(
    ("data", "known"),
    [
        (b"\xff" * 256, "blank"),
        (b"\xff", "blank"),
        (bytes(512), "zero"),
        (b"\x5a" * 128, "one-byte"),
        (b"\x5a\x12" * 64, "two-byte-pattern"),
        (b"\x5a\x12" * 64 + b"\x5a", "two-byte-pattern"),
    ],
)
def test_hopeless_reads_are_named(data: bytes, known: str) -> None:
    """They are called what they are, with what to check; the words are the schema's."""
    found = of(data)
    assert found.named is not None
    assert found.named.fault is CATALOG.read_faults[known]
    assert not found.answers
    assert not found.settled
    assert why(CATALOG, found) == found.named.title
    assert advice(CATALOG, found, 1) == CATALOG.read_faults[known].check
    assert name(CATALOG, Reading.of(data + b"\x77\x78", [(len(data), len(data) + 2)]))


def test_blank_reads_among_good_ones() -> None:
    """A read without contact is left out, and that is said."""
    found = of(b"\xff" * len(IMAGE), IMAGE, IMAGE)
    assert_image(found, IMAGE)
    assert any("left out" in note for note in found.notes)


def test_reads_of_two_cards() -> None:
    """Most of the reads are of one card, however spoilt: theirs is the answer, or there is none.

    A read of another card, clean as it is, may not win over three with a bit wrong in each; and
    of as many reads, or more than half as many, none is the answer: the files are to be told apart.
    """
    bits = [40 * 8 + 1, 60 * 8 + 3, 80 * 8 + 6]
    flipped = [spoil.flip(IMAGE, [bit]) for bit in bits]
    others = [OTHER, spoil.swap_pairs(OTHER)]
    for reads in ([*flipped, OTHER], [OTHER, *flipped], [IMAGE, OTHER, IMAGE]):
        found = of(*reads)
        assert_image(found, IMAGE)
        assert found.notes == (CATALOG.judgement("reads-apart", count=1),)
    for count in (2, 3):
        reads = [IMAGE, *flipped[1:]][:count]
        found = of(*others, *reads)
        assert not found.settled
        assert {IMAGE, OTHER} == {answer.data for answer in found.answers}, count
        assert found.confidence == "guess"
        assert "1 and 2" in why(CATALOG, found)
        assert "by themselves" in advice(CATALOG, found, len(reads))
    assert not of(IMAGE, OTHER).settled


def test_more_reads_of_which_nothing_is_settled() -> None:
    """Two reads with the same wrong bit: one clean read of another card doesn't win over them."""
    wrong = spoil.flip(IMAGE, [(PNP + 12) * 8])
    found = of(wrong, OTHER, wrong)
    assert not found.settled
    assert "2; 1 and 3" in why(CATALOG, found)
    assert_image(of(wrong, OTHER), OTHER)


def test_same_reads() -> None:
    """Reads that are the same leave nothing to vote on, and that is said."""
    found = of(IMAGE, IMAGE)
    assert_image(found, IMAGE)
    assert found.answers[0].steps == ()
    assert any("same" in note for note in found.notes)


def test_a_flipped_bit_is_told_but_not_settled() -> None:
    """A wrong end checksum in a single read: nothing to undo, more reads help."""
    start, end = spoil.pnp_span(IMAGE, "counted-19")
    found = of(spoil.flip(IMAGE, [(start + 12) * 8]))
    assert not found.settled
    assert found.confidence == "guess"
    assert found.answers[0].steps == ()
    assert "end checksum" in why(CATALOG, found)
    assert "several times" in advice(CATALOG, found, 1)
    assert end < len(IMAGE)


def test_a_flipped_identifier_bit() -> None:
    """A wrong identifier checksum that isn't just left out is told, and not settled."""
    start, _ = spoil.pnp_span(IMAGE, "counted-19")
    found = of(spoil.flip(IMAGE, [(start + 5) * 8 + 3]))
    assert not found.settled
    assert "identifier checksum" in why(CATALOG, found)


def test_an_identifier_checksum_that_the_chip_makes() -> None:
    """A donor that stores 00h there works: it stays as it is, with a note (from memory)."""
    start, _ = spoil.pnp_span(IMAGE, "counted-19")
    donor = IMAGE[: start + 8] + b"\0" + IMAGE[start + 9 :]
    found = of(donor)
    assert_image(found, donor)
    assert found.answers[0].steps == ()
    assert found.confidence == "likely"
    assert any("compute" in note for note in found.answers[0].notes)
    assert_image(of(spoil.swap_pairs(donor)), donor)
    assert_image(of(spoil.repeat(donor, 2048)), donor)
    assert_image(of(bytes(3) + donor), donor)


def test_an_end_checksum_that_is_not_checked() -> None:
    """A stored 00h is right, but proves nothing (Spec 6.2.2.11)."""
    _, end = spoil.pnp_span(IMAGE, "counted-19")
    image = IMAGE[: end - 1] + b"\0" + IMAGE[end:]
    found = of(image)
    assert_image(found, image)
    assert found.confidence == "likely"
    gap = recover(CATALOG, [Reading.of(image, [(end - 8, end - 7)])])
    assert not gap.settled


def test_a_damaged_signature_is_no_offset() -> None:
    """The bytes of a frame with a wrong bit aren't taken for bytes before a plain image."""
    image = spoil.flip(IMAGE, [3])
    found = of(image)
    assert_image(found, image)
    assert found.answers[0].steps == ()
    assert any("signature" in note for note in found.answers[0].notes)


def test_as_good_answers_are_all_shown() -> None:
    """Two reads differ in a configuration bit, which nothing proves: both answers, none taken."""
    found = of(IMAGE, spoil.flip(IMAGE, [6 * 8 + 2]))
    assert not found.settled
    assert found.tied == 2
    assert found.confidence == "guess"
    assert {found.answers[0].data, found.answers[1].data} == {
        IMAGE,
        spoil.flip(IMAGE, [6 * 8 + 2]),
    }
    assert "--pick" in advice(CATALOG, found, 2)


def test_bits_that_make_up_for_each_other() -> None:
    """Two turned bits of one weight: the end checksum, a sum, can't tell which pair is right."""
    name_at = IMAGE.index(b"Hollow Lane")
    first, second = name_at * 8 + 1, (name_at + 6) * 8 + 1
    reads = [spoil.flip(IMAGE, [first]), spoil.flip(IMAGE, [second])]
    bits = [IMAGE[bit // 8] >> bit % 8 & 1 for bit in (first, second)]
    found = of(*reads)
    if bits[0] == bits[1]:
        assert_image(found, IMAGE)
    else:
        assert not found.settled
        assert IMAGE in [answer.data for answer in found.answers]


def test_patch_behind_the_data() -> None:
    """A firmware patch after the PnP data is kept, whatever happened to the read."""
    patch = Random(3).randbytes(40).hex()
    text = f'[image]\nlayout = "counted-7"\npart = "93C66"\npatch = "{patch}"\n\n{CARD}'
    image = built(text)
    for problem in FAULTS.values():
        assert_image(of(problem(image)), image)


def test_a_frame_of_ones_own(tmp_path: Path) -> None:
    """A user's frame is looked for too; its own checksum proves a gap in its configuration."""
    frame = """
title = "a frame for this test"
source = "invented"
[[frame]]
name = "summed-5"
title = "signature, three bytes, their sum"
size = 6
field = [
  { at = 0, bytes = 2, key = "signature", type = "constant", value = "C3 3C" },
  { at = 2, bytes = 3, key = "setting", type = "hex", default = "01 02 03" },
  { at = 5, bytes = 1, key = "sum", type = "checksum", checksum = "sum-to-zero", covers = "2-4" },
]
"""
    own = tmp_path / "own.toml"
    own.write_text(frame, encoding="utf-8")
    catalog = load_catalog(files=[own])
    image = (bytes.fromhex("C3 3C 10 20 30 A0") + PLAIN).ljust(512, b"\xff")
    for read in (spoil.swap_pairs(image), spoil.one_bit_late(image)):
        found = recover(catalog, [Reading.of(read)])
        assert_image(found, image)
        assert found.answers[0].evidence.layout == "summed-5"
    assert_image(recover(catalog, [Reading.of(image, [(3, 4)])]), image)
    assert_image(recover(catalog, [Reading.of(image, [(3, 4), (500, 502)])]), image)
    assert not recover(catalog, [Reading.of(image, [(3, 5)])]).settled
    found = recover(catalog, [Reading.of(PLAIN)], layout="summed-5", part_size=512)
    assert found.answers[0].data[:6] == bytes.fromhex("C3 3C 01 02 03 FA")


def test_part_settles_the_size() -> None:
    """Of a read that is longer than any part, `--part` says how much is the part's."""
    read = (bytes(1000) + IMAGE).ljust(0x8000, b"\xff")
    assert not of(read).settled
    assert_image(of(read, part_size=512), IMAGE)


def test_unknown_layout() -> None:
    """A layout that no schema describes is refused."""
    with pytest.raises(InputError):
        of(IMAGE, layout="counted-8")


def test_search_needs_a_linear_checksum_only() -> None:
    """The quick search rests on the register being linear: sums of inputs give sums of results."""
    check = CATALOG.checksums["identifier"]
    first, second = pack_id("QRL0301") + bytes(4), bytes(range(8))
    both = bytes(one ^ other for one, other in zip(first, second, strict=True))
    assert check.of(first) ^ check.of(second) ^ check.of(bytes(8)) == check.of(both)


# --- the command


def ambiguous(folder: Path) -> list[str]:
    """Two reads that leave two answers."""
    (folder / "a.bin").write_bytes(IMAGE)
    (folder / "b.bin").write_bytes(spoil.flip(IMAGE, [6 * 8 + 2]))
    return [str(folder / "a.bin"), str(folder / "b.bin")]


def test_pick(tmp_path: Path) -> None:
    """Nothing is written where two answers are as good, until one is picked."""
    out, reads = tmp_path / "out.bin", ambiguous(tmp_path)
    run = romtool("recover", *reads, "-o", str(out), "--json")
    answer = json.loads(run.stdout)
    assert run.returncode == 1, told(run)
    assert not out.exists()
    assert [row["pick"] for row in answer["alternatives"]] == [1, 2]
    assert answer["written"] is None
    for pick in (1, 2):
        run = romtool("recover", *reads, "-o", str(out), "--pick", str(pick), "--force")
        assert run.returncode == 0, told(run)
        assert out.read_bytes() in (IMAGE, spoil.flip(IMAGE, [6 * 8 + 2]))
    run = romtool("recover", *reads, "--pick", "3")
    assert run.returncode == 2
    assert "2 answers" in told(run)


def test_others_in_a_line_each(tmp_path: Path) -> None:
    """The likeliest answer in full, each other in a line with its --pick; nothing said twice."""
    (tmp_path / "read.bin").write_bytes(IMAGE * 2 + b"Hollow Lane" * 9)
    run = romtool("recover", "read.bin", cwd=tmp_path)
    assert run.returncode == 1
    lines = run.stdout.decode().splitlines()
    picks = [line for line in lines if "--pick" in line]
    assert [line.split()[1] for line in picks] == [str(n) for n in range(1, len(picks) + 1)]
    assert len(set(lines)) == len(lines)
    assert all(len(line) <= 80 for line in lines)
    assert "left out" not in told(run)


def test_without_output(tmp_path: Path) -> None:
    """Without -o nothing is written, and that is said, with steps, evidence and confidence."""
    (tmp_path / "read.bin").write_bytes(spoil.swap_pairs(IMAGE))
    run = romtool("recover", "read.bin", cwd=tmp_path)
    text = run.stdout.decode()
    assert run.returncode == 0, told(run)
    for word in ("byte pairs swapped", "signature right", "proven", "nothing written", "-o FILE"):
        assert word in text
    assert sorted(path.name for path in tmp_path.iterdir()) == ["read.bin"]


@pytest.mark.parametrize("options", [["--part", "24C99"], ["--layout", "none"], ["--pick", "0"]])
def test_unusable_calls(options: list[str], tmp_path: Path) -> None:
    """A part, a layout or a number that doesn't exist: exit code 2, one line."""
    (tmp_path / "read.bin").write_bytes(IMAGE)
    run = romtool("recover", "read.bin", *options, cwd=tmp_path)
    assert run.returncode == 2
    assert len(told(run).splitlines()) == 1
    assert told(run).startswith("romtool: ")


def test_seeded_cards_in_every_layout() -> None:
    """A fixed set beside the drawn ones: late and twice, the pair that loses and repeats a bit."""
    for seed in range(40 if is_whole else 12):
        image = built(plain_fill(generate(Random(seed))))
        if image[-1] == 0xFF:
            assert_image(of(spoil.repeat(spoil.one_bit_late(image), 2 * len(image))), image)


def test_a_file_of_no_parts_length() -> None:
    """It is taken for a cut one; as it is, it is the second answer."""
    image = PLAIN[:200]
    found = of(image)
    assert_image(found, PLAIN)
    assert [step for step, _ in found.answers[0].steps] == ["truncated"]
    assert found.answers[1].data == image


def test_a_part_that_is_too_small() -> None:
    """`--part` names a part that the image doesn't fit: told, not settled."""
    found = of(IMAGE, part_size=128)
    assert not found.settled or len(IMAGE.rstrip(b"\xff")) <= 128
    assert not of(PLAIN * 2, part_size=64).settled
