"""`romtool schema json` held against an independent validator of JSON Schema (PyPI jsonschema).

Editors complete and underline profiles by it: it has to take every profile that builds, and to
object to what can't. What a JSON Schema can't say (sums, sizes of parts) is the tool's to tell.
"""

from __future__ import annotations

import copy
import functools
import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.support.profiles import seeded
from tests.support.tool import need_module, romtool, told

Table = dict[str, Any]

SAMPLES = Path(__file__).resolve().parent.parent / "samples"
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


def faults(profile: Table, *options: str) -> list[str]:
    """What the validator has against a profile, each with its place."""
    validator = need_module("jsonschema").Draft202012Validator(schema(*options))
    return [f"{error.json_path}: {error.message}" for error in validator.iter_errors(profile)]


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
    assert faults(sample(name)) == []


@pytest.mark.parametrize("at", range(len(CARDS)))
def test_takes_profiles(at: int) -> None:
    """Nor have 40 profiles of all layouts and all kinds of content."""
    assert faults(CARDS[at]) == []


def test_takes_what_profile_writes(tmp_path: Path) -> None:
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
    assert faults(profile) == []
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
    assert faults(written) == []


def test_takes_the_contract_s_spellings() -> None:
    """Numbers as `544`, `0x220` and the text "220h"; the least that a profile must say."""
    profile = sample()
    profile["card"]["serial"] = "1Fh"
    profile["device"][0]["choice"][0]["resources"] = [
        {"io": "220h", "length": 16},
        {"io": ["240h", 640], "align": "20h", "length": "10h", "decode": 10},
        {"irq": ["5"], "trigger": []},
    ]
    assert faults(profile) == []
    assert faults({"card": {"id": "QRL0301"}}) == []
    assert faults({"image": {"raw": "55 BB 00"}}) == []
    assert faults({"card": {"id": "@[_0301"}}) == []  # a donor's letters


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
}


@pytest.mark.parametrize("name", BAD)
def test_refuses(name: str, tmp_path: Path) -> None:
    """It objects to each; and so does the tool, so that the two never disagree."""
    profile = change(BAD[name])
    assert faults(profile)
    tomli_w = need_module("tomli_w")
    (tmp_path / "card.toml").write_text(tomli_w.dumps(profile), encoding="utf-8")
    run = romtool("inspect", "card.toml", cwd=tmp_path)
    assert run.returncode == 2, run.stdout.decode()
    assert "card.toml:" in told(run)


def test_layouts_and_parts() -> None:
    """All layouts and parts that the tool lists are in it, and no others."""
    listed = json.loads(romtool("schema", "list", "--json").stdout)
    image = schema()["$defs"]["image"]["properties"]
    assert image["layout"]["enum"] == [one["name"] for one in listed["layouts"]]
    assert image["part"]["enum"] == [one["name"] for one in listed["parts"]]


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
    assert faults(profile, *own) == []
    assert faults(profile)  # not without them
    for key, value in (("irq_wiring", [5] * 6), ("dma_wiring", [1, 3, 4]), ("cdrom_decode", 0)):
        bad = {**profile, "config": {key: value}}
        assert faults(bad, *own), key
    for name in ("hollow-lane", "hollow-lane-marked"):
        assert faults(sample(name), *own) == []
