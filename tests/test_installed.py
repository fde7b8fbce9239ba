"""The installed command, once a command: a process answers as the call inside this one does.

All other tests may call commands in process, since they answer the same here.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from romtool.cli import COMMANDS
from tests.support.tool import romtool, started

SAMPLES = Path(__file__).resolve().parent.parent / "samples"

CALLS = [
    ("--version",),
    ("new", "card.toml", "--json"),
    ("build", "samples/hollow-lane.toml", "-o", "out"),
    ("inspect", "-"),
    ("check", "samples/tour/faults.toml", "gone.bin"),
    ("verify", "samples/tour/readback.bin", "samples/tour/mine.toml", "--json"),
    ("diff", "samples/tour/mine.toml", "samples/hollow-lane.toml"),
    ("survey", "samples/tour", "--csv"),
    ("diagnose", "samples/tour/faults.toml", "--symptom", "no-interrupt"),
    ("profile", "samples/tour/readback.bin"),
    ("recover", "samples/tour/spoilt-read.bin", "--json"),
    ("assign", "samples/hollow-lane.toml", "--host", "bare"),
    ("rehearse", "samples/hollow-lane.toml"),
    ("capture", "samples/tour/mine.toml"),
    ("report", "samples/hollow-lane.toml", "-o", "page.html"),
    ("schema", "list", "--schemas", "samples/schemas"),
]


@pytest.mark.parametrize("words", CALLS, ids=lambda words: words[0])
def test_a_process_answers_the_same(words: tuple[str, ...], tmp_path: Path) -> None:
    """Exit code, both streams and the files that are written."""
    answers = []
    for way, call in (("here", romtool), ("started", started)):
        folder = tmp_path / way
        folder.mkdir()
        shutil.copytree(SAMPLES, folder / "samples")
        run = call(*words, cwd=folder, stdin=(SAMPLES / "tour" / "readback.bin").read_bytes())
        files = {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
        answers.append((run.returncode, run.stdout, run.stderr, files))
    assert answers[0] == answers[1]
    assert answers[0][1] or answers[0][2]


def test_every_command_is_called() -> None:
    assert {words[0] for words in CALLS} >= set(COMMANDS)
