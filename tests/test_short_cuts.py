"""What is done in a shorter way gives what the long way gives.

The register of the identifier's checksum by table, against the published bit loop; the frame
chosen without walking those that can't be it, against walking them all; serial numbers put into
one plan, against the witness, which encodes each card from the start.
"""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romtool.errors import InputError
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode, read_as
from romtool.image.evidence import evidence, holds
from romtool.profile.build import with_serials
from romtool.schema.checksums import lfsr8
from tests.support import independent as witness
from tests.support.profiles import Table, profiles, to_toml
from tests.support.tool import PROFILE
from tests.test_properties import images, relaxed

CATALOG = load_catalog()


def register(data: bytes, seed: int, taps: tuple[int, ...]) -> int:
    """The register bit by bit (Spec App. B.2), for any seed and taps."""
    for bit in (byte >> place & 1 for byte in data for place in range(8)):
        new = bit
        for tap in taps:
            new ^= seed >> tap & 1
        seed = seed >> 1 | new << 7
    return seed


@given(
    data=st.binary(max_size=20),
    seed=st.integers(0, 255),
    taps=st.lists(st.integers(0, 7), unique=True).map(tuple),
)
def test_register_by_table(data: bytes, seed: int, taps: tuple[int, ...]) -> None:
    assert lfsr8(data, seed, taps) == register(data, seed, taps)


@given(data=st.binary(min_size=8, max_size=8))
def test_register_of_identifiers(data: bytes) -> None:
    check = CATALOG.identifier.check_field.kind
    assert check.checksum.of(data) == witness.identifier_checksum(data)


@given(data=images())
@relaxed
def test_frame_is_the_one_with_most_evidence(data: bytes) -> None:
    """The first of those for which most speaks, of those that hold."""
    layouts = CATALOG.all_layouts.values()
    all_images = [read_as(CATALOG, data, layout) for layout in layouts]
    believed = [image for image in all_images if image is not None and holds(image)]
    best = max(believed, key=evidence, default=None)
    found = decode(CATALOG, data)
    assert found.layout is (best.layout if best else None) or (best is None and found.lead)


serials = st.lists(st.integers(0, witness.NO_SERIAL - 1), min_size=1, max_size=4)


@given(profile=profiles(), numbers=serials)
@relaxed
def test_serials(profile: Table, numbers: list[int]) -> None:
    images = list(with_serials(CATALOG, tomllib.loads(to_toml(profile)), numbers))
    cards = [profile | {"card": profile["card"] | {"serial": number}} for number in numbers]
    assert images == [witness.encode(card) for card in cards]


def test_a_serial_that_cannot_be_stored_is_refused_wherever_it_stands() -> None:
    made = with_serials(CATALOG, tomllib.loads(PROFILE), [1, 1 << 32])
    next(made)
    with pytest.raises(InputError, match="serial number") as refused:
        next(made)
    with pytest.raises(InputError) as at_once:
        next(with_serials(CATALOG, tomllib.loads(PROFILE), [1 << 32]))
    assert refused.value.problems == at_once.value.problems
