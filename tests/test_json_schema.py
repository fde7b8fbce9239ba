"""`romtool schema json` compared with an independent validator of JSON Schema (PyPI jsonschema).

Editors complete and underline profiles by it: it takes every profile that the tool can read, and
objects to what the tool refuses for its keys, types and ranges. What a JSON Schema can't say stands
in OUT_OF_REACH, each with a profile that it takes and the tool refuses; there is nothing else.
"""

from __future__ import annotations

import copy
import functools
import json
import tomllib
from collections.abc import Callable
from pathlib import Path as FilePath
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from romtool.errors import InputError, Path, Problem
from romtool.files.schemas import load_catalog
from romtool.profile.read import read_profile
from tests.support.amount import examples, randoms
from tests.support.misspelt import misspelt
from tests.support.profiles import generate, profiles, seeded
from tests.support.tool import need_module, romtool, told

Table = dict[str, Any]

SAMPLES = FilePath(__file__).resolve().parent.parent / "samples"
OWN = SAMPLES / "schemas"
CARDS = seeded(40)


@functools.cache
def schema_text(*options: str) -> str:
    """What the command prints."""
    run = romtool("schema", "json", *options)
    assert run.returncode == 0, told(run)
    assert told(run) == ""
    return run.stdout.decode()


def schema(*options: str) -> Table:
    """The JSON Schema that the command prints."""
    found = json.loads(schema_text(*options))
    assert isinstance(found, dict)
    return found


@functools.cache
def validator(*options: str) -> Any:
    """The validator of what the command prints."""
    return need_module("jsonschema").Draft202012Validator(schema(*options))


def problems(profile: Table, *options: str) -> list[str]:
    """What the validator has against a profile, each with its place."""
    errors = validator(*options).iter_errors(profile)
    return [f"{error.json_path}: {error.message}" for error in errors]


def sample(name: str = "hollow-lane") -> Table:
    """A sample's tables."""
    return tomllib.loads((SAMPLES / f"{name}.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("options", [(), ("--schemas", str(OWN))], ids=["shipped", "own"])
def test_is_a_schema(options: tuple[str, ...]) -> None:
    """It says which draft it is, and is a valid schema of that draft."""
    found = schema(*options)
    assert found["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    need_module("jsonschema").Draft202012Validator.check_schema(found)


def test_nothing_points_nowhere() -> None:
    """Every reference inside it has a target, and every target is referred to."""
    found = schema()
    text = json.dumps(found)
    for name in found["$defs"]:
        assert f'"#/$defs/{name}"' in text, name
    for part in text.split('"$ref": "')[1:]:
        reference = part.partition('"')[0]
        assert reference.startswith("#/$defs/")
        assert reference.removeprefix("#/$defs/") in found["$defs"]


def test_every_key_is_described() -> None:
    """An editor shows what a key means."""
    found = schema()
    tables = {"profile": found, **found["$defs"]}
    for name, table in tables.items():
        for key, value in table.get("properties", {}).items():
            # A table's own description stands in its definition.
            target = value.get("items", value).get("$ref")
            described = value if target is None else found["$defs"][target.rpartition("/")[2]]
            said = described.get("description") or [
                one.get("description") for one in described.get("anyOf", [])
            ]
            assert said or target, f"{name}.{key}"


@pytest.mark.parametrize("name", [path.stem for path in sorted(SAMPLES.glob("*.toml"))])
def test_takes_samples(name: str) -> None:
    """The samples have nothing wrong."""
    assert problems(sample(name)) == []


@pytest.mark.parametrize("at", range(len(CARDS)))
def test_takes_profiles(at: int) -> None:
    """Nor have 40 profiles of all layouts and all kinds of content."""
    assert problems(CARDS[at]) == []


def test_takes_what_profile_writes(tmp_path: FilePath) -> None:
    """Nor has the profile of a dump with wrong checksums and items of no known meaning."""
    profile = sample()
    profile["device"][0]["resources"] = [{"raw": "52 00 01"}]
    profile["image"] |= {"patch": "01 02 03", "tail": [{"at": 0x1F0, "raw": "AA BB"}], "fill": 0}
    profile["override"] = {
        "signature": "55 BC",
        "count": "without-identifier",
        "id_checksum": 1,
        "end_checksum": 0,
    }
    assert problems(profile) == []
    text = (SAMPLES / "hollow-lane.toml").read_text(encoding="utf-8")
    text = text.replace('part = "24C04"', 'part = "24C04"\npatch = "01 02 03"\nfill = 0')
    text += '\n[override]\nsignature = "55 BC"\ncount = "without-identifier"\nid_checksum = 1\n'
    (tmp_path / "card.toml").write_text(text, encoding="utf-8")
    run = romtool("build", "card.toml", "--allow-faults", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    run = romtool("profile", "card.bin", "--layout", "counted-19", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    written = tomllib.loads(run.stdout.decode())
    assert "override" in written
    assert "patch" in written["image"]
    assert problems(written) == []


def test_takes_the_contract_s_spellings() -> None:
    """Numbers as `544`, `0x220` and the text "220h"; the least that a profile must say."""
    profile = sample()
    profile["card"]["serial"] = "1Fh"
    profile["device"][0]["choice"][0]["resources"] = [
        {"io": "220h", "length": 16},
        {"io": ["240h", 640], "align": "20h", "length": "10h", "decode": 10},
        {"irq": ["5"], "trigger": []},
    ]
    assert problems(profile) == []
    assert problems({"card": {"id": "QRL0301"}}) == []
    assert problems({"image": {"raw": "55 BB 00"}}) == []
    assert problems({"card": {"id": "@[_0301"}}) == []  # a donor's letters
    assert problems({"card": {"id": "qrl0301"}}) == []
    assert problems({"card": {"id": "rOS1234"}}) == []  # its highest bit is set
    assert problems({"card": {"id_raw": "FC 4C 03 01"}}) == []
    assert problems({"image": {"lead": "01 02"}, "card": {"id": "QRL0301"}}) == []
    assert problems({"image": {"layout": "items"}, "card": {"name": "Hollow Lane"}}) == []
    assert problems({"image": {"part": "24c04"}, "card": {"id": "QRL0301"}}) == []
    assert problems({"card": {}, "override": {"identifier": "00 " * 9}}) == []
    for priority in ("good", 3, 255, "FFh"):
        choice = {"priority": priority}
        device = {"id": "QRL0001", "choice": [choice], "id_length": "6"}
        assert problems({"card": {"id": "QRL0301"}, "device": [device]}) == []


def change(edit: Callable[[Table], Any]) -> Table:
    """The sample with one thing changed."""
    profile = copy.deepcopy(sample())
    edit(profile)
    return profile


def first(profile: Table) -> Table:
    """The first choice of the first device."""
    choice = profile["device"][0]["choice"][0]
    assert isinstance(choice, dict)
    return choice


def puts(entry: Table) -> Callable[[Table], Any]:
    """A change that puts an entry into the first choice."""
    return lambda profile: first(profile)["resources"].append(entry)


BAD: dict[str, Callable[[Table], Any]] = {
    "unknown table": lambda p: p.update(boards={}),
    "unknown key of the image": lambda p: p["image"].update(lay_out="plain"),
    "unknown key of the card": lambda p: p["card"].update(serail=1),
    "unknown key of a device": lambda p: p["device"][0].update(irq=[5]),
    "unknown key of a choice": lambda p: first(p).update(priorty="good"),
    "unknown layout": lambda p: p["image"].update(layout="counted-20"),
    "layout of other schemas": lambda p: p["image"].update(layout="hollow-lane-24"),
    "unknown part": lambda p: p["image"].update(part="24C99"),
    "too large": lambda p: p["image"].update(size=65537),
    "no bytes": lambda p: p["image"].update(patch="55 BG"),
    "setting of no layout": lambda p: p["config"].update(gain=1),
    "setting of another layout": lambda p: p["config"].update(unknown_a=1),
    "too few pins": lambda p: p["config"].update(irq_wiring=[5, 7]),
    "too many pins": lambda p: p["config"].update(dma_wiring=[0, 1, 3, 5]),
    "a flag that is a number": lambda p: p["config"].update(internal_fm=1),
    "no card ID": lambda p: p["card"].pop("id"),
    "no device ID": lambda p: p["device"][0].pop("id"),
    "a name that is a number": lambda p: p["card"].update(name=1),
    "a name that isn't ASCII": lambda p: p["card"].update(name="caf\u00e9"),
    "a serial that is no number": lambda p: p["card"].update(serial="first"),
    "one device, not a list": lambda p: p.update(device=p["device"][0]),
    "a priority of no name": lambda p: first(p).update(priority="best"),
    "a priority with a name as number": lambda p: first(p).update(priority=1),
    "a priority above 255": lambda p: first(p).update(priority=256),
    "empty entry": puts({}),
    "unknown entry": puts({"port": 0x220}),
    "two in one entry": puts({"irq": [5], "dma": [1]}),
    "unknown key beside": puts({"irq": [5], "width": "8"}),
    "I/O without length": puts({"io": 0x220}),
    "range of three": puts({"io": [1, 2, 3], "length": 1}),
    "lines that aren't a list": puts({"irq": 5}),
    "unknown width": puts({"dma": [1], "width": "32"}),
    "width as number": puts({"dma": [1], "width": 8}),
    "unknown speed": puts({"dma": [1], "speed": "C"}),
    "unknown trigger": puts({"irq": [5], "trigger": ["rising"]}),
    "decode of 12 bits": puts({"io": 0x220, "length": 1, "decode": 12}),
    "key beside raw": puts({"raw": "79 00", "length": 1}),
    "unknown form": puts({"vendor": "01", "form": "medium"}),
    "unknown override": lambda p: p.update(override={"checksum": 1}),
    # Ranges: of the fields' widths in bits (Spec 6.1, 6.2; frames: from memory).
    "a bad ID": lambda p: p["card"].update(id="QRLX301"),
    "an ID too short": lambda p: p["card"].update(id="QRL030"),
    "an ID with a line end": lambda p: p["card"].update(id="QRL0301\n"),
    "a device's ID too long": lambda p: p["device"][0].update(id="QRL00011"),
    "a bad compatible ID": lambda p: p["device"][0].update(compatible=["PNPB00G"]),
    "a serial above 32 bits": lambda p: p["card"].update(serial=1 << 32),
    "the same as a text": lambda p: p["card"].update(serial="100000000h"),
    "a version byte above 8 bits": lambda p: p["card"].update(vendor_version="256"),
    "a version of letters": lambda p: p["card"].update(pnp_version="1.A"),
    "no version, but the vendor's": lambda p: p["card"].update(pnp_version="none"),
    "a fill above 8 bits": lambda p: p["image"].update(fill="100h"),
    "part and size": lambda p: p["image"].update(size=512),
    "half a byte": lambda p: p["image"].update(patch="55 B"),
    "a tail without bytes": lambda p: p["image"].update(tail=[{"at": 1}]),
    "a tail above 64 KiB": lambda p: p["image"].update(tail=[{"at": 0x10000, "raw": "00"}]),
    "raw bytes beside a card": lambda p: p["image"].update(raw="55"),
    "no [card]": lambda p: p.pop("card"),
    "a pin of five bits": lambda p: p["config"].update(irq_wiring=[16, 0, 0, 0, 0, 0]),
    "bytes too few": lambda p: p["config"].update(reserved_code="20 04"),
    "two bits that are four": lambda p: p["config"].update(misc_low=4),
    "a boot that is a number": lambda p: p["device"][0].update(boot=1),
    "a register below": lambda p: p["device"][0].update(registers=[0x30]),
    "a register above, as a text": lambda p: p["device"][0].update(registers=["40h"]),
    "an ID item of seven bytes": lambda p: p["device"][0].update(id_length=7),
    "IRQ 16": puts({"irq": [16]}),
    "IRQ 16 as a text": puts({"irq": ["10h"]}),
    "a line twice": puts({"irq": [5, 5]}),
    "a trigger twice": puts({"irq": [5], "trigger": ["low-level", "low-level"]}),
    "DMA 8": puts({"dma": [8]}),
    "a port above 16 bits": puts({"io": 0x10000, "length": 1}),
    "the highest base above 16 bits": puts({"io": [0x200, "10000h"], "length": 1}),
    "a length above 8 bits": puts({"io": 0x220, "length": 256}),
    "a negative number": puts({"io": -1, "length": 1}),
    "a fraction": puts({"io": 0x220, "length": 1.5}),
    "a fixed port above 10 bits": puts({"io_fixed": "400h", "length": 1}),
    "decode as another text": puts({"io": 0x220, "length": 1, "decode": "12"}),
    "memory off its steps": puts({"memory24": [0xC0080, 0xC0100], "length": 256, "align": 256}),
    "memory off its steps, as a text": puts(
        {"memory24": ["C0080h", 0xC0100], "length": 256, "align": 256}
    ),
    "memory above 24 bits": puts({"memory24": [0, 0x1000000], "length": 256, "align": 256}),
    "an alignment of 0": puts({"memory24": [0, 0x10000], "length": 256, "align": 0}),
    "an alignment above 64 KiB": puts({"memory24": [0, 0], "length": 256, "align": 0x10001}),
    "a length off its steps": puts({"memory24": [0, 0], "length": 255, "align": 256}),
    "a long small item": puts({"vendor": "00 " * 8, "form": "small"}),
    "an empty small item": puts({"vendor": "", "form": "small"}),
    "a country above 16 bits": puts({"unicode": "A", "country": 65536}),
    "a control character": puts({"unicode": "A\u0007", "country": 0}),
    "a name longer than an item": puts({"name": "A" * 65536}),
    "a checksum above 8 bits": lambda p: p.update(override={"end_checksum": "100h"}),
    "a count above 16 bits": lambda p: p.update(override={"count": 65536}),
    "another way of counting": lambda p: p.update(override={"count": "without-end"}),
    "a mark of three bytes": lambda p: p.update(override={"signature": "55 BB 00"}),
    "an identifier of eight bytes": lambda p: p.update(override={"identifier": "00 " * 8}),
    "a lead beside a layout": lambda p: p["image"].update(lead="01 02", layout="plain"),
    "a lead without bytes": lambda p: p["image"].update(lead=""),
    "an ID in bytes beside the ID": lambda p: p["card"].update(id_raw="FC 4C 03 01"),
    "an ID of three bytes": lambda p: p["device"][0].update(id_raw="FC 4C 03"),
    "an ID where there is no identifier": lambda p: p["image"].update(layout="items"),
    "a reserved bit that isn't": puts({"dma": [1], "reserved": "01"}),
    "reserved bits of two bytes": puts({"dma": [1], "reserved": "80 00"}),
    "reserved bits of what has none": puts({"compatible": "PNPB002", "reserved": "80"}),
    "an ID beside an identifier": lambda p: p.update(override={"identifier": "00 " * 9}),
}


@pytest.mark.parametrize("name", BAD)
def test_refuses(name: str, tmp_path: FilePath) -> None:
    """It objects to each; and so does the tool, so that the two never disagree."""
    profile = change(BAD[name])
    assert problems(profile)
    tomli_w = need_module("tomli_w")
    (tmp_path / "card.toml").write_text(tomli_w.dumps(profile), encoding="utf-8")
    run = romtool("inspect", "card.toml", cwd=tmp_path)
    assert run.returncode == 2, run.stdout.decode()
    assert "card.toml:" in told(run)


TAIL = {"at": 0x40, "raw": "00"}

# What the tool refuses and no JSON Schema can say: a word of the message, and such a change.
OUT_OF_REACH: dict[str, tuple[str, Callable[[Table], Any]]] = {
    "a part too small": ("don't fit", lambda p: p["image"].update(part="24C02")),
    "a size too small": (
        "don't fit",
        lambda p: (p["image"].pop("part"), p["image"].update(size=9)),
    ),
    "a tail over the PnP data": ("tail at", lambda p: p["image"].update(tail=[TAIL])),
    "PnP data above the count": (
        "more than 65535",
        lambda p: p["device"][0].update(resources=[{"name": "A" * 65500}, {"name": "A" * 99}]),
    ),
    "bytes longer than an item": ("fit an item", puts({"vendor": "00" * 65536})),
    "an image above 64 KiB": ("no image", lambda p: raw_only(p, "00" * 65537)),
    "an ID item shorter than its registers": (
        "can't hold it",
        lambda p: p["device"][0].update(registers=[0x38], id_length=5),
    ),
    "half an item": ("not whole", puts({"raw": "47 01"})),
    "a whole number with a point": ("not a number", puts({"io": 544.0, "length": 1})),
    "a line twice in two spellings": ("twice", puts({"irq": [5, "5h"]})),
    "a multiple in decimal": (
        "multiple",
        puts({"memory24": ["786560", "C0100h"], "length": 256, "align": 256}),
    ),
    "a character that can't be printed": ("printable", puts({"unicode": "A\u200b", "country": 0})),
}


def raw_only(profile: Table, data: str) -> None:
    """Make the profile one of raw bytes and nothing else."""
    profile.clear()
    profile["image"] = {"raw": data}


@pytest.mark.parametrize("name", OUT_OF_REACH)
def test_out_of_reach(name: str, tmp_path: FilePath) -> None:
    """It takes each, and the tool tells what no editor can."""
    words, edit = OUT_OF_REACH[name]
    profile = change(edit)
    assert problems(profile) == []
    tomli_w = need_module("tomli_w")
    (tmp_path / "card.toml").write_text(tomli_w.dumps(profile), encoding="utf-8")
    run = romtool("inspect", "card.toml", cwd=tmp_path)
    assert run.returncode == 2, run.stdout.decode()
    assert words in told(run)


CATALOG = load_catalog()


def found(profile: Any, path: Path) -> Any:
    """What stands at a place of a profile."""
    for step in path:
        profile = profile[step]
    return profile


def out_of_reach(problem: Problem, profile: Table) -> bool:
    """Whether a fault of a misspelt profile is one of those that no JSON Schema can say."""
    path, words = problem.path or (), problem.message
    if "is not whole" in words or "can't hold it" in words:
        return path[-1:] in [("raw",), ("id_length",)]
    if "stands twice" in words:
        given = found(profile, path[:-1])
        return not any(one == other for at, one in enumerate(given) for other in given[:at])
    if "is not a multiple" in words:
        return isinstance(found(profile, path), str) and found(profile, path).strip().isdigit()
    return False


def agree(profile: Table) -> None:
    """The validator's verdict is that of the tool's reader."""
    try:
        read_profile(CATALOG, profile)
    except InputError as refused:
        beyond = [out_of_reach(problem, profile) for problem in refused.problems]
        if not all(beyond):
            assert problems(profile), [problem.message for problem in refused.problems]
    else:
        assert problems(profile) == []


@settings(
    max_examples=examples(400),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(randoms())
def test_neither_stricter_nor_laxer(rng: Random) -> None:
    """Of profiles with one or two things changed at random it says what the tool says."""
    agree(misspelt(rng, generate(rng)))


@settings(
    max_examples=examples(60),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(profiles())
def test_takes_every_profile(profile: Table) -> None:
    """It takes every valid profile."""
    assert problems(profile) == []


@settings(max_examples=examples(300), deadline=None)
@given(
    st.sampled_from(["length", "align", "io", "decode", "irq", "dma", "io_fixed", "memory24"]),
    st.integers(0, 1 << 17) | st.integers(0, 1 << 34),
    st.sampled_from(["{:d}", "{:X}h", "{:x}H", "0x{:x}", "0X{:06X}", "00{:d}", " {:X}h "]),
    st.booleans(),
)
@example("memory24", 0xC0000, "{:X}h", True)
@example("memory24", 0xFFFF00, "{:X}h", True)
@example("memory24", 0x1000000, "{:X}h", True)
def test_numbers_as_texts(key: str, number: int, spelling: str, as_text: bool) -> None:
    """Numbers at random, spelt in all ways, are in range for the one as for the other."""
    told_as: Any = spelling.format(number) if as_text else number
    entry: Table = {"io": 0x220, "length": 1, key: told_as}
    if key in ("irq", "dma"):
        entry = {key: [told_as]}
    elif key == "io_fixed":
        entry = {key: told_as, "length": 1}
    elif key == "memory24":
        entry = {key: [0, told_as], "length": 0, "align": 0x10000}
    agree(change(puts(entry)))


def test_layouts_and_parts() -> None:
    """All layouts and parts that the tool lists are in it, and no others."""
    listed = json.loads(romtool("schema", "list", "--json").stdout)
    image = schema()["$defs"]["image"]["properties"]
    assert image["layout"]["enum"] == [one["name"] for one in listed["layouts"]]
    assert image["part"]["anyOf"][0]["enum"] == [one["name"] for one in listed["parts"]]


def test_own_schemas() -> None:
    """An added layout is in it, with its part and its settings; wirings keep their lengths."""
    own = ("--schemas", str(OWN))
    profile = {
        "image": {"layout": "hollow-lane-24", "part": "24C32"},
        "config": {
            "line_out_gain": 7,
            "mute": True,
            "irq_wiring": [5, 7, 9, 0],
            "dma_wiring": [1, 4],
            "tuning": "2A0h",
        },
        "card": {"id": "QRL0301"},
    }
    assert problems(profile, *own) == []
    assert problems(profile)  # not without them
    for key, value in (("irq_wiring", [5] * 6), ("dma_wiring", [1, 3, 4]), ("cdrom_decode", 0)):
        bad = {**profile, "config": {key: value}}
        assert problems(bad, *own), key
    for name in ("hollow-lane", "hollow-lane-marked"):
        assert problems(sample(name), *own) == []
