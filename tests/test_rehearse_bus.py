"""The bus protocol, each side compared with another hand's: the software against cards of
tests/support/bus_card.py, the cards against the scan of tests/support/bus_scan.py.

Where a value has no source beside it, it is that of tests/support: the standard's chapters 3, 4 and
appendices A, B.
"""

from __future__ import annotations

from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romtool.assign.assign import assign
from romtool.assign.host import EMPTY_PC, Host
from romtool.files.schemas import load_catalog
from romtool.rehearse.bus import Backplane
from romtool.rehearse.card import Card
from romtool.rehearse.software import Found, power_up
from romtool.requirements.collide import Placed
from tests.support.bus_card import KEY, BusCard, CardBus
from tests.support.bus_scan import Scan, key
from tests.support.independent import pnp_bytes
from tests.support.profiles import generate
from tests.support.tool import CARD_ITEMS, identifier

CATALOG = load_catalog()

# An identifier whose checksum comes out 00h, found by trying (Spec App. B.2 by another hand).
ZERO = next(raw for serial in range(1, 5000) if (raw := identifier("QRL0301", serial))[8] == 0x00)


def card_data(serial: int, card: str = "QRL0301") -> bytes:
    """The identifier and items of a card with one device."""
    return identifier(card, serial) + CARD_ITEMS


def found_by_software(cards: list[BusCard], host: Host = EMPTY_PC) -> Found:
    return power_up(CATALOG, CardBus(cards), host, assign)


def scan_of(data: list[bytes], port: int = 0x203) -> list[Any]:
    slots = [Card(CATALOG, one, slot=n) for n, one in enumerate(data)]
    return Scan(Backplane(CATALOG.bus, slots), port).scan()


def in_order(data: list[bytes]) -> list[bytes]:
    """Cards as isolation finds them: at the first bit that differs, 1 comes first."""
    return sorted(data, key=lambda one: [one[n // 8] >> n % 8 & 1 for n in range(72)], reverse=True)


def up_to_zero(data: list[bytes]) -> list[bytes]:
    """The cards that the software finds: it takes a checksum of 00h for an empty bus."""
    found = in_order(data)
    return found[: next((n for n, one in enumerate(found) if one[8] == 0), len(found))]


# --- the key --------------------------------------------------------------------------------------


def test_the_key_is_that_of_the_standard() -> None:
    # Spec B.1, as printed; the second hand's is made from the register.
    assert bytes(CATALOG.protocol.key()) == KEY == bytes(key())


def test_a_wrong_byte_begins_the_key_anew() -> None:
    for wrong in range(32):
        card = Card(CATALOG, card_data(1))
        scan = Scan(Backplane(CATALOG.bus, [card]))
        spoilt = key()
        spoilt[wrong] ^= 0x80
        scan.send_key(spoilt)
        scan.put(0x03, 0)
        assert card.state == "wait"
        scan.send_key()
        assert card.state == "sleep"


@given(st.binary(max_size=80))
def test_whatever_comes_before_the_key(noise: bytes) -> None:
    card, other = Card(CATALOG, card_data(1)), BusCard(card_data(1))
    # The lead-in of two 00h sees to it that the register is at its seed (Spec B.1).
    for byte in [*noise, 0, 0, *KEY]:
        card.write(0x279, byte)
        other.written(0x279, byte)
    assert (card.state, other.state) == ("sleep", "asleep")


@given(st.lists(st.sampled_from([*KEY, 0]), max_size=60), st.integers(0, 31))
def test_pieces_of_the_key_wake_nobody(noise: list[int], end: int) -> None:
    card = Card(CATALOG, card_data(1))
    for byte in [*noise, 0, *KEY[:end]]:
        card.write(0x279, byte)
    assert card.state == "wait"


# --- the cards, compared with another scan ---------------------------------------------------------


def test_four_cards_are_found_and_read() -> None:
    data = [card_data(serial) for serial in (1, 2, 0x80000000, 0x00010000)]
    found = scan_of(data)
    assert [card.data for card in found] == in_order(data)
    assert [card.csn for card in found] == [1, 2, 3, 4]
    assert all(card.identifier == card.data[:9] for card in found)


@pytest.mark.parametrize("port", [0x203, 0x213, 0x3FF])
def test_read_data_is_where_the_software_puts_it(port: int) -> None:
    assert [card.data for card in scan_of([card_data(5)], port)] == [card_data(5)]


def test_a_checksum_of_zero_is_as_good_as_another_to_the_standard() -> None:
    data = [ZERO + CARD_ITEMS, card_data(1)]
    assert [card.data for card in scan_of(data)] == in_order(data)


def test_reading_goes_on_behind_the_identifier_after_a_number() -> None:
    card = Card(CATALOG, card_data(1))
    scan = Scan(Backplane(CATALOG.bus, [card]))
    scan.send_key()
    scan.put(0x03, 0)
    scan.put(0x00, 0x203 >> 2)
    scan.ports.write(0x279, 0x01)
    for _ in range(144):
        scan.ports.read(0x203)
    scan.put(0x06, 1)
    assert scan.items() == CARD_ITEMS
    scan.put(0x03, 1)
    assert bytes(scan.byte() for _ in range(9)) == identifier("QRL0301", 1)


def test_a_card_forgets_what_it_is_told_to_forget() -> None:
    card = Card(CATALOG, card_data(1))
    scan = Scan(Backplane(CATALOG.bus, [card]))
    scan.isolate()
    scan.open(1, 0)
    scan.put(0x70, 5)
    scan.put(0x74, 1)
    assert (scan.get(0x06), scan.get(0x07), scan.get(0x70), scan.get(0x74)) == (1, 0, 5, 1)
    scan.put(0x02, 0x01)  # reset the devices: numbers stay
    scan.open(1, 0)
    assert (scan.get(0x06), scan.get(0x70), scan.get(0x74)) == (1, 0, 4)
    scan.put(0x02, 0x04)  # forget the number
    scan.put(0x03, 1)
    assert card.state == "sleep"
    scan.put(0x02, 0x02)  # back to the key
    assert card.state == "wait"


def test_a_sleeping_card_is_silent() -> None:
    scan = Scan(Backplane(CATALOG.bus, [Card(CATALOG, card_data(1))]))
    scan.isolate()
    scan.put(0x03, 7)
    assert [scan.get(register) for register in range(0xB0)] == [0xFF] * 0xB0


@settings(deadline=None, max_examples=40)
@given(st.lists(st.integers(0, 2**32 - 1), max_size=7, unique=True), st.randoms())
def test_any_number_of_cards_for_another_scan(serials: list[int], rng: Random) -> None:
    cards = [card_data(serial, rng.choice(["QRL0301", "QRL0302", "ABC9050"])) for serial in serials]
    assert [card.data for card in scan_of(cards)] == in_order(cards)


# --- the software, compared with other cards -------------------------------------------------------


@settings(deadline=None, max_examples=40)
@given(st.lists(st.integers(0, 2**32 - 1), max_size=7, unique=True), st.randoms())
def test_any_number_of_other_cards(serials: list[int], rng: Random) -> None:
    cards = [BusCard(card_data(serial), slow=rng.choice([0, 0, 3])) for serial in serials]
    seen = up_to_zero([card.data for card in cards])
    found = found_by_software(cards)
    assert [card.read.data for card in found.cards] == seen
    numbers = list(range(1, len(seen) + 1))
    assert [card.csn for card in found.cards] == numbers
    assert sorted(card.number for card in cards if card.number) == numbers


def test_what_the_software_writes_is_what_it_gave() -> None:
    cards = [BusCard(card_data(1)), BusCard(card_data(2))]
    found = found_by_software(cards)
    for card in found.cards:
        (device,) = card.devices
        assert device.is_on
        other = next(one for one in cards if one.number == card.csn)
        registers = {number: value for (_, number), value in other.registers.items()}
        given = device.given
        assert given is not None and given.io[0] is not None
        assert (registers[0x60] << 8 | registers[0x61]) == given.io[0].base
        assert (registers[0x70], registers[0x71]) == (given.irq[0], 2)  # high edge (Spec App. A)
        assert (registers[0x74], registers[0x75]) == (given.dma[0], 4)
        assert registers[0x30] == 1
        assert other.state == "deaf"


def test_an_identifier_that_sums_wrong_ends_the_search() -> None:
    data = in_order([card_data(1), card_data(2), card_data(3)])
    broken = bytearray(data[1])
    broken[8] ^= 0x40
    found = found_by_software([BusCard(data[0]), BusCard(bytes(broken)), BusCard(data[2])])
    assert [card.read.data for card in found.cards] == [data[0]]
    assert found.isolated.last is not None
    assert found.isolated.last.raw == bytes(broken[:9])


def test_an_end_checksum_is_summed_by_the_software() -> None:
    # Spec 6.2.2.11: 0 means "not checked"; 85h is not what these items sum to.
    (card,) = found_by_software([BusCard(card_data(1))]).cards
    assert card.sums_right is True
    (card,) = found_by_software([BusCard(card_data(1)[:-1] + b"\x85")]).cards
    assert card.sums_right is False


def test_resource_data_that_never_ends() -> None:
    (card,) = found_by_software([BusCard(card_data(1)[:-2])]).cards
    assert card.read.problem is not None and card.read.problem.name == "no-end"
    assert card.read.data == card_data(1)[:-2]
    assert card.sums_right is None
    assert [device.is_on for device in card.devices] == [True]


def test_a_byte_that_ends_the_reading() -> None:
    (card,) = found_by_software([BusCard(card_data(1)[:-2] + bytes(40))]).cards
    assert card.read.problem is not None and card.read.problem.name == "stopped"
    assert card.read.data == card_data(1)[:-2]


@pytest.mark.parametrize("stuck_at", [0, 4, 8, 9, 10, 40])
def test_a_byte_that_is_never_ready(stuck_at: int) -> None:
    (card,) = found_by_software([BusCard(card_data(1), stuck_at=stuck_at)]).cards
    assert card.read.problem is not None and card.read.problem.name == "not-ready"
    assert card_data(1).startswith(card.read.data)
    assert len(card.read.data) <= stuck_at


def test_a_register_that_keeps_nothing_leaves_the_device_off() -> None:
    card = BusCard(card_data(1), forgets=frozenset({0x70}))
    ((device,),) = [one.devices for one in found_by_software([card]).cards]
    assert device.problem is not None and device.problem.name == "not-kept"
    assert "70h" in device.problem.text
    assert not device.is_on
    assert card.registers[0, 0x30] == 0


# A device that says that it has register 31h: bit 1 of the byte after its ID (Spec 6.2.2.2).
CHECKED = CARD_ITEMS.replace(bytes.fromhex("15 46 4C 00 01 00"), bytes.fromhex("15 46 4C 00 01 02"))


def test_the_range_check_hears_who_else_answers() -> None:
    clear = BusCard(identifier("QRL0301", 1) + CHECKED, ranges={0: {0: 16}})
    ((device,),) = [one.devices for one in found_by_software([clear]).cards]
    assert device.is_on
    taken = BusCard(
        identifier("QRL0301", 1) + CHECKED, ranges={0: {0: 16}}, echoes=frozenset({0x224, 0x226})
    )
    ((device,),) = [one.devices for one in found_by_software([taken]).cards]
    assert device.problem is not None and device.problem.name == "range-taken"
    assert "224h-226h" in device.problem.text
    assert taken.registers[0, 0x30] == 0


def test_the_cards_answer_to_a_range_check() -> None:
    card = Card(CATALOG, identifier("QRL0301", 1) + CHECKED)
    bus = Backplane(CATALOG.bus, [card], [Placed(0x22F, 1, 16)])
    scan = Scan(bus)
    scan.isolate()
    scan.open(1, 0)
    scan.put(0x60, 0x02)
    scan.put(0x61, 0x20)
    assert bus.read(0x220) == 0xFF
    for value, pattern in [(0x02, 0xAA), (0x03, 0x55)]:  # Spec App. A, 31h
        scan.put(0x31, value)
        assert [bus.read(port) for port in range(0x21F, 0x231)] == [
            0xFF, *[pattern] * 15, 0x00, 0xFF,
        ]  # fmt: skip
    scan.put(0x30, 1)  # only an inactive device answers so
    assert bus.read(0x220) not in (0x55, 0xAA)


def test_a_device_without_the_register_does_not_answer_to_it() -> None:
    bus = Backplane(CATALOG.bus, [Card(CATALOG, card_data(1))])
    scan = Scan(bus)
    scan.isolate()
    scan.open(1, 0)
    scan.put(0x60, 0x02)
    scan.put(0x61, 0x20)
    scan.put(0x31, 0x03)
    assert scan.get(0x31) == 0xFF
    assert bus.read(0x220) == 0xFF


# --- READ_DATA ------------------------------------------------------------------------------------


def test_read_data_keeps_clear_of_the_host() -> None:
    # 213h, then every 20h without 280h-380h: the PnP code of an operating system kernel.
    tried = [0x213, 0x233, 0x253, 0x273, 0x393, 0x3B3, 0x3D3, 0x3F3]
    for free in tried:
        host = Host(io=tuple(Placed(port, 1, 16) for port in tried if port != free))
        found = found_by_software([BusCard(card_data(1))], host)
        assert found.isolated.read_port == free
        assert len(found.cards) == 1
    found = found_by_software([BusCard(card_data(1))], Host(io=(Placed(0x613, 1, 10),)))
    assert found.isolated.read_port == 0x233
    full = Host(io=(Placed(0x200, 0x200, 16),))
    assert found_by_software([BusCard(card_data(1))], full).isolated.read_port is None


# --- both sides, random profiles ------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(24))
def test_both_scans_read_random_cards_alike(seed: int) -> None:
    rng = Random(seed)
    profiles = [generate(rng) for _ in range(rng.randint(1, 5))]
    data = [pnp_bytes(profile) for profile in profiles]
    mine = power_up(
        CATALOG, Backplane(CATALOG.bus, [Card(CATALOG, one) for one in data]), EMPTY_PC, assign
    )
    assert [card.data for card in scan_of(data)] == in_order(data)
    assert [card.read.data for card in mine.cards] == up_to_zero(data)
