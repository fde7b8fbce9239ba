"""Completion by the Tab key, in the real shells; and what each command says of itself.

bash and zsh are run at a terminal of their own, in which the words are typed; fish answers by
itself what it would complete. The lines that switch it on are those of `romtool --help`.
"""

from __future__ import annotations

import contextlib
import os
import re
import select
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest

from romtool.cli import cli
from tests.support.amount import is_whole
from tests.support.tool import need, romtool

if sys.platform == "win32":
    pytest.skip("these shells are not on this system", allow_module_level=True)

ROOT = Path(__file__).resolve().parent.parent
OWN = ROOT / "samples" / "schemas"
PATIENCE = 60.0
"""Seconds after which a shell that says nothing more is given up; nothing is measured."""

STARTS = {
    "bash": ["--norc", "--noprofile", "-i"],
    "zsh": ["-f", "-i"],
}
READY = "romtool-is-ready"
FIRST = {
    # One Tab lists what there is, all at once.
    "bash": "bind 'set show-all-if-ambiguous on'; bind 'set page-completions off'; ",
    "zsh": "autoload -Uz compinit; compinit -u -D; unsetopt list_ambiguous auto_menu; ",
}


def line_for(shell: str) -> str:
    """The line that switches completion on, as the help tells it."""
    found = re.search(rf"(?m)^ +{shell} +(.*)$", romtool("--help").stdout.decode())
    assert found is not None
    return found[1]


def environment(folder: Path) -> dict[str, str]:
    """Where a shell finds the tool, and none of the user's own settings."""
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    home = {name: str(folder) for name in ("HOME", "ZDOTDIR", "XDG_CONFIG_HOME", "XDG_DATA_HOME")}
    return {**home, "PATH": path, "TERM": "dumb", "LC_ALL": "C.UTF-8", "COLUMNS": "200"}


class Terminal:
    """A shell at a terminal: what is typed into it, and what it shows."""

    def __init__(self, shell: str, folder: Path) -> None:
        import pty

        program = need(shell)
        self.shown = ""
        self.child, self.handle = pty.fork()
        if self.child == 0:
            os.chdir(folder)
            os.execve(program, [shell, *STARTS[shell]], environment(folder))
        # The mark is put together by the shell, so that it is not what was typed.
        self.type(f"{FIRST[shell]}PS1='> '; {line_for(shell)}; echo romtool-'is'-ready\n")
        self.wait(READY)

    def type(self, text: str) -> None:
        """Type a text."""
        os.write(self.handle, text.encode())

    def wait(self, *words: str) -> str:
        """Return what was shown until all of the words were."""
        end = time.monotonic() + PATIENCE
        while not all(word in self.shown for word in words):
            ready, _, _ = select.select([self.handle], [], [], max(0.0, end - time.monotonic()))
            assert ready, f"no {words} in {self.shown!r}"
            self.shown += os.read(self.handle, 4096).decode(errors="replace")
        shown, self.shown = self.shown, ""
        return shown

    def close(self) -> None:
        """Hang up."""
        with contextlib.suppress(OSError):
            os.close(self.handle)
        os.waitpid(self.child, 0)


@pytest.fixture(scope="module", params=["bash", "zsh"])
def terminal(request: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Terminal]:
    """A shell in which completion is switched on, in a folder with one file."""
    folder = tmp_path_factory.mktemp(request.param)
    (folder / "donor-dump.bin").write_bytes(b"\xff")
    opened = Terminal(request.param, folder)
    yield opened
    opened.close()


# What is typed, and how the line reads when the Tab key has completed it.
UNIQUE = [
    ("romtool insp", "romtool inspect "),
    ("romtool check --exp", "romtool check --expect "),
    ("romtool check --layout cou", "romtool check --layout counted-"),
    ("romtool check --layout mar", "romtool check --layout marked-8 "),
    (f"romtool check --schemas {OWN} --layout hol", "--layout hollow-lane-24 "),
    ("romtool new card.toml --part 93C4", "romtool new card.toml --part 93C46 "),
    ("romtool check --expect d", "romtool check --expect dos-games "),
    ("romtool check --input sr", "romtool check --input srec "),
    ("romtool schema show memory32-", "romtool schema show memory32-fixed "),
    ("romtool inspect don", "romtool inspect donor-dump.bin "),
    ("romtool verify donor-dump.bin don", "romtool verify donor-dump.bin donor-dump.bin "),
]


BY_SHELLS = ("romtool insp", "romtool check --layout cou", "romtool inspect don")
"""Which of them the usual run types into each shell; it asks for the others here."""


def some(cases: list[Any]) -> list[Any]:
    """Those that the usual run tries in the shells, and the others for a whole run."""
    return [case if case[0] in BY_SHELLS else pytest.param(*case, marks=pytest.mark.bulk)
            for case in cases]  # fmt: skip


@pytest.mark.parametrize(("typed", "completed"), some(UNIQUE))
def test_completes(terminal: Terminal, typed: str, completed: str) -> None:
    """What has one completion is completed in the line."""
    terminal.type(typed + "\t")
    # The rest of the line is typed after it; the line then says what became of it.
    terminal.type("_end\x01: \n")
    # zsh and bash draw what changes, so the shell itself is asked for its last line.
    terminal.type("fc -ln -1; echo romtool-'is'-ready\n")
    shown = terminal.wait(READY)
    assert f"{completed}_end" in shown.replace("\r", "")


# What is typed, and what is listed then.
LISTED = [
    ("romtool ", ["new", "build", "inspect", "check", "verify", "profile", "recover", "schema"]),
    ("romtool check --layout ", ["plain", "counted-19", "counted-7", "marked-8"]),
    ("romtool check --part 24", ["24C01", "24C02", "24C04", "24C08", "24C16"]),
    ("romtool schema ", ["list", "show", "lint", "json"]),
    ("romtool check --", ["--expect", "--strict", "--layout", "--part", "--schemas", "--json"]),
]


@pytest.mark.parametrize(
    ("typed", "words"),
    [LISTED[0], *(pytest.param(*case, marks=pytest.mark.bulk) for case in LISTED[1:])],
)
def test_lists(terminal: Terminal, typed: str, words: list[str]) -> None:
    """Where there are several, all of them are listed."""
    terminal.type(f"{typed}\t")
    terminal.wait(*words)
    terminal.type("\x15\x03\necho romtool-'is'-ready\n")
    terminal.wait(READY)


def by_fish(folder: Path, *typed: str) -> list[list[str]]:
    """What fish completes for each text: the words, without their descriptions."""
    program = need("fish")
    script = f"{line_for('fish')}\n"
    script += "".join(f"complete -C '{one}'; echo {READY}\n" for one in typed)
    run = subprocess.run(
        [program, "--no-config", "-c", script],
        capture_output=True,
        text=True,
        env=environment(folder),
        cwd=folder,
        timeout=300,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    answers = run.stdout.split(f"{READY}\n")[:-1]
    return [[line.partition("\t")[0] for line in answer.splitlines()] for answer in answers]


def test_fish(tmp_path: Path) -> None:
    """fish completes and lists the same."""
    (tmp_path / "donor-dump.bin").write_bytes(b"\xff")
    expected = [
        one for one in UNIQUE if not one[1].endswith("-") and (is_whole or one[0] in BY_SHELLS)
    ]
    listed = LISTED if is_whole else LISTED[:1]
    answers = by_fish(tmp_path, *(typed for typed, _ in expected), *(typed for typed, _ in listed))
    for (typed, completed), answer in zip(expected, answers, strict=False):
        assert answer == [completed.split()[-1]], typed
    for (typed, words), answer in zip(listed, answers[len(expected) :], strict=True):
        assert set(words) <= set(answer), typed


def offered(typed: str, folder: Path) -> list[str]:
    """What a shell is told of a line, called in this process."""
    words = typed.split(" ")
    env = {"_ROMTOOL_COMPLETE": "bash_complete", "COMP_WORDS": typed}
    run = romtool(env=env | {"COMP_CWORD": str(len(words) - 1)}, cwd=folder)
    assert run.returncode == 0
    return [line.partition(",")[2] for line in run.stdout.decode().splitlines()]


def test_what_shells_are_told(tmp_path: Path) -> None:
    """All of these lines, but for files, which the shells complete."""
    for typed, completed in UNIQUE:
        word, found = completed.split()[-1], offered(typed, tmp_path)
        if word == "donor-dump.bin":
            assert found == ["don"]
        elif word.endswith("-"):
            assert found == ["counted-19", "counted-7"]
        else:
            assert found == [word]
    for typed, listed in LISTED:
        assert set(listed) <= set(offered(typed, tmp_path)), typed


@pytest.mark.parametrize("schemas", ["nowhere", "bad"])
def test_faults_of_own_schemas_complete_nothing(schemas: str, tmp_path: Path) -> None:
    """A folder that can't be read says nothing while one types."""
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "chip.toml").write_text("[[frame]]\n", encoding="utf-8")
    words = f"romtool check --schemas {schemas} --layout "
    env = {**environment(tmp_path), "_ROMTOOL_COMPLETE": "bash_complete"}
    env |= {"COMP_WORDS": words, "COMP_CWORD": "5"}
    program = Path(sys.executable).with_name("romtool")
    run = subprocess.run([program], capture_output=True, cwd=tmp_path, env=env, check=False)
    assert (run.returncode, run.stdout, run.stderr) == (0, b"\n", b"")


# --- all commands ------------------------------------------------------------------------------


def commands(group: click.Group, *path: str) -> Iterator[tuple[str, ...]]:
    """Yield the words of every command, those of groups inside included."""
    context = click.Context(group)
    yield path
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        if isinstance(command, click.Group):
            yield from commands(command, *path, name)
        else:
            yield (*path, name)


ALL = list(commands(cli))


def command_at(path: tuple[str, ...]) -> click.Command:
    """The command of these words."""
    found: click.Command = cli
    for name in path:
        assert isinstance(found, click.Group)
        inner = found.get_command(click.Context(found), name)
        assert inner is not None
        found = inner
    return found


@pytest.mark.parametrize("path", ALL, ids=" ".join)
def test_help_has_an_example(path: tuple[str, ...]) -> None:
    """The help of each command ends with an example of itself, and fits a terminal."""
    run = romtool(*path, "--help")
    assert run.returncode == 0
    text = run.stdout.decode()
    [example] = re.findall(r"(?m)^ +Example: (.+)$", text)
    assert example.startswith(" ".join(["romtool", *path]))
    assert all(len(line) <= 80 for line in text.splitlines())


@pytest.mark.parametrize("path", [path for path in ALL if path], ids=" ".join)
def test_every_name_completes(path: tuple[str, ...]) -> None:
    """Arguments complete to files or to what there is, names of the schemas to those."""
    command = command_at(path)
    context = click.Context(command)
    for parameter in command.params:
        if isinstance(parameter, click.Argument) or parameter.name in ("layout", "part"):
            found = parameter.shell_complete(context, "")
            assert found, parameter.name
