"""Images whose first bytes no known layout explains, and resource data alone.

The contract says when a known layout holds, and when bytes are a lead: the first offset with an
identifier that sums right, followed by a version item, and a walk to an end item.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from random import Random

import pytest

from romtool.files.schemas import load_catalog
from romtool.image.answer import image_json
from romtool.image.decode import decode
from romtool.image.model import Image
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.profile.write import profile_text
from romtool.rehearse.chip import load
from romtool.requirements.read import requirements_of
from romtool.rules.check import check
from romtool.toml.parse import parse_toml
from romtool.verify import differences
from tests.support import independent as witness
from tests.support.profiles import Table, generate
from tests.support.tool import romtool, told

CATALOG = load_catalog()
SIGNATURES = (b"\x55\xbb", b"\xa5")
"""Those of known layouts (domain knowledge, from memory)."""


def lead(rng: Random, number: int) -> bytes:
    """3 to 64 bytes that nobody knows; every third begins with a known signature."""
    data = rng.randbytes(rng.randint(3, 64))
    mark = SIGNATURES[number // 3 % 2] if number % 3 == 0 else b""
    return (mark + data)[: max(3, len(data))]


@cache
def cards() -> list[tuple[bytes, bytes, Table]]:
    """Forty leads, each with the PnP data of a card after it, and fill."""
    rng = Random(13)
    found = []
    for number in range(40):
        profile = generate(rng, "plain")
        pnp = witness.pnp_bytes(profile)
        found.append((lead(rng, number), pnp, witness.decode(pnp, "plain")))
    return found


def read(data: bytes) -> Image:
    return decode(CATALOG, data)


@pytest.mark.parametrize("number", range(40))
def test_every_lead_is_read_and_goes_round(number: int) -> None:
    front, pnp, expected = cards()[number]
    data = front + pnp + b"\xff" * 40
    image = read(data)
    assert (image.lead, image.layout_name) == (front, None)
    answer = image_json(image, None)
    assert (answer["layout"], answer["lead"], answer["frame"]) == (None, front.hex(" ").upper(), [])
    assert [device["id"] for device in answer["devices"]] == [d["id"] for d in expected["devices"]]
    assert len(requirements_of(image).devices) == len(expected["devices"])
    text = profile_text(CATALOG, data)
    assert "lead = " in text
    assert "\n[config]" not in text
    built = assemble(read_profile(CATALOG, parse_toml(text)))
    assert built.data == data
    assert decode(CATALOG, built.data, built.read_as).lead == front
    rules = {finding.rule for finding in check(image)}
    assert "lead-unknown" in rules
    assert not rules & {"no-frame", "signature", "count"}


def test_a_signature_alone_does_not_win() -> None:
    """A known one, with PnP data elsewhere than that layout has it, is part of a lead."""
    pnp = witness.pnp_bytes({"card": {"id": "QRL0301"}, "device": [{"id": "QRL0001"}]})
    assert read(b"\x55\xbb" + bytes(30) + pnp).lead == b"\x55\xbb" + bytes(30)
    assert read(b"\x55\xbb" + bytes(60)).layout is None


def test_what_is_edited_behind_a_lead() -> None:
    """The lead stays; a build of it is checked as what it is."""
    pnp = witness.pnp_bytes({"card": {"id": "QRL0301"}, "device": [{"id": "QRL0001"}]})
    text = profile_text(CATALOG, b"\x01\x02\x03" + pnp).replace("QRL0001", "QRL0002")
    built = assemble(read_profile(CATALOG, parse_toml(text)))
    image = decode(CATALOG, built.data, built.read_as)
    assert image.lead == b"\x01\x02\x03"
    assert [device.id for device in requirements_of(image).devices] == ["QRL0002"]


@pytest.mark.parametrize(
    ("image", "said"),
    [
        ('lead = "01"\nlayout = "counted-7"', "lead can't stand beside layout"),
        ('lead = ""', "lead has no bytes"),
        ('lead = "01 0"', "an odd number of hex digits"),
        ('lead = "01"\n[config]\nmisc_low = 1', "a lead of no known layout has no configuration"),
    ],
)
def test_a_lead_that_cannot_stand(image: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "card.toml").write_text(f'[image]\n{image}\n[card]\nid = "QRL0301"\n')
    run = romtool("build", "card.toml", cwd=tmp_path)
    assert run.returncode == 2
    assert said in told(run)


def test_text_and_json_of_a_lead(tmp_path: Path) -> None:
    pnp = witness.pnp_bytes({"card": {"id": "QRL0301"}, "device": [{"id": "QRL0001"}]})
    (tmp_path / "chip.bin").write_bytes(bytes(range(1, 13)) + pnp)
    run = romtool("inspect", "chip.bin", "--bytes", cwd=tmp_path)
    assert "12 bytes that no known layout explains" in " ".join(run.stdout.decode().split())
    document = json.loads(romtool("check", "chip.bin", "--json", cwd=tmp_path).stdout)
    assert "lead-unknown" in {finding["rule"] for finding in document["findings"]}


def test_a_chip_may_refuse_what_nobody_can_check(tmp_path: Path) -> None:
    """Of a lead nobody can say that signature and count are right: that stays open."""
    pnp = witness.pnp_bytes({"card": {"id": "QRL0301"}, "device": [{"id": "QRL0001"}]})
    (tmp_path / "chip.bin").write_bytes(bytes(range(1, 13)) + pnp)
    run = romtool("diagnose", "chip.bin", "--symptom", "not-found", "--json", cwd=tmp_path)
    states = {cause["name"]: cause["state"] for cause in json.loads(run.stdout)["causes"]}
    (name,) = (one.name for one in CATALOG.causes.values() if "lead-unknown" in one.hints)
    assert states[name] == "open"


# --- resource data alone


PROFILE: Table = {
    "image": {"layout": "counted-19", "part": "24C04"},
    "card": {"id": "QRL0301", "serial": 7, "name": "Hollow Lane"},
    "device": [{"id": "QRL0001", "resources": [{"irq": [5]}, {"io": 0x220, "length": 16}]}],
}


def test_resource_data_alone() -> None:
    """From a version item to an end item, without the identifier (Spec 4.6.1): no card."""
    data = witness.pnp_bytes(PROFILE)[9:]
    image = read(data)
    answer = image_json(image, None)
    assert (answer["layout"], answer["card"]) == ("items", None)
    assert [device["id"] for device in answer["devices"]] == ["QRL0001"]
    assert answer["end"]["checksum"]["ok"] is True
    assert not [finding for finding in check(image) if finding.severity == "error"]
    text = profile_text(CATALOG, data)
    assert 'layout = "items"' in text
    assert assemble(read_profile(CATALOG, parse_toml(text))).data == data
    assert load(image).data is None


def test_verify_compares_the_pnp_data_only() -> None:
    """Whichever of the two is the read through the bus."""
    whole, alone = read(witness.encode(PROFILE)), read(witness.pnp_bytes(PROFILE)[9:])
    assert differences(alone.data, whole) == []
    assert differences(whole.data, alone) == []
    (one,) = differences(alone.data.replace(b"Hollow", b"Hallow"), whole)
    assert (one.expected, one.found) == (ord("o"), ord("a"))
    assert "name" in one.field


def test_diff_compares_the_pnp_data_only(tmp_path: Path) -> None:
    (tmp_path / "whole.bin").write_bytes(witness.encode(PROFILE))
    (tmp_path / "alone.bin").write_bytes(witness.pnp_bytes(PROFILE)[9:])
    same = json.loads(romtool("diff", "whole.bin", "alone.bin", "--json", cwd=tmp_path).stdout)
    assert (same["same"], same["changes"]) == (True, [])
    other = witness.pnp_bytes({**PROFILE, "device": [{"id": "QRL0002"}]})[9:]
    (tmp_path / "alone.bin").write_bytes(other)
    run = romtool("diff", "whole.bin", "alone.bin", "--json", cwd=tmp_path)
    assert run.returncode == 1
    assert json.loads(run.stdout)["changes"]
