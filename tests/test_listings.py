"""Listings as inputs, made by the programs that people make them with: `xxd`, `hexdump`, `od`.

Every form of every image is the same bytes again; what is wrong in one is told with its line.
Layouts of the programs' output: their manuals (xxd(1), hexdump(1), od(1) of coreutils).
"""

from __future__ import annotations

import random
import re
import subprocess
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romtool.errors import InputError
from romtool.files.inputs import read_input
from romtool.files.schemas import load_catalog
from romtool.formats import FORMATS, format_of
from romtool.formats.plain_text import is_plain
from tests.support.tool import CARD_ITEMS, PROFILE, identifier, need, romtool, told

LISTING = FORMATS["listing"]
TABLES = ("image", "config", "card", "device", "override")
CARD = identifier("QRL0301", 1) + CARD_ITEMS


def images() -> dict[str, bytes]:
    """Twenty images: cards, blank and patterned parts, letters that look like digits, odd sizes."""
    chance = random.Random(13)
    found = {
        "card": CARD.ljust(256, b"\xff"),
        "card-no-fill": CARD,
        "blank": b"\xff" * 512,
        "zeros": bytes(512),
        "zeros-then-one": bytes(300) + b"\x01",
        "two-rows-alike": bytes(16) + b"\x55" * 32 + bytes(range(16)),
        "counting": bytes(range(256)),
        "spaces": b" " * 40,
        "letters": b"ABCDEF0123456789 abcdef  12 34  " * 3,
        "bars": b"|>|<|  |..\\\"'*/ // /* " * 2,
        "asterisks": b"*" * 64,
        "eight": bytes(range(8)),
        "nine": bytes(range(9)),
        "sixteen": CARD[:16],
        "seventeen": CARD[:17],
        "digits": b"1234567890" * 20,
    }
    for size in (31, 128, 1000, 4100):
        found[f"random-{size}"] = chance.randbytes(size)
    assert len(found) == 20
    return found


IMAGES = images()
FORMS = {
    "xxd": ["xxd"],
    "xxd-8-columns": ["xxd", "-c", "8", "-g", "1"],
    "xxd-upper": ["xxd", "-u", "-c", "32"],
    "xxd-nul-rows-left-out": ["xxd", "-a"],
    "xxd-plain": ["xxd", "-p"],
    "xxd-plain-one-line": ["xxd", "-p", "-c", "0"],
    "xxd-c": ["xxd", "-i"],
    "hexdump": ["hexdump", "-C"],
    "hexdump-all-rows": ["hexdump", "-v", "-C"],
    "od": ["od", "-A", "x", "-t", "x1"],
    "od-letters": ["od", "-A", "x", "-t", "x1z", "-v"],
}


def listed(words: list[str], path: Path) -> str:
    """What a program lists of a file."""
    run = subprocess.run([need(words[0]), *words[1:], path.name], cwd=path.parent,
                         capture_output=True, check=True)  # fmt: skip
    return run.stdout.decode("ascii")


def contents(text: str) -> bytes:
    """The bytes of a listing, which is told for one by its content."""
    data = text.encode()
    assert format_of(data, lambda: TABLES) is LISTING
    return LISTING.read(data).data


def by_hand(name: str, text: str) -> dict[str, str]:
    """A listing and what people make of it: other line ends, tabs, no colon, no letters."""
    changed = {"as it is": text, "CR LF": text.replace("\n", "\r\n"), "cut end": text.rstrip()}
    if name.startswith("xxd") and ": " in text:
        changed["no colon"] = re.sub("(?m)^([0-9a-f]+):", r"\1", text)
        changed["no letters"] = re.sub("(?m)^([0-9a-f]+: +[^ ]+(?: [^ ]+)*)  .*$", r"\1", text)
        changed["tabs"] = re.sub("(?m)^([0-9a-f]+: [^ ]+)", "\\1\t", text)
        changed["no space at a line's end"] = re.sub("(?m) +$", "", text)
    if name == "xxd-c":
        changed["in C"] = text.replace("unsigned char", "static const uint8_t").replace(
            "= {", "PROGMEM = { /* 0x00, */"
        )
        changed["rows alone"] = text[text.index("{") + 1 : text.index("}")]
    if name == "od":
        changed["upper case"] = text.upper()
    return changed


@pytest.mark.parametrize("image", IMAGES)
def test_every_form_is_the_binary(image: str, tmp_path: Path) -> None:
    path = tmp_path / "image.bin"
    path.write_bytes(IMAGES[image])
    for name, words in FORMS.items():
        for how, text in by_hand(name, listed(words, path)).items():
            assert contents(text) == IMAGES[image], (name, how)


NO_LETTERS = {"eight", "nine", "sixteen", "seventeen", "two-rows-alike"}
"""Images of which no letters tell whether groups are turned round."""


@pytest.mark.parametrize("image", IMAGES)
def test_octal_addresses_and_turned_groups(image: str, tmp_path: Path) -> None:
    """`od` counts in octal, `xxd -e` turns groups round: addresses and letters say so."""
    path = tmp_path / "image.bin"
    path.write_bytes(IMAGES[image])
    assert contents(listed(["od", "-v", "-t", "x1z"], path)) == IMAGES[image]
    for words in (["xxd", "-e"], ["xxd", "-e", "-g", "2"]) if image not in NO_LETTERS else ():
        assert contents(listed(words, path)) == IMAGES[image]


@pytest.mark.parametrize("words", [["od"], ["od", "-x"], ["hexdump"], ["xxd", "-b"]])
def test_listings_that_say_how_to_make_a_readable_one(words: list[str], tmp_path: Path) -> None:
    path = tmp_path / "image.bin"
    path.write_bytes(CARD)
    with pytest.raises(InputError) as refused:
        contents(listed(words, path))
    assert "`hexdump -C`, `od -A x -t x1` or `xxd`" in (refused.value.problems[0].hint or "")


def test_64_kib(tmp_path: Path) -> None:
    """The longest image; one byte more is refused."""
    path = tmp_path / "image.bin"
    path.write_bytes(IMAGES["random-4100"] * 16)
    text = listed(["xxd"], path)
    rows_of_64_kib = text.splitlines(keepends=True)[:4096]
    assert contents("".join(rows_of_64_kib)) == path.read_bytes()[:65536]
    with pytest.raises(InputError, match="above FFFFh"):
        contents(text)


@settings(max_examples=40, deadline=None)
@given(st.binary(min_size=8, max_size=70))
def test_rows_of_any_bytes(data: bytes) -> None:
    """Rows as `xxd` and `hexdump -C` write them, made here: faster than the programs."""
    pairs = [data[at : at + 16] for at in range(0, len(data), 16)]
    letters = ["".join(chr(b) if 32 <= b < 127 else "." for b in row) for row in pairs]
    rows = list(zip(range(0, len(data), 16), pairs, letters, strict=True))
    as_xxd = "".join(f"{at:08x}: {row.hex(' ', 2):39}  {text}\n" for at, row, text in rows)
    as_hexdump = "".join(
        f"{at:08x}  {row[:8].hex(' '):23}  {row[8:].hex(' '):23}  |{text}|\n"
        for at, row, text in rows
    )
    assert contents(as_xxd) == contents(as_hexdump + f"{len(data):08x}\n") == data


C_ARRAYS = {
    "decimal": "const unsigned char x[] = { 70, 76, 3, 1, 0, 0, 0, 106 };",
    "octal, binary, suffixes": (
        "static unsigned char x[8] = {\n 0106, 0x4CU, 3u, 0b1, 0,\n 0, 0, 0x6a,\n};\n"
    ),
    "comments and directives": (
        "#include <stdint.h>\n/* dump\n of 1994 */\n// another\n"
        "const uint8_t x[0x8] = {\n0x46, /* F */ 0x4c, // L\n 3, 1, 0, 0, 0, 106\n};\n"
        "const unsigned x_len = 8;\n"
    ),
    "attribute": (
        "unsigned char x[] __attribute__((aligned(4))) = {0x46,0x4c,0x3,0x1,0,0,0,0x6a};"
    ),
}


@pytest.mark.parametrize("name", C_ARRAYS)
def test_c_arrays(name: str) -> None:
    """Numbers as C has them (ISO/IEC 9899, 6.4.4.1; 0b since C23)."""
    assert contents(C_ARRAYS[name]) == CARD[:3] + bytes.fromhex("01 00 00 00 6a")


def rows(*lines: str) -> str:
    return "\n".join(lines) + "\n"


ROW0 = "00000000: 464c 0301 0100 0000 9f0a 1000 8216 0048  FL.............H"
ROW1 = "00000010: 6f6c 6c6f 7720 4c61 6e65 2061 7564 696f  ollow Lane audio"
ROW2 = "00000020: 2063 6172 6415 464c 0001 0082 0d00 4469   card.FL......Di"
TURNED = "00000000: 4c46 0103 0001 0000 0a9f 0010 1682 4800  FL.............H"
OD0 = "000000 46 4c 03 01 01 00 00 00 9f 0a 10 00 82 16 00 48"
C0 = "unsigned char x[] = {\n  0x46, 0x4c, 0x03, 0x01, 0x00, 0x00,\n"
FAULTS = {
    "a digit is wrong": (rows(ROW0, ROW1.replace("6f6c", "6f6d"), ROW2), 2, "ASCII column"),
    "a digit of the first row": (rows(ROW0.replace("464c", "474c"), ROW1), 1, "ASCII column"),
    "a letter is wrong": (rows(ROW0, ROW1.replace("audio", "Audio")), 2, "ASCII column"),
    "a row is missing": (rows(ROW0, ROW2), 2, "address 20h, where 10h comes next"),
    "a row is there twice": (rows(ROW0, ROW1, ROW1), 3, "address 10h, where 20h comes next"),
    "a row is cut": (rows(ROW0, ROW1[:30], ROW2), 3, "address 20h, where 18h comes next"),
    "no hex": (rows(ROW0, ROW1, ROW2.replace("2063", "2Z63")), 3, "pairs of hex digits"),
    "no hex in row 2": (rows(ROW0, ROW1.replace("6c6f", "6Z6f")), 2, "pairs of hex digits"),
    "half a byte": (rows(ROW0, ROW1, "00000020: 2063 6  c."), 3, "pairs of hex digits"),
    "a sentence inside": (rows(ROW0, ROW1, "and so on"), 3, "no row of a listing"),
    "a row after the end": (rows(OD0, "000010", "000010 00"), 3, "after the end"),
    "another end": (rows(OD0, "000020"), 2, "address 20h, where 10h comes next"),
    "octal, a row left out": (rows("0" + OD0, "0000020 00", "0000040"), 3, "20h, where 11h comes"),
    "octal or hex": (rows("0" + OD0, "*", "0001000"), 3, "may be hex or octal"),
    "turned, then not": (rows(TURNED, ROW1), 2, "the ASCII column reads"),
    "nothing after *": (rows(OD0, "*"), 2, "nothing after *"),
    "* and the same address": (rows(OD0, "*", "000010"), 3, "* repeats rows of 16 bytes"),
    "* and half a row": (rows(OD0, "*", "000028"), 3, "* repeats rows of 16 bytes"),
    "* twice": (rows(OD0, "*", "*", "000040"), 3, "no row of a listing"),
    "up to 4 GiB": (rows(OD0, "*", "fffffff0"), 3, "above FFFFh"),
    "from 64 KiB on": (rows(ROW0.replace("00000000", "0000fff8")), 1, "above FFFFh"),
    "words": (rows("0000000 4c46 0103 0001 0000 0a9f", "000000a"), 1, "byte order"),
    "bare, half a byte": (rows("464c0301010000009f0a", "100082", "160"), 3, "pairs of hex"),
    "C, more than a byte": (C0 + "  0x00, 0x6a, 0x100\n};\n", 3, "0x100 is more than a byte"),
    "C, no number": (C0 + "  0x00, 0x6a,\n  zero\n};\n", 4, "no number"),
    "C, cut": (C0 + "  0x00, 0x6a,\n", 3, "does not end"),
    "C, another length": (
        C0 + "  0x00, 0x6a\n};\nunsigned int x_len = 9;\n", 5, "9 bytes are announced, 8 are there"
    ),
    "C, another size": (
        C0.replace("[]", "[256]") + "0, 0};", 1, "256 bytes are announced, 8 are there"
    ),
    "C, two arrays": (C0 + "0, 0};\nchar y[] = { 1 };", 4, "a second array"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_faults_are_told_with_their_line(name: str) -> None:
    text, line, words = FAULTS[name]
    assert format_of(text.encode(), lambda: TABLES) is LISTING
    with pytest.raises(InputError) as refused:
        LISTING.read(text.encode())
    (problem,) = refused.value.problems
    assert (problem.line, words in problem.message, bool(problem.hint)) == (line, True, True), (
        problem
    )


NO_LISTINGS = {
    "seven bytes": "464c0301010000\n",
    "seven bytes in a row": "00000000: 464c 0301 0100 00\n",
    "seven bytes in C": "char x[] = { 1, 2, 3, 4, 5, 6, 7 };",
    "a sentence": "The board was read in 1994.\nTwice.\n",
    "a sentence after a date": "1994 05 05 the board was read\n1995 06 06 again\n",
    "one row and a sentence": rows(OD0, "and so on"),
    "C of another kind": "int main(void) { return 0; }\n",
    "line ends": "\n\n\n\n\n\n\n\n",
}


@pytest.mark.parametrize("name", NO_LISTINGS)
def test_what_no_form_recognises_is_raw(name: str) -> None:
    assert format_of(NO_LISTINGS[name].encode(), lambda: TABLES) is FORMATS["raw"]


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet="0123456789abcdefxX:*|>.,{}[]=; \t\n/#SL_", max_size=120))
def test_any_text_is_read_or_refused(text: str) -> None:
    """Whatever stands in a text, it ends in bytes or in a refusal."""
    for one in FORMATS.values():
        if one.name in ("raw", "toml"):
            continue
        try:
            one.read(text.encode())
        except InputError as refused:
            assert refused.problems
    format_of(text.encode(), lambda: TABLES)


SLOW = {
    "comments that begin": "/*" * 200_000,
    "spaces in brackets": "char x[" + " " * 500_000,
    "a row of many gaps": "00000000: " + "41  " * 120_000 + "!",
    "a line of digits": "00 " * 170_000 + "x",
    "empty lines": "\n" * 500_000 + "=",
    "hashes": "#\n" * 250_000,
    "a long word": "x[1] = { 0 }; " + "len" * 160_000,
    "tabs": "00000000:" + "\t" * 500_000 + "41",
}


@pytest.mark.parametrize("name", SLOW)
def test_hostile_texts_end(name: str, tmp_path: Path) -> None:
    """Half a megabyte made to keep a pattern busy; the runner's limit ends a hang."""
    (tmp_path / "hostile").write_text(SLOW[name])
    with pytest.raises(InputError):
        read_input(load_catalog(), str(tmp_path / "hostile"))


ENCODINGS = {"utf-16": "UTF-16", "utf-16-le": "UTF-16", "utf-16-be": "UTF-16", "utf-32": "UTF-32"}
TEXTS = {"profile": PROFILE, "listing": rows(ROW0, ROW1), "hex": ":00000001FF\n"}


@pytest.mark.parametrize("codec", ENCODINGS)
@pytest.mark.parametrize("kind", TEXTS)
def test_an_encoding_is_named(kind: str, codec: str, tmp_path: Path) -> None:
    """As some editors and shells save texts; its bytes are no image."""
    (tmp_path / "a").write_bytes(TEXTS[kind].encode(codec))
    with pytest.raises(InputError, match=f"is a text in {ENCODINGS[codec]}"):
        read_input(load_catalog(), str(tmp_path / "a"))


@settings(max_examples=60, deadline=None)
@given(st.binary(min_size=1, max_size=400))
def test_bytes_that_are_no_text_are_raw(data: bytes) -> None:
    found = format_of(data, lambda: TABLES)
    if not is_plain(data):
        assert found is FORMATS["raw"]


def test_a_profile_under_any_name(tmp_path: Path) -> None:
    """Told by its content, with faults or without; and what is binary is so under any name."""
    catalog = load_catalog()
    for name in ("card", "card.bin", "card.hex"):
        (tmp_path / name).write_text("\ufeff" + PROFILE, encoding="utf-8")
        assert read_input(catalog, str(tmp_path / name)).format == "toml"
        (tmp_path / name).write_text(PROFILE.replace('"24C02"', "24C02"), encoding="utf-8")
        with pytest.raises(InputError) as refused:
            read_input(catalog, str(tmp_path / name))
        assert refused.value.problems[0].line == 2
    (tmp_path / "card.toml").write_bytes(CARD)
    assert read_input(catalog, str(tmp_path / "card.toml")).data == CARD
    (tmp_path / "card.toml").write_text(rows(ROW0, ROW1))
    assert read_input(catalog, str(tmp_path / "card.toml")).format == "listing"


def test_a_profile_as_an_inline_table(tmp_path: Path) -> None:
    (tmp_path / "card").write_text('card = { id = "QRL0301" }\n', encoding="utf-8")
    assert read_input(load_catalog(), str(tmp_path / "card")).format == "toml"


@pytest.mark.parametrize(
    ("name", "data", "what"),
    [
        ("card.hex", b":00000001FF\n", "Intel HEX"),
        ("card.s19", b"S9030000FC\n", "S-record"),
        ("card.txt", rows(ROW0, ROW1).encode(), "a listing"),
    ],
)
def test_an_image_is_no_profile(name: str, data: bytes, what: str, tmp_path: Path) -> None:
    """Given to `build`, it is told for what it is, and what makes a profile of it."""
    (tmp_path / name).write_bytes(data)
    run = romtool("build", name, cwd=tmp_path)
    assert run.returncode == 2
    assert told(run) == f"romtool: {name}: is {what}, no card profile; `profile` makes one of it\n"
