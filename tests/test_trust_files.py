"""Files in and out, tried hard: what stands in the place of an input or an output, what ends a
write half way, and what is around the call that must not matter.

The question is always the same: is each file the old one or the new one, whole, and is what is
wrong told in one clear line?
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import socket
import stat
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from subprocess import PIPE

import pytest

from tests.support import amount, in_process
from tests.support.inside import spoilt, spoilt_anew
from tests.support.tool import PROFILE, copied, romtool, started, told

if sys.platform == "win32":
    pytest.skip("such files are not on this system", allow_module_level=True)

TOOL = str(Path(sys.executable).with_name("romtool"))

# Without it a draft has a hidden name; systems and disks are like that. Some move no open file.
NAMED = "import os; del os.O_TMPFILE"
CLOSED = f"{NAMED}\nfrom romtool.files import draft; draft._MAY_MOVE_OPEN = False"
WAYS = {"unnamed": "", "named": NAMED, "closed": CLOSED}

OTHER = PROFILE.replace("0x220", "0x240")


def names_in(folder: Path) -> list[str]:
    """Everything in a folder, drafts included."""
    return sorted(entry.name for entry in folder.iterdir())


def contents(folder: Path) -> dict[str, bytes]:
    """Every file of a folder, drafts included."""
    return {name: (folder / name).read_bytes() for name in names_in(folder)}


def one_line(run: subprocess.CompletedProcess[bytes], *words: str) -> str:
    """The one line of a call that was refused."""
    assert run.returncode == 2, told(run)
    assert run.stdout == b""
    (line,) = told(run).splitlines()
    assert line.startswith("romtool: ")
    assert line.isprintable()
    assert "; " in line  # what is wrong; what to do
    for word in words:
        assert word in line, line
    return line


def outcome(
    words: Sequence[str], *, cwd: Path | None = None, stdin: int | None = None, stdout: int = PIPE
) -> subprocess.CompletedProcess[bytes]:
    """Run a program by its words as they are; the time limit only ends one that hangs."""
    return subprocess.run(
        words, cwd=cwd, stdin=stdin, stdout=stdout, stderr=PIPE, timeout=300, check=False
    )


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """A folder with a profile and its image."""
    (tmp_path / "card.toml").write_text(PROFILE)
    run = romtool("build", "card.toml", "--format", "bin", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    return tmp_path


# --- killed between any two writes

# When the files are about to be written, the process is copied again and again, each copy to be
# killed when it comes to the n-th line of the modules that write; n goes up until one gets through.
# What each left after is printed.
KILL_AT_EACH_LINE = """
import json, os, shutil, signal, sys
from romtool.commands.series import Series
from romtool.files import draft, output
WRITERS = {draft.__file__, output.__file__}

def killer(n):
    count = 0
    def line(frame, event, arg):
        nonlocal count
        count += event == "line"
        if count == n:
            os.kill(os.getpid(), signal.SIGKILL)
        return line
    return lambda frame, event, arg: line if frame.f_code.co_filename in WRITERS else None

def left():
    return {name: open(os.path.join("out", name), "rb").read().hex() for name in os.listdir("out")}

def each_line(series, contents, *, force):
    made, n, end = list(contents()), 1, -signal.SIGKILL
    while end == -signal.SIGKILL:
        shutil.rmtree("out", ignore_errors=True)
        shutil.copytree("old", "out")
        process = os.fork()
        if process == 0:
            sys.settrace(killer(n))
            write(series, lambda: made, force=force)
            os._exit(0)
        end = os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])
        print(json.dumps([end, left()]), flush=True)
        n += 1
    os._exit(0)

write, Series.write = Series.write, each_line
"""


@pytest.mark.parametrize("serials", ["101", pytest.param("101-103", marks=pytest.mark.bulk)])
@pytest.mark.parametrize(
    ("way", "force"),
    [
        ("unnamed", False),
        pytest.param("named", True, marks=pytest.mark.bulk),
        pytest.param("closed", False, marks=pytest.mark.bulk),
        pytest.param("unnamed", True, marks=pytest.mark.bulk),
        pytest.param("named", False, marks=pytest.mark.bulk),
        pytest.param("closed", True, marks=pytest.mark.bulk),
    ],
)
def test_killed_between_any_two_writes(way: str, force: bool, serials: str, tmp_path: Path) -> None:
    """Old file or new file, never half; and the next call leaves nothing of it after."""
    old, new = tmp_path / "old", tmp_path / "new"
    for folder, profile in ((old, OTHER), (new, PROFILE)):
        (tmp_path / "card.toml").write_text(profile)
        words = ["build", "card.toml", "--serials", serials, "-o", folder.name]
        run = romtool(*words, cwd=tmp_path)
        assert run.returncode == 0, told(run)
    before, after = contents(old), contents(new)
    assert before.keys() == after.keys()
    if not force:
        shutil.rmtree(old)
        old.mkdir()
        before = {}
    words = ["build", "card.toml", "--serials", serials, "-o", "out"]
    words += ["--force"] if force else []
    # A small process is copied a hundred times faster than this one.
    run = spoilt_anew(f"{WAYS[way]}\n{KILL_AT_EACH_LINE}", *words, cwd=tmp_path)
    assert run.returncode == 0, told(run)
    rounds = [json.loads(line) for line in run.stdout.splitlines()]
    assert len(rounds) > 20, told(run)
    assert {end for end, _ in rounds[:-1]} == {-signal.SIGKILL}
    for _, left in rounds:
        there = {name: bytes.fromhex(data) for name, data in left.items()}
        for name in before:
            assert there[name] in (before[name], after[name])
        for name, data in there.items():
            if name.startswith(".romtool-"):
                # Nothing that anybody asked for; without its name it is gone with the process.
                assert way != "unnamed" or (force and data in after.values())
            else:
                assert data in (before.get(name), after[name])
        if "card.manifest.json" in there and not force:
            assert there.items() >= after.items()  # it comes last
    # The last one got through.
    assert {name: bytes.fromhex(data) for name, data in rounds[-1][1].items()} == after


@pytest.mark.parametrize("way", WAYS)
def test_drafts_of_the_killed_are_cleared(way: str, desk: Path) -> None:
    """Those of processes that are gone; those of one that runs stay, and so do others' files."""
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    out = desk / "out"
    out.mkdir()
    kept = [f".romtool-{os.getpid()}-0", ".romtool-x-0", f".romtool-{gone.pid}", ".hidden"]
    for name in [*kept, f".romtool-{gone.pid}-0", f".romtool-{gone.pid}-17"]:
        (out / name).write_text("half")
    run = spoilt(WAYS[way], "build", "card.toml", "-o", "out", cwd=desk)
    assert run.returncode == 0, told(run)
    assert names_in(out) == sorted([*kept, "card.bin", "card.hex"])


def test_killed_at_any_time(tmp_path: Path) -> None:
    """The same from outside, with a series that replaces another, at times as they come."""
    for name, profile in (("old", OTHER), ("new", PROFILE)):
        (tmp_path / "card.toml").write_text(profile)
        words = ["build", "card.toml", "--serials", "101-150", "-o", name]
        assert romtool(*words, cwd=tmp_path).returncode == 0
    before, after = contents(tmp_path / "old"), contents(tmp_path / "new")
    words = ["build", "card.toml", "--serials", "101-150", "-o", "old", "--force"]
    for turn in range(6 if amount.is_whole else 3):
        process = in_process.copied(
            words, cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        time.sleep(0.15 + 0.05 * turn % 1.5)
        process.kill()
        process.wait()
        there = contents(tmp_path / "old")
        for name in before:
            assert there[name] in (before[name], after[name])
    assert romtool(*words, cwd=tmp_path).returncode == 0
    assert contents(tmp_path / "old") == after


# --- a disk that is full, or can't be written to


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of its own, of 16 KiB; skipped where this user can't have one."""
    folder = tmp_path / "disk"
    folder.mkdir()
    if shutil.which("mount") is None:
        pytest.skip("no program to mount a small disk with; REFUSALS stand for it")
    words = ["mount", "-t", "tmpfs", "-o", "size=16k", "romtool-test", str(folder)]
    if outcome(words).returncode:
        pytest.skip("this user can't mount a small disk; REFUSALS stand for it")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


@pytest.mark.parametrize("way", WAYS)
def test_full_disk(way: str, desk: Path, small_disk: Path) -> None:
    """A real one: old files stay whole, and no draft takes the last room."""
    words = ["build", "card.toml", "-o", str(small_disk)]
    assert romtool(*words, cwd=desk).returncode == 0
    before = contents(small_disk)
    with contextlib.suppress(OSError), (small_disk / "filler").open("wb", buffering=0) as filler:
        while True:
            filler.write(b"\0" * 4096)
    (desk / "card.toml").write_text(OTHER)
    line = one_line(spoilt(WAYS[way], *words, "--force", cwd=desk), "no space left on device")
    assert "make room on the disk" in line
    assert {k: v for k, v in contents(small_disk).items() if k != "filler"} == before


# What the system says when a draft is written, its last byte and its first name.
FULL = """
import errno, os
def full(*args, **kwargs):
    raise OSError(errno.{error}, os.strerror(errno.{error}))
os.{call} = full
"""
REFUSALS = {
    "no room": ("fsync", "ENOSPC", "no space left on device; make room on the disk"),
    "no quota": ("fsync", "EDQUOT", "disk quota exceeded; make room on the disk"),
    "read-only": ("link", "EROFS", "read-only file system; give -o another folder"),
    "broken": ("fsync", "EIO", "input/output error; check the folder and its rights"),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", REFUSALS)
def test_what_the_system_refuses(name: str, way: str, desk: Path) -> None:
    """One line, what to do in it, and nothing is left."""
    call, error, words = REFUSALS[name]
    problem = f"{WAYS[way]}\n{FULL.format(call=call, error=error)}"
    if call == "link":  # a disk without links: the draft gets its name another way
        problem += "\nos.rename = full"
    one_line(spoilt(problem, "build", "card.toml", "-o", "out", cwd=desk), f"out/card.bin: {words}")
    assert names_in(desk / "out") == []
    one_line(spoilt(problem, "profile", "card.bin", "-o", "a.toml", cwd=desk), f"a.toml: {words}")
    assert names_in(desk) == ["card.bin", "card.toml", "out"]


def test_a_disk_without_links(desk: Path) -> None:
    """Memory cards and some shares have none: written all the same, and over nothing."""
    problem = f"{NAMED}\n{FULL.format(call='link', error='EPERM')}"
    words = ["build", "card.toml", "-o", "out"]
    assert spoilt(problem, *words, cwd=desk).returncode == 0
    assert romtool("build", "card.toml", "-o", "usual", cwd=desk).returncode == 0
    assert contents(desk / "out") == contents(desk / "usual")
    (desk / "card.toml").write_text(OTHER)
    assert spoilt(problem, *words, cwd=desk).returncode == 2
    assert contents(desk / "out") == contents(desk / "usual")
    assert spoilt(problem, *words, "--force", cwd=desk).returncode == 0
    assert names_in(desk / "out") == names_in(desk / "usual")
    assert contents(desk / "out") != contents(desk / "usual")


def test_output_that_nobody_takes(desk: Path) -> None:
    """Standard output on a full disk, or closed."""
    for words in (
        ["inspect", "card.bin"],
        ["check", "--json", "card.bin"],
        ["profile", "card.bin"],
    ):
        with open("/dev/full", "wb") as full:
            run = copied(*words, cwd=desk, stdout=full)
        assert run.returncode == 2
        assert run.stderr.decode() == (
            "romtool: standard output: no space left on device; make room, or send it elsewhere\n"
        )
        closed = outcome(["sh", "-c", f'"{TOOL}" {" ".join(words)} >&-'], cwd=desk)
        assert b"Traceback" not in closed.stderr


# --- what stands in place of an output


def outputs(way: str) -> list[str]:
    """The words of a call that writes out.toml or out.bin."""
    calls = {
        "profile": ["profile", "card.bin", "-o", "place"],
        "recover": ["recover", "card.bin", "-o", "place"],
    }
    return calls[way]


@pytest.mark.parametrize("way", ["profile", "recover"])
@pytest.mark.parametrize("target", ["target", "nowhere"], ids=["link", "dangling"])
def test_link_in_place_of_an_output(target: str, way: str, desk: Path) -> None:
    """It counts as existing, wherever it leads; --force replaces the link, not its target."""
    (desk / "target").write_text("kept")
    (desk / "place").symlink_to(target)
    before = names_in(desk)
    one_line(romtool(*outputs(way), cwd=desk), "place: exists already, as a link", "--force")
    assert names_in(desk) == before
    assert (desk / "place").is_symlink()
    run = romtool(*outputs(way), "--force", cwd=desk)
    assert run.returncode == 0, told(run)
    assert (desk / "target").read_text() == "kept"
    assert names_in(desk) == before
    assert stat.S_ISREG((desk / "place").lstat().st_mode)


def test_hard_link_in_place_of_an_output(desk: Path) -> None:
    """The other name of the file keeps what it had."""
    (desk / "target").write_text("kept")
    os.link(desk / "target", desk / "place")
    one_line(romtool(*outputs("profile"), cwd=desk), "place: exists already", "--force")
    assert romtool(*outputs("profile"), "--force", cwd=desk).returncode == 0
    assert (desk / "target").read_text() == "kept"
    assert (desk / "place").read_text() != "kept"


def test_link_in_place_of_the_folder(desk: Path) -> None:
    """A folder may be a link; one that leads nowhere is told."""
    (desk / "real").mkdir()
    (desk / "out").symlink_to("real")
    assert romtool("build", "card.toml", "-o", "out", cwd=desk).returncode == 0
    assert names_in(desk / "real") == ["card.bin", "card.hex"]
    (desk / "gone").symlink_to("nowhere")
    one_line(romtool("build", "card.toml", "-o", "gone", cwd=desk), "gone: is a file, not a folder")
    assert not (desk / "nowhere").exists()


@pytest.mark.parametrize("force", [[], ["--force"]], ids=["", "force"])
@pytest.mark.parametrize("kind", ["pipe", "socket", "device", "stdout", "folder"])
def test_no_file_in_place_of_an_output(kind: str, force: list[str], desk: Path) -> None:
    """Nothing replaces a device, a pipe or a folder, and nothing is written into one."""
    place = desk / "place"
    if kind == "pipe":
        os.mkfifo(place)
    elif kind == "socket":
        with socket.socket(socket.AF_UNIX) as server:
            server.bind(str(place))
    elif kind == "device":
        place.symlink_to("/dev/null")
    elif kind == "folder":
        place.mkdir()
    words = outputs("profile")
    if kind == "stdout":
        words = [*words[:-1], "/dev/stdout"]
    before = os.lstat("/dev/stdout" if kind == "stdout" else place)
    line = one_line(romtool(*words, *force, cwd=desk))
    assert ("is a folder" if kind == "folder" else "is a device or pipe, no file") in line
    after = os.lstat("/dev/stdout" if kind == "stdout" else place)
    assert (after.st_ino, after.st_mode) == (before.st_ino, before.st_mode)


# --- two at once


# Somebody else is faster: the file comes into being just before the command gives its own the name.
RIVAL = """
import os, pathlib
link = os.link
def late(*args, **kwargs):
    pathlib.Path("out/card.{kind}").write_text("the rival's")
    return link(*args, **kwargs)
os.link = late
"""


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("kind", ["bin", "hex"])
def test_file_that_comes_into_being_meanwhile(kind: str, way: str, desk: Path) -> None:
    """It is not overwritten, and the other file of the call is taken back."""
    problem = f"{WAYS[way]}\n{RIVAL.format(kind=kind)}"
    (desk / "out").mkdir()
    run = spoilt(problem, "build", "card.toml", "-o", "out", cwd=desk)
    one_line(run, f"out/card.{kind}: exists already", "--force")
    assert contents(desk / "out") == {f"card.{kind}": b"the rival's"}


@pytest.mark.parametrize("force", [[], ["--force"]], ids=["new", "force"])
def test_two_builds_at_once(force: list[str], tmp_path: Path) -> None:
    """Each file is one's or the other's, whole; without --force who says done has done it."""
    calls = []
    for name, profile in (("a", PROFILE), ("b", OTHER)):
        (tmp_path / name).mkdir()
        (tmp_path / name / "card.toml").write_text(profile)
        calls.append(["build", f"{name}/card.toml", "-o", "out", *force])
        run = romtool("build", f"{name}/card.toml", "-o", f"{name}-right", cwd=tmp_path)
        assert run.returncode == 0, told(run)
    right = [contents(tmp_path / f"{name}-right") for name in "ab"]
    for _ in range(20 if amount.is_whole else 5):
        shutil.rmtree(tmp_path / "out", ignore_errors=True)
        pair = [
            in_process.copied(call, cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=PIPE)
            for call in calls
        ]
        texts = [process.communicate(timeout=300)[1].decode() for process in pair]
        there = contents(tmp_path / "out")
        for name, data in there.items():
            assert data in (right[0][name], right[1][name])
        for process, text, own in zip(pair, texts, right, strict=True):
            assert process.returncode in ((0,) if force else (0, 2)), text
            if process.returncode == 0 and not force:
                assert there == own
            elif process.returncode:
                assert "exists already" in text


# --- what stands in place of an input

READERS = {
    "check": ["check", "{}"],
    "inspect": ["inspect", "{}"],
    "verify": ["verify", "{}", "card.bin"],
    "expected": ["verify", "card.bin", "{}"],
    "profile": ["profile", "{}"],
    "recover": ["recover", "{}"],
    "survey": ["survey", "{}"],
    "draft": ["schema", "draft", "{}"],
    "build": ["build", "{}"],
    "lint": ["schema", "lint", "{}"],
}
NO_FILES = {
    "/dev/zero": "is a device or socket, no file",
    "/dev/null": "is a device or socket, no file",
    "/dev/full": "is a device or socket, no file",
    "pipe": "is a pipe, no file",
    "socket": "is a device or socket, no file",
    "link-to-pipe": "is a pipe, no file",
    "none": "no such file or directory",
    "gone": "no such file or directory",
    "loop": "too many levels of symbolic links",
    "card.bin/inside": "not a directory",
    "n" * 300: "file name too long",
    "/dev/fd/99": "no such file or directory",
}


@pytest.fixture(scope="module")
def places(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what is no file, beside an image."""
    folder = tmp_path_factory.mktemp("places")
    (folder / "card.toml").write_text(PROFILE)
    assert romtool("build", "card.toml", "--format", "bin", cwd=folder).returncode == 0
    os.mkfifo(folder / "pipe")
    (folder / "link-to-pipe").symlink_to("pipe")
    (folder / "gone").symlink_to("nowhere")
    (folder / "loop").symlink_to("loop")
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(str(folder / "socket"))
    return folder


@pytest.mark.parametrize("name", NO_FILES)
@pytest.mark.parametrize("reader", ["check", "lint"])
def test_no_file_in_place_of_an_input(reader: str, name: str, places: Path) -> None:
    """Exit code 2 and one line, at once: nothing waits for a pipe, nothing reads without end."""
    words = [word.format(name) for word in READERS[reader]]
    one_line(romtool(*words, cwd=places), f"{name}: {NO_FILES[name]}")


@pytest.mark.parametrize("reader", READERS)
def test_pipe_in_place_of_an_input(reader: str, places: Path) -> None:
    """No command waits for somebody to write into it."""
    words = [word.format("pipe") for word in READERS[reader]]
    one_line(romtool(*words, cwd=places), "pipe: is a pipe, no file", "standard input: -")


def test_what_is_opened_already(places: Path) -> None:
    """Standard input by its names, and a shell's process substitution, may be a pipe."""
    image = (places / "card.bin").read_bytes()
    usual = romtool("check", "-", cwd=places, stdin=image).stdout.split(b" ", 1)[1]
    for name in ("-", "/dev/stdin", "/dev/fd/0", "/proc/self/fd/0"):
        run = romtool("check", "--json", name, cwd=places, stdin=image)
        assert run.returncode == 0, told(run)
    bash = shutil.which("bash")
    if bash is not None:
        script = f'"{TOOL}" verify <(cat card.bin) <(cat card.toml) --input raw; '
        script += f'"{TOOL}" check <(cat card.bin) /dev/fd/5 5< card.bin'
        run = outcome([bash, "-c", script], cwd=places)
        assert run.returncode == 0, told(run)
        assert b"2 files: 2 clean" in run.stdout
    assert usual


@pytest.mark.parametrize("name", ["-", "/dev/stdin"])
def test_standard_input_without_end(name: str, places: Path) -> None:
    """Refused when it is longer than any image."""
    with open("/dev/zero", "rb") as zero:
        run = copied("check", name, cwd=places, stdin=zero)
    one_line(run, "more than 1048576 bytes are too many", "512 KiB")


def test_standard_input_closed(places: Path) -> None:
    """Told, whatever Python makes of it."""
    run = outcome(["sh", "-c", f'"{TOOL}" check - <&-'], cwd=places)
    one_line(run, "standard input: is closed")


def test_profiles_from_other_editors(tmp_path: Path) -> None:
    """A byte order mark and DOS line ends change nothing."""
    images = set()
    for name, data in {
        "plain": PROFILE.encode(),
        "mark": b"\xef\xbb\xbf" + PROFILE.encode(),
        "dos": PROFILE.replace("\n", "\r\n").encode(),
        "both": b"\xef\xbb\xbf" + PROFILE.replace("\n", "\r\n").encode(),
    }.items():
        folder = tmp_path / name
        folder.mkdir()
        (folder / "card.toml").write_bytes(data)
        run = romtool("build", "card.toml", cwd=folder)
        assert run.returncode == 0, told(run)
        images.add((folder / "card.bin").read_bytes())
    assert len(images) == 1


# --- names

ODD_NAMES = {
    # A line end, a return, what steers a terminal or turns the text round, a byte that is no UTF-8.
    "signs": "a\nb\rc\x1b[31md\u202ee" + os.fsdecode(b"\xff"),
    "spaces": "a  b",
    "letters": "Größe-卡",
    "dots": "../outside/a",
    "dash": "-a",
}


@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_names(name: str, tmp_path: Path) -> None:
    """A message stays one line, and none steers the terminal; JSON and files have the true name."""
    odd = ODD_NAMES[name]
    inside = tmp_path / "inside"
    inside.mkdir()
    (tmp_path / "outside").mkdir()
    profile = f"./{odd}.toml" if odd.startswith("-") else f"{odd}.toml"
    one_line(romtool("check", profile, cwd=inside), "no such file")
    one_line(romtool("build", profile, cwd=inside), "no such file")
    # PNP as a device's own ID is a warning (the published generic ID list).
    text = PROFILE.replace('id = "QRL0001"', 'id = "PNPB002"')
    (inside / profile).write_text(text)
    run = romtool("build", profile, "-o", "out", cwd=inside)
    assert run.returncode == 0
    (line,) = told(run).splitlines()
    assert line.isprintable()
    stem = Path(odd).name
    assert names_in(inside / "out") == sorted([f"{stem}.bin", f"{stem}.hex"])
    lines = run.stdout.decode().splitlines()
    assert [line.split()[0] for line in lines[1:4:2]] == ["SHA-256"] * 2
    assert all(line.isprintable() for line in lines)
    one_line(romtool("profile", profile, "-o", f"out/{stem}.bin", cwd=inside), "exists already")
    for words in (["inspect"], ["check"], ["verify", profile], ["recover"]):
        shown = romtool(*words, profile, cwd=inside)
        assert all(line.isprintable() for line in shown.stdout.decode().splitlines())
        assert all(line.isprintable() for line in told(shown).splitlines())
    run = romtool("check", "--json", profile, "./" + profile, cwd=inside)
    files = json.loads(run.stdout)["files"]
    assert [row["file"] for row in files] == [profile, "./" + profile]


# --- what must not matter

AROUND = {
    "C": {"LC_ALL": "C", "TZ": "Pacific/Kiritimati", "PYTHONHASHSEED": "0"},
    "ASCII": {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "COLUMNS": "40"},
    "Latin 1": {"PYTHONIOENCODING": "latin-1", "TZ": "Etc/GMT+12", "PYTHONHASHSEED": "1"},
    "Turkish": {"LC_ALL": "tr_TR.UTF-8", "LANGUAGE": "tr", "NO_COLOR": "1", "TERM": "dumb"},
    "umask": {},
}


def made(folder: Path, env: dict[str, str], mask: int = 0o022) -> dict[str, bytes]:
    """All that the commands make in an empty folder, files and answers."""
    folder.mkdir()
    name = "Größe.toml"
    (folder / name).write_text(PROFILE.replace('id = "QRL0001"', 'id = "PNPB002"'))
    before = os.umask(mask)
    try:
        answers = {}
        for words in (
            ["build", name, "-o", "out", "--format", "bin,srec", "--serials", "101-102", "--json"],
            ["build", name, "--json"],
            ["inspect", "--json", name, "out"],
            ["check", "--json", name, "out"],
            ["profile", "Größe.bin"],
            ["profile", "Größe.bin", "-o", "again.toml"],
            ["recover", "Größe.bin", "--json", "-o", "again.bin"],
        ):
            run = (started if env else romtool)(*words, cwd=folder, env=env)
            assert run.returncode == 0, told(run)
            answers[" ".join(words)] = run.stdout
    finally:
        os.umask(before)
    names = ("Größe.bin", "Größe.hex", "again.toml", "again.bin")
    files = {name: (folder / name).read_bytes() for name in names}
    return answers | files | contents(folder / "out")


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """What the commands make where nothing is special."""
    return made(tmp_path_factory.mktemp("usual") / "desk", {})


@pytest.mark.parametrize(
    "name",
    [
        "ASCII",
        "umask",
        *(pytest.param(n, marks=pytest.mark.bulk) for n in ["Latin 1", "C", "Turkish"]),
    ],
)
def test_same_bytes_everywhere(name: str, tmp_path: Path, usual: dict[str, bytes]) -> None:
    """Locale, time zone, hash seed, rights and width of the terminal change no byte."""
    mask = 0o077 if name == "umask" else 0o022
    assert made(tmp_path / "desk", AROUND[name], mask) == usual
    if name == "umask":
        assert stat.S_IMODE((tmp_path / "desk/again.bin").stat().st_mode) == 0o600
