"""What people read, word for word: any change of it shows up as a change of a file in tests/golden.

`python -m tests.test_golden --write` makes the files anew from what the commands print now; look
at the difference before it is committed. Each file begins with the command that prints it.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from romtool.errors import InputError
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.profile.build import built
from romtool.profile.write import fitted_text, profile_text
from romtool.toml.parse import parse_toml
from tests import test_rules, test_rules_resources
from tests.support.checking import FINDINGS, Bytes, Spoilt, found_in, in_words
from tests.support.spoil import one_bit_late, stuck, swap_pairs
from tests.support.tool import romtool, told
from tests.test_recover import END, IMAGE, PNP, READS, taken_for
from tests.test_rehearse_standard import REHEARSALS, rehearsals

CATALOG = load_catalog()
ROOT = Path(__file__).resolve().parent.parent
GOLDEN = ROOT / "tests" / "golden"
SAMPLES = ("hollow-lane", "hollow-lane-marked")
WIDTH = 80
TAKEN = GOLDEN / "reads.txt"
"""What the spoilt reads of test_recover.py are taken for."""
PROFILES = GOLDEN / "profiles.txt"
"""The profiles of odd images, and those made to fit a board."""
CARDS = ["hollow-lane.toml", "hollow-lane-marked.toml", "spoilt.bin"]
PILE = ["hollow-lane.bin", "hollow-lane.toml", "changed.toml", "spoilt.bin"]
LOST = ["hollow-lane.toml", "hollow-lane.bin", "blank.bin"]


def cases() -> dict[str, tuple[list[str], int]]:
    """Each golden file's name, the words of its command, and the command's exit code."""
    found: dict[str, tuple[list[str], int]] = {}
    for stem in SAMPLES:
        found |= {
            f"{stem}.inspect": (["inspect", f"{stem}.toml"], 0),
            f"{stem}.inspect-bytes": (["inspect", f"{stem}.bin", "--bytes"], 0),
            f"{stem}.check": (["check", f"{stem}.toml", "--strict"], 0),
            f"{stem}.verify": (["verify", f"{stem}.bin", f"{stem}.toml"], 0),
            f"{stem}.profile": (["profile", f"{stem}.bin"], 0),
        }
    found |= {
        "spoilt.inspect": (["inspect", "spoilt.bin"], 0),
        "spoilt.inspect-bytes": (["inspect", "spoilt.bin", "--bytes"], 0),
        "spoilt.check": (["check", "spoilt.bin"], 1),
        "spoilt.verify": (["verify", "spoilt.bin", "hollow-lane.toml"], 1),
        "spoilt.profile": (["profile", "spoilt.bin"], 0),
        "spoilt.diff": (["diff", "hollow-lane.toml", "spoilt.bin"], 1),
        "changed.diff": (["diff", "hollow-lane.toml", "changed.toml"], 1),
        "layouts.diff": (["diff", "hollow-lane.toml", "hollow-lane-marked.toml"], 1),
        "same.diff": (["diff", "hollow-lane.toml", "hollow-lane.bin"], 0),
        "blank.inspect": (["inspect", "blank.bin"], 0),
        "blank.check": (["check", "blank.bin"], 1),
        "blank.verify": (["verify", "blank.bin", "hollow-lane.toml"], 1),
        "blank.diff": (["diff", "blank.bin", "hollow-lane.toml"], 1),
        "swapped.verify": (["verify", "swapped.bin", "hollow-lane.toml"], 1),
        "hollow-lane.rehearse": (["rehearse", "hollow-lane.toml"], 0),
        "hollow-lane.rehearse-trace": (["rehearse", "hollow-lane.toml", "--trace"], 0),
        "cards.rehearse-trace": (["rehearse", *CARDS, "--trace"], 1),
        "lost.rehearse": (["rehearse", *LOST], 1),
        "hollow-lane.assign": (["assign", "hollow-lane.toml", "--host", "pc.toml"], 0),
        "spoilt.assign": (["assign", "spoilt.bin", "--host", "pc.toml"], 0),
        "cards.assign": (["assign", *CARDS[:2], "--host", "pc.toml"], 1),
        "crowded.assign": (["assign", "hollow-lane.bin", "--host", "crowded.toml"], 1),
        "several.check": (["check", "hollow-lane.bin", "changed.toml", "blank.bin"], 1),
        "several.verify": (["verify", "hollow-lane.bin", "swapped.bin", "hollow-lane.toml"], 1),
        "pile.survey": (["survey", *PILE], 0),
        "twice.recover": (["recover", "twice.bin", "--pick", "1"], 0),
        "stuck.verify": (["verify", "stuck.bin", "hollow-lane.toml"], 1),
        "changed.verify": (["verify", "changed.toml", "hollow-lane.toml"], 1),
        "hollow-lane.schema-draft": (["schema", "draft", "hollow-lane.bin"], 0),
        "misplaced.check": (["check", "misplaced.toml", "--expect", "dos-games"], 1),
        "new-plain": (["new", "-", "--layout", "plain"], 0),
        "new-counted-19": (["new", "-", "--layout", "counted-19", "--part", "24C04"], 0),
        "schema-list": (["schema", "list"], 0),
        "schema-irq": (["schema", "show", "irq"], 0),
        "schema-profile": (["schema", "show", "profile"], 0),
    }
    found |= {
        "power-up.capture": (
            ["capture", "power-up.vcd", "--part", "24C04", "--against", "spoilt.bin"],
            0,
        ),
        "programming.capture": (["capture", "programming.vcd"], 0),
        "nothing.diagnose": (["diagnose", "--symptom", "not-found"], 0),
        "programming.diagnose": (
            ["diagnose", "--symptom", "will-not-program", "--capture", "programming.vcd"],
            1,
        ),
        "spoilt.diagnose": (
            ["diagnose", "spoilt.bin", "--symptom", "not-found", "--readback", "hollow-lane.bin"],
            1,
        ),
    }
    for frame in CATALOG.layouts:
        found[f"schema-{frame}"] = (["schema", "show", frame], 0)
    return found


CASES = cases()


def spoilt(image: bytes) -> bytes:
    """The first sample's image with one fault of most kinds; offsets counted by hand."""
    out = bytearray(image)
    out[0x03] = 0xF1  # byte count: without the 9-byte identifier, as some images have it
    out[0x06] |= 0x20  # the PnP key is turned off
    out[0x1F] ^= 0x40  # identifier checksum (Spec App. B.2)
    out[0x4D] = ord("@")  # a letter of the first device's name
    at = image.index(bytes.fromhex("31 00 22 20 00"))
    out[at + 1] = 7  # a reserved priority (Spec 6.2.2.6)
    out[at + 3 : at + 5] = (0x0420).to_bytes(2, "little")  # IRQ 10, which no pin is wired to
    out[-12:-8] = bytes.fromhex("DE AD 00 01")  # after the PnP data
    return bytes(out)


CHANGES = {
    "irq = [5, 7, 9] }": "irq = [5, 9] }",
    'name = "MIDI UART"': 'name = "MIDI"\nboot = true',
    'compatible = ["PNPB006"]\n': "",
    'part = "24C04"': 'part = "24C04"\npatch = "01 02 03"',
    '[[device]]\nid = "QRL0003"': '[[device]]\nid = "QRL0007"\n\n[[device]]\nid = "QRL0003"',
}


# A PC in which the first sample's MIDI UART finds no line, and its codec no ports.
CROWDED = """\
name = "Crowded PC"
irq = [5, 7, 9, 11]
io = [ { base = 0x220, length = 16, decode = 10 }, { base = 0x534, length = 0x100 } ]
"""


def changed() -> str:
    """The first sample with a change of most kinds."""
    text = (ROOT / "samples" / "hollow-lane.toml").read_text(encoding="utf-8")
    for old, new in CHANGES.items():
        assert text.count(old) == 1
        text = text.replace(old, new)
    return text


def misplaced(profile: str) -> str:
    """The first sample with first choices that games for DOS don't look for."""
    changed = profile.replace("{ irq = [5] },", "{ irq = [11] },", 1)
    changed = changed.replace("{ dma = [1] },", "", 1)
    changed = changed.replace("io = 0x220", "io = [0x220, 0x260], align = 0x20", 1)
    return changed.replace("io = 0x388", "io = 0x398", 1)


def make_folder(folder: Path) -> None:
    """Put the samples, their images, and the spoilt and blank ones into a folder."""
    for stem in SAMPLES:
        shutil.copy(ROOT / "samples" / f"{stem}.toml", folder)
        run = romtool("build", f"{stem}.toml", "--format", "bin", cwd=folder)
        assert run.returncode == 0, told(run)
    for capture in (ROOT / "samples" / "tour").glob("*.vcd"):
        shutil.copy(capture, folder)
    image = (folder / "hollow-lane.bin").read_bytes()
    (folder / "spoilt.bin").write_bytes(spoilt(image))
    text = (folder / "hollow-lane.toml").read_text(encoding="utf-8")
    (folder / "misplaced.toml").write_text(misplaced(text), encoding="utf-8")
    (folder / "blank.bin").write_bytes(b"\xff" * len(image))
    (folder / "swapped.bin").write_bytes(swap_pairs(one_bit_late(image)))
    (folder / "twice.bin").write_bytes(image * 2 + b"Hollow Lane" * 9)
    (folder / "stuck.bin").write_bytes(stuck(image, 3, 1))
    shutil.copy(ROOT / "schemas" / "hosts" / "workshop.toml", folder / "pc.toml")
    (folder / "crowded.toml").write_text(CROWDED, encoding="utf-8")
    (folder / "changed.toml").write_text(changed(), encoding="utf-8")


def printed(name: str, folder: Path) -> str:
    """The text of a golden file, as the command prints it now."""
    words, code = CASES[name]
    run = romtool(*words, cwd=folder)
    assert run.returncode == code, told(run)
    # `profile` says that what is wrong in a dump is kept; the others have nothing to add.
    assert told(run) == "" or (words[0] == "profile" and "kept as they are" in told(run))
    text = run.stdout.decode().replace("\r\n", "\n")
    return f"$ romtool {' '.join(words)}\n{text}"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with the images that the commands are run on."""
    made = tmp_path_factory.mktemp("golden")
    make_folder(made)
    yield made


@pytest.mark.parametrize("name", CASES)
def test_golden(name: str, folder: Path) -> None:
    """The command prints what the file holds."""
    file = GOLDEN / f"{name}.txt"
    assert file.exists(), "made by: python -m tests.test_golden --write"
    assert printed(name, folder) == file.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", CASES)
def test_width(name: str, folder: Path) -> None:
    """Nothing is wider than a terminal, has white space at its end, or a tab in it.

    A profile or a schema is a file: an editor shows it, which may be wider. A line that says no
    more than two names of files is as wide as they are.
    """
    for line in printed(name, folder).splitlines():
        free = name.endswith((".profile", ".schema-draft")) or line.startswith("match: ")
        assert free or len(line) <= WIDTH, line
        assert line == line.rstrip(), line
        assert "\t" not in line


@pytest.mark.parametrize("what", READS)
def test_reads(what: str) -> None:
    """A spoilt read is taken for what the file holds, in the same words."""
    assert taken_for(what) in TAKEN.read_text(encoding="utf-8")


def odd_images() -> dict[str, tuple[bytes, str | None]]:
    """Images of which a profile has something odd to say, and the layout they are read with."""
    found: dict[str, tuple[bytes, str | None]] = {
        what: (READS[what][0][0].data, None)
        for what in READS
        if what.startswith(("nothing", "bytes before", "signature", "other data", "no version"))
        or what in ("cut in the items", "cut in the identifier", "blank", "noise", "twice, late")
    }
    found["resource data alone"] = IMAGE[PNP + 9 : END], None
    for one in (*test_rules.IMAGES, *test_rules_resources.IMAGES):
        found[one.name] = one.image, one.options[-1] if "--layout" in one.options else None
    return found


ODD = odd_images()


BOARDS: dict[str, tuple[dict[str, list[int]], list[str]]] = {
    "two IRQ pins": ({"irq": [9, 5]}, []),
    "two other IRQ pins": ({"irq": [11, 5]}, []),
    "one DMA channel": ({"dma": [4, 0, 4]}, []),
    "without the third device": ({}, ["QRL0003"]),
    "without one that isn't there": ({}, ["QRL0999"]),
    "more pins than the chip has": ({"irq": [5, 7, 9, 10, 11, 12, 15]}, []),
    "no pin at all": ({"irq": []}, []),
}
"""Boards that a donor's dump is made to fit: its wiring, and devices to leave out."""


def profile_of(what: str) -> str:
    """The profile of one of ODD, or of the spoilt sample for one of BOARDS."""
    if what in ODD:
        return f"### {what}\n{profile_text(CATALOG, *ODD[what])}"
    sample = (ROOT / "samples" / "hollow-lane.toml").read_text(encoding="utf-8")
    image = decode(CATALOG, spoilt(built(CATALOG, parse_toml(sample)).data))
    try:
        text, removed = fitted_text(CATALOG, image, "93C66", "donor.bin", *BOARDS[what])
    except InputError as refused:
        text, removed = "\n".join(f"{one.message}; {one.hint}" for one in refused.problems), []
    return "\n".join([f"### {what}", *map(str, removed), text])


@pytest.mark.parametrize("what", [*ODD, *BOARDS])
def test_profiles(what: str) -> None:
    """The profile of an odd image, or one made to fit a board, is what the file holds."""
    assert profile_of(what) in PROFILES.read_text(encoding="utf-8")


def test_no_file_too_many() -> None:
    """Each file belongs to a command, or to tests of reads, of rules or of rehearsals."""
    assert sorted(path.stem for path in GOLDEN.iterdir()) == sorted(
        [*CASES, TAKEN.stem, FINDINGS.stem, PROFILES.stem, REHEARSALS.stem]
    )


def write() -> None:
    """Make all files anew, and take out those that no command prints any more."""
    GOLDEN.mkdir(exist_ok=True)
    for path in GOLDEN.iterdir():
        path.unlink()
    with tempfile.TemporaryDirectory() as name:
        make_folder(Path(name))
        for case in CASES:
            text = printed(case, Path(name))
            (GOLDEN / f"{case}.txt").write_text(text, encoding="utf-8", newline="\n")
        bad: list[Spoilt | Bytes] = [*test_rules.PROFILES, *test_rules.IMAGES]
        bad += [*test_rules_resources.PROFILES, *test_rules_resources.IMAGES]
        told = [in_words(one, found_in(one, Path(name))[1]) for one in bad]
    FINDINGS.write_text("\n".join(told), encoding="utf-8", newline="\n")
    REHEARSALS.write_text(rehearsals(), encoding="utf-8", newline="\n")
    PROFILES.write_text("\n".join(map(profile_of, [*ODD, *BOARDS])), encoding="utf-8", newline="\n")
    TAKEN.write_text("\n".join(map(taken_for, READS)), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    if sys.argv[1:] != ["--write"]:
        sys.exit("to make tests/golden anew: python -m tests.test_golden --write")
    write()
