"""What `diff` says of two images: each kind of change, nothing twice, no byte left out.

Changes are made in profiles, one at a time, so that what must be told is known; images of random
cards come from the independent encoder. Of arbitrary bytes: every byte that differs is accounted
for, and B compared with A says the same the other way round. Values of the cards are invented.
"""

from __future__ import annotations

import copy
import itertools
import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from romtool.diff.align import MOST_CELLS, align, in_order
from romtool.diff.changes import ByteCounts, Differences, differing_runs
from romtool.diff.compare import compare
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.text.diff import change_words, counted, differences_lines
from tests.support import independent as witness
from tests.support.amount import randoms
from tests.support.profiles import Table, generate, profiles
from tests.support.tool import romtool, told
from tests.test_properties import CATALOG, FRAMED, images, mutate, read, relaxed

SAMPLES = Path(__file__).resolve().parent.parent / "samples"
SAMPLE = SAMPLES / "hollow-lane.toml"
TEXT = SAMPLE.read_text(encoding="utf-8")
DEVICES = {
    number: TEXT[TEXT.index(f'[[device]]\nid = "QRL000{number}"') :].split("\n[[device]]")[0]
    for number in (1, 2, 3)
}


def image_of(text: str) -> bytes:
    """The image of a profile's text."""
    return assemble(read_profile(CATALOG, tomllib.loads(text))).data


def compared(a: bytes, b: bytes, layout: str | None = None) -> Differences:
    """The differences of two images."""
    return compare(decode(CATALOG, a, layout), decode(CATALOG, b, layout))


def words(found: Differences) -> list[str]:
    """The changes as people read them."""
    return [f"{change.where} | {change_words(change)}" for change in found.changes]


def edited(*edits: tuple[str, str]) -> str:
    """The sample with some words in it replaced, each where it stands first."""
    text = TEXT
    for old, new in edits:
        assert old in text
        text = text.replace(old, new, 1)
    return text


# --- one change, one line

CHOICE = '[[device.choice]]\npriority = "acceptable"\nresources = [\n  { irq = [5, 7, 9] },'
NEW_CHOICE = '[[device.choice]]\npriority = "good"\nresources = [ { irq = [7] } ]\n\n'
NINE, UART = "  { irq = [9] },\n", "  { io = 0x330, length = 2 },\n"
FIRST = TEXT[TEXT.index("[[device.choice]]") : TEXT.index(CHOICE)]
SECOND = TEXT[TEXT.index(CHOICE) : TEXT.index('[[device.choice]]\npriority = "sub-optimal"')]

ONE: dict[str, tuple[tuple[str, str], str]] = {
    "a line": (
        ("irq = [5, 7, 9] }", "irq = [5, 9] }"),
        "device QRL0001, choice 2 | IRQ 5, 7 or 9 -> 5 or 9",
    ),
    "a trigger": (
        ("irq = [5] }", 'irq = [5], trigger = ["low-level"] }'),
        "device QRL0001, choice 1 | IRQ 5 -> 5, low-level",
    ),
    "what goes without saying": (
        ("{ io = 0x220, length = 16 }", "{ io = 0x220, length = 16, align = 16 }"),
        "device QRL0001, choice 1 | I/O 220h-22Fh, alignment 1h -> 220h-22Fh, alignment 10h",
    ),
    "a reserved bit": (  # Spec 6.2.2.5: bit 7 is reserved
        ("{ dma = [1] }", '{ raw = "2A 02 80" }'),
        "device QRL0001, choice 1 | DMA 1, 8-bit -> 1, 8-bit, reserved bits 80",
    ),
    "a resource more": (
        ("  { io = 0x330, length = 2 },\n", "  { io = 0x330, length = 2 },\n  { dma = [3] },\n"),
        "device QRL0002, choice 1 | added: DMA 3, 8-bit",
    ),
    "a resource less": (
        ("  { dma = [3] },\n", ""),
        "device QRL0003, choice 1 | removed: DMA 3, 8-bit",
    ),
    "a resource moved": (
        (NINE + UART, UART + NINE),
        "device QRL0002, choice 1 | IRQ 9, place 1 -> place 2",
    ),
    "a choice more": (
        (CHOICE, NEW_CHOICE + CHOICE),
        "device QRL0001, choice 2 | added: good: IRQ 7",
    ),
    "a choice less": (
        (SECOND, ""),
        "device QRL0001, choice 2 | removed: acceptable: IRQ 5, 7 or 9; DMA 1 or 3, 8-bit; "
        "I/O 220h to 280h, 16 ports, every 20h; I/O 388h-38Bh",
    ),
    "choices in another order": (
        (FIRST + SECOND, SECOND + FIRST),
        "device QRL0001, choice 1 (2 in B) | place 1 -> 2",
    ),
    "a priority": (
        ('priority = "sub-optimal"', "priority = 7"),
        "device QRL0001, choice 3: priority | sub-optimal -> 7",
    ),
    "no priority": (
        ('priority = "sub-optimal"\n', ""),
        "device QRL0001, choice 3: priority | sub-optimal -> no priority stated",
    ),
    "a resource for always": (
        ('name = "16-bit codec"', 'name = "16-bit codec"\nresources = [ { vendor = "AB CD" } ]'),
        "device QRL0003 | added: vendor data AB CD",
    ),
    "a device's name": (
        ('"MIDI UART"', '"MIDI"'),
        'device QRL0002 | name "MIDI UART" -> "MIDI"',
    ),
    "a device without name": (
        ('name = "MIDI UART"\n', ""),
        'device QRL0002 | removed: name "MIDI UART"',
    ),
    "a compatible ID": (
        ('"PNPB006"', '"PNPB007"'),
        "device QRL0002 | compatible with PNPB006 -> PNPB007",
    ),
    "one more compatible ID": (
        ('["PNPB006"]', '["PNPB006", "PNPB007"]'),
        "device QRL0002 | added: compatible with PNPB007",
    ),
    "boot": (
        ('name = "MIDI UART"', 'name = "MIDI UART"\nboot = true'),
        "device QRL0002: boot | no -> yes",
    ),
    "a register": (
        ('name = "MIDI UART"', 'name = "MIDI UART"\nregisters = ["31h"]'),
        "device QRL0002: registers | none -> 31h",
    ),
    "a longer ID item": (  # Spec 6.2.2.2: 15h with five bytes of content, 16h with six
        ('name = "MIDI UART"', 'name = "MIDI UART"\nid_length = 6'),
        "device QRL0002: logical device ID | 15 46 4C 00 02 00 -> 16 46 4C 00 02 00 00",
    ),
    "a device's ID": (
        ('id = "QRL0002"', 'id = "QRL0009"'),
        "device QRL0002 (QRL0009 in B): device ID | QRL0002 -> QRL0009",
    ),
    "a device more": (
        (DEVICES[3], DEVICES[3] + '\n\n[[device]]\nid = "QRL0004"\nname = "Joystick"\n'),
        'device QRL0004 | added: name "Joystick", 17 bytes',
    ),
    "a device less": (
        (DEVICES[2] + "\n", ""),
        'device QRL0002 | removed: name "MIDI UART", compatible with PNPB006, 2 choices, 50 bytes',
    ),
    "devices in another order": (
        (DEVICES[2] + "\n" + DEVICES[3], DEVICES[3] + "\n" + DEVICES[2]),
        "device QRL0002 | place 2 -> 3",
    ),
    "the card's ID": (('id = "QRL0301"', 'id = "QRL0302"'), "card: card ID | QRL0301 -> QRL0302"),
    "the serial number": (("serial = 1\n", ""), "card: serial number | 1 -> none"),
    "the card's name": (
        ('"Hollow Lane audio card"', '"Hollow Lane"'),
        'card | name "Hollow Lane audio card" -> "Hollow Lane"',
    ),
    "the vendor's version": (
        ("vendor_version = 0x10", "vendor_version = 0x11"),
        "card | PnP 1.0, the vendor's 10h -> 1.0, the vendor's 11h",
    ),
    "an item of the card": (
        ("vendor_version = 0x10", 'vendor_version = 0x10\nresources = [ { vendor = "01" } ]'),
        "card | added: vendor data 01",
    ),
    "one wire": (
        ("irq_wiring = [5, 7, 9, 11, 0, 0]", "irq_wiring = [5, 7, 9, 0, 0, 0]"),
        "frame: IRQ wiring | D 11 -> D -",
    ),
    "the count": (
        ("[card]", "[override]\ncount = 7\n\n[card]"),
        "frame: byte count | 250 -> 7, should be 250",
    ),
    "a wrong checksum": (
        ("[card]", "[override]\nid_checksum = 7\n\n[card]"),
        "card: identifier checksum | 2Ch -> 07h, should be 2Ch",
    ),
    "the end checksum": (
        ("[card]", "[override]\nend_checksum = 0\n\n[card]"),
        "end: end checksum | E8h -> 00h, not checked",
    ),
    "the signature": (
        ("[card]", '[override]\nsignature = "55 BA"\n\n[card]'),
        "frame: signature | 55 BB -> 55 BA, should be 55 BB",
    ),
    "the fill": (('part = "24C04"', 'part = "24C04"\nfill = 0'), "fill | FFh -> 00h"),
    "the size": (('part = "24C04"', 'part = "24C08"'), "size | 512 bytes -> 1 KiB"),
}  # fmt: skip

FOLLOWS = ("frame: byte count", "card: identifier checksum", "end: end checksum")


@pytest.mark.parametrize("name", ONE)
def test_one_change_is_one_line(name: str) -> None:
    """What was changed in the profile is told, and only that; the rest follows from it."""
    edit, line = ONE[name]
    found = compared(image_of(TEXT), image_of(edited(edit)))
    assert words(found) == [line]
    assert not found.same
    assert found.bytes == ()
    for change in found.consequences:
        assert change.where.startswith(FOLLOWS) or "from " in change_words(change)


@pytest.mark.parametrize("name", ONE)
def test_the_other_way_round(name: str) -> None:
    """B compared with A is the same with the sides swapped."""
    a, b = image_of(TEXT), image_of(edited(ONE[name][0]))
    assert compared(b, a) == compared(a, b).swapped()


MIDI, CODEC = DEVICES[2], DEVICES[3]


@pytest.mark.parametrize("alike", [2, 3, 5])
def test_another_id_with_half_of_the_rest_is_the_same_device(alike: int) -> None:
    """Of six items of the UART, name and compatible ID among them, three have to be the same.

    What opens and closes its choices says nothing. With less in common, one device was removed and
    another added where it stood.
    """
    edits = [("MIDI UART", "UART"), ("PNPB006", "PNPB007"), ("[9]", "[5]"), ("= 2", "= 4")]
    other = MIDI.replace("QRL0002", "QRL0009")
    for old, new in edits[: 6 - alike]:
        other = other.replace(old, new, 1)
    told = words(compared(image_of(TEXT), image_of(TEXT.replace(MIDI, other))))
    if alike < 3:
        first = {line.split(": ")[0] for line in told}
        assert first == {"device QRL0002 | removed", "device QRL0009 | added"}
    else:
        assert told[0] == "device QRL0002 (QRL0009 in B): device ID | QRL0002 -> QRL0009"


def test_a_new_id_is_found_beside_a_device_that_went() -> None:
    """Not the first device in that place has the new ID, but the one that is alike."""
    renamed = CODEC.replace("QRL0003", "QRL0009")
    found = compared(
        image_of(TEXT), image_of(TEXT.replace(MIDI + "\n", "").replace(CODEC, renamed))
    )
    assert {line.partition(" | ")[0] for line in words(found)} == {
        "device QRL0002", "device QRL0003 (QRL0009 in B): device ID",
    }  # fmt: skip


def test_consequences_are_apart() -> None:
    """A choice more: the count, the end checksum and what stands after it follow."""
    edit, _ = ONE["a choice more"]
    data = image_of(edited(edit))
    found = compared(image_of(TEXT), data)
    at = image_of(TEXT).index(bytes.fromhex("31 01 22 A0 02"))  # acceptable; IRQ 5, 7 or 9
    moved = len(witness.pnp_bytes(tomllib.loads(edited(edit)))) - 250
    assert [(one.where, change_words(one)) for one in found.consequences] == [
        ("frame: byte count", f"250 -> {250 + moved}"),
        ("end: end checksum", f"E8h -> {data[23 + 250 + moved - 1]:02X}h"),
        # The second choice began after its frame (23 bytes, from memory) and what is before it.
        ("device QRL0001, choice 2 (3 in B) to end", f"from {at:X}h -> {at + moved:X}h"),
    ]


def test_a_value_that_is_no_longer_right() -> None:
    """A line is changed in the dump, the end checksum is not: that follows, and is told."""
    data = bytearray(image_of(TEXT))
    at = data.index(bytes.fromhex("22 A0 02"))  # IRQ 5, 7 or 9 (Spec 6.2.2.4)
    data[at + 1] = 0x20
    found = compared(image_of(TEXT), bytes(data))
    assert words(found) == ["device QRL0001, choice 2 | IRQ 5, 7 or 9 -> 5 or 9"]
    (end,) = found.consequences
    assert (end.where, change_words(end)) == ("end: end checksum", "E8h -> E8h, should be 68h")


def test_all_choices_gone_are_one_change_each() -> None:
    """That nothing closes them any more follows."""
    text = TEXT.replace(DEVICES[2], DEVICES[2][: DEVICES[2].index("\n[[device.choice]]")])
    found = compared(image_of(TEXT), image_of(text))
    assert [change.where for change in found.changes] == [
        "device QRL0002, choice 1",
        "device QRL0002, choice 2",
    ]
    assert "removed: end of choices" in [change_words(one) for one in found.consequences]


def test_devices_of_one_id() -> None:
    """They belong together by what stands in them, then in order, and are told apart."""
    twin = DEVICES[2].replace('"MIDI UART"', '"Second UART"')
    a = TEXT.replace(DEVICES[3], twin)
    b = a.replace("io = 0x330", "io = 0x300", 1)
    found = compared(image_of(a), image_of(b))
    assert words(found) == [
        "device QRL0002 (number 2), choice 1 | I/O 330h-331h -> 300h-301h",
    ]


def test_a_patch_and_a_tail() -> None:
    """Bytes outside the card are told as runs; of a patch that has moved, in both places."""
    patch = 'part = "24C04"\npatch = "01 02 03 04"\ntail = [ { at = 0x1F0, raw = "0A 0B" } ]'
    a = edited(('part = "24C04"', patch))
    b = a.replace("01 02 03 04", "01 22 23 04 05").replace("0A 0B", "0A 0C")
    b = b.replace('"MIDI UART"', '"MIDI"')
    found = compared(image_of(a), image_of(b))
    at = 23 + 250  # the counted frame and the PnP data (from memory; the sample)
    assert found.as_json()["bytes"] == [
        {"where": "firmware patch area or other bytes", "offset": at + 1, "offset_b": at - 4,
         "a": "02 03", "b": "22 23"},
        {"where": "firmware patch area or other bytes", "offset": at + 4, "offset_b": at - 1,
         "a": None, "b": "05"},
        {"where": "bytes after the PnP data", "offset": 0x1F1, "offset_b": 0x1F1,
         "a": "0B", "b": "0C"},
    ]  # fmt: skip
    assert words(found) == ['device QRL0002 | name "MIDI UART" -> "MIDI"']


def test_layouts_that_differ() -> None:
    """The card is compared with the card all the same, and the settings that both have."""
    text = TEXT[: TEXT.index("[config]")] + TEXT[TEXT.index("[card]") :]
    b = text.replace("counted-19", "marked-8").replace("irq = [5, 7, 9] }", "irq = [5, 9] }")
    found = compared(image_of(text), image_of(b))
    assert words(found) == [
        "layout | counted-19 -> marked-8",
        # Typical values of the two (from memory).
        "frame: IRQ wiring | A 5, B 7, C 9, D 11, E 12, F 15 -> A 9, B 5, C 7, D 10, E 11, F 12",
        "frame: DMA wiring | A 0, B 1, C 3 -> A 0, B 1, C 3, D 5",
        "device QRL0001, choice 2 | IRQ 5, 7 or 9 -> 5 or 9",
    ]
    assert found.bytes == ()


def test_no_layout() -> None:
    """What can be said: there is none in one of them; then the bytes."""
    a, b = image_of(TEXT), b"\xff" * 256
    found = compared(a, b)
    assert words(found) == ["layout | counted-19 -> none fits", "size | 512 bytes -> 256 bytes"]
    for offset in range(512):
        there = any(run.a_at <= offset < run.a_at + len(run.a or b"") for run in found.bytes)
        assert there == (a[offset : offset + 1] != b[offset : offset + 1])


def test_parts_of_one_size() -> None:
    """Another part of the same size is told, and changes no byte."""
    image = decode(CATALOG, image_of(TEXT))
    found = compare(image, image, ("24C04", "93C66"))  # both 512 bytes: industry numbers
    assert found.same
    assert words(found) == ["part | 24C04 -> 93C66"]
    assert compare(image, image, ("24C04", None)).changes == ()


def test_one_card_read_with_two_layouts() -> None:
    """The same bytes are the same, whatever they are read with."""
    a, b = (decode(CATALOG, image_of(TEXT), layout) for layout in ("counted-19", "plain"))
    found = compare(a, b)
    assert found.same
    assert words(found) == ["layout | counted-19 -> plain"]
    assert found.bytes == ()


# --- random cards


def lists_of(device: Table) -> list[list[Table]]:
    """The lists of resources of a device that hold any."""
    found = [device.get("resources", []), device.get("resources_after", [])]
    found += [choice.get("resources", []) for choice in device.get("choice", [])]
    return [entries for entries in found if entries]


@given(profiles(), randoms())
@relaxed
def test_one_line_of_the_bus(profile: Table, rng: Random) -> None:
    """One IRQ line of one item turned on or off is one change, in its device."""
    places = [
        (at, entry)
        for at, device in enumerate(profile["device"])
        for entries in lists_of(device)
        for entry in entries
        if "irq" in entry
    ]
    if not places:
        return
    a = witness.encode(profile)
    at, entry = rng.choice(places)
    entry["irq"] = sorted({witness.number(n) for n in entry["irq"]} ^ {rng.choice([3, 5, 7, 9])})
    found = compared(a, witness.encode(profile), profile["image"].get("layout", "plain"))
    (change,) = found.changes
    assert change.a is not None
    assert change.b is not None
    assert change.where.startswith(f"device {profile['device'][at]['id']}")
    assert "IRQ" in change.a.words
    assert found.bytes == ()
    assert len(change_words(change).splitlines()) == 1


@given(profiles(), randoms())
@relaxed
def test_one_thing_less(profile: Table, rng: Random) -> None:
    """A resource, a choice or a device taken out is one change; put back, one too.

    Without bytes after the PnP data, of which only their order says which are fill.
    """
    for key in ("patch", "tail"):
        profile["image"].pop(key, None)
    less = copy.deepcopy(profile)
    deeds = [lambda: less["device"].pop(rng.randrange(len(less["device"])))]
    for device in less["device"]:
        if len(device.get("choice", [])) > 1:
            deeds.append(
                lambda d=device: d["choice"].pop(rng.randrange(len(d["choice"])))  # type: ignore[misc]
            )
        for entries in lists_of(device):
            deeds.append(lambda e=entries: e.pop(rng.randrange(len(e))))  # type: ignore[misc]
    if not less["device"]:
        return
    rng.choice(deeds)()
    layout = profile["image"].get("layout", "plain")
    a, b = witness.encode(profile), witness.encode(less)
    size = len(b) != len(a)  # the smallest part that holds it may be a smaller one
    (change,) = [one for one in compared(a, b, layout).changes if one.where != "size"]
    assert change.b is None
    (change,) = [one for one in compared(b, a, layout).changes if one.where != "size"]
    assert change.a is None
    assert size == any(one.where == "size" for one in compared(a, b, layout).changes)


@pytest.mark.parametrize("seed", range(12))
def test_unlike_cards(seed: int) -> None:
    """Two random cards have little in common: told all the same, and fast enough to be read."""
    rng = Random(seed)
    a, b = (witness.encode(generate(rng)) for _ in range(2))
    accounted(a, b, compared(a, b))


# --- all bytes


def accounted(a: bytes, b: bytes, found: Differences) -> None:
    """Each differing byte lies in what is told of A or of B, and what is told is so."""
    assert found.same == (a == b)
    told = (*found.changes, *found.consequences)
    spans = (
        [*(span for one in told if one.a for span in one.a.spans),
         *(run.a_span for run in found.bytes)],
        [*(span for one in told if one.b for span in one.b.spans),
         *(run.b_span for run in found.bytes)],
    )  # fmt: skip
    marks = [bytearray(max(len(a), len(b))) for _ in spans]
    for mark, side in zip(marks, spans, strict=True):
        for first, stop in side:
            mark[first:stop] = b"\1" * (stop - first)
    for offset in range(max(len(a), len(b))):
        if a[offset : offset + 1] != b[offset : offset + 1]:
            assert marks[0][offset] or marks[1][offset], offset
    for one in told:
        assert one.where
        assert one.a is None or one.b is None or one.a.words != one.b.words
    for run in found.bytes:
        assert run.a != run.b
        assert run.a is None or a[run.a_at : run.a_at + len(run.a)] == run.a
        assert run.b is None or b[run.b_at : run.b_at + len(run.b)] == run.b
    if a == b:
        assert not [*found.changes, *found.consequences, *found.bytes]
    else:
        assert [*found.changes, *found.consequences, *found.bytes]


@given(images(), images(), st.sampled_from(FRAMED))
@relaxed
def test_every_byte_is_accounted_for(a: bytes, b: bytes, layout: str | None) -> None:
    """Of any two images; and the other way round it is the same."""
    one, other = read(a, layout), read(b, layout)
    found = compare(one, other)
    if one.layout is other.layout:
        accounted(a, b, found)
    assert compare(other, one) == found.swapped()
    assert (compare(one, one).changes, compare(one, one).bytes) == ((), ())


@given(st.binary(min_size=1, max_size=12), st.binary(min_size=1, max_size=12))
@example(b"\x12\x34", b"\x12\x35")
@relaxed
def test_bytes_before_a_card_of_no_known_layout(front: bytes, other: bytes) -> None:
    """Of one length they are compared byte by byte; of two they are two layouts."""
    rest = image_of(TEXT)[23:]
    a, b = (read((one + rest)[: len(rest)], None) for one in (front, other))
    assume(a.lead == front and b.lead == other)
    found = compare(a, b)
    assert compare(b, a) == found.swapped()
    accounted(a.data, b.data, found)
    if len(front) == len(other):
        assert {run.where for run in found.bytes} == ({"lead"} if front != other else set())
    else:
        sides = [f"lead, {len(one)} byte{'' if len(one) == 1 else 's'}" for one in (front, other)]
        assert words(found) == [f"layout | {sides[0]} -> {sides[1]}"]


@given(images(), randoms())
@relaxed
def test_a_spoilt_image_is_accounted_for(a: bytes, rng: Random) -> None:
    """The same of an image and a few bytes changed, taken out or put in."""
    b = mutate(rng, a)
    accounted(a, b, compared(a, b))
    accounted(b, a, compared(b, a))


@given(images(), randoms(), st.sampled_from(FRAMED))
@relaxed
def test_text_fits(a: bytes, rng: Random, layout: str | None) -> None:
    """What people read fits the terminal, and holds no control characters."""
    b = mutate(rng, a)
    found = compare(read(a, layout), read(b, layout))
    for line in differences_lines(found, ["a.bin", "b.bin"], counted(ByteCounts.of(a, b))):
        plain = line.replace("\x1b[1m", "").replace("\x1b[0m", "")
        assert plain.isprintable(), plain
        assert len(plain) <= 80, plain
        assert plain == plain.rstrip()


# --- the parts of it


@given(st.binary(max_size=12), st.binary(max_size=12))
def test_runs_are_the_bytes_that_differ(a: bytes, b: bytes) -> None:
    """Every differing address once, in runs as long as can be."""
    places = range(max(len(a), len(b)))
    runs = list(differing_runs(a, b, places))
    inside = [at for first, stop in runs for at in range(first, stop)]
    assert inside == [at for at in places if a[at : at + 1] != b[at : at + 1]]
    for (_, stop), (first, _) in itertools.pairwise(runs):
        assert stop < first or stop == min(len(a), len(b))


@given(st.text("abcde", max_size=9), st.text("abcde", max_size=9))
def test_alignment_takes_the_fewest_changes(a: str, b: str) -> None:
    """Compared with the textbook's longest common part, with a change as dear as a removal."""

    def common(one: str, other: str) -> int:
        if not one or not other:
            return 0
        if one[0] == other[0]:
            return 1 + common(one[1:], other[1:])
        return max(common(one[1:], other), common(one, other[1:]))

    found = align(a, b, lambda letter: letter, lambda one, other: None)
    kept = [one for one in found if one.a is not None and one.b is not None]
    assert sum(not one.moved for one in kept) == common(a, b)
    assert sorted(one.a for one in found if one.a is not None) == list(range(len(a)))
    assert sorted(one.b for one in found if one.b is not None) == list(range(len(b)))
    assert all(a[one.a or 0] == b[one.b or 0] for one in kept)


def test_long_lists_are_paired_by_place() -> None:
    """Lists too long to be weighed lose nothing."""
    long = int(MOST_CELLS**0.5) + 5
    a, b = list(range(long)), [n + 1000 for n in range(long + 3)]
    found = align(a, b, lambda n: n, lambda one, other: 1.0)
    assert [(one.a, one.b) for one in found] == [
        *((at, at) for at in range(long)),
        *((None, long + more) for more in range(3)),
    ]


@given(st.permutations(range(7)))
def test_in_order(places: list[int]) -> None:
    """A longest ascending run, by trying all."""
    kept = sorted(in_order(places))
    assert [places[at] for at in kept] == sorted(places[at] for at in kept)
    longest = max(
        size
        for size in range(8)
        for chosen in itertools.combinations(places, size)
        if list(chosen) == sorted(chosen)
    )
    assert len(kept) == longest


# --- the command


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """A folder with the sample, a changed one, and an image of each."""
    (tmp_path / "a.toml").write_text(TEXT, encoding="utf-8")
    (tmp_path / "b.toml").write_text(edited(ONE["a line"][0]), encoding="utf-8")
    (tmp_path / "a.bin").write_bytes(image_of(TEXT))
    (tmp_path / "b.bin").write_bytes(image_of(edited(ONE["a line"][0])))
    return tmp_path


@pytest.mark.parametrize("pair", [("a.toml", "b.bin"), ("a.bin", "b.toml"), ("a.bin", "b.bin")])
def test_one_irq_change_is_one_line(pair: tuple[str, str], desk: Path) -> None:
    """Profiles and images mixed; exit code 1; only one line names the lines."""
    run = romtool("diff", *pair, cwd=desk)
    assert run.returncode == 1, told(run)
    assert told(run) == ""
    text = run.stdout.decode()
    (line,) = [line for line in text.splitlines() if "IRQ" in line]
    assert " ".join(line.split()) == "device QRL0001, choice 2 IRQ 5, 7 or 9 -> 5 or 9"


def test_equal_images(desk: Path) -> None:
    """Exit code 0, and the document says so."""
    for pair in (("a.toml", "a.bin"), ("a.bin", "a.toml"), ("b.bin", "b.bin")):
        run = romtool("diff", *pair, cwd=desk)
        assert run.returncode == 0, told(run)
        assert run.stdout.startswith(b"same: all 512 bytes")
        run = romtool("diff", "--json", *pair, cwd=desk)
        assert run.returncode == 0
        assert json.loads(run.stdout) == {
            "same": True, "changes": [], "consequences": [], "bytes": [],
            "renumbered": [], "drivers": [],
        }  # fmt: skip


def document(desk: Path, *words: str, stdin: bytes | None = None) -> dict[str, Any]:
    """The document of a call that finds differences."""
    run = romtool("diff", "--json", *words, cwd=desk, stdin=stdin)
    assert run.returncode == 1, told(run)
    answer = json.loads(run.stdout)
    assert isinstance(answer, dict)
    return answer


def test_json(desk: Path) -> None:
    """The document is what the core says."""
    answer = document(desk, "a.toml", "b.toml")
    assert answer == {
        "same": False,
        "changes": [{"where": "device QRL0001, choice 2", "a": "IRQ 5, 7 or 9", "b": "IRQ 5 or 9"}],
        "consequences": [{"where": "end: end checksum", "a": "E8h", "b": "68h"}],
        "bytes": [],
        "renumbered": [],
        "drivers": [],
    }
    back = document(desk, "b.toml", "a.toml")
    assert back["changes"] == [
        {"where": "device QRL0001, choice 2", "a": "IRQ 5 or 9", "b": "IRQ 5, 7 or 9"}
    ]


def test_standard_input(desk: Path) -> None:
    """For either of the two, not for both; a named format is then that one's."""
    data = (desk / "b.bin").read_bytes()
    assert document(desk, "a.toml", "-", stdin=data) == document(desk, "a.toml", "b.bin")
    assert document(desk, "-", "a.toml", stdin=data) == document(desk, "b.bin", "a.toml")
    text = (desk / "b.toml").read_bytes()
    answer = document(desk, "-", "a.bin", "--input", "toml", stdin=text)
    assert answer == document(desk, "b.bin", "a.bin")
    run = romtool("diff", "-", "-", cwd=desk, stdin=data)
    assert run.returncode == 2
    assert "only once" in told(run)


def test_profiles_with_faults(desk: Path) -> None:
    """Rule errors are no hindrance; what can't be encoded is."""
    problems = SAMPLES / "tour" / "faults.toml"
    assert romtool("check", str(problems), cwd=desk).returncode == 1
    answer = document(desk, "a.toml", str(problems))
    assert [change["where"] for change in answer["changes"]] == [
        "device QRL0002, choice 1", "end: end checksum",
    ]  # fmt: skip
    run = romtool("diff", "a.toml", str(SAMPLES / "tour" / "mistakes.toml"), cwd=desk)
    assert run.returncode == 2
    assert "mistakes.toml" in told(run)


def test_options(desk: Path) -> None:
    """A layout named holds for both, and so does a part; a part of another size is refused."""
    one = document(desk, "a.bin", "b.bin", "--layout", "counted-19", "--part", "24C04")
    assert one == document(desk, "a.bin", "b.bin")
    run = romtool("diff", "a.bin", "b.bin", "--part", "24C02", cwd=desk)
    assert run.returncode == 2
    assert "24C02" in told(run)
    run = romtool("diff", "a.bin", "gone.bin", cwd=desk)
    assert run.returncode == 2
    assert "gone.bin" in told(run)


def test_a_layout_of_ones_own(tmp_path: Path) -> None:
    """Settings of a user's frame have its words; its own checksum follows."""
    folder = SAMPLES / "schemas"
    catalog = load_catalog([folder])
    assert "hollow-lane-24" in catalog.layouts
    for name, gain in (("a", 16), ("b", 17)):
        image = '[image]\nlayout = "hollow-lane-24"\npart = "24C04"\n'
        config = f"[config]\nline_out_gain = {gain}\n"
        text = image + config + TEXT[TEXT.index("[card]") :]
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    answer = document(tmp_path, "a.toml", "b.toml", "--schemas", str(folder))
    assert answer["changes"] == [{"where": "frame: line-out gain", "a": "16", "b": "17"}]
    assert [one["where"] for one in answer["consequences"]] == ["frame: frame checksum"]


ODD_FRAME = """\
title = "a frame with bits that are always the same, and a name that stands twice"
source = "invented"
[[frame]]
name = "odd-bits"
title = "mark and mode"
size = 1
field = [
  { at = 0, bits = "7:4", key = "mark", type = "constant", value = 10, title = "mark" },
  { at = 0, bits = "3:0", key = "mode", type = "choice", names = { 0 = "off", 1 = "off", 2 = "on" }, default = "on", title = "mode" },
]
"""  # noqa: E501


def test_bits_of_a_frame_of_ones_own(tmp_path: Path) -> None:
    """A fixed number in a few bits is told as a number; one name for two values, with its bits."""
    (tmp_path / "schemas").mkdir()
    (tmp_path / "schemas" / "odd.toml").write_text(ODD_FRAME, encoding="utf-8")
    card = image_of('[image]\npart = "24C04"\n' + TEXT[TEXT.index("[card]") :])[:511]
    for name, first in (("a", 0xA0), ("b", 0xA1), ("c", 0xB0)):
        (tmp_path / f"{name}.bin").write_bytes(bytes([first]) + card)
    options = ("--schemas", "schemas", "--layout", "odd-bits")
    assert document(tmp_path, "a.bin", "b.bin", *options)["changes"] == [
        {"where": "frame: mode", "a": "off (A0)", "b": "off (A1)"}
    ]
    assert document(tmp_path, "a.bin", "c.bin", *options)["changes"] == [
        {"where": "frame: mark", "a": "10", "b": "11, should be 10"}
    ]
    run = romtool("inspect", "c.bin", "--bytes", *options, cwd=tmp_path)
    assert run.returncode == 0, told(run)
    assert "mark (bits 7:4): 11, should be 10" in run.stdout.decode()


def test_large_random_images(tmp_path: Path) -> None:
    """Two random images of 64 KiB: an answer, cut for people, whole for scripts."""
    rng = Random(64)
    a, b = (rng.randbytes(65536) for _ in range(2))
    (tmp_path / "a.bin").write_bytes(a)
    (tmp_path / "b.bin").write_bytes(b)
    run = romtool("diff", "a.bin", "b.bin", cwd=tmp_path)
    assert run.returncode == 1
    assert len(run.stdout.splitlines()) < 100
    runs = document(tmp_path, "a.bin", "b.bin")["bytes"]
    rebuilt = bytearray(a)
    for one in runs:
        raw = bytes.fromhex(one["b"])
        rebuilt[one["offset"] : one["offset"] + len(raw)] = raw
    assert bytes(rebuilt) == b


def redone(change: Callable[[dict[str, Any]], object]) -> Differences:
    """What differs between the sample and an edit of it."""
    tables = tomllib.loads(TEXT)
    before = assemble(read_profile(CATALOG, tables)).data
    change(tables)
    after = assemble(read_profile(CATALOG, tables)).data
    return compare(decode(CATALOG, before), decode(CATALOG, after))


def numbers(found: Differences) -> list[tuple[str, int, int]]:
    return [(one.device, one.a, one.b) for one in found.renumbered]


def test_a_removed_device_renumbers_those_after_it() -> None:
    found = redone(lambda tables: tables["device"].pop(1))
    assert numbers(found) == [("QRL0003", 2, 1)]
    assert numbers(found.swapped()) == [("QRL0003", 1, 2)]
    assert len(found.changes) == 1, "a number that shifts is no change of its own"


def test_an_added_device_renumbers_those_after_it() -> None:
    new = {"id": "QRL0009", "resources": [{"io": 0x200, "length": 8}]}
    found = redone(lambda tables: tables["device"].insert(0, new))
    assert numbers(found) == [("QRL0001", 0, 1), ("QRL0002", 1, 2), ("QRL0003", 2, 3)]


def test_a_change_inside_a_device_renumbers_nothing() -> None:
    assert not redone(lambda tables: tables["device"][0].update(name="x")).renumbered


def test_ids_that_a_drivers_looks_for_are_told() -> None:
    """A clone keeps the donor's IDs, or the driver won't load (common practice, no source)."""
    found = redone(lambda tables: tables["device"][0].update(compatible=["PNPB003"]))
    assert [(one.a, one.b) for one in found.drivers] == [(("PNPB002",), ("PNPB003",))]
    assert [(one.a, one.b) for one in found.swapped().drivers] == [(("PNPB003",), ("PNPB002",))]
    found = redone(lambda tables: tables["device"][0].update(id="QRL0011"))
    assert [one.a for one in found.drivers] == [("QRL0001",)]
    assert not redone(lambda tables: tables["device"][0].update(name="x")).drivers
