"""The packed catalogue says what the schema files say, and never speaks for other files."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from romtool.files.packed import AT_ONCE, NAME, fingerprint, pack, unpack
from romtool.files.schemas import load_catalog, read_catalog, shipped_folder
from romtool.image.decode import decode
from romtool.schema.catalog import Catalog
from romtool.schema.described import Described
from tests.support.tool import CARD_ITEMS, identifier


def plain(thing: object) -> object:
    """Everything that a catalogue holds, as values that can be compared."""
    if isinstance(thing, Catalog):
        return {name: plain(getattr(thing, name)) for name in Catalog.__annotations__}
    if isinstance(thing, Described):
        return type(thing), {name: plain(value) for name, value in vars(thing).items()}
    if isinstance(thing, dict):
        return [(plain(key), plain(value)) for key, value in thing.items()]
    if isinstance(thing, list | tuple):
        return type(thing), [plain(value) for value in thing]
    return thing


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the shipped schemas, with their catalogue packed beside them."""
    copy = tmp_path / "schemas"
    shutil.copytree(shipped_folder(), copy, ignore=shutil.ignore_patterns(NAME))
    (copy / NAME).write_bytes(pack(read_catalog(), copy))
    return copy


def test_packed_is_what_the_files_say(folder: Path) -> None:
    packed = unpack(folder)
    assert packed is not None
    assert set(vars(packed)) == {*AT_ONCE, "packed"}
    assert plain(packed) == plain(read_catalog())
    assert set(vars(read_catalog())) == set(Catalog.__annotations__)


def test_packed_catalogue_is_the_same_wherever_it_is_made(folder: Path) -> None:
    """No path of the machine that builds the wheel goes into it."""
    assert str(shipped_folder()).encode() not in (folder / NAME).read_bytes()
    assert read_catalog().expectations["dos-games"].file == "expect/dos-games.toml"


def test_packed_catalogue_works(folder: Path) -> None:
    """No default is mistaken for none, and what is worked out on demand still is."""
    packed = unpack(folder)
    assert packed is not None
    data = identifier("QRL0301", 1) + CARD_ITEMS
    image = decode(packed, data)
    assert [item.values for item in image.items] == [
        item.values for item in decode(read_catalog(), data).items
    ]
    field = packed.field("device.id")
    assert not field.may_be_left_out
    assert packed.records["irq"].write({"irq": [5]}).hex() == "222000"  # Spec 6.2.2.4


def test_without_a_packed_catalogue(folder: Path) -> None:
    (folder / NAME).unlink()
    assert unpack(folder) is None


@pytest.mark.parametrize("name", ["rules.toml", "frames/plain.toml"])
def test_packed_is_not_believed_where_a_file_changed(folder: Path, name: str) -> None:
    """Even where length and time stay: the fingerprint is of the content."""
    text = (folder / name).read_bytes()
    (folder / name).write_bytes(text.replace(b"e", b"i", 1))
    assert unpack(folder) is None
    (folder / name).write_bytes(text)
    assert unpack(folder) is not None


def test_packed_is_not_believed_where_a_file_came_or_went_or_moved(folder: Path) -> None:
    (folder / "frames" / "more.toml").write_text('title = "x"\nsource = "x"\n')
    assert unpack(folder) is None
    (folder / "frames" / "more.toml").unlink()
    assert unpack(folder) is not None
    (folder / "frames" / "plain.toml").rename(folder / "parts" / "plain.toml")
    assert unpack(folder) is None


def test_fingerprint_is_of_names_and_content_only(folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "elsewhere"
    shutil.copytree(folder, other)
    assert fingerprint(other) == fingerprint(folder)


def test_a_users_schemas_are_never_left_out(tmp_path: Path) -> None:
    part = '[[part]]\nname = "24X01"\nbus = "two-wire"\nbytes = 96\n'
    (tmp_path / "own.toml").write_text(f'title = "Own part"\nsource = "invented"\n\n{part}')
    assert load_catalog([tmp_path]).parts["24X01"].size == 96
    assert load_catalog(files=[tmp_path / "own.toml"]).parts["24X01"].size == 96
