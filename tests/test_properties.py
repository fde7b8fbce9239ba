"""What holds for every profile and for all bytes: drawn by hypothesis, in this process.

Profiles are compared with the independent witness, which knows nothing of the tool. What is said
of arbitrary bytes comes from the contract: every byte lies in one place, and nothing is too odd
to be decoded, explained and checked.
"""

from __future__ import annotations

import re
import tomllib
from itertools import groupby
from random import Random
from typing import Any, Literal

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from romtool.files.schemas import load_catalog
from romtool.image.answer import image_json
from romtool.image.corruption import one_bit_late, swapped_pairs
from romtool.image.decode import decode
from romtool.image.explain import explain, rows_by_byte
from romtool.image.model import Image
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.rules.check import SEVERITIES, check
from romtool.text.image import byte_lines, image_lines
from romtool.verify import differences
from tests.support import independent as witness
from tests.support import spoil
from tests.support.amount import randoms
from tests.support.profiles import LAYOUTS, Table, generate, profiles, to_toml

CATALOG = load_catalog()

# Drawing a profile takes longer than using it; no time is asserted anywhere.
relaxed = settings(
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large], deadline=None
)

FRAMED = [*LAYOUTS, None]  # None: what the bytes themselves say


def least(layout: str) -> int:
    """How many bytes frame and identifier take, by the witness."""
    return len(witness.frame_bytes({"image": {"layout": layout}}, 0)) + 9  # Spec 6.1


def read(data: bytes, layout: str | None) -> Image:
    """The image; a layout that needs more bytes is left to the bytes themselves."""
    fits = layout is not None and len(data) >= least(layout)
    return decode(CATALOG, data, layout if fits else None)


def mutate(rng: Random, image: bytes) -> bytes:
    """Some bytes changed, taken out or put in, at times the end cut off."""
    data = bytearray(image)
    for _ in range(rng.choice([1, 1, 2, 8, 40])):
        at = rng.randrange(len(data))
        deed = rng.choice(["change", "change", "bit", "bit", "insert", "delete", "header"])
        if deed == "change":
            data[at] = rng.randrange(256)
        elif deed == "bit":
            data[at] ^= 1 << rng.randrange(8)
        elif deed == "insert":
            data[at:at] = rng.randbytes(rng.randint(1, 9))
        elif deed == "header":  # something that looks like an item
            first = rng.choice([0x0A, 0x15, 0x1C, 0x22, 0x23, 0x2A, 0x30, 0x31, 0x38, 0x47, 0x79])
            data[at] = rng.choice([first, 0x81, 0x82, 0x83, 0x85, 0x86])
        elif len(data) > 1:
            del data[at]
    if rng.random() < 0.2:
        del data[rng.randint(1, len(data)) :]
    return bytes(data) or b"\0"


def items_only(rng: Random) -> bytes:
    """A right identifier with items after it that follow no order: roles meet by chance."""
    header = witness.pack_id("QRL0301") + rng.randbytes(4)
    parts = [header, bytes([witness.identifier_checksum(header)])]
    for _ in range(rng.randint(0, 30)):
        known = [0x0A, 0x15, 0x16, 0x1C, 0x22, 0x23, 0x2A, 0x30, 0x31, 0x38, 0x47, 0x4B, 0x71, 0x79]
        first = rng.choice([*known, rng.randrange(1, 0x80), rng.randrange(0x80, 0x88)])
        if first & 0x80:
            length = rng.choice([0, 1, 2, 9, 17, rng.randrange(40)])
            parts.append(bytes([first]) + length.to_bytes(2, "little") + rng.randbytes(length))
        else:
            parts.append(bytes([first]) + rng.randbytes(first & 7))
    return b"".join(parts) + rng.choice([b"", b"\x79\x00", b"\xff" * 20, b"\0" * 20])


def images() -> st.SearchStrategy[bytes]:
    """Arbitrary bytes: random ones, spoilt images of all layouts, items in any order."""
    drawn = randoms()
    return st.one_of(
        st.binary(min_size=1, max_size=300),
        drawn.map(lambda rng: mutate(rng, witness.encode(generate(rng)))),
        drawn.map(items_only),
        drawn.map(lambda rng: mutate(rng, items_only(rng))),
    )


def built(profile: Table) -> bytes:
    """The image that the tool makes of a profile's text."""
    return assemble(read_profile(CATALOG, tomllib.loads(to_toml(profile)))).data


# --- profiles


@given(profiles())
@relaxed
def test_build_agrees_with_the_witness(profile: Table) -> None:
    """The tool writes the bytes that the witness writes, from the tables and from their text."""
    expected = witness.encode(profile)
    assert assemble(read_profile(CATALOG, profile)).data == expected
    assert built(profile) == expected


@given(profiles())
@relaxed
def test_decode_agrees_with_the_witness(profile: Table) -> None:
    """The tool recognises the layout by itself, and reads the card that the witness reads."""
    # Where a name is blank, software takes the next one: the witness takes what stands there.
    names = [table.get("name") for table in (profile["card"], *profile.get("device", []))]
    assume(all(name is None or name.strip() for name in names))
    layout = profile["image"].get("layout", "plain")
    data = witness.encode(profile)
    answer = image_json(decode(CATALOG, data), None)
    assert answer["layout"] == layout
    expected = witness.decode(data, layout)
    assert answer["card"]["id"] == expected["id"]
    assert answer["card"]["serial"] == expected["serial"]
    assert answer["card"]["name"] == profile["card"].get("name")
    assert answer["card"]["checksum"]["ok"] is True
    assert answer["end"]["checksum"]["ok"] is True
    # The witness has one list for what stands outside the choices.
    found = [
        {
            "id": device["id"],
            "name": device["name"],
            "compatible": device["compatible"],
            "resources": device["resources"] + device["resources_after"],
            "choices": device["choices"],
        }
        for device in answer["devices"]
    ]
    assert found == [witness.all_compatible(device) for device in expected["devices"]]


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_is_drawn(layout: str) -> None:
    """A layout by name, whatever the drawing brings: ten seeds of it."""
    for seed in range(10):
        profile = generate(Random(7000 + seed), layout)
        data = witness.encode(profile)
        assert built(profile) == data
        assert image_json(decode(CATALOG, data), None)["layout"] == layout


@given(profiles())
@relaxed
def test_a_sound_profile_has_no_errors(profile: Table) -> None:
    """The drawn profiles are right, so `check` finds no error in their images."""
    found = check(decode(CATALOG, witness.encode(profile)))
    assert [finding for finding in found if finding.severity == "error"] == []


@given(profiles(), st.data())
@relaxed
def test_a_wrong_bit_is_found(profile: Table, data: st.DataObject) -> None:
    """One bit of the PnP data turned over is found: two checksums cover all of it.

    The identifier's covers its eight bytes (Spec 6.1), the end item's all that follows (6.2.2.11).
    """
    layout = profile["image"].get("layout", "plain")
    image = bytearray(witness.encode(profile))
    start = least(layout) - 9
    end = start + len(witness.pnp_bytes(profile))
    bit = data.draw(st.integers(start * 8, end * 8 - 1))
    image[bit // 8] ^= 1 << bit % 8
    spoilt = decode(CATALOG, bytes(image), layout)
    rules = {finding.rule for finding in check(spoilt)}
    if bit // 8 - start < 9:
        assert "id-checksum" in rules
    elif spoilt.end_item is None:
        assert rules & {"no-end", "item-cut"}
    elif spoilt.items_end == end and image[end - 2 : end] != b"\x79\x00":
        # The items still end where they did; a stored 0 means "not checked".
        assert "end-checksum" in rules


# --- all bytes


def covered(answer: dict[str, Any]) -> list[tuple[int, bytes]]:
    """All runs of bytes that an answer holds, with where they stand."""
    rows = [*answer["frame"], *answer["items"], *answer["tail"]]
    if answer["card"] is not None:
        rows.append(answer["card"])
    return sorted((row["offset"], bytes.fromhex(row["raw"])) for row in rows if row["raw"])


@given(images(), st.sampled_from(FRAMED))
@relaxed
def test_every_byte_has_one_place(data: bytes, layout: str | None) -> None:
    """Each byte lies in the frame, the identifier, an item or the tail, and in one of them."""
    answer = image_json(read(data, layout), None)
    assert answer["size"] == len(data)
    at = 0
    for offset, raw in covered(answer):
        assert offset == at
        at += len(raw)
    assert at == len(data)
    assert b"".join(raw for _, raw in covered(answer)) == data
    if answer["card"] is not None:
        assert len(bytes.fromhex(answer["card"]["raw"])) == 9  # Spec 6.1
    for item in answer["items"]:
        assert witness.item_at(data, item["offset"]) == bytes.fromhex(item["raw"])


@given(images(), st.sampled_from(FRAMED))
@relaxed
def test_leaves_tile_the_image(data: bytes, layout: str | None) -> None:
    """The leaves of the tree follow one another, and each bit lies in exactly one of them."""
    tree = read(data, layout).tree
    assert (tree.start, tree.stop) == (0, len(data))
    at = 0
    for (start, stop), leaves in groupby(tree.leaves(), lambda leaf: (leaf.start, leaf.stop)):
        assert start == at
        assert stop > start
        masks = [leaf.mask or b"\xff" * (stop - start) for leaf in leaves]
        assert {len(mask) for mask in masks} == {stop - start}
        for place in range(stop - start):
            bits = [bit for mask in masks for bit in range(8) if mask[place] >> bit & 1]
            assert sorted(bits) == list(range(8))
        at = stop
    assert at == len(data)


@given(images(), st.sampled_from(FRAMED))
@relaxed
def test_each_node_holds_its_children(data: bytes, layout: str | None) -> None:
    """From its first to its last; and what it stores is what stands in its bytes."""
    nodes = [read(data, layout).tree]
    while nodes:
        node = nodes.pop()
        nodes += node.children
        if node.children:
            assert node.start == node.children[0].start
            assert node.stop == node.children[-1].stop
        elif isinstance(node.stored, bytes):
            assert node.stored == data[node.start : node.stop]
        elif node.stored is not None and node.field is not None:
            order: Literal["little", "big"] = "big" if node.field.endian == "big" else "little"
            raw = int.from_bytes(data[node.start : node.stop], order)
            own = int.from_bytes(node.mask or b"\xff" * (node.stop - node.start), order)
            lowest = (own & -own).bit_length() - 1
            assert (raw & own) >> lowest == node.stored


@given(images(), st.sampled_from(FRAMED))
@relaxed
def test_rows_tile_the_image(data: bytes, layout: str | None) -> None:
    """The explained rows follow one another without gap or overlap, each with words."""
    rows = explain(read(data, layout))
    assert b"".join(row.raw for row in rows) == data
    at = 0
    for row in rows:
        assert row.offset == at
        assert row.raw
        assert row.owner
        assert row.meanings or not any(row.raw)
        at += len(row.raw)
    by_byte = rows_by_byte(rows)
    assert len(by_byte) == len(data)
    assert by_byte[0] is rows[0]
    assert by_byte[-1] is rows[-1]


@given(images(), st.sampled_from(FRAMED))
@relaxed
def test_check_never_raises(data: bytes, layout: str | None) -> None:
    """Whatever the bytes, findings come out: in order, placed, all words filled in."""
    image = read(data, layout)
    found = check(image)
    assert [f.offset or 0 for f in found] == sorted(f.offset or 0 for f in found)
    for finding in found:
        assert finding.severity in SEVERITIES
        assert finding.message
        assert finding.hint
        assert finding.source
        assert not re.search(r"\{\w*\}", finding.message + finding.hint)
        assert finding.offset is None or 0 <= finding.offset <= len(data)
        assert finding.rule in CATALOG.rules
    if image.layout is None:
        (one,) = (finding for finding in found if finding.rule != "part-size")
        assert one.rule in ("no-frame", "blank", "zero")


@given(images(), st.sampled_from(FRAMED))
@relaxed
def test_text_never_raises(data: bytes, layout: str | None) -> None:
    """What a person reads of any bytes fits the terminal, and has no control characters."""
    image = read(data, layout)
    lines = [*image_lines(image, "dump.bin", None, check(image)), *byte_lines(image)]
    for line in lines:
        plain = line.replace("\x1b[1m", "").replace("\x1b[0m", "")
        for colour in (31, 33, 36):
            plain = plain.replace(f"\x1b[{colour}m", "")
        assert plain.isprintable(), plain
        assert len(plain) <= 80, plain


# --- verify


@given(images(), images())
@relaxed
def test_no_differences_means_equal(expected: bytes, readback: bytes) -> None:
    """There is none if and only if the two are equal."""
    image = decode(CATALOG, expected)
    assert differences(expected, image) == []
    assert (differences(readback, image) == []) == (readback == expected)


@given(images(), st.data())
@relaxed
def test_differences_are_the_bytes_that_differ(expected: bytes, data: st.DataObject) -> None:
    """Just those, in order, None past the end of one of the two, each with a field."""
    readback = bytearray(expected)
    for _ in range(data.draw(st.integers(0, 4))):
        readback[data.draw(st.integers(0, len(readback) - 1))] = data.draw(st.integers(0, 255))
    del readback[data.draw(st.integers(1, len(readback))) :]
    readback += data.draw(st.binary(max_size=4))
    found = differences(bytes(readback), decode(CATALOG, expected))

    def at(whole: bytes | bytearray, offset: int) -> int | None:
        return whole[offset] if offset < len(whole) else None

    wanted = [
        (offset, at(expected, offset), at(readback, offset))
        for offset in range(max(len(expected), len(readback)))
        if at(expected, offset) != at(readback, offset)
    ]
    assert [(one.offset, one.expected, one.found) for one in found] == wanted
    assert all(one.field for one in found)


@given(st.binary(max_size=40))
def test_swapping_pairs_twice_changes_nothing(data: bytes) -> None:
    """And once, it puts each byte where its partner was; a last one without stays."""
    swapped = swapped_pairs(data)
    assert swapped_pairs(swapped) == data
    for at in range(len(data) // 2 * 2):
        assert swapped[at ^ 1] == data[at]
    assert swapped[len(data) // 2 * 2 :] == data[len(data) // 2 * 2 :]


@given(st.binary(max_size=40), st.integers(0, 40))
def test_pairs_swapped_from_a_byte_on(data: bytes, first: int) -> None:
    first = min(first, len(data))
    assert swapped_pairs(data, first) == data[:first] + spoil.swap_pairs(data[first:])


@given(st.binary(max_size=40))
def test_a_bit_late_reads_a_0_first_and_loses_the_last(data: bytes) -> None:
    bits = "".join(f"{byte:08b}" for byte in data)
    late = ("0" + bits)[: len(bits)]
    assert one_bit_late(data) == bytes(int(late[at : at + 8], 2) for at in range(0, len(late), 8))
