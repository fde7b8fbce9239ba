"""How long decoding, building and writing a profile take, as multiples of something familiar.

A time by itself says more of the machine than of the program, so each group has a reference that
is measured in the same run: the table that pytest-benchmark prints gives every row of a group as
a multiple of its fastest. No test asserts a time.

    python -m pytest tests/benchmarks -m "" --benchmark-enable

Without `--benchmark-enable` each row runs once, so that it can't rot, and what it makes is checked.
"""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from romtool.files.packed import NAME, pack, unpack
from romtool.files.schemas import load_catalog, read_catalog, shipped_folder
from romtool.image.card import card_of
from romtool.image.decode import decode
from romtool.image.explain import explain
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.profile.write import profile_text
from romtool.rules.check import check
from tests.benchmarks import same_work
from tests.benchmarks.card import IMAGE
from tests.benchmarks.readers import READERS, by_romtool
from tests.support import independent as witness
from tests.support.profiles import Table, generate, to_toml

CATALOG = load_catalog()
SIZES = {"512 bytes": 512, "64 KiB": 65536}


def device(rng: Random, number: int) -> Table:
    """A device that asks for what no other one of the card asks for; vendor data make it long."""
    return {
        "id": f"QRL{number:04X}",
        "name": f"Function {number}",
        "resources": [{"vendor": witness.spaced(rng.randbytes(20))}, {"irq": [5]}],
        "choice": [
            {"priority": "good", "resources": [{"io": 0x220, "length": 16}, {"dma": [1]}]},
            {"priority": "acceptable", "resources": [{"io": [0x240, 0x280], "align": 32,
                                                      "length": 16}]},
        ],
    }  # fmt: skip


def profile_of(size: int) -> Table:
    """A profile whose items fill most of an image of this size."""
    rng = Random(size)
    if size == 512:
        found = next(
            drawn
            for drawn in (generate(rng, "counted-19") for _ in range(1000))
            if 250 < len(witness.pnp_bytes(drawn)) < 450
        )
        return {**found, "image": {"layout": "counted-19", "size": size}}
    card = {"id": "QRL0301", "serial": 1, "name": "Hollow Lane audio card"}
    profile: Table = {"image": {"layout": "counted-19", "size": size}, "card": card}
    each = len(witness.device_bytes(device(rng, 100)))
    profile["device"] = [device(rng, number) for number in range((size - 512) // each)]
    return profile


@cache
def profile_named(size: str) -> Table:
    return profile_of(SIZES[size])


@cache
def text_of(size: str) -> str:
    return to_toml(profile_named(size))


@cache
def image_of(size: str) -> bytes:
    return witness.encode(profile_named(size))


@pytest.fixture(params=["512 bytes", pytest.param("64 KiB", marks=pytest.mark.bulk)])
def size(request: pytest.FixtureRequest) -> str:
    """The name of a size."""
    assert isinstance(request.param, str)
    return request.param


def measured(
    benchmark: BenchmarkFixture, group: str, work: Callable[..., Any], *args: object
) -> Any:
    """The result of the work, measured as a row of this group."""
    benchmark.group = group
    return benchmark(work, *args)


# --- of a card: the references are readers by other means, which do less


@pytest.mark.parametrize("reader", READERS)
def test_reference_of_reading(benchmark: BenchmarkFixture, reader: str) -> None:
    items = measured(benchmark, "read a card", READERS[reader])
    assert len(items) == len(by_romtool().items)


def test_the_parser_by_hand_does_the_same_work() -> None:
    image, card = by_romtool(), same_work.read(IMAGE)
    assert image.layout is not None
    assert image.id_checksum is not None and image.end_checksum is not None
    assert (image.layout.name, image.card_id) == (card.layout, card.id)
    assert (image.id_checksum.stored, image.id_checksum.computed) == card.id_checksum
    assert (image.end_checksum.stored, image.end_checksum.computed) == card.end_checksum
    assert [(item.offset, item.raw, item.values) for item in image.items] == card.items


def test_reading(benchmark: BenchmarkFixture) -> None:
    image = measured(benchmark, "read a card", by_romtool)
    assert (image.id_checksum.ok, image.end_checksum.ok) == (True, True)
    assert (len(IMAGE), image.items_end, len(card_of(image).devices)) == (349, 349, 5)


# --- of an image: the reference is the witness of the tests, a decoder written straight down


def test_reference_of_decoding(benchmark: BenchmarkFixture, size: str) -> None:
    answer = measured(benchmark, f"decode, {size}", witness.decode, image_of(size), "counted-19")
    assert answer["id"] == profile_named(size)["card"]["id"]


def test_decode(benchmark: BenchmarkFixture, size: str) -> None:
    image = measured(benchmark, f"decode, {size}", decode, CATALOG, image_of(size))
    assert image.layout.name == "counted-19"
    assert image.end_checksum.ok


def test_decode_and_check(benchmark: BenchmarkFixture, size: str) -> None:
    def checked(data: bytes) -> list[Any]:
        return list(check(decode(CATALOG, data)))

    found = measured(benchmark, f"decode, {size}", checked, image_of(size))
    assert "end-checksum" not in {finding.rule for finding in found}


def test_decode_and_explain(benchmark: BenchmarkFixture, size: str) -> None:
    def representable(data: bytes) -> int:
        return sum(len(row.raw) for row in explain(decode(CATALOG, data)))

    assert measured(benchmark, f"decode, {size}", representable, image_of(size)) == SIZES[size]


# --- of a profile: the reference is reading its TOML, which comes before all else


def test_reference_of_building(benchmark: BenchmarkFixture, size: str) -> None:
    tables = measured(benchmark, f"build, {size}", tomllib.loads, text_of(size))
    assert tables == profile_named(size)


def test_build(benchmark: BenchmarkFixture, size: str) -> None:
    def build(text: str) -> bytes:
        return assemble(read_profile(CATALOG, tomllib.loads(text))).data

    assert measured(benchmark, f"build, {size}", build, text_of(size)) == image_of(size)


# --- of a dump as a profile: the reference is reading the text that comes of it


def test_reference_of_profiles(benchmark: BenchmarkFixture, size: str) -> None:
    text = profile_text(CATALOG, image_of(size))
    tables = measured(benchmark, f"profile, {size}", tomllib.loads, text)
    assert tables["card"]["id"] == profile_named(size)["card"]["id"]


def test_profile(benchmark: BenchmarkFixture, size: str) -> None:
    text = measured(benchmark, f"profile, {size}", profile_text, CATALOG, image_of(size))
    assert assemble(read_profile(CATALOG, tomllib.loads(text))).data == image_of(size)


# --- of the schemas: the reference is reading their TOML


def test_reference_of_schemas(benchmark: BenchmarkFixture) -> None:
    texts = [path.read_text(encoding="utf-8") for path in shipped_folder().rglob("*.toml")]

    def parsed() -> list[dict[str, Any]]:
        return [tomllib.loads(text) for text in texts]

    assert len(measured(benchmark, "schemas", parsed)) == len(texts)


def test_schemas(benchmark: BenchmarkFixture) -> None:
    assert set(measured(benchmark, "schemas", read_catalog).layouts) >= {"plain", "counted-19"}


def test_packed_schemas(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    folder = tmp_path / "schemas"
    shutil.copytree(shipped_folder(), folder)
    (folder / NAME).write_bytes(pack(read_catalog(), folder))
    found = measured(benchmark, "schemas", unpack, folder)
    assert set(found.layouts) >= {"plain", "counted-19"}
