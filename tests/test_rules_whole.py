"""The catalogue as a whole: every rule has its words and a bad case, good cards have no error.

Good cards are the samples, one card in each layout, and random valid profiles; bad ones are 25
faults drawn from all bad cases, and single bits turned over in the PnP data.
"""

from __future__ import annotations

import ast
import itertools
import re
from pathlib import Path
from random import Random

import pytest

from romtool.files.inputs import read_input
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.image.model import Image
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.requirements.fit import fits, short_of_lines
from romtool.requirements.model import (
    Alternative,
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.requirements.read import requirements_of
from romtool.rules.check import check
from romtool.rules.findings import Finding
from romtool.schema.field_types import number
from romtool.toml.parse import parse_toml
from tests import test_rules, test_rules_resources
from tests.support.checking import (
    GOOD,
    ROOT,
    Bytes,
    Spoilt,
    check_image,
    check_profile,
    checked,
    profile_of,
    rules,
)
from tests.support.profiles import seeded, to_toml
from tests.support.tool import romtool, told

CATALOG = load_catalog()
PROFILES: list[Spoilt] = [*test_rules.PROFILES, *test_rules_resources.PROFILES]
IMAGES: list[Bytes] = [*test_rules.IMAGES, *test_rules_resources.IMAGES]
CASES: list[Spoilt | Bytes] = [*PROFILES, *IMAGES]
SAMPLES = sorted((ROOT / "samples").glob("*.toml"))

# Such a rule needs a frame that no shipped layout has: its test stands by itself in test_rules.
CASES_OF_THEIR_OWN = {"frame-checksum", "too-long", "lead-unknown"}
IN_TEST_EXPECT = {
    "expect-given",
    "expect-off",
    "expect-inactive",
    "expect-denied",
    "expect-none",
    "expect-other",
    "expect-nothing",
    "expect-open",
    "expect-missing",
}


# --- words ------------------------------------------------------------------------------------


def test_every_rule_has_a_bad_case() -> None:
    """As a case that bears its name, and in which it is found first or at its place."""
    covered = {one.name.partition("/")[0] for one in CASES}
    assert covered | CASES_OF_THEIR_OWN | IN_TEST_EXPECT == set(rules())


def test_every_rule_is_in_the_code_and_every_name_there_is_a_rule() -> None:
    texts: set[str] = set()
    named: set[str] = set()
    for path in sorted((ROOT / "romtool" / "rules").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                texts.add(node.value)
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                place = {"finding": 1, "trouble": 0, "_told": 1}.get(node.func.id)
                rule = None if place is None else node.args[place]
                if isinstance(rule, ast.Constant):
                    named.add(str(rule.value))
    assert set(rules()) <= texts
    assert named <= set(rules())


def test_every_rule_says_why_and_what_to_do_and_by_which_source() -> None:
    for name, rule in rules().items():
        words = {"name", "severity", "message", "why", "hint", "source"}
        assert set(rule) - {"requirements"} == words, name
        assert rule["severity"] in ("error", "warning", "note"), name
        for key in ("message", "why", "hint", "source"):
            assert rule[key].strip() == rule[key] != "", name
        # One sentence, in itself: no words are filled in, no full stop.
        assert not re.search(r"[{}]|\. |\.$", rule["why"]), name


def test_a_rule_is_shown_with_all_its_words() -> None:
    run = romtool("schema", "show", "not-wired")
    shown = " ".join(run.stdout.decode().split())
    rule = rules()["not-wired"]
    for key in ("name", "severity", "message", "why", "hint", "source"):
        assert rule[key] in shown
    listed = " ".join(romtool("schema", "list").stdout.decode().split())
    for name, rule in rules().items():
        assert f"{name} {rule['severity']}: {rule['why']}" in listed


# --- bad cards --------------------------------------------------------------------------------

ERRORS: list[Spoilt | Bytes] = [one for one in CASES if one.said[0].severity == "error"]


@pytest.mark.parametrize("one", Random(4).sample(ERRORS, 25), ids=lambda one: str(one.name))
def test_25_faults_are_errors(one: Spoilt | Bytes, tmp_path: Path) -> None:
    """Each is found by its rule, `check` says no (exit 1), and `build` writes nothing."""
    if isinstance(one, Bytes):
        check_image(one, tmp_path)
        return
    check_profile(one, tmp_path)
    text, _ = profile_of(one)
    (tmp_path / "card.toml").write_text(text, encoding="utf-8")
    run = romtool("build", "card.toml", "-o", "out", cwd=tmp_path)
    assert run.returncode == 1
    assert "nothing written" in told(run)
    assert not (tmp_path / "out").exists()


def image_of(text: str) -> Image:
    """The image that a profile makes, read back in its layout."""
    assembly = assemble(read_profile(CATALOG, parse_toml(text)))
    return decode(CATALOG, assembly.data, assembly.layout)


def errors(image: Image) -> list[Finding]:
    return [found for found in check(image) if found.severity == "error"]


def in_layout(layout: str) -> str:
    """The good card in another layout; its wiring is the same, on as many pins as it has."""
    text = GOOD.replace('"counted-19"', f'"{layout}"')
    if layout == "plain":
        return text[: text.index("[config]")] + text[text.index("[card]") :]
    return text.replace("[4, 1, 3]", "[4, 1, 3, 4]") if layout == "marked-8" else text


CARDS = [in_layout(layout) for layout in ("plain", "counted-19", "counted-7", "marked-8")]
CARDS += [sample.read_text(encoding="utf-8") for sample in SAMPLES]


def flipped(image: Image, bit: int) -> Image:
    """The image with one bit of its PnP data turned over, read as by a user who knows no layout."""
    data = bytearray(image.data)
    data[image.identifier_at + bit // 8] ^= 1 << bit % 8
    return decode(CATALOG, bytes(data))


def pnp_bits(image: Image) -> range:
    """The bits from the identifier to the end item."""
    return range((image.items_end - image.identifier_at) * 8)


@pytest.mark.parametrize("text", CARDS, ids=range(len(CARDS)))
def test_single_bits_that_turn_over_are_errors(text: str) -> None:
    """60 of each card; the identifier and the end item have a checksum each (Spec 6.1, 6.2.2.11).

    A stored 0 means "not checked", so a checksum of one set bit that turns over can't be caught:
    none of these cards has such a one.
    """
    image = image_of(text)
    assert image.end_checksum is not None
    assert number(image.end_checksum.stored).bit_count() > 1
    for bit in Random(7).sample(pnp_bits(image), 60):
        assert errors(flipped(image, bit)), bit


def test_the_one_bit_that_no_check_can_catch() -> None:
    """A right end checksum with one bit set, which turns over: 00h is legal, and a note."""
    number = next(
        number
        for number in itertools.count()
        if image_of(GOOD.replace("QRL0002", f"QRL{number:04X}")).data.count(b"\x79\x40")
    )
    image = image_of(GOOD.replace("QRL0002", f"QRL{number:04X}"))
    assert image.end_checksum is not None
    assert image.end_checksum.stored == image.end_checksum.computed == 0x40
    spoilt = [bit for bit in pnp_bits(image) if not errors(flipped(image, bit))]
    assert spoilt == [pnp_bits(image)[-2]]
    (found,) = check(flipped(image, spoilt[0]))
    assert (found.rule, found.severity) == ("end-unchecked", "note")


# --- good cards -------------------------------------------------------------------------------


@pytest.mark.parametrize("text", CARDS, ids=range(len(CARDS)))
def test_nothing_is_found_in_good_cards(text: str) -> None:
    assert check(image_of(text)) == []


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: str(path.name))
def test_nothing_is_found_in_the_samples(sample: Path) -> None:
    code, document = checked(sample.parent, sample.name, "--strict")
    assert (code, document["findings"]) == (0, [])


def test_random_valid_profiles_have_no_error() -> None:
    for profile in seeded(200):
        found = errors(image_of(to_toml(profile)))
        assert found == [], (found, to_toml(profile))


def test_the_solver_is_not_loaded_for_the_samples() -> None:
    """It takes long to load: `check` does without it where a quick try shows that all fits."""
    for sample in SAMPLES:
        image = decode(CATALOG, read_input(CATALOG, str(sample)).data)
        assert fits(CATALOG, requirements_of(image).devices) is True


# --- what can be had together -----------------------------------------------------------------


def asking(*choices: tuple[Requirement, ...]) -> DeviceRequirements:
    """A device with these choices."""
    alternatives = [Alternative(n, None, 1, needs, needs) for n, needs in enumerate(choices)]
    return DeviceRequirements("QRL0001", 0, None, (), tuple(alternatives), ())


def ports(low: int, high: int, step: int, length: int, bits: int = 16) -> RangeRequirement:
    return RangeRequirement("io", low, high, step, length, bits)


@pytest.mark.parametrize(
    ("devices", "can"),
    [
        ([asking((LineRequirement("irq", (5,)),)), asking((LineRequirement("irq", (5,)),))], False),
        (
            [asking((LineRequirement("irq", (5,)),)), asking((LineRequirement("irq", (5, 7)),))],
            True,
        ),
        # Turned back: the first has to leave line 5 to the second.
        (
            [asking((LineRequirement("irq", (5, 7)),)), asking((LineRequirement("irq", (5,)),))],
            True,
        ),
        # 2 goes by the number 9 on the bus.
        ([asking((LineRequirement("irq", (2,)),)), asking((LineRequirement("irq", (9,)),))], False),
        ([asking((LineRequirement("irq", (5,)),)), asking((LineRequirement("dma", (5,)),))], True),
        # The first choice of the second device is taken, the second one isn't.
        (
            [
                asking((LineRequirement("irq", (5,)),)),
                asking((LineRequirement("irq", (5,)),), (LineRequirement("irq", (7,)),)),
            ],
            True,
        ),
        ([asking((ports(0x220, 0x220, 1, 16),)), asking((ports(0x22F, 0x22F, 1, 1),))], False),
        ([asking((ports(0x220, 0x220, 1, 16),)), asking((ports(0x230, 0x230, 1, 1),))], True),
        # At an alias (equal mod 400h).
        ([asking((ports(0x220, 0x220, 1, 16, 10),)), asking((ports(0x620, 0x620, 1, 1),))], False),
        ([asking((ports(0x220, 0x220, 1, 16),)), asking((ports(0x620, 0x620, 1, 1),))], True),
        # Three ranges of 8 ports in room for two, and for three.
        ([asking((ports(0x300, 0x308, 8, 8),))] * 3, False),
        ([asking((ports(0x300, 0x310, 8, 8),))] * 3, True),
        # The lowest base of the first is the only one of the second.
        ([asking((ports(0x300, 0x308, 8, 8),)), asking((ports(0x300, 0x300, 1, 8),))], True),
        ([asking((LineRequirement("irq", ()), ports(0, 0, 1, 0)))] * 2, True),
    ],
)
def test_quick_try(devices: list[DeviceRequirements], can: bool) -> None:
    assert fits(CATALOG, devices) is can


def test_quick_try_gives_up() -> None:
    """Too much to try, or too many devices to begin: not known."""
    crowd = [asking((ports(0x100, 0x2FC, 1, 32),))] * 17
    assert fits(CATALOG, crowd) is None
    assert fits(CATALOG, [asking((LineRequirement("irq", (5,)),))] * 101) is None


def test_too_few_lines_are_counted() -> None:
    two = [asking((LineRequirement("irq", (5, 7)),)) for _ in range(2)]
    three = asking(
        (LineRequirement("irq", (5,)), ports(0, 9, 1, 1)), (LineRequirement("irq", (7,)),)
    )
    apart = asking((LineRequirement("irq", (9, 10)),))
    none = asking((LineRequirement("irq", (5,)),), (LineRequirement("irq", ()),))
    assert short_of_lines(CATALOG, [*two, apart, none]) == []
    assert short_of_lines(CATALOG, [apart, *two, none, three]) == [*two, three]
    many = [asking((LineRequirement("dma", (0, 1, 3)),)) for _ in range(50)]
    assert len(short_of_lines(CATALOG, many)) == 4


def test_the_solver_is_asked_where_a_try_gives_up(tmp_path: Path) -> None:
    """Nine devices of 16 ports in room for eight: found, and told as one error."""
    device = '[[device]]\nid = "QRL{:04}"\nresources = [ {{ io = [0x300, 0x378], align = 8, '
    text = '[card]\nid = "QRL0301"\nserial = 1\nname = "Hollow Lane"\n' + "".join(
        device.format(number) + "length = 15 } ]\n" for number in range(1, 10)
    )
    assert fits(CATALOG, requirements_of(image_of(text)).devices) is None
    (found,) = errors(image_of(text))
    assert found.rule == "no-assignment"
    assert "QRL0001" in found.message
