"""The README shows what the commands really print, and its first two blocks are one command each.

`python -m tests.test_readme --write` puts the real output into README.md.
"""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
from pathlib import Path

from romtool.files.schemas import load_catalog
from tests.support.tool import romtool

ROOT = Path(__file__).resolve().parent.parent
README = ROOT / "README.md"
CONSOLE = re.compile(r"```console\n(.*?)```\n", re.DOTALL)


def played(block: str, folder: Path) -> str:
    """Return a console block with the output that its commands give now."""
    lines = []
    for line in block.splitlines():
        if line.startswith("$ "):
            lines.append(line)
            name, *words = line[2:].split()
            assert name == "romtool"
            run = romtool(*words, cwd=folder)
            lines += [*run.stdout.decode().splitlines(), *run.stderr.decode().splitlines()]
    return "\n".join(lines) + "\n"


def replayed(text: str) -> str:
    """Return the README with the output of all its console blocks made anew, in order."""
    with tempfile.TemporaryDirectory() as name:
        shutil.copytree(ROOT / "samples", Path(name) / "samples")
        return CONSOLE.sub(lambda m: f"```console\n{played(m[1], Path(name))}```\n", text)


def test_shown_output_is_real() -> None:
    text = README.read_text(encoding="utf-8")
    assert CONSOLE.search(text)
    assert replayed(text) == text


def test_first_two_sh_blocks_are_one_command_each() -> None:
    blocks = re.findall(r"```sh\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    assert len(blocks) >= 2
    for block in blocks[:2]:
        assert block.count("\n") == 1


def test_cautions_are_shown() -> None:
    """All that schemas/cautions.toml says, in its words."""
    words = " ".join(README.read_text(encoding="utf-8").split())
    cautions = load_catalog().cautions.values()
    assert len(cautions) == 5
    assert [one.name for one in cautions if one.text not in words] == []


def test_the_count_of_requirements_is_right() -> None:
    """As `romtool schema show standard` counts them."""
    checked = [one.is_checked for one in load_catalog().checked()]
    words = f"romtool checks {sum(checked)} of the standard's {len(checked)} requirements"
    assert words in " ".join(README.read_text(encoding="utf-8").split())


if __name__ == "__main__" and "--write" in sys.argv:
    README.write_text(replayed(README.read_text(encoding="utf-8")), encoding="utf-8")
