"""Starting: a call loads what it uses. No time is asserted; what costs it is told by name."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from romtool.files.schemas import read_catalog, shipped_folder
from tests.support.tool import CARD_ITEMS, PROFILE, identifier

# Asks a command for its help, or runs it, and then says what was loaded.
LOADED = """
import json, sys
from romtool.cli import cli
try:
    cli.main(sys.argv[1:], prog_name="romtool", standalone_mode=False)
except SystemExit:
    pass
sys.stdout.flush()
print("\\n" + json.dumps(sorted(sys.modules)))
"""


def loaded(*words: str) -> set[str]:
    """The modules that are loaded when the command has run."""
    run = subprocess.run(
        [sys.executable, "-c", LOADED, *words],
        capture_output=True, text=True, check=True, timeout=300,
    )  # fmt: skip
    return set(json.loads(run.stdout.splitlines()[-1]))


@pytest.fixture
def image(tmp_path: Path) -> Path:
    """A raw image of the plain layout."""
    path = tmp_path / "card.bin"
    path.write_bytes(identifier("QRL0301", 1) + CARD_ITEMS)
    return path


def test_help_loads_no_command() -> None:
    found = loaded("--help")
    assert not [name for name in found if name.startswith("romtool.commands.")]
    assert not found & {"pathlib", "tomllib", "construct", "intelhex", "romtool.schema"}


@pytest.mark.parametrize("command", ["inspect", "check"])
def test_reading_a_raw_image_builds_nothing(command: str, image: Path) -> None:
    """Nor does it need TOML, where the packed catalogue is: the tests run where it may not be."""
    found = loaded(command, str(image))
    assert "romtool.image.decode" in found
    assert not found & {"construct", "intelhex", "dataclasses", "romtool.profile.assemble"}


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
