"""Many cards at once: series of serial numbers, and many files given to one call.

What a series writes is compared with images made one by one; what many processes answer, against
what one answers. A whole run has more files.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.support import amount
from tests.support.in_process import copied
from tests.support.inside import ONE_CORE, TWO_CORES, spoilt, spoilt_anew
from tests.support.tool import CARD_ITEMS, PROFILE, identifier, romtool, told

FEW, MANY = (100, 500) if amount.is_whole else (50, 200)
SERIES = 250 if amount.is_whole else 120

linux_only = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="one process does all the work on this system"
)


def card_image(serial: int) -> bytes:
    """The image of PROFILE with a serial number, made by hand; the end checksum is computed.

    The end item's checksum makes the sum of all bytes after the identifier 0 mod 256
    (Plug and Play ISA Specification 1.0a, 6.2.2.11).
    """
    items = CARD_ITEMS[:-1] + bytes([-sum(CARD_ITEMS[:-1]) & 0xFF])
    return (identifier("QRL0301", serial) + items).ljust(256, b"\xff")


def clean_image(number: int) -> bytes:
    """An image that nothing is found in, another for each number.

    A serial number with which the identifier's checksum comes out 00h would be a warning (some PnP
    software refuses such a card: the PnP code of an operating system kernel).
    """
    data = card_image(number + 1)
    return data if data[8] else card_image(number + (1 << 20))


def spoilt_image() -> bytes:
    """An image whose end checksum is wrong: an error."""
    data = bytearray(card_image(1))
    at = data.index(b"\x79") + 1
    data[at] ^= 1 if data[at] != 1 else 2
    return bytes(data)


ALIKE = ": one card, by their 72 bits; "
"""What `check` says of cards that can't be told apart, as some here are on purpose."""


def unusable_lines(run: subprocess.CompletedProcess[bytes]) -> list[str]:
    """What a run said of files that it could not use."""
    return [line for line in told(run).splitlines() if ALIKE not in line]


def names_in(folder: Path) -> list[str]:
    """Everything in a folder, drafts included."""
    return sorted(entry.name for entry in folder.iterdir()) if folder.exists() else []


def contents(folder: Path) -> dict[str, bytes]:
    """Every file of a folder, drafts included."""
    return {name: (folder / name).read_bytes() for name in names_in(folder)}


# --- series of serial numbers


def test_only_the_serial_number_differs(tmp_path: Path) -> None:
    """Each image of a series is the one made by hand; the manifest names what is there."""
    (tmp_path / "card.toml").write_text(PROFILE)
    run = romtool("build", "card.toml", "--serials", "9998-10003", "-o", "out", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    for serial in range(9998, 10004):
        assert (tmp_path / f"out/card-{serial:05}.bin").read_bytes() == card_image(serial)
    manifest = json.loads((tmp_path / "out/card.manifest.json").read_text())
    assert [row["file"] for row in manifest["images"]] == [
        *(f"card-0{serial}.bin" for serial in (9998, 9999)),
        *(f"card-{serial}.bin" for serial in range(10000, 10004)),
    ]


def test_serials_of_a_slip_of_the_hand(tmp_path: Path) -> None:
    """A range that would fill the disk is refused before anything is written."""
    (tmp_path / "card.toml").write_text(PROFILE)
    for serials, force, words in (
        ("1-4000000000", ["--force"], "1000000"),
        ("1-10001", [], "--force if it is meant"),
    ):
        run = romtool("build", "card.toml", "--serials", serials, *force, cwd=tmp_path)
        assert run.returncode == 2
        assert words in told(run)
    assert names_in(tmp_path) == ["card.toml"]


def start_series(folder: Path, count: int) -> subprocess.Popen[bytes]:
    """Start a series and return its process once the first files are there."""
    words = ["build", "card.toml", "--serials", f"1-{count}", "-o", "out"]
    process = copied(words, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    while process.poll() is None and len(names_in(folder / "out")) < 4:
        time.sleep(0.001)
    return process


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """All files of a series that nothing interrupted."""
    folder = tmp_path_factory.mktemp("whole")
    (folder / "card.toml").write_text(PROFILE)
    run = romtool("build", "card.toml", "--serials", f"1-{SERIES}", "-o", "out", cwd=folder)
    assert run.returncode == 0, told(run)
    return contents(folder / "out")


@pytest.mark.skipif(sys.platform == "win32", reason="there are no such signals here")
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP", "SIGKILL"])
def test_interrupted_series(name: str, tmp_path: Path, whole: dict[str, bytes]) -> None:
    """Every file is whole or absent; it says where to go on, and going on completes the series."""
    (tmp_path / "card.toml").write_text(PROFILE)
    number = getattr(signal, name)
    process = start_series(tmp_path, SERIES)
    process.send_signal(number)
    text = process.communicate(timeout=300)[1].decode()
    there = contents(tmp_path / "out")
    assert "card.manifest.json" not in there, "it was done before the signal came"
    assert there.items() <= whole.items(), "a file is not as it should be"
    done = sum(
        f"card-{n:05}.bin" in there and f"card-{n:05}.hex" in there for n in range(SERIES + 1)
    )
    assert 0 < done < SERIES
    if name == "SIGKILL":
        assert process.returncode == -number
    else:
        assert process.returncode == 128 + number
        assert len(there) == 2 * done, "one file of a pair without the other"
        line = text.splitlines()[-1]
        assert line == (
            f"romtool: interrupted: of {SERIES} serials {done} are complete, 1 to {done}; "
            f"to go on from {done + 1}, repeat the call"
        )
    words = ["build", "card.toml", "--serials", f"1-{SERIES}", "-o", "out"]
    other = tmp_path / "out" / min(there)
    other.write_bytes(b"kept")
    again = romtool(*words, cwd=tmp_path)
    assert again.returncode == 2
    assert f"{other.name}: exists already; give --force to replace it" in told(again)
    assert contents(tmp_path / "out") == there | {other.name: b"kept"}
    other.unlink()
    assert romtool(*words, cwd=tmp_path).returncode == 0
    assert contents(tmp_path / "out") == whole


# The n-th file that gets its name finds the disk full; `os.link` is how a new file gets it.
FULL_AT = """
import errno, itertools, os
link, calls = os.link, itertools.count(1)
def full(*args, **kwargs):
    if next(calls) >= {n}:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    return link(*args, **kwargs)
os.link = full
"""


@linux_only
@pytest.mark.parametrize("n", [1, 2, 3, 4, 41, 42])
def test_series_refused_half_way(n: int, tmp_path: Path) -> None:
    """The files of a number are there all or none; what is complete stays, and is told."""
    (tmp_path / "card.toml").write_text(PROFILE)
    words = ["build", "card.toml", "--serials", "101-130", "-o", "out"]
    run = spoilt(FULL_AT.format(n=n), *words, cwd=tmp_path)
    assert run.returncode == 2
    done = (n - 1) // 2
    expected = [f"card-{s:05}.{kind}" for s in range(101, 101 + done) for kind in ("bin", "hex")]
    assert names_in(tmp_path / "out") == expected
    first, *rest = told(run).splitlines()
    kind = "bin" if n % 2 else "hex"
    file = f"out/card-{101 + done:05}.{kind}"
    assert first == f"romtool: {file}: no space left on device; make room on the disk"
    if not done:
        assert rest == []
        return
    some = "1 is complete, 101;" if done == 1 else f"{done} are complete, 101 to {100 + done};"
    assert rest == [f"romtool: of 30 serials {some} to go on from {101 + done}, repeat the call"]


# The process is asked to end just before the n-th file gets its name.
ASKED_AT = """
import itertools, os, signal
link, calls = os.link, itertools.count(1)
def asked(*args, **kwargs):
    if next(calls) == {n}:
        os.kill(os.getpid(), signal.{name})
    return link(*args, **kwargs)
os.link = asked
"""


@linux_only
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM"])
@pytest.mark.parametrize("n", [1, 2, 5, 6])
def test_a_number_that_is_begun_is_completed(n: int, name: str, tmp_path: Path) -> None:
    """What is told to be complete is what is there, whenever the request to end comes."""
    (tmp_path / "card.toml").write_text(PROFILE)
    words = ["build", "card.toml", "--serials", "101-130", "-o", "out"]
    run = spoilt(ASKED_AT.format(n=n, name=name), *words, cwd=tmp_path)
    assert run.returncode == 128 + getattr(signal, name)
    done = (n + 1) // 2
    assert len(names_in(tmp_path / "out")) == 2 * done
    assert told(run).startswith(f"romtool: interrupted: of 30 serials {done} ")
    assert f"to go on from {101 + done}," in told(run)


def test_series_that_lacks_only_its_manifest(tmp_path: Path) -> None:
    """Files that are as they should be are no fault: the same call completes the series."""
    (tmp_path / "card.toml").write_text(PROFILE)
    words = ["build", "card.toml", "--serials", "5-6", "-o", "out"]
    assert romtool(*words, cwd=tmp_path).returncode == 0
    before = contents(tmp_path / "out")
    (tmp_path / "out/card.manifest.json").unlink()
    assert romtool(*words, cwd=tmp_path).returncode == 0
    assert contents(tmp_path / "out") == before


# --- many files in one call

Batch = tuple[Path, int]


@pytest.fixture(scope="module")
def batch(tmp_path_factory: pytest.TempPathFactory) -> Batch:
    """A folder of many images; some have an error, some a warning, and some can't be used."""
    folder = tmp_path_factory.mktemp("batch")
    for number in range(FEW):
        name = folder / f"{number:05}"
        if number % 25 == 7:
            name.with_suffix(".bin").write_bytes(spoilt_image())
        elif number % 25 == 9:
            name.with_suffix(".hex").write_text(":00000001FE\n")  # a wrong sum
        elif number % 25 == 12:
            # PNP as a device's own ID is a warning (the published generic ID list).
            name.with_suffix(".toml").write_text(
                PROFILE.replace('id = "QRL0001"', 'id = "PNPB002"')
            )
        else:
            name.with_suffix(".bin").write_bytes(clean_image(number))
    (folder / "expected.toml").write_text(PROFILE)
    return folder, FEW + 1


@pytest.fixture(scope="module")
def checked(batch: Batch) -> list[str]:
    """What `check` says of them."""
    folder = batch[0]
    return romtool("check", folder.name, cwd=folder.parent).stdout.decode().splitlines()


# Systems that can't copy a process that runs.
NO_COPIES = "import os, sys; sys.platform = 'win32'; del os.fork"

CALLS = {
    "check": ["check", "batch"],
    "strict": ["check", "batch", "--strict"],
    "check-json": ["check", "batch", "--json"],
    "inspect": ["inspect", "batch"],
    "inspect-json": ["inspect", "batch", "--json"],
    "verify": ["verify", "batch", "batch/expected.toml"],
    "verify-json": ["verify", "batch", "batch/expected.toml", "--json"],
}


@linux_only
@pytest.mark.parametrize("name", CALLS)
def test_many_processes_answer_as_one(name: str, batch: Batch) -> None:
    """The same bytes on both streams, in the same order, and the same exit code."""
    words = [word.replace("batch", batch[0].name) for word in CALLS[name]]
    one = spoilt(ONE_CORE, *words, cwd=batch[0].parent)
    two = spoilt(TWO_CORES, *words, cwd=batch[0].parent)
    elsewhere = spoilt(NO_COPIES + TWO_CORES, *words, cwd=batch[0].parent)
    for other in (two, elsewhere):
        assert (other.stdout, other.stderr, other.returncode) == (
            one.stdout, one.stderr, one.returncode
        )  # fmt: skip
    assert one.returncode == 2  # some can't be used
    assert len(unusable_lines(one)) == FEW // 25


def test_a_fault_hides_no_other_file(batch: Batch) -> None:
    """Each file that can be used is answered, in the order of the names; the others are told."""
    folder, count = batch
    run = romtool("check", "--json", str(folder))
    assert run.returncode == 2
    files = json.loads(run.stdout)["files"]
    assert [row["file"] for row in files] == [str(folder / name) for name in names_in(folder)]
    told_of = {row["file"]: row["error"] for row in files if "error" in row}
    assert all(set(row) == {"file", "error"} for row in files if row["file"] in told_of)
    assert sum(row.get("errors", 0) > 0 for row in files) == FEW // 25
    unusable = [line.split(": ")[1] for line in unusable_lines(run)]
    assert unusable == [str(folder / f"{n:05}.hex:1:1") for n in range(FEW) if n % 25 == 9]
    assert [f"romtool: {text}" for text in told_of.values()] == unusable_lines(run)
    assert len(files) == count


def test_one_line_for_all(batch: Batch) -> None:
    """The last line counts the files by what was found; a single file needs none."""
    folder, count = batch
    each = FEW // 25
    run = romtool("check", str(folder))
    assert run.stdout.decode().splitlines()[-1] == (
        f"{count} files: {count - 3 * each} clean, {each} with errors, {each} with warnings, "
        f"{each} unusable"
    )
    run = romtool("verify", str(folder), str(folder / "expected.toml"))
    last = run.stdout.decode().splitlines()[-1]
    # Those of other serial numbers, the spoilt ones, and the one whose device has another ID.
    assert last == f"{count} files: 2 as expected, {count - each - 2} different, {each} unusable"
    run = romtool("check", str(folder / "expected.toml"))
    assert len(run.stdout.splitlines()) == 1


def test_exit_codes_of_many(tmp_path: Path) -> None:
    """0 where all are right, 1 where one is not, 2 where one can't be used."""
    for name, data in {"a": card_image(1), "b": card_image(1), "c": spoilt_image()}.items():
        (tmp_path / f"{name}.bin").write_bytes(data)
    codes = {
        0: ["a.bin", "b.bin"],
        1: ["a.bin", "c.bin", "b.bin"],
        2: ["a.bin", "none.bin", "c.bin"],
    }
    for code, files in codes.items():
        assert romtool("check", *files, cwd=tmp_path).returncode == code
        assert romtool("verify", *files, "a.bin", cwd=tmp_path).returncode == code
        assert romtool("verify", "--json", *files, "a.bin", cwd=tmp_path).returncode == code


def test_verify_several(tmp_path: Path) -> None:
    """An answer for each readback, as for a single one."""
    for name, serial in {"a": 1, "b": 2, "want": 1}.items():
        (tmp_path / f"{name}.bin").write_bytes(card_image(serial))
    run = romtool("verify", "a.bin", "b.bin", "want.bin", "--json", cwd=tmp_path)
    single = romtool("verify", "b.bin", "want.bin", "--json", cwd=tmp_path)
    assert (run.returncode, single.returncode) == (1, 1)
    assert json.loads(run.stdout) == {
        "files": [
            {"file": "a.bin", "match": True, "differences": [], "mishaps": []},
            {"file": "b.bin", **json.loads(single.stdout)},
        ]
    }
    run = romtool("verify", "a.bin", "b.bin", "want.bin", cwd=tmp_path)
    text = run.stdout.decode()
    assert re.fullmatch(r"a\.bin +match", text.splitlines()[0])
    assert re.fullmatch(r"b\.bin +2 of 256 bytes differ", text.splitlines()[1])
    single = romtool("verify", "b.bin", "want.bin", cwd=tmp_path)
    assert "\n".join(single.stdout.decode().splitlines()[1:]) in text
    assert text.splitlines()[-1] == "2 files: 1 as expected, 1 different"


def test_folder_of_one(tmp_path: Path) -> None:
    """A folder is answered with a list, whatever it holds; and so are several names."""
    (tmp_path / "in").mkdir()
    (tmp_path / "in/a.bin").write_bytes(card_image(1))
    for words in (
        ("check", "in"),
        ("inspect", "in"),
        ("verify", "in", "in/a.bin"),
    ):
        run = romtool(*words, "--json", cwd=tmp_path)
        assert [row["file"] for row in json.loads(run.stdout)["files"]] == ["in/a.bin"]
    run = romtool("check", "in/a.bin", "none.bin", "--json", cwd=tmp_path)
    used, unusable = json.loads(run.stdout)["files"]
    assert (used["file"], unusable["file"], set(unusable)) == (
        "in/a.bin", "none.bin", {"file", "error"}
    )  # fmt: skip
    for words in (
        ("check", "in/a.bin"),
        ("inspect", "in/a.bin"),
        ("verify", "in/a.bin", "in/a.bin"),
    ):
        run = romtool(*words, "--json", cwd=tmp_path)
        assert "files" not in json.loads(run.stdout)


def test_texts_of_a_folder(tmp_path: Path) -> None:
    """A .txt is taken where its content is a listing, with faults or not; others are passed by.

    So are host files and schema files.
    """
    rows = [f"{at:08x}: {clean_image(1)[at : at + 16].hex(' ')}" for at in range(0, 256, 16)]
    texts = {
        "a.txt": "\n".join(rows),
        "B.TXT": "\n".join([*rows[:9], "0000009x: 00", *rows[9:]]),
        "readme.txt": "Dumps of the cards in the drawer.\n\nRead on 5 May, 24C02, all good.\n",
        "empty.txt": "",
        "card.txt": PROFILE,
        "pc.toml": "irq = [3, 4]\n",
        "chip.toml": 'title = "Chips"\nsource = "from memory"\n',
        "bad.toml": "[cards]\n",
        "notes.md": "\n".join(rows),
    }
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
    (tmp_path / "raw.txt").write_bytes(clean_image(2))
    (tmp_path / "long.txt").write_text("\n".join(rows * 1000))
    (tmp_path / "wide.txt").write_bytes("\n".join(rows).encode("utf-16"))
    (tmp_path / "folder.txt").mkdir()
    answer = json.loads(romtool("check", ".", "--json", cwd=tmp_path).stdout)
    found = {row["file"]: row.get("error", "") for row in answer["files"]}
    assert set(found) == {"B.TXT", "a.txt", "bad.toml", "wide.txt"}
    assert found["a.txt"] == ""
    assert found["B.TXT"].startswith("B.TXT:10:1: ")
    assert "UTF-16" in found["wide.txt"]
    (tmp_path / "folder.txt/readme.txt").write_text(texts["readme.txt"])
    run = romtool("check", "folder.txt", cwd=tmp_path)
    assert told(run).endswith(" .toml, and a listing in .txt\n")


def test_folders_that_hold_nothing(tmp_path: Path) -> None:
    """Such a folder is told, and hides no other; a folder in it is no image."""
    (tmp_path / "empty").mkdir()
    (tmp_path / "full/old.bin").mkdir(parents=True)
    (tmp_path / "full/a.bin").write_bytes(card_image(1))
    (tmp_path / "full/gone.bin").symlink_to("nowhere")
    run = romtool("check", "empty", "full", cwd=tmp_path)
    assert run.returncode == 2
    first, second = told(run).splitlines()
    assert first.startswith("romtool: empty: no image or profile in this folder; looked for .bin")
    assert second.startswith("romtool: full/gone.bin: no such file or directory; ")
    assert run.stdout.decode().splitlines()[-1] == "3 files: 1 clean, 2 unusable"


# A read of this file ends the process, as the system does with one that takes too much memory.
KILLER = """
import os, signal
import romtool.commands.check
from romtool.commands import loading
read_input = loading.read_input
def killing(catalog, name, *args, **kwargs):
    if name.endswith({names!r}):
        {death}
    return read_input(catalog, name, *args, **kwargs)
loading.read_input = killing
"""


KILL = "os.kill(os.getpid(), signal.SIGKILL)"


@linux_only
@pytest.mark.parametrize(
    ("names", "death"),
    [
        *((names, KILL) for names in [("00000.bin",), ("00041.bin",), ("1.bin",)]),
        (("expected.toml",), KILL),
        ((".bin", ".toml"), KILL),
        (("00041.bin", "expected.toml"), "raise MemoryError"),
    ],
)
def test_a_process_that_dies(
    names: tuple[str, ...], death: str, batch: Batch, checked: list[str]
) -> None:
    """The file over which it died is told; every other one is answered as always."""
    folder, count = batch
    code = TWO_CORES + KILLER.format(names=names, death=death)
    run = spoilt(code, "check", folder.name, cwd=folder.parent)
    assert run.returncode == 2
    told_files = {line.split(": ")[1]: line for line in unusable_lines(run)}
    killed = [name for name in names_in(folder) if name.endswith(names)]
    for name in killed:
        assert "was killed" in told_files[f"{folder.name}/{name}"]
    assert len(told_files) == len(killed) + FEW // 25
    # What was found in the killed ones is all that is missing; the last line counts them.
    titles = [line for line in run.stdout.decode().splitlines() if line.startswith(folder.name)]
    assert titles == [
        line
        for line in checked
        if line.startswith(folder.name) and not line.split(" ")[0].endswith(names)
    ]
    assert run.stdout.decode().splitlines()[-1].startswith(f"{count} files: ")


# From the n-th process on the system starts no more.
NO_MORE = """
import errno, os
fork, left = os.fork, {left}
def few():
    global left
    left -= 1
    if left < 0:
        raise OSError(errno.EAGAIN, "no more")
    return fork()
os.fork = few
"""


@linux_only
@pytest.mark.parametrize("left", [0, 1])
def test_no_process_can_be_started(left: int, batch: Batch) -> None:
    """Then one does it all."""
    run = spoilt(TWO_CORES + NO_MORE.format(left=left), "check", str(batch[0]))
    usual = romtool("check", str(batch[0]))
    assert (run.stdout, run.stderr) == (usual.stdout, usual.stderr)


@linux_only
def test_the_others_end_with_the_first(batch: Batch) -> None:
    """Where the first process is killed, nobody holds its output open any more."""
    slow = TWO_CORES + "\nimport time, romtool.commands.check\n"
    slow += "from romtool.commands import loading\nread_input = loading.read_input\n"
    slow += "def slowly(*args, **keys):\n time.sleep(0.05)\n return read_input(*args, **keys)\n"
    killer = "import threading, signal\nthreading.Timer(0.7, os.kill, (os.getpid(), 9)).start()\n"
    run = spoilt(slow + "loading.read_input = slowly\n" + killer, "check", str(batch[0]))
    assert run.returncode == -9


# --- memory, progress

PEAK = """
import atexit, resource, sys
def tell_peak():
    peak = max(resource.getrusage(who).ru_maxrss
               for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    print("peak", peak, file=sys.stderr)
atexit.register(tell_peak)
"""
SPARE = 4 << 10
"""KiB that memory may differ by: what the allocator keeps."""


def peak(problem: str, *words: str) -> int:
    """The most memory, in KiB, that a process of this call held."""
    run = spoilt_anew(problem + "\n" + PEAK, *words)
    return int(run.stderr.split()[-1])


@linux_only
@pytest.mark.parametrize("cores", [ONE_CORE, TWO_CORES], ids=["one", "two"])
@pytest.mark.parametrize(
    "words",
    [
        ["inspect", "--json"],
        *(pytest.param(more, marks=pytest.mark.bulk) for more in (["check"], ["check", "--json"])),
    ],
)
def test_memory_is_flat(cores: str, words: list[str], tmp_path: Path) -> None:
    """Many files take no more memory than few."""
    peaks = []
    for count in (FEW, MANY):
        folder = tmp_path / str(count)
        folder.mkdir()
        for number in range(count):
            (folder / f"{number:05}.bin").write_bytes(clean_image(number))
        peaks.append(peak(cores, *words, str(folder)))
    assert peaks[1] < peaks[0] + SPARE, peaks


@linux_only
def test_memory_of_a_series_is_flat(tmp_path: Path) -> None:
    """64 KiB an image: a series whose images were all held would show."""
    profile = tmp_path / "card.toml"
    profile.write_text(PROFILE.replace('part = "24C02"', "size = 65536"))
    words = ["build", str(profile), "--format", "bin", "-o"]
    few = peak("", *words, str(tmp_path / "few"), "--serials", "1-5")
    many = peak(
        "", *words, str(tmp_path / "many"), "--serials", f"1-{105 if amount.is_whole else 85}"
    )
    assert many < few + SPARE


def on_a_terminal(problem: str, *words: str) -> tuple[subprocess.CompletedProcess[bytes], str]:
    """Run the command with standard error on a terminal, whose text is returned too."""
    if sys.platform == "win32":
        pytest.skip("no pseudo terminals here")
    import pty

    ours, theirs = pty.openpty()
    try:
        run = spoilt(problem, *words, stderr=theirs)
    finally:
        os.close(theirs)
    text = b""
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:
            break
        if not piece:
            break
        text += piece
    os.close(ours)
    return run, text.decode()


AT_ONCE = "import romtool.commands.progress as p; p.AFTER = p.EVERY = 0"
TO_A_FILE = "; import os; os.dup2(os.open({path!r}, os.O_WRONLY | os.O_CREAT), 1)"


@linux_only
def test_progress(batch: Batch, tmp_path: Path) -> None:
    """On a terminal, and gone at the end; what is answered is the same."""
    file = tmp_path / "answer.json"
    here = AT_ONCE + TO_A_FILE.format(path=str(file))
    _, text = on_a_terminal(here, "check", "--json", str(batch[0]))
    count = batch[1]
    assert f"] {count} of {count}, 0 s left" in text
    assert "checking [###" in text
    assert "[" not in text.rpartition("\r\x1b[K")[2]
    alone = romtool("check", "--json", str(batch[0]))
    assert file.read_bytes() == alone.stdout
    shown = re.sub(r"\r\x1b\[K(?:checking [^\r\n]*)?", "", text).replace("\r\n", "\n")
    assert shown == told(alone)


@linux_only
def test_no_progress(batch: Batch, tmp_path: Path) -> None:
    """None where it is done soon, none beside a pipe, none where no terminal is."""
    to_a_file = TO_A_FILE.format(path=str(tmp_path / "answer.json"))
    for problem in ("pass" + to_a_file, AT_ONCE):
        _, text = on_a_terminal(problem, "check", str(batch[0] / "expected.toml"))
        assert text == ""
    run = spoilt(AT_ONCE + to_a_file, "check", str(batch[0] / "expected.toml"))
    assert run.stderr == b""


@linux_only
def test_progress_of_a_series(tmp_path: Path) -> None:
    """A series shows how far its checks and its files are."""
    (tmp_path / "card.toml").write_text(PROFILE)
    problem = AT_ONCE + TO_A_FILE.format(path=str(tmp_path / "answer"))
    words = [
        "build",
        str(tmp_path / "card.toml"),
        "--serials",
        "101-120",
        "-o",
        str(tmp_path / "out"),
    ]
    run, text = on_a_terminal(problem, *words)
    assert run.returncode == 0
    for doing in ("checking", "writing"):
        assert f"{doing} [" in text
        assert all(len(look) < 80 for look in text.split("\r\x1b[K"))
    assert len(names_in(tmp_path / "out")) == 41


def test_serials_in_hex(tmp_path: Path) -> None:
    (tmp_path / "card.toml").write_text(PROFILE)
    run = romtool("build", "card.toml", "--serials", "0x1-0x2711", cwd=tmp_path)
    assert run.returncode == 2
    assert "10001 cards at once are more than 10000" in told(run)
    assert names_in(tmp_path) == ["card.toml"]
    assert romtool("build", "card.toml", "--serials", "0Ah-0x0B", cwd=tmp_path).returncode == 0
    assert (tmp_path / "card-00011.bin").read_bytes() == card_image(11)
