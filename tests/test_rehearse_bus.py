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
from romtool.rehearse.software import PowerUpResult, power_up
from romtool.requirements.collide import Placed
from tests.support.amount import examples, some
from tests.support.bus_card import KEY, BusCard, CardBus, window
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


def found_by_software(cards: list[BusCard], host: Host = EMPTY_PC) -> PowerUpResult:
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


@pytest.mark.requirement("R-B-1", "R-B.1-1", "R-B.1-3")
def test_the_key_is_that_of_the_standard() -> None:
    # Spec B.1, as printed; the second hand's is made from the register.
    assert bytes(CATALOG.protocol.key()) == KEY == bytes(key())


@pytest.mark.requirement("R-3.2-2", "R-B.1-2")
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
    assert (card.state, other.state) == ("sleep", "sleep")


@given(st.lists(st.sampled_from([*KEY, 0]), max_size=60), st.integers(0, 31))
def test_pieces_of_the_key_wake_nobody(noise: list[int], end: int) -> None:
    card = Card(CATALOG, card_data(1))
    for byte in [*noise, 0, *KEY[:end]]:
        card.write(0x279, byte)
    assert card.state == "wait"


# --- the cards, compared with another scan --------------------------------------------------------


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


@pytest.mark.requirement("R-4.5-4")
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


@settings(deadline=None, max_examples=examples(40))
@given(st.lists(st.integers(0, 2**32 - 1), max_size=7, unique=True), st.randoms())
def test_any_number_of_cards_for_another_scan(serials: list[int], rng: Random) -> None:
    cards = [card_data(serial, rng.choice(["QRL0301", "QRL0302", "ABC9050"])) for serial in serials]
    assert [card.data for card in scan_of(cards)] == in_order(cards)


# --- the software, compared with other cards ------------------------------------------------------


@settings(deadline=None, max_examples=examples(40))
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
        assert given is not None and given.values["io"][0] is not None
        assert given.as_json()["io"][0]["base"] == registers[0x60] << 8 | registers[0x61]
        # High edge is 2 (Spec A.3.3).
        assert (registers[0x70], registers[0x71]) == (given.values["irq"][0], 2)
        assert (registers[0x74], registers.get(0x75, 4)) == (given.values["dma"][0], 4)
        assert registers[0x30] == 1
        assert other.state == "wait for key"


def test_an_identifier_that_sums_wrong_ends_the_search() -> None:
    data = in_order([card_data(1), card_data(2), card_data(3)])
    broken = bytearray(data[1])
    broken[8] ^= 0x40
    found = found_by_software([BusCard(data[0]), BusCard(bytes(broken)), BusCard(data[2])])
    assert [card.read.data for card in found.cards] == [data[0]]
    assert found.isolated.last is not None
    assert found.isolated.last.raw == bytes(broken[:9])


@pytest.mark.requirement("R-6.2.2.11-2")
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
    assert card.read.doubt is not None and card.read.doubt.name == "not-ready"
    assert str(stuck_at) in card.read.doubt.text
    # After 20 looks the byte counts as FFh, and three of those end the reading (the PnP code of an
    # operating system kernel, read and run).
    assert card.read.data.rstrip(b"\xff") in card_data(1)[: max(stuck_at, 9)]
    assert card.read.problem is not None and card.read.problem.name == "no-end"


def test_a_register_that_keeps_nothing_leaves_the_device_off() -> None:
    card = BusCard(card_data(1), forgets=frozenset({0x70}))
    ((device,),) = [one.devices for one in found_by_software([card]).cards]
    assert device.why_off is not None and device.why_off.name == "not-kept"
    assert "70h" in device.why_off.text
    assert not device.is_on
    assert card.held(0, 0x30) == 0


# A device that says that it has register 31h: bit 1 of the byte after its ID (Spec 6.2.2.2).
CHECKED = CARD_ITEMS.replace(bytes.fromhex("15 46 4C 00 01 00"), bytes.fromhex("15 46 4C 00 01 02"))


def test_the_range_check_hears_who_else_answers() -> None:
    clear = BusCard(identifier("QRL0301", 1) + CHECKED)
    ((device,),) = [one.devices for one in found_by_software([clear]).cards]
    assert device.is_on
    taken = BusCard(identifier("QRL0301", 1) + CHECKED, echoes=frozenset({0x224, 0x226}))
    ((device,),) = [one.devices for one in found_by_software([taken]).cards]
    # On a conflict the range moves (Spec 4.3): to the first base of the second choice.
    assert device.given is not None and device.given.values["io"] == (Placed(0x240, 16, 16),)
    assert taken.held(0, 0x30) == 1


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
    assert scan.get(0x31) == 0
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


@pytest.mark.parametrize("seed", some(range(24)))
def test_both_scans_read_random_cards_alike(seed: int) -> None:
    rng = Random(seed)
    profiles = [generate(rng) for _ in range(rng.randint(1, 5))]
    for device in (device for profile in profiles for device in profile["device"]):
        device.pop("boot", None)  # active from the start, it may answer at READ_DATA
    data = [pnp_bytes(profile) for profile in profiles]
    mine = power_up(
        CATALOG, Backplane(CATALOG.bus, [Card(CATALOG, one) for one in data]), EMPTY_PC, assign
    )
    assert [card.data for card in scan_of(data)] == in_order(data)
    assert [card.read.data for card in mine.cards] == up_to_zero(data)


# --- what the software writes, by the standard ----------------------------------------------------


def asking(*resources: dict[str, Any], **device: Any) -> bytes:
    """The PnP data of a card with one device that asks for this."""
    image = {"layout": "plain"}
    card = {"id": "QRL0301", "serial": 1, "name": "Hollow Lane audio card"}
    one = {"id": "QRL0001", "resources": [*resources], **device}
    return pnp_bytes({"image": image, "card": card, "device": [one]})


def configured(data: bytes, **more: Any) -> BusCard:
    """A card after the software has found and configured it."""
    card = BusCard(data, **more)
    found_by_software([card])
    assert card.complaints == []
    assert card.state == "wait for key"  # Spec 4.6.2, 4.7
    return card


WINDOWS = [
    # Base, length, with an upper limit or a mask, and the registers from 40h on: the standard's
    # own example (64 KiB at 1 MiB, limit 11h 00h), or worked out by its rule (A.3.1).
    (0x100000, 0x10000, True, "10 00 01 11 00"),
    (0x100000, 0x10000, False, "10 00 00 FF 00"),
    (0xC0000, 0x20000, True, "0C 00 01 0E 00"),
    (0xC0000, 0x20000, False, "0C 00 00 FE 00"),
    (0xC8000, 0x1000, False, "0C 80 00 FF F0"),
    (0xC8000, 0x100, False, "0C 80 00 FF FF"),
]


@pytest.mark.requirement("R-A.3.1-3", "R-A.3.1-5", "R-A.3.1-6", "R-A.3.1-7", "R-A.3.1-9")
@pytest.mark.parametrize(("base", "length", "limit", "registers"), WINDOWS)
def test_memory_of_24_bits(base: int, length: int, limit: bool, registers: str) -> None:
    align = length if length < 0x10000 else 0x10000
    entry = {"memory24": [base, base], "length": length, "align": align, "high_address": limit}
    card = configured(asking(entry))
    assert bytes(card.held(0, 0x40 + n) for n in range(5)) == bytes.fromhex(registers)
    given = [card.held(0, 0x40 + n) for n in range(5)]
    assert window(given[0] << 16 | given[1] << 8, given[2], given[3] << 16 | given[4] << 8, 24) == (
        base,
        base + length,
    )


@pytest.mark.requirement("R-A.3.1-13", "R-A.3.1-14", "R-A.3.1-15")
@pytest.mark.parametrize(
    ("limit", "registers"),
    [  # 64 KiB at 1 MiB, 32 bits wide (Spec A.3.1; worked out by its rule)
        (True, "00 10 00 00 07 00 11 00 00"),
        (False, "00 10 00 00 06 FF FF 00 00"),
    ],
)
def test_memory_of_32_bits(limit: bool, registers: str) -> None:
    entry = {"memory32": [0x100000, 0x100000], "length": 0x10000, "align": 0x10000, "width": "32"}
    card = configured(asking({**entry, "high_address": limit}))
    assert bytes(card.held(0, 0x76 + n) for n in range(9)) == bytes.fromhex(registers)


@pytest.mark.requirement("R-A.3.1-6", "R-A.3.1-9")
@settings(deadline=None, max_examples=25)
@given(st.integers(8, 19), st.integers(1, 15), st.booleans(), st.booleans())
def test_a_card_decodes_what_was_asked_for(power: int, place: int, limit: bool, wide: bool) -> None:
    """Whatever the length, the registers make another hand's card decode just that (Spec A.3.1)."""
    length = 1 << power
    base = place * length
    entry: dict[str, Any] = {"length": length, "align": min(length, 0x10000)}
    entry |= {"memory32" if wide else "memory24": [base, base], "high_address": limit}
    card = configured(asking(entry))
    first, size = (0x76, 4) if wide else (0x40, 2)
    unit = 1 if wide else 0x100

    def number(at: int) -> int:
        return int.from_bytes(bytes(card.held(0, at + n) for n in range(size)), "big") * unit

    control = card.held(0, first + size)
    decoded = window(number(first), control, number(first + size + 1), 32 if wide else 24)
    assert decoded == (base, base + length)


@pytest.mark.requirement("R-4.6.1-2", "R-4.6.1-3")
def test_items_go_to_registers_in_their_order() -> None:
    # The example of Spec 4.6.1: two memory items and one I/O item that always hold, then choices
    # with one more I/O item and an IRQ item.
    memory = {"length": 0x4000, "align": 0x4000}
    card = configured(
        asking(
            {"memory24": [0xC0000, 0xC0000], **memory},
            {"memory24": [0xD0000, 0xD0000], **memory},
            {"io": 0x220, "length": 16},
            choice=[{"resources": [{"io": 0x388, "length": 4}, {"irq": [5]}]}],
        )
    )
    held = {at: card.held(0, at) << 8 | card.held(0, at + 1) for at in (0x40, 0x48, 0x60, 0x62)}
    assert held == {0x40: 0x0C00, 0x48: 0x0D00, 0x60: 0x220, 0x62: 0x388}
    assert (card.held(0, 0x70), card.held(0, 0x72)) == (5, 0)


NOTHING: list[Any] = [
    # Null items and what they put into the registers (Spec 6.2.2.4, 6.2.2.5, 6.2.2.8, A.3.1).
    ({"irq": []}, {0x70: 0x00, 0x71: 0x02}),
    ({"dma": []}, {0x74: 0x04}),
    ({"io": 0x300, "length": 0}, {0x60: 0x00, 0x61: 0x00}),
    ({"memory24": [0, 0], "length": 0, "align": 256}, dict.fromkeys((0x40, 0x41, 0x43, 0x44), 0)),
    ({"memory32": [0, 0], "length": 0, "align": 1}, {0x76 + n: 0 for n in range(9) if n != 4}),
    ({"memory32_fixed": 0, "length": 0}, {0x76 + n: 0 for n in range(9) if n != 4}),
]


@pytest.mark.requirement("R-6.2.2.4-7", "R-6.2.2.5-3", "R-6.2.2.8-5", "R-6.2.3.1-7")
@pytest.mark.requirement("R-6.2.3.6-2", "R-4.6.2-3", "R-4.6.2-4", "R-4.6.2-5", "R-4.6.2-8")
@pytest.mark.parametrize(("entry", "wanted"), NOTHING)
def test_null_items_are_programmed(entry: dict[str, Any], wanted: dict[int, int]) -> None:
    card = configured(asking(entry, {"io": 0x220, "length": 16}))
    written = {register: value for _, register, value in card.written_to}
    assert {register: written.get(register) for register in wanted} == wanted


@pytest.mark.requirement("R-4.6.1-1", "R-4.6.2-2")
def test_what_a_device_is_not_given_is_programmed_too() -> None:
    data = asking({"irq": [5]}, {"dma": [1]}, {"io": 0x220, "length": 16})
    card = BusCard(data)
    found_by_software([card], Host(irq={5}))
    written = {register: value for _, register, value in card.written_to}
    none = {0x60: 0, 0x61: 0, 0x70: 0, 0x71: 2, 0x74: 4}
    assert {register: written.get(register) for register in none} == none
    assert not card.held(0, 0x30)


@pytest.mark.requirement("R-4.6.2-7")
def test_line_9_is_chosen_as_9() -> None:
    card = configured(asking({"irq": [9]}))
    assert card.held(0, 0x70) == 9


@pytest.mark.requirement("R-4.5-2", "R-4.5-3", "R-3.3.1-9")
def test_byte_8_is_not_valid_as_resource_data() -> None:
    data = asking({"irq": [5]})
    for read_as in (0x00, 0xFF, data[8] ^ 0x40):
        card = BusCard(data, sum_as_read=read_as)
        (found,) = found_by_software([card]).cards
        assert found.read.data[9:] == data[9:] and found.sums_right is True
        assert card.held(0, 0x70) == 5 and card.held(0, 0x30) == 1
    stored_wrong = data[:8] + bytes([data[8] ^ 0x40]) + data[9:]
    card = BusCard(stored_wrong, computes=True)
    assert len(found_by_software([card]).cards) == 1 and card.held(0, 0x30) == 1


@pytest.mark.requirement("R-4.3-18", "R-4.3-14", "R-A.2-30b", "R-4.7-2", "R-4.7-4", "R-4.6.2-9")
@pytest.mark.parametrize("seed", range(8))
def test_the_software_does_nothing_that_the_standard_forbids(seed: int) -> None:
    rng = Random(seed)
    cards = [BusCard(pnp_bytes(generate(rng)), slow=rng.choice([0, 2])) for _ in range(3)]
    found_by_software(cards)
    assert [card.complaints for card in cards] == [[], [], []]
    assert {card.state for card in cards} == {"wait for key"}


@pytest.mark.requirement("R-3.3.2-3", "R-4.4-6", "R-3.1.3-1")
def test_read_data_moves_where_something_answers() -> None:
    for taken in (0x213, 0x233):
        card = BusCard(card_data(1), echoes=frozenset({taken}))
        found = found_by_software([card])
        assert len(found.cards) == 1
        assert found.isolated.read_port not in (taken, None)
        assert card.number == 1


# --- the cards, state by state --------------------------------------------------------------------


def woken(data: bytes, state: str) -> tuple[Card, BusCard, Scan, Scan]:
    """A card of each hand in a state, the scans that took them there; CSN 1 unless in isolation."""
    mine, other = Card(CATALOG, data), BusCard(data)
    scans = (Scan(Backplane(CATALOG.bus, [mine])), Scan(CardBus([other])))
    for scan in scans:
        if state != "isolation":
            scan.isolate()
            scan.put(0x03, 1)
        else:
            scan.send_key()
            scan.put(0x03, 0)
            scan.put(0x00, scan.port >> 2)
        if state == "sleep":
            scan.put(0x03, 0)
        if state == "wait for key":
            scan.put(0x02, 0x02)
    return mine, other, *scans


STATES = {"wait for key": "wait", "sleep": "sleep", "isolation": "isolation", "config": "config"}

# Register, value, and the state afterwards by the state before (Spec 4.1 to 4.5).
EVENTS = [
    (0x02, 0x01, {state: state for state in STATES}),
    (0x02, 0x02, dict.fromkeys(STATES, "wait for key")),
    (0x02, 0x07, dict.fromkeys(STATES, "wait for key")),
    (0x03, 0x00, {"sleep": "sleep", "isolation": "isolation", "config": "sleep"}),
    (0x03, 0x01, {"sleep": "config", "isolation": "sleep", "config": "config"}),
    (0x03, 0x02, {"sleep": "sleep", "isolation": "sleep", "config": "sleep"}),
    (0x00, 0x80, {"sleep": "sleep", "isolation": "isolation", "config": "config"}),
    (0x06, 0x05, {"sleep": "sleep", "isolation": "config", "config": "config"}),
    (0x07, 0x00, {"sleep": "sleep", "isolation": "isolation", "config": "config"}),
    (0x30, 0x01, {"sleep": "sleep", "isolation": "isolation", "config": "config"}),
]


@pytest.mark.requirement("R-4.1-2", "R-4.1-4", "R-4.1-5", "R-4.1-6", "R-4.3-3", "R-4.3-4")
@pytest.mark.requirement("R-4.3-6", "R-4.3-15", "R-4.4-2", "R-4.4-5", "R-A.1-02", "R-A.1-03")
@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize(("register", "value", "after"), EVENTS)
def test_commands_state_by_state(
    state: str, register: int, value: int, after: dict[str, str]
) -> None:
    mine, other, *scans = woken(card_data(1), state)
    assert (mine.state, other.state) == (STATES[state], state)
    for scan in scans:
        scan.put(register, value)
    wanted = after.get(state, state)
    assert (mine.state, other.state) == (STATES[wanted], wanted)


@pytest.mark.requirement("R-A-1", "R-A.1-08", "R-A.3.1-12", "R-A.3.1-16", "R-A.3.2-1", "R-A.3.4-1")
@pytest.mark.requirement("R-A.3.3-1", "R-A.3.5-1", "R-A.2-30")
def test_registers_that_a_card_lacks() -> None:
    mine = Scan(Backplane(CATALOG.bus, [Card(CATALOG, card_data(1))]))
    other = Scan(CardBus([BusCard(card_data(1))]))
    for scan in (other, mine):
        scan.isolate()
        scan.open(1, 0)
        for register in [*range(0x08, 0x30), *range(0x32, 0x60), *range(0x62, 0x70)]:
            scan.put(register, 0xFF)
            assert scan.get(register) == 0x00, f"{register:02X}h"
        for register in [*range(0x76, 0x100)]:
            scan.put(register, 0xFF)
            assert scan.get(register) == 0x00, f"{register:02X}h"
        scan.put(0x75, 0x01)
        assert scan.get(0x75) == 0x04
        assert scan.get(0x72) == scan.get(0x73) == 0x00


@pytest.mark.requirement("R-A.1-06", "R-A.1-07", "R-A.1-07b", "R-4.3-19", "R-A.3-1", "R-4.6-2")
def test_registers_hold_what_is_written() -> None:
    data = asking({"irq": [5]}, {"dma": [1]}, {"io": 0x220, "length": 16})
    for bus in (CardBus([BusCard(data)]), Backplane(CATALOG.bus, [Card(CATALOG, data)])):
        scan = Scan(bus)
        scan.isolate()
        scan.open(1, 5)
        # With one device 07h is read-only 00h.
        assert (scan.get(0x06), scan.get(0x07)) == (1, 0)
        for register, value, kept in [
            (0x60, 0x02, 0x02), (0x61, 0x20, 0x20), (0x70, 0xF5, 0x05), (0x71, 0xFE, 0x02),
            (0x74, 0xF9, 0x01), (0x30, 0xFF, 0x01), (0x30, 0x00, 0x00),
        ]:  # fmt: skip
            scan.put(register, value)
            assert scan.get(register) == kept, f"{register:02X}h"
