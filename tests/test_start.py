"""Starting: a call loads what it uses. No time is asserted; what costs it is told by name."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from romtool.files.packed import NAME, pack
from romtool.files.schemas import read_catalog, shipped_folder
from tests.support.tool import CARD_ITEMS, PROFILE, identifier

# Asks a command for its help, or runs it, and then says what was loaded.
LOADED = """
import sys
from romtool.cli import cli
try:
    cli.main(sys.argv[1:], prog_name="romtool", standalone_mode=False)
except SystemExit:
    pass
sys.stdout.flush()
print("\\n", *sys.modules)
"""


def loaded(*words: str, folder: Path | None = None) -> set[str]:
    """The modules that are loaded when the command has run, romtool itself from this folder."""
    run = subprocess.run(
        [sys.executable, "-c", LOADED, *words],
        capture_output=True, text=True, check=True, timeout=300, cwd=folder,
    )  # fmt: skip
    return set(run.stdout.splitlines()[-1].split())


@pytest.fixture
def image(tmp_path: Path) -> Path:
    """A raw image of the plain layout."""
    path = tmp_path / "card.bin"
    path.write_bytes(identifier("QRL0301", 1) + CARD_ITEMS)
    return path


@pytest.fixture(scope="module")
def packed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which romtool stands as a wheel has it, its schemas packed beside it."""
    root = tmp_path_factory.mktemp("wheel")
    project = shipped_folder().parent
    shutil.copytree(project / "romtool", root / "romtool")
    schemas = shutil.copytree(shipped_folder(), root / "romtool" / "schemas", dirs_exist_ok=True)
    (schemas / NAME).write_bytes(pack(read_catalog(), schemas))
    return root


def test_help_loads_no_command() -> None:
    found = loaded("--help")
    assert not [name for name in found if name.startswith("romtool.commands.")]
    assert not found & {"pathlib", "tomllib", "construct", "intelhex", "romtool.schema"}


NOT_FOR_AN_IMAGE = {
    "construct",
    "dataclasses",
    "hashlib",
    "intelhex",
    "pathlib",
    "string",
    "romtool.profile.assemble",
    "romtool.schema.bench",
    "romtool.schema.spelt_numbers",
    "romtool.schema.standard",
}
"""What is loaded, where the packed catalogue is, by no call that reads images.

The tests run where it may not be: with the TOML files, pathlib and the whole schema are loaded.
"""

NOT_FOR = {
    "inspect": {"romtool.image.explain", "romtool.diff.compare", "json"},
    "inspect --json": {"romtool.image.explain", "romtool.diff.compare"},
    "check": {"romtool.image.explain", "romtool.diff.compare", "json"},
    "verify": {"romtool.rules.check", "romtool.recover.undo", "romtool.diff.compare", "json"},
    "diff": {"romtool.rules.check", "romtool.recover.undo", "json"},
}
"""What a command need not load beside that, for raw images that hold the same."""


@pytest.mark.parametrize("command", NOT_FOR)
def test_reading_raw_images_loads_nothing_else(command: str, image: Path, packed: Path) -> None:
    images = [str(image)] * (2 if command in ("verify", "diff") else 1)
    found = loaded(*command.split(), *images, folder=packed)
    assert "romtool.image.decode" in found
    assert found & (NOT_FOR_AN_IMAGE | NOT_FOR[command]) == set()


def test_building_uses_construct(tmp_path: Path) -> None:
    (tmp_path / "card.toml").write_text(PROFILE, encoding="utf-8")
    assert "construct" in loaded("build", str(tmp_path / "card.toml"), "-o", str(tmp_path))


def test_the_schemas_are_packed_without_other_packages() -> None:
    """A wheel is built where only the build tool is installed, neither click nor construct."""
    code = "import sys; sys.path.insert(0, sys.argv[1])\n"
    code += "sys.modules |= dict.fromkeys(['click', 'construct', 'intelhex'])\n"
    code += "from romtool.files.schemas import read_catalog; print(len(read_catalog().records))"
    root = str(shipped_folder().parent)
    run = subprocess.run(
        [sys.executable, "-S", "-c", code, root],
        capture_output=True, text=True, check=False, timeout=300,
    )  # fmt: skip
    assert (run.stderr, run.stdout.strip()) == ("", str(len(read_catalog().records)))


def test_renderings_know_no_room_that_finds_answers() -> None:
    """What prints is given an answer: it solves nothing, plays nothing, reads no file."""
    folder = Path(__file__).resolve().parent.parent / "romtool" / "text"
    finding = re.compile(
        r"^ *from romtool\.(rehearse|files|commands|assign\.(assign|best|model|conflict|values))\b",
        re.MULTILINE,
    )
    found = {path.name: finding.findall(path.read_text("utf-8")) for path in folder.glob("*.py")}
    assert not {name: hits for name, hits in found.items() if hits}


def test_the_model_of_a_report_needs_neither_the_command_line_nor_the_solver() -> None:
    code = "import sys, romtool.report.model; print(*sys.modules)"
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=300
    )
    assert not {"click", "pysat", "jinja2"} & set(run.stdout.split())
