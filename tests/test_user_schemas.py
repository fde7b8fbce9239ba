"""Frames are found in the schemas, not listed in the code: what holds for each of them.

A user's own chip is described by a file such as samples/schemas/hollow-lane-24.toml, whose
layout is invented. Its bytes are written here by hand, with nothing of the tool in it.
"""

from __future__ import annotations

import functools
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from romtool.files.schemas import load_catalog
from romtool.image.answer import image_json
from romtool.image.decode import decode
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.profile.write import profile_text
from romtool.rules.check import check
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Choice, Flag, Flags, Hex, Lines, Number, Pins
from romtool.schema.fields import Field, typical_value
from romtool.schema.image_layouts import ImageLayout
from tests.support import independent as witness
from tests.support.amount import examples
from tests.support.profiles import LAYOUTS, profiles
from tests.support.tool import inspected, romtool, told

Table = dict[str, Any]

SAMPLES = Path(__file__).resolve().parent.parent / "samples"
OWN = SAMPLES / "schemas"
OWN_FILE = OWN / "hollow-lane-24.toml"
CHIP = "hollow-lane-24"

SHIPPED = load_catalog()
EXTENDED = load_catalog([OWN])
FRAMES = [
    *(pytest.param(SHIPPED, name, id=name) for name in SHIPPED.layouts),
    *(
        pytest.param(
            EXTENDED,
            name,
            id=f"with-own-{name}",
            marks=[pytest.mark.bulk] if name in SHIPPED.layouts else [],
        )
        for name in EXTENDED.layouts
    ),
]

relaxed = settings(
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    deadline=None,
    max_examples=examples(60),
)


def values_of(field: Field) -> st.SearchStrategy[Any]:
    """Values that a configuration field can have, by its kind."""
    kind = field.kind
    if isinstance(kind, Flag):
        return st.booleans()
    if isinstance(kind, Pins):
        pin = st.integers(0, (1 << kind.pin_bits) - 1)
        return st.lists(pin, min_size=kind.pins, max_size=kind.pins)
    if isinstance(kind, Lines):
        lines = st.sets(st.integers(kind.first, kind.first + kind.bits - 1))
        return lines.map(sorted)
    if isinstance(kind, Flags):
        names = kind.names
        return st.sets(st.sampled_from(names)).map(lambda s: sorted(s, key=names.index))
    if isinstance(kind, Choice):
        return st.sampled_from(list(kind.names.values()))
    if isinstance(kind, Hex):
        size = field.size or 0
        return st.binary(min_size=size, max_size=size).map(witness.spaced)
    if isinstance(kind, Number):
        return st.integers(0, kind.top).map(lambda n: n * kind.unit)
    raise AssertionError(f"this test draws no {type(kind).__name__} ({field.key})")


def configs(frame: ImageLayout) -> st.SearchStrategy[Table]:
    """Configurations of a frame, each field left out at times."""
    return st.fixed_dictionaries(
        {}, optional={field.key: values_of(field) for field in frame.config_fields}
    )


def build(catalog: Catalog, text: str) -> bytes:
    """The image of a profile's text."""
    return assemble(read_profile(catalog, tomllib.loads(text))).data


def fits(catalog: Catalog, profile: Table) -> Table:
    """The profile without a part, for frames of other sizes than the one it was drawn for."""
    kept = {key: value for key, value in profile["image"].items() if key == "fill"}
    return {"image": kept, "card": profile["card"], "device": profile["device"]}


# --- every frame


@pytest.mark.parametrize(("catalog", "name"), FRAMES)
def test_every_frame(catalog: Catalog, name: str) -> None:
    """Build, recognise, write as a profile, build: the same bytes, and the settings that were set.

    Several values are drawn for each setting.
    """
    frame = catalog.layouts[name]

    @relaxed
    @given(profiles(), configs(frame))
    def holds(drawn: Table, config: Table) -> None:
        tables = fits(catalog, drawn)
        tables["image"]["layout"] = name
        if config:
            tables["config"] = config
        data = assemble(read_profile(catalog, tables)).data
        found = decode(catalog, data)  # by the bytes alone
        assert found.layout is frame
        for key, value in config.items():
            assert found.config[key] == value, key
        for field in frame.config_fields:
            if field.key not in config:
                assert found.config[field.key] == field.default, field.key
        for compared in found.computed.values():
            assert compared.stored == compared.computed
        # What stands after the frame is the plain image's, whatever the frame.
        pnp = witness.pnp_bytes(tables)
        assert data[frame.size : frame.size + len(pnp)] == pnp
        text = profile_text(catalog, data)
        assert build(catalog, text) == data
        written = tomllib.loads(text)
        assert "raw" not in written["image"]
        assert "override" not in written
        assert written["image"].get("layout", "plain") == name
        said = {k: v for k, v in config.items() if v != frame.field_layout.by_key[k].default}
        assert written.get("config", {}) == said

    holds()


@pytest.mark.parametrize(("catalog", "name"), FRAMES)
def test_typical_settings(catalog: Catalog, name: str) -> None:
    """A profile without [config] takes what the schema calls typical, and is right so.

    Its device offers each line and channel that has a pin.
    """
    frame = catalog.layouts[name]
    tables: Table = {
        "image": {"layout": name},
        "card": {"id": "QRL0301", "serial": 1, "name": "Hollow Lane audio card"},
        "device": [{"id": "QRL0001"}],
    }
    pins = {bus: typical_value(field) for bus in ("irq", "dma") for field in frame.wiring(bus)}
    if pins:
        channels = {"dma": sorted(pins["dma"]), "width": "8+16"}
        tables["device"][0]["resources"] = [{"irq": sorted(pins["irq"])}, channels]
    data = assemble(read_profile(catalog, tables)).data
    image = decode(catalog, data)
    assert image.layout is frame
    assert image.config == {field.key: field.default for field in frame.config_fields}
    assert all(found.severity == "note" for found in check(image))
    assert data[len(data) - 1] == frame.fill
    covered = sum(len(raw) for _, raw in image.layout_units())
    assert covered == frame.size


def test_frames_are_those_of_the_files() -> None:
    """The layouts of the standard set, and with a folder of one's own also those in it."""
    assert set(SHIPPED.layouts) == set(LAYOUTS)
    assert set(EXTENDED.layouts) == {*LAYOUTS, CHIP}
    assert EXTENDED.parts["24C32"].size == 4096
    assert "24C32" not in SHIPPED.parts


def test_own_frame_changes_nothing_else() -> None:
    """Images of the other layouts are read the same with and without the added one."""
    for name in LAYOUTS:
        tables: Table = {"image": {"layout": name}, "card": {"id": "QRL0301", "serial": 1}}
        data = assemble(read_profile(SHIPPED, tables)).data
        assert assemble(read_profile(EXTENDED, tables)).data == data
        assert image_json(decode(EXTENDED, data), None) == image_json(decode(SHIPPED, data), None)


# --- the sample chip, by hand


def nibbles(pins: list[int]) -> bytes:
    """One bus line a pin, low nibble first."""
    return bytes(low | high << 4 for low, high in zip(pins[::2], pins[1::2], strict=True))


def chip_bytes(
    pnp: bytes,
    size: int,
    *,
    gain: int = 16,
    unused: int = 0,
    mute: bool = False,
    irq: list[int] | None = None,
    dma: list[int] | None = None,
    tuning: int = 0x1000,
) -> bytes:
    """An image of the invented chip: 12 bytes of frame, the PnP data, 00h to the part's end."""
    frame = bytes.fromhex("48 4C 24")
    frame += len(pnp).to_bytes(2, "little")
    frame += bytes([gain | unused << 5 | mute << 7])
    frame += nibbles([5, 7, 9, 10] if irq is None else irq)
    frame += nibbles([1, 3] if dma is None else dma)
    frame += tuning.to_bytes(2, "little")
    frame += bytes([functools.reduce(lambda a, b: a ^ b, frame)])
    assert len(frame) == 12
    return (frame + pnp).ljust(size, b"\0")


# Identifier: Spec App. B.2; 0A + 10 + 79 is 93h, so 6Dh ends the items (Spec 6.2.2.11).
SMALLEST = bytes.fromhex("43 11 54 09 00 01 00 04 DC  0A 10 00  79 6D")
SMALLEST_CARD: Table = {"id": "PXQ5409", "serial": 0x04000100}


def test_chip_by_hand() -> None:
    """The smallest card after the frame, all its bytes literal."""
    frame = bytes.fromhex("48 4C 24 0E 00 10 75 A9 31 00 10")
    total = 0x48 ^ 0x4C ^ 0x24 ^ 0x0E ^ 0x10 ^ 0x75 ^ 0xA9 ^ 0x31 ^ 0x10
    expected = (frame + bytes([total]) + SMALLEST).ljust(128, b"\0")
    assert chip_bytes(SMALLEST, 128) == expected
    tables: Table = {"image": {"layout": CHIP}, "card": SMALLEST_CARD}
    assert assemble(read_profile(EXTENDED, tables)).data == expected


SETTINGS: list[tuple[Table, Table]] = [
    ({"line_out_gain": 31}, {"gain": 31}),
    ({"line_out_gain": 0, "mute": True}, {"gain": 0, "mute": True}),
    ({"unused": 3}, {"unused": 3}),
    ({"irq_wiring": [15, 0, 3, 12]}, {"irq": [15, 0, 3, 12]}),
    ({"dma_wiring": [4, 7]}, {"dma": [4, 7]}),
    ({"tuning": 0xA55A}, {"tuning": 0xA55A}),
    (
        {
            "line_out_gain": 5,
            "mute": True,
            "irq_wiring": [11, 5, 0, 7],
            "dma_wiring": [0, 5],
            "tuning": "0102h",
        },
        {"gain": 5, "mute": True, "irq": [11, 5, 0, 7], "dma": [0, 5], "tuning": 0x0102},
    ),
]


@pytest.mark.parametrize(("config", "wanted"), SETTINGS, ids=[str(c) for c, _ in SETTINGS])
def test_chip_settings(config: Table, wanted: Table) -> None:
    """Each setting in its bits, one after the other and together."""
    tables: Table = {"image": {"layout": CHIP}, "config": config, "card": SMALLEST_CARD}
    assert assemble(read_profile(EXTENDED, tables)).data == chip_bytes(SMALLEST, 128, **wanted)


def chips() -> st.SearchStrategy[Table]:
    """Settings of the invented chip, under the names of `chip_bytes`."""
    nibble = st.integers(0, 15)
    return st.fixed_dictionaries(
        {
            "gain": st.integers(0, 31),
            "unused": st.integers(0, 3),
            "mute": st.booleans(),
            "irq": st.lists(nibble, min_size=4, max_size=4),
            "dma": st.lists(nibble, min_size=2, max_size=2),
            "tuning": st.integers(0, 0xFFFF),
        }
    )


KEYS = {
    "gain": "line_out_gain",
    "unused": "unused",
    "mute": "mute",
    "irq": "irq_wiring",
    "dma": "dma_wiring",
    "tuning": "tuning",
}


@relaxed
@given(profiles(), chips())
@example(
    {"image": {}, "card": SMALLEST_CARD, "device": []},
    {"gain": 0, "unused": 0, "mute": False, "irq": [0] * 4, "dma": [4, 4], "tuning": 0},
)
def test_chip_against_the_encoder(drawn: Table, chip: Table) -> None:
    """The tool builds what the encoder by hand writes, and reads it back by itself."""
    card = {"card": drawn["card"], "device": drawn["device"]}
    tables: Table = {
        "image": {"layout": CHIP, "part": "24C32"},
        "config": {KEYS[key]: value for key, value in chip.items()},
        **card,
    }
    expected = chip_bytes(witness.pnp_bytes(card), 4096, **chip)
    assert assemble(read_profile(EXTENDED, tables)).data == expected
    answer = image_json(decode(EXTENDED, expected), None)
    assert answer["layout"] == CHIP
    assert answer["config"] == tables["config"]
    assert answer["card"]["id"] == card["card"]["id"]
    assert len(answer["devices"]) == len(card["device"])
    assert all(row.get("ok", True) for row in answer["frame"])


def test_chip_on_the_command_line(tmp_path: Path) -> None:
    """Build, inspect, check, verify and profile with --schemas, as with any layout."""
    card = {"id": "QRL0301", "serial": 7, "name": "Hollow Lane"}
    pnp = witness.pnp_bytes({"card": card, "device": [{"id": "QRL0001"}]})
    (tmp_path / "card.toml").write_text(
        f'[image]\nlayout = "{CHIP}"\npart = "24C02"\n\n[config]\nmute = true\n\n'
        '[card]\nid = "QRL0301"\nserial = 7\nname = "Hollow Lane"\n\n[[device]]\nid = "QRL0001"\n'
    )
    own = ("--schemas", str(OWN))
    run = romtool("build", "card.toml", *own, cwd=tmp_path)
    assert run.returncode == 0, told(run)
    assert (tmp_path / "card.bin").read_bytes() == chip_bytes(pnp, 256, mute=True)
    assert inspected("card.bin", *own, cwd=tmp_path)["config"]["mute"] is True
    for words in (("check", "card.bin"), ("verify", "card.bin", "card.toml")):
        run = romtool(*words, *own, cwd=tmp_path)
        assert run.returncode == 0, told(run)
    run = romtool("profile", "card.bin", *own, cwd=tmp_path)
    assert tomllib.loads(run.stdout.decode())["image"] == {"layout": CHIP, "part": "24C02"}
    # Without its schema no layout fits.
    assert inspected("card.bin", cwd=tmp_path)["layout"] is None
    run = romtool("build", "card.toml", "--force", cwd=tmp_path)
    assert run.returncode == 2
    assert CHIP in told(run)


def test_chip_schema_is_short() -> None:
    """A chip of one's own takes fewer than 30 lines."""
    text = OWN_FILE.read_text(encoding="utf-8")
    assert len(text.splitlines()) < 30
    found = tomllib.loads(text)
    assert [frame["name"] for frame in found["frame"]] == [CHIP]


def test_chip_schema_has_no_faults(tmp_path: Path) -> None:
    """`schema lint` takes it, and shows it as a map of all 12 bytes."""
    run = romtool("schema", "lint", str(OWN_FILE))
    assert run.returncode == 0, told(run)
    run = romtool("schema", "show", CHIP, "--schemas", str(OWN))
    assert run.returncode == 0, told(run)
    text = run.stdout.decode()
    for words in ("12 bytes", "line_out_gain", "irq_wiring", "dma_wiring", "tuning", "4:0"):
        assert words in text


# --- a wrong frame checksum


@pytest.mark.parametrize("at", range(12))
def test_wrong_frame_byte(at: int, tmp_path: Path) -> None:
    """Any byte of the frame changed: `check` finds the checksum wrong, `profile` keeps it.

    The layout is named: a changed mark or count speaks against it.
    """
    good = chip_bytes(SMALLEST, 256)
    bad = bytearray(good)
    bad[at] ^= 0x11
    image = decode(EXTENDED, bytes(bad), CHIP)
    rules = {finding.rule: finding for finding in check(image)}
    assert rules["frame-checksum"].severity == "error"
    assert rules["frame-checksum"].offset == 11
    assert not any(f.rule == "frame-checksum" for f in check(decode(EXTENDED, good)))
    text = profile_text(EXTENDED, bytes(bad), CHIP)
    assert build(EXTENDED, text) == bytes(bad)
    written = tomllib.loads(text)
    assert written["override"]["frame_checksum"] == bad[11]
    assert "raw" not in written["image"]


def test_wrong_frame_checksum_on_the_command_line(tmp_path: Path) -> None:
    """Found by `check` with its address, shown by `inspect`, kept by `profile`."""
    bad = bytearray(chip_bytes(SMALLEST, 256))
    bad[11] ^= 0x40
    (tmp_path / "bad.bin").write_bytes(bad)
    own = ("--schemas", str(OWN))
    run = romtool("check", "bad.bin", *own, cwd=tmp_path)
    assert run.returncode == 1
    text = run.stdout.decode()
    for words in ("at Bh", "frame checksum", f"{bad[11]:02X}h", f"{bad[11] ^ 0x40:02X}h"):
        assert words in text, text
    text = romtool("inspect", "bad.bin", *own, cwd=tmp_path).stdout.decode()
    assert "should be" in text
    run = romtool("profile", "bad.bin", *own, "-o", "bad.toml", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    assert f"frame_checksum = 0x{bad[11]:02X}" in (tmp_path / "bad.toml").read_text()
    run = romtool("build", "bad.toml", *own, "--allow-faults", "-o", "out", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    assert (tmp_path / "out" / "bad.bin").read_bytes() == bytes(bad)


# --- faults in schemas of one's own

SPOILERS = {
    "gap": ("at = 9, bytes = 2", "at = 9, bytes = 1", "10"),
    "overlap": ("at = 8, bytes = 1", "at = 7, bytes = 1", "7"),
    "bit-gap": ('bits = "6:5"', 'bits = "6"', "bit"),
    "bit-overlap": ('bits = "6:5"', 'bits = "6:4"', "bit"),
    "size": ("size = 12", "size = 13", "12"),
    "unknown-key": ('title = "mute"', 'titel = "mute"', "title"),
    "unknown-type": ('type = "flag"', 'type = "flagg"', "flag"),
    "unknown-checksum": ('checksum = "xor"', 'checksum = "crc"', "crc"),
    "default-too-large": ("default = 16", "default = 32", "31"),
    "too-few-pins": ("default = [1, 3]", "default = [1]", "2"),
    "name-taken": (f'name = "{CHIP}"', 'name = "plain"', "plain"),
}


@pytest.mark.parametrize("name", SPOILERS)
def test_schema_faults(name: str, tmp_path: Path) -> None:
    """Each is refused with file, line and column, by `schema lint` and wherever it is used."""
    before, after, word = SPOILERS[name]
    text = OWN_FILE.read_text(encoding="utf-8")
    assert text.count(before) == 1
    (tmp_path / "chip.toml").write_text(text.replace(before, after), encoding="utf-8")
    line = text[: text.index(before)].count("\n") + 1
    for words in (("schema", "lint", "chip.toml"), ("schema", "list", "--schemas", ".")):
        run = romtool(*words, cwd=tmp_path)
        assert run.returncode == 2, run.stdout.decode()
        found = told(run).splitlines()
        assert all(one.startswith("romtool: chip.toml:") for one in found), found
        assert any(word in one for one in found), found
        # The line of the field, or of the one beside it that it collides with or leaves a gap to.
        lines = [int(one.split(":")[2]) for one in found]
        frame = text[: text.index("[[frame]]")].count("\n") + 1
        assert any(abs(at - line) <= 1 or at == frame for at in lines), found


def test_folder_of_schemas(tmp_path: Path) -> None:
    """All files of a folder count, those in folders inside it too; two of a name don't."""
    (tmp_path / "inside").mkdir()
    shutil.copy(OWN_FILE, tmp_path / "inside" / "chip.toml")
    assert CHIP in load_catalog([tmp_path]).layouts
    shutil.copy(OWN_FILE, tmp_path / "chip.toml")
    run = romtool("schema", "list", "--schemas", str(tmp_path))
    assert run.returncode == 2
    assert "chip.toml" in told(run)
    assert CHIP in told(run) or "24C32" in told(run)
