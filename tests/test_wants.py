"""What a card asks for, choice by choice; and when two ranges of addresses collide."""

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from romtool.files.intake import take
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.wants.collide import Placed, memory_collides, ports_collide
from romtool.wants.needs import Lines, Span
from romtool.wants.read import wants_of
from tests.support.tool import PROFILE

CATALOG = load_catalog()


def test_needs_stand_in_the_order_of_the_items(tmp_path: Path) -> None:
    file = tmp_path / "card.toml"
    file.write_text(PROFILE)
    (device,) = wants_of(decode(CATALOG, take(CATALOG, str(file)).data, "plain")).devices
    first, second = device.alternatives
    assert [first.rank, second.rank] == [0, 1]
    assert first.needs == (
        Lines("dma", (0, 1, 3), "8"),
        Span("io", 0x220, 0x220, 1, 16, 16),
        Lines("irq", (5,)),
    )
    assert second.own == (
        Span("io", 0x240, 0x280, 0x20, 16, 16),
        Lines("irq", (5, 7, 9, 10)),
    )
    (ports,) = second.of_kind("io")
    assert isinstance(ports, Span)
    assert list(ports.bases) == [0x240, 0x260, 0x280]


def answers_at(one: Placed) -> set[int]:
    """Return every port of the 64 KiB at which a device answers, counted out."""
    ports = range(one.base, one.base + one.length)
    if one.bits == 16:
        return set(ports)
    # A 10-bit decode answers at every address equal mod 400h (common practice, no source).
    return {port % 0x400 + turn for port in ports for turn in range(0, 0x10000, 0x400)}


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
