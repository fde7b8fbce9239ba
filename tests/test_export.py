"""`schema export`: the files that come with romtool, to copy and change."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from romtool.files.shipped import exported_names
from tests.support.tool import romtool, told

ROOT = Path(__file__).resolve().parent.parent
FILES = {
    "counted-19": "schemas/frames/counted-19.toml",
    "dos-games": "schemas/expect/dos-games.toml",
    "workshop": "schemas/hosts/workshop.toml",
    "hollow-lane": "samples/hollow-lane.toml",
    "hollow-lane-24": "samples/schemas/hollow-lane-24.toml",
}


@pytest.mark.parametrize(("name", "file"), FILES.items(), ids=FILES)
def test_what_is_written_is_the_shipped_file(name: str, file: str, tmp_path: Path) -> None:
    shipped = (ROOT / file).read_bytes()
    assert romtool("schema", "export", name).stdout == shipped
    run = romtool("schema", "export", name, "-o", "deep/own.toml", cwd=tmp_path)
    assert (run.returncode, run.stdout) == (0, b"wrote deep/own.toml\n")
    assert (tmp_path / "deep" / "own.toml").read_bytes() == shipped


@pytest.mark.parametrize("name", ["24C02", "93c66"])
def test_a_part_comes_without_those_beside_it(name: str, tmp_path: Path) -> None:
    """It is what its file says of it; with a name of its own it can be used."""
    text = romtool("schema", "export", name).stdout.decode()
    (part,) = tomllib.loads(text)["part"]
    assert part["name"] == name.upper()
    files = [tomllib.loads(path.read_text()) for path in (ROOT / "schemas/parts").iterdir()]
    (file,) = [file for file in files if part in file["part"]]
    assert {**file, "part": [part]} == tomllib.loads(text)
    (tmp_path / "own.toml").write_text(text.replace(name.upper(), "OWN"))
    assert romtool("schema", "lint", "own.toml", cwd=tmp_path).returncode == 0
    run = romtool("schema", "show", "OWN", "--schemas", ".", cwd=tmp_path)
    assert run.stdout.startswith(b"OWN ")


def test_every_layout_part_host_expectation_and_sample_can_be_had() -> None:
    for name in exported_names():
        run = romtool("schema", "export", name)
        assert run.returncode == 0 and run.stdout, name
    files = [*(ROOT / "schemas" / "frames").iterdir(), *(ROOT / "schemas" / "hosts").iterdir()]
    assert {path.stem for path in files} <= set(exported_names())


def test_a_copy_with_a_name_of_its_own_can_be_used(tmp_path: Path) -> None:
    text = romtool("schema", "export", "counted-19").stdout.decode()
    (tmp_path / "own.toml").write_text(text)
    run = romtool("schema", "lint", "own.toml", cwd=tmp_path)
    assert "frame counted-19 is described twice; give it a name of its own" in told(run)
    (tmp_path / "own.toml").write_text(text.replace('"counted-19"', '"own-19"'))
    assert romtool("schema", "lint", "own.toml", cwd=tmp_path).returncode == 0


def test_an_existing_file_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "pc.toml").write_text("mine")
    run = romtool("schema", "export", "bare", "-o", "pc.toml", cwd=tmp_path)
    assert run.returncode == 2 and "--force" in told(run)
    assert (tmp_path / "pc.toml").read_text() == "mine"
    assert romtool("schema", "export", "bare", "-o", "pc.toml", "--force", cwd=tmp_path).stdout


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("workshp", "no file describes workshp; did you mean workshop?"),
        ("irq", "no file describes irq; *known are counted-19, "),
    ],
)
def test_a_name_that_no_file_has(name: str, said: str) -> None:
    run = romtool("schema", "export", name)
    assert (run.returncode, run.stdout) == (2, b"")
    for piece in said.split("*"):
        assert piece in told(run)
