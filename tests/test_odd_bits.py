"""Items with odd bits are what their names say, in every answer; the odd bits are found and kept.

What is held against them: software of the field goes by the name of an item (the PnP code of an
operating system kernel, read and run).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romtool.files.schemas import load_catalog
from romtool.image.answer import image_json
from romtool.image.decode import decode
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.profile.write import profile_text
from romtool.requirements.model import RangeRequirement
from romtool.requirements.read import requirements_of
from romtool.rules.check import check
from romtool.toml.parse import parse_toml
from tests.support import independent as witness

CATALOG = load_catalog()

# A donor's card, whose first device has bit 7 of its ID set (Spec 6.2.2.2 wants a 0 there).
MARKED = bytes.fromhex(
    "464c0301650000002f0a10108204004361726415c9f3123400470120022002011022011022a00015464c0002"
    "004701300330030102798d"
)
HEAD = bytes.fromhex("464C0301650000002F0A1010820400436172641541D1000100")
"""An identifier, the version, a name, and a device ID."""


def card(items: str) -> bytes:
    """A card whose one device has these items."""
    return HEAD + bytes.fromhex(items) + bytes.fromhex("7900")


def again(data: bytes) -> bytes:
    """What the profile of an image builds."""
    return assemble(read_profile(CATALOG, parse_toml(profile_text(CATALOG, data)))).data


def test_a_marked_id_begins_a_device() -> None:
    """Its resources are its own, and the device after it is number 1."""
    image = decode(CATALOG, MARKED)
    answer = image_json(image, None)
    assert [device["id"] for device in answer["devices"]] == ["rOS1234", "QRL0002"]
    devices = requirements_of(image).devices
    assert [(device.id, device.number) for device in devices] == [("rOS1234", 0), ("QRL0002", 1)]
    (first,), (second,) = (device.alternatives[0].of_kind("io") for device in devices)
    assert isinstance(first, RangeRequirement)
    assert isinstance(second, RangeRequirement)
    assert (first.low, second.low) == (0x220, 0x330)
    assert again(MARKED) == MARKED
    assert 'id = "rOS1234"' in profile_text(CATALOG, image.data)
    assert "id-unspelt" in {finding.rule for finding in check(image)}


@pytest.mark.parametrize(
    ("item", "entry"),
    [
        ("23 20 00 F1", {"irq": [5], "trigger": ["high-edge"], "reserved": "F0"}),
        ("2A 02 80", {"dma": [1], "reserved": "80"}),
        ("47 81 20 02 20 02 01 10", {"io": 0x220, "length": 16, "reserved": "80"}),
        ("4B 88 83 04", {"io_fixed": 0x388, "length": 4, "reserved": "00 80"}),
    ],
)
def test_reserved_bits_stand_beside_the_key(item: str, entry: dict[str, object]) -> None:
    """The item keeps its meaning, and its bits (Spec 6.2.2.4, 6.2.2.5, 6.2.2.8, 6.2.2.9)."""
    image = decode(CATALOG, card(item))
    assert image_json(image, None)["devices"][0]["resources"] == [entry]
    (need,) = requirements_of(image).devices[0].alternatives[0].needs
    assert need.item is not None
    assert "item-bits" in {finding.rule for finding in check(image)}
    assert again(image.data) == image.data


@pytest.mark.parametrize("reserved", ["01", "80 00", "8", "zz", 128])
def test_only_reserved_bits_are_reserved(reserved: object) -> None:
    """In the bytes in which they are: DMA has one, bit 7 (Spec 6.2.2.5)."""
    entry = f"{{ dma = [1], reserved = {reserved!r} }}"
    text = f'[card]\nid = "QRL0301"\n[[device]]\nid = "QRL0001"\nresources = [ {entry} ]\n'
    with pytest.raises(Exception, match=r"reserved|hex digits"):
        read_profile(CATALOG, parse_toml(text))


@given(st.integers(0, 31), st.integers(0, 2**26 - 1))
def test_marked_ids_go_round(first: int, rest: int) -> None:
    """Each ID with the highest bit set: printed in lower case, or given as its bytes."""
    packed = (1 << 31 | first << 26 | rest).to_bytes(4, "big")
    data = HEAD[:-5] + packed + b"\0" + bytes.fromhex("1C") + packed + bytes.fromhex("7900")
    (device,) = image_json(decode(CATALOG, data), None)["devices"]
    letters = witness.unpack_id(bytes([packed[0] & 0x7F, *packed[1:]]))
    spelt = chr(ord(letters[0]) + 0x20) + letters[1:]
    shown = spelt if first != 31 else packed.hex(" ").upper()  # 7Fh prints nothing
    assert (device["id"], device["compatible"]) == (shown, [shown])
    assert ("id_raw" in profile_text(CATALOG, data)) == (first == 31)
    assert again(data) == data


def test_choices_of_a_second_group_are_choices() -> None:
    """Software of the field merges them into the first group, which the standard forbids (7.4)."""
    data = card("30 22 20 00 38 30 22 80 00 31 02 22 00 02 38 47 01 20 02 20 02 01 10")
    image = decode(CATALOG, data)
    (device,) = image_json(image, None)["devices"]
    assert [c["resources"] for c in device["choices"]] == [[{"irq": [n]}] for n in (5, 7, 9)]
    assert len(requirements_of(image).devices[0].alternatives) == 3
    assert again(data) == data


@pytest.mark.parametrize("items", ["22 20 00 1C 41 D0 B0 02", "30 22 20 00 1C 41 D0 B0 02 38"])
def test_a_compatible_id_counts_wherever_it_stands(items: str) -> None:
    data = card(items)
    (device,) = image_json(decode(CATALOG, data), None)["devices"]
    assert device["compatible"] == ["PNPB002"]
    assert again(data) == data
