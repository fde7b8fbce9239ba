"""`schema draft`: chips that no schema describes, made here, and what is worked out of their dumps.

The chips and their dumps are made by code that knows nothing of the tool: bytes before the PnP data
with a mark, a count in either order, a wiring and a sum, as seed by seed drawn; the cards come from
the independent witness. What a front can hold is common practice, no source.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

import pytest

from romtool.errors import InputError
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.infer.draft import draft_schema
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.profile.write import profile_text
from romtool.schema.catalog import Catalog
from romtool.toml.parse import parse_toml
from tests.support.amount import some
from tests.support.independent import pnp_bytes
from tests.support.profiles import generate
from tests.support.tool import built, romtool, told

SAMPLES = Path(__file__).resolve().parent.parent / "samples"
SHIPPED = load_catalog()
PINS = [5, 7, 9, 11, 12, 15]


@dataclass(frozen=True)
class Chip:
    """An invented chip: what it wants before the PnP data."""

    mark: bytes
    endian: str  # of the count; "" for none
    with_identifier: bool
    settings: int  # bytes that differ from board to board
    wired: bool
    check: str  # over all before it: "xor", "sum-to-zero", or none

    def dump(self, rng: Random, size: int = 1024) -> bytes:
        """A board with this chip: another card, other settings."""
        profile = generate(rng, "counted-7")
        pins = profile.get("config", {}).get("irq_wiring", PINS)
        pnp = pnp_bytes(profile)
        front = bytearray(self.mark)
        if self.endian:
            count = len(pnp) - (0 if self.with_identifier else 9)
            front += count.to_bytes(2, "big" if self.endian == "big" else "little")
        front += bytes(rng.randrange(1, 256) for _ in range(self.settings))
        if self.wired:
            front += bytes(low | high << 4 for low, high in zip(pins[::2], pins[1::2], strict=True))
        if self.check == "xor":
            total = 0
            for byte in front:
                total ^= byte
            front.append(total)
        elif self.check:
            front.append(-sum(front) % 256)
        return (bytes(front) + pnp).ljust(size, b"\xff")


def invented(seed: int) -> Chip:
    """A chip of its own for each seed."""
    rng = Random(seed)
    return Chip(
        mark=bytes(rng.randrange(1, 256) for _ in range(rng.randint(1, 4))),
        endian=("big", "little", "")[seed % 3],
        with_identifier=seed % 2 == 0,
        settings=rng.randint(2, 12),
        wired=seed % 4 < 2,
        check=("xor", "", "sum-to-zero")[seed // 3 % 3],
    )


def own_catalog(folder: Path, text: str) -> Catalog:
    """The catalogue with a drafted schema, which has no faults."""
    path = folder / "drafted.toml"
    path.write_text(text, encoding="utf-8")
    return load_catalog(files=[path])


def fields_of(text: str) -> dict[str, dict[str, Any]]:
    """The fields of a draft, by type; `hex` and `constant` may stand there several times."""
    (layout,) = tomllib.loads(text)["frame"]
    return {spec["type"]: spec for spec in reversed(layout["field"])}


@pytest.mark.parametrize("dumps", [1, 2, 3])
@pytest.mark.parametrize("seed", some(range(12)))
def test_invented_chips(seed: int, dumps: int, tmp_path: Path) -> None:
    """The draft has no faults, builds every dump, and has the count wherever there is one."""
    chip = invented(seed)
    made = [chip.dump(Random(seed * 100 + number)) for number in range(dumps)]
    text = draft_schema(SHIPPED, [(f"{n}.bin", data) for n, data in enumerate(made)], "a chip")
    catalog = own_catalog(tmp_path, text)
    for data in made:
        profile = profile_text(catalog, data, "a-chip")
        assert assemble(read_profile(catalog, parse_toml(profile))).data == data
        assert "[card]" in profile, "not a card, but bytes"
    found = fields_of(text)
    size = tomllib.loads(text)["frame"][0]["size"]
    assert ("count" in found) == bool(chip.endian), text
    if chip.endian:
        assert found["count"]["at"] == len(chip.mark)
        assert found["count"].get("endian", "little") == chip.endian
        assert ("identifier" in found["count"]["counts"]) == chip.with_identifier
        assert_counts(catalog, made[0], size, found["count"], chip)
    if dumps > 1:
        assert found["constant"]["value"].startswith(chip.mark.hex(" ").upper())
        assert ("checksum" in found) == bool(chip.check), text
    if chip.check:
        assert found["checksum"]["checksum"] == chip.check


def assert_counts(
    catalog: Catalog, data: bytes, size: int, spec: dict[str, Any], chip: Chip
) -> None:
    """Assert that a card built with the draft, with a longer name, has the right count."""
    profile = parse_toml(profile_text(catalog, data, "a-chip"))
    profile["card"]["name"] = "Hollow Lane, a card with quite a long name " * 6
    image = assemble(read_profile(catalog, profile)).data
    found = decode(catalog, image, "a-chip")
    pnp = found.items_end - size - (0 if chip.with_identifier else 9)
    stored = int.from_bytes(image[spec["at"] : spec["at"] + 2], chip.endian)  # type: ignore[arg-type]
    assert stored == pnp


# --- wiring


@pytest.mark.parametrize("sample", ["hollow-lane", "hollow-lane-marked"])
def test_wiring_of_the_samples(sample: str, tmp_path: Path) -> None:
    """From one dump: the pins of known layouts, worked out as if they were not known."""
    profile = SAMPLES / f"{sample}.toml"
    wanted = tomllib.loads(profile.read_text(encoding="utf-8"))["config"]
    data = built(profile.read_text(encoding="utf-8"), tmp_path)
    (layout,) = tomllib.loads(draft_schema(SHIPPED, [("a", data)], "a"))["frame"]
    found = {spec["key"]: spec for spec in layout["field"]}
    assert found["irq_wiring"]["default"] == wanted["irq_wiring"]
    assert found["dma_wiring"]["default"] == wanted["dma_wiring"][:3]  # the fourth has no channel


# --- what is no dump of an unknown chip


def test_refusals() -> None:
    """No PnP data, nothing before it, chips of two kinds: each is told with its file."""
    one, other = invented(0).dump(Random(1)), invented(1).dump(Random(2))
    pnp = one[one.index(b"\x0a\x10") - 9 :]
    for dumps, file, words in (
        ([("a", one), ("b", Random(3).randbytes(500))], "b", "no PnP data"),
        ([("a", pnp)], "a", "layout plain describes it already"),
        ([("a", one), ("b", other)], "b", "one chip at a time"),
    ):
        with pytest.raises(InputError) as refused:
            draft_schema(SHIPPED, dumps, "a")
        (told_of,) = refused.value.problems
        assert told_of.file == file
        assert words in f"{told_of.message} {told_of.hint}"


# --- the command


def test_command(tmp_path: Path) -> None:
    """It writes a schema that `lint` passes and the other commands use; else standard output."""
    for number in range(2):
        (tmp_path / f"{number}.bin").write_bytes(invented(3).dump(Random(number)))
    run = romtool("schema", "draft", "0.bin", "1.bin", "-o", "own/new-chip.toml", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    assert run.stdout == b"wrote own/new-chip.toml\n"
    text = (tmp_path / "own" / "new-chip.toml").read_text(encoding="utf-8")
    run = romtool("schema", "lint", "own/new-chip.toml", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    run = romtool("inspect", "0.bin", "--json", "--schemas", "own", cwd=tmp_path)
    assert json.loads(run.stdout)["layout"] == "new-chip"
    run = romtool("schema", "draft", "0.bin", "1.bin", "-o", "-", cwd=tmp_path)
    assert run.stdout.decode() == text.replace('"new-chip"', '"my-chip"')
    run = romtool("schema", "draft", "0.bin", "-o", "own/new-chip.toml", cwd=tmp_path)
    assert run.returncode == 2
    assert "exists already" in told(run)
