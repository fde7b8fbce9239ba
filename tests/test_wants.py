"""What a card asks for, choice by choice; and when two ranges of addresses collide."""

from itertools import product
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romtool.files.inputs import read_input
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.requirements import collide
from romtool.requirements.collide import Placed, memory_collides, never_together, ports_collide
from romtool.requirements.model import (
    CardRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.requirements.read import requirements_of
from tests.support.tool import PROFILE

CATALOG = load_catalog()


def test_needs_stand_in_the_order_of_the_items(tmp_path: Path) -> None:
    file = tmp_path / "card.toml"
    file.write_text(PROFILE)
    (device,) = requirements_of(
        decode(CATALOG, read_input(CATALOG, str(file)).data, "plain")
    ).devices
    first, second = device.alternatives
    assert [first.rank, second.rank] == [0, 1]
    assert first.needs == (
        LineRequirement("dma", (0, 1, 3), "8"),
        RangeRequirement("io", 0x220, 0x220, 1, 16, 16),
        LineRequirement("irq", (5,)),
    )
    assert second.own == (
        RangeRequirement("io", 0x240, 0x280, 0x20, 16, 16),
        LineRequirement("irq", (5, 7, 9, 10)),
    )
    (ports,) = second.of_kind("io")
    assert isinstance(ports, RangeRequirement)
    assert list(ports.bases) == [0x240, 0x260, 0x280]


def answers_at(one: Placed, top: int = 0x10000) -> set[int]:
    """Return every port of the 64 KiB (or below `top`) at which a device answers, counted out."""
    ports = range(one.base, one.base + one.length)
    if one.bits == 16:
        return set(ports)
    # A 10-bit decode answers at every address equal mod 400h (common practice, no source).
    return {port % 0x400 + turn for port in ports for turn in range(0, top, 0x400)}


placed = st.builds(Placed, st.integers(0, 0xFF00), st.integers(0, 0xFF), st.sampled_from([10, 16]))


@given(placed, placed)
def test_ports_collide_where_both_answer(one: Placed, other: Placed) -> None:
    both = answers_at(one) & answers_at(other)
    assert ports_collide(CATALOG.bus, one, other) == bool(both)


@given(placed, placed)
def test_memory_collides_where_it_overlaps(one: Placed, other: Placed) -> None:
    both = set(range(one.base, one.base + one.length)) & set(
        range(other.base, other.base + other.length)
    )
    assert memory_collides(one, other) == bool(both)


@given(placed, st.integers(0, 0xFFFF))
def test_a_range_answers_at_its_ports(one: Placed, port: int) -> None:
    ports = answers_at(one)
    assert collide.answers_at(CATALOG.bus, one, port) == (port in ports)
    assert all(collide.answers_at(CATALOG.bus, one, near) for near in ports)


def test_a_range_as_the_trade_writes_it() -> None:
    assert Placed(0x220, 16, 16).in_words() == "220h-22Fh"
    assert Placed(0x220, 2, 16).in_words() == "220h-221h"
    assert Placed(0x201, 1, 16).in_words() == "201h"
    assert Placed(0x201, 0, 16).in_words() == "201h"


def spans(
    kind: str, bits: list[int], near: int, least: int = 0
) -> st.SearchStrategy[RangeRequirement]:
    """Ranges with few bases, close to each other, some longer than the way to an alias."""
    return st.builds(
        lambda low, further, step, length, decoded: RangeRequirement(
            kind, low, low + further * step, step, length, decoded
        ),
        st.integers(0, near),
        st.integers(-1, 3),  # -1: a range without a base
        st.sampled_from([1, 3, 0x10, 0x100, 0x400]),
        st.sampled_from([least, 1, 2, 0x10, 0x3F0, 0x400, 0x500]),
        st.sampled_from(bits),
    )


def answers_of(need: RangeRequirement) -> list[set[int]]:
    """What it would answer at below 2000h, for each of its bases; memory as it stands."""
    bits = need.bits if need.kind == "io" else 16
    return [answers_at(Placed(base, need.length, bits), 0x2000) for base in need.bases]


io = spans("io", [10, 16], 0x900)
memory = spans("memory", [24, 32, 10], 0x900)


@settings(deadline=None)
@given(st.one_of(st.tuples(io, io), st.tuples(memory, memory)))
def test_ranges_never_go_together_where_every_pair_collides(
    two: tuple[RangeRequirement, RangeRequirement],
) -> None:
    pairs = list(product(*map(answers_of, two)))
    assert never_together(CATALOG, *two) == (bool(pairs) and all(a & b for a, b in pairs))


def test_ranges_that_touch_do_not_collide() -> None:
    one, next_one, over = Placed(0x220, 16, 16), Placed(0x230, 8, 16), Placed(0x22F, 8, 16)
    for first, second, collides in ((one, next_one, False), (one, over, True)):
        for a, b in ((first, second), (second, first)):
            assert memory_collides(a, b) == collides
            assert ports_collide(CATALOG.bus, a, b) == collides
            # C00h further is the same place for 10 bits (common practice, no source).
            alias = Placed(b.base + 0xC00, b.length, 10)
            assert ports_collide(CATALOG.bus, a, alias) == collides
    inside = Placed(0x228, 0, 16)
    assert not memory_collides(one, inside)
    assert not memory_collides(inside, one)


def test_ranges_that_just_make_way_for_each_other() -> None:
    fixed, choice = (
        RangeRequirement("io", 0x220, 0x220, 1, 16, 16),
        RangeRequirement("io", 0x210, 0x211, 1, 16, 16),
    )
    cases = [(choice, False)]
    # 620h is 220h for one that decodes 10 bits (common practice, no source).
    for base, never in ((0x610, False), (0x611, True), (0x62F, True), (0x630, False)):
        cases.append((RangeRequirement("io", base, base, 1, 16, 10), never))
    for other, never in cases:
        assert never_together(CATALOG, fixed, other) == never
        assert never_together(CATALOG, other, fixed) == never


def test_the_one_base_that_makes_way_is_found_turns_later() -> None:
    """Every third port, for so long that only the thousandth falls into the gap of the other."""
    gap = 3 * 1000 % 0x400
    other = RangeRequirement("io", gap + 1, gap + 1, 1, 0x3FF, 10)
    assert not never_together(CATALOG, RangeRequirement("io", 0, 3 * 1000, 3, 1, 10), other)
    assert never_together(CATALOG, RangeRequirement("io", 0, 3 * 999, 3, 1, 10), other)


def test_lines_never_go_together_where_both_want_the_same_one() -> None:
    def clash(one: Requirement, other: Requirement) -> bool:
        assert never_together(CATALOG, one, other) == never_together(CATALOG, other, one)
        return never_together(CATALOG, one, other)

    five = LineRequirement("irq", (5,))
    assert clash(five, five)
    assert not clash(five, LineRequirement("irq", (7,)))
    assert not clash(five, LineRequirement("irq", (5, 7)))
    # A card's pin 2 is the line that goes by 9 (common practice, no source).
    assert clash(LineRequirement("irq", (2,)), LineRequirement("irq", (9,)))
    assert not clash(five, LineRequirement("irq", ()))
    assert not clash(five, LineRequirement("dma", (5,)))
    assert not clash(five, RangeRequirement("io", 5, 5, 1, 1, 16))


def test_what_an_item_asks_for_says_where_it_stands(tmp_path: Path) -> None:
    file = tmp_path / "card.toml"
    file.write_text(PROFILE)
    image = decode(CATALOG, read_input(CATALOG, str(file)).data, "plain")
    requirements = requirements_of(image)
    assert (requirements.id, requirements.serial) == ("QRL0301", 1)
    (device,) = requirements.devices
    assert (device.id, device.number, device.name) == ("QRL0001", 0, "Digital audio")
    assert device.before == (LineRequirement("dma", (0, 1, 3), "8"),)
    assert device.after == ()
    assert [(one.number, one.priority) for one in device.alternatives] == [
        (0, "good"),
        (1, "acceptable"),
    ]
    # 2Ah, 47h and 22h begin a DMA, a port and an IRQ item (Spec 6.2.2.4 to 6.2.2.7).
    for one in device.alternatives:
        places = [need.item for need in one.needs if need.item is not None]
        assert [item.raw[0] for item in places] == [0x2A, 0x47, 0x22]
        assert [image.data[item.offset] for item in places] == [0x2A, 0x47, 0x22]


# One of each kind of item. A device without choices, its name after a compatible ID; one without
# a name, with a choice that states no priority.
KINDS = """\
[card]
id = "QRL0301"

[[device]]
id = "QRL0002"
compatible = ["PNPB02F"]
name = "Game port"
resources = [
  { io_fixed = 0x201, length = 1 },
  { io = [0x220, 0x222], align = 0, length = 2, decode = 10 },
  { memory24 = [0xC0000, 0xE0000], align = 0x8000, length = 0x10000 },
  { memory32 = [0x100000, 0x300000], align = 0x1000, length = 0x2000 },
  { memory32_fixed = 0xD0000, length = 0x4000 },
  { vendor = "01" },
]

[[device]]
id = "QRL0003"
resources_after = [ { dma = [5, 6], width = "16" } ]

[[device.choice]]
resources = [ { irq = [] } ]
"""


def test_each_kind_of_item(tmp_path: Path) -> None:
    file = tmp_path / "card.toml"
    file.write_text(KINDS)
    requirements = requirements_of(decode(CATALOG, read_input(CATALOG, str(file)).data, "plain"))
    assert (requirements.id, requirements.serial) == ("QRL0301", None)
    game, other = requirements.devices
    # A fixed port decodes 10 bits (Spec 6.2.2.9); memory is of 24 or 32 (6.2.3). An alignment of 0
    # is taken for every base: common practice, no source.
    needs = (
        RangeRequirement("io", 0x201, 0x201, 1, 1, 10),
        RangeRequirement("io", 0x220, 0x222, 1, 2, 10),
        # A length stands in the registers as a mask, so a base is a multiple of it (A.3.1).
        RangeRequirement(
            "memory", 0xC0000, 0xE0000, 0x8000, 0x10000, 24, range(0xC0000, 0xE0001, 0x10000)
        ),
        RangeRequirement(
            "memory", 0x100000, 0x300000, 0x1000, 0x2000, 32, range(0x100000, 0x300001, 0x2000)
        ),
        RangeRequirement("memory", 0xD0000, 0xD0000, 1, 0x4000, 32),
    )
    assert (game.id, game.number, game.name) == ("QRL0002", 0, "Game port")
    assert (game.before, game.after) == (needs, ())
    assert game.alternatives == ((None, None, 0, (), needs),)
    assert all(need.item is not None for need in game.before)
    none, channel = LineRequirement("irq", ()), LineRequirement("dma", (5, 6), "16")
    assert (other.id, other.number, other.name) == ("QRL0003", 1, None)
    assert (other.before, other.after) == ((), (channel,))
    # No priority counts as acceptable (Spec 6.2.2.6).
    assert other.alternatives == ((0, None, 1, (none,), (none, channel)),)


@pytest.mark.parametrize(
    ("names", "taken"),
    [
        (["", "   ", "Next"], "Next"),
        (["Blanks  "], "Blanks"),
        (["x" * 60], "x" * 49),
        ([" "], None),
    ],
)
def test_a_name_as_software_of_the_field_takes_it(
    tmp_path: Path, names: list[str], taken: str | None
) -> None:
    # The first that is not empty, cut at 49 characters, blanks at the end stripped: the PnP code of
    # an operating system kernel, read and run.
    file = tmp_path / "card.toml"
    entries = ", ".join(f'{{ name = "{name}" }}' for name in names)
    file.write_text(
        '[card]\nid = "QRL0301"\n[[device]]\nid = "QRL0001"\n'
        f'resources = [ {entries}, {{ irq = [5] }}, {{ name = "Late" }} ]\n'
        '[[device]]\nid = "QRL0002"\n'
    )
    devices = requirements_of(decode(CATALOG, read_input(CATALOG, str(file)).data, "plain")).devices
    assert [device.name for device in devices] == [taken, None]


def test_what_is_no_card_asks_for_nothing() -> None:
    assert requirements_of(decode(CATALOG, bytes(16))) == CardRequirements(None, None, ())
