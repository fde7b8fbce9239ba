"""What the standard asks of the bus, played: cards, software and BIOS, requirement by requirement.

Each test names the requirements that it shows. Values are those of the standard's section beside
them, or worked out by its rule.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from romtool.assign.assign import assign
from romtool.assign.host import EMPTY_PC, Host
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.rehearse.answer import answer_of
from romtool.rehearse.bus import Backplane
from romtool.rehearse.card import Card
from romtool.rehearse.rehearsal import Rehearsal, rehearse
from romtool.rehearse.software import power_up
from romtool.requirements.collide import Placed
from romtool.requirements.read import requirements_of
from romtool.text.rehearsal import rehearsal_lines
from tests.support.bus_scan import Scan, key
from tests.support.independent import encode, pnp_bytes
from tests.support.tool import CARD_ITEMS, identifier

CATALOG = load_catalog()
REHEARSALS = Path(__file__).parent / "golden" / "rehearsals.txt"
ADDRESS, WRITE_DATA, READ_DATA = 0x279, 0xA79, 0x203  # Spec 3.1


def card_of(*devices: dict[str, Any], serial: int = 1) -> bytes:
    """The PnP data of a card with these devices, by another hand."""
    ids = ({"id": f"QRL{n:04X}", **device} for n, device in enumerate(devices, 1))
    card = {"id": "QRL0301", "serial": serial, "name": "Hollow Lane audio card"}
    return pnp_bytes({"image": {"layout": "plain"}, "card": card, "device": [*ids]})


def asks(*resources: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"resources": [*resources], **more}


SOUND = asks({"irq": [5, 7]}, {"dma": [1]}, {"io": 0x220, "length": 16})
GAME = asks({"io": 0x200, "length": 8})
BOOT = asks({"irq": [11]}, {"io": 0x340, "length": 16}, boot=True)


def play(*cards: bytes, host: Host = EMPTY_PC, by: str = "all") -> Rehearsal:
    named = [(f"{n}.bin", decode(CATALOG, one)) for n, one in enumerate(cards)]
    return rehearse(CATALOG, named, assign, host, by)


def answer(*cards: bytes, host: Host = EMPTY_PC, by: str = "all") -> dict[str, Any]:
    return answer_of(CATALOG, play(*cards, host=host, by=by)).as_json()


def registers(*cards: bytes, device: int = 0, host: Host = EMPTY_PC) -> dict[int, int]:
    """The registers of a device of the first card after activation."""
    return dict(answer(*cards, host=host)["cards"][0]["devices"][device]["registers"])


def steps(found: Rehearsal, *names: str) -> list[str]:
    return [step.name for step in found.steps if not names or step.name in names]


def scenes() -> dict[str, Rehearsal]:
    """Power-ups in which something is worth telling, by what it is.

    `tests/golden/rehearsals.txt` holds what is told of each.
    """
    one = {"image": {"layout": "counted-19"}, "card": {"id": "QRL0302", "serial": 2}}
    one["device"] = [{"id": "QRL0001", **SOUND}]
    wired = {"irq_wiring": [9, 7, 0, 0, 0, 0], "dma_wiring": [4, 3, 4]}
    memory = {"memory24": [0xC8000, 0xD0000], "align": 0x8000, "length": 0x4000, "width": "16"}
    high = {"memory32": [0xFE000000, 0xFE000000], "length": 0x1000, "align": 1, "width": "32"}
    choices = {
        "id": "QRL0001",
        "compatible": ["PNPB003"],
        "resources": [{"dma": [1, 3]}],
        "choice": [
            {"priority": "good", "resources": [{"irq": [5]}, {"io": 0x220, "length": 16}]},
            {"resources": [{"irq": [7, 9]}, {"io": 0x240, "length": 16}]},
        ],
    }
    wrong = put(card_of(SOUND, serial=2), 8, b"\x55")
    unfinished = card_of(SOUND)[:-2]
    deaf = put(encode(one), 6, b"\x20")  # of the miscellaneous byte (from memory)
    return {
        "two devices": play(card_of(SOUND, GAME)),
        "nothing answers": play(b"\xff" * 64, encode({**one, "override": {"signature": "AA BB"}})),
        "twins": play(card_of(SOUND), card_of(SOUND)),
        "twins that differ": play(card_of(SOUND), card_of(GAME, GAME)),
        "twins without a serial number": play(
            card_of(SOUND, serial=0xFFFFFFFF), card_of(GAME, serial=0xFFFFFFFF)
        ),
        "a wrong identifier checksum, and who comes later": play(
            card_of(SOUND, serial=4), wrong, card_of(GAME, serial=1)
        ),
        "an identifier checksum that isn't stored": play(put(wrong, 8, b"\0")),
        "an end checksum that is wrong": play(put(card_of(SOUND), -1, b"\x77")),
        "an end checksum that isn't checked": play(put(card_of(SOUND), -1, b"\0")),
        "data that doesn't end": play(unfinished),
        "data that stops": play(unfinished + b"\0\0"),
        "no identifier": play(card_of(SOUND)[9:]),
        "the key turned off": play(deaf),
        "a line that no pin drives": play(encode({**one, "config": wired})),
        "bytes before": play(b"\x37HOLLOW" + card_of(SOUND)),
        "lines taken": play(
            card_of(SOUND, asks({"irq": [5]}), serial=1),
            card_of(asks({"irq": [2, 5]}), serial=2),
            host=Host("A small PC", irq={7, 9}, dma={3}),
        ),
        "a port for the reads taken": play(
            card_of(SOUND), host=Host(io=(Placed(0x213, 1, 16), Placed(0x220, 16, 16)))
        ),
        "no port for the reads": play(card_of(SOUND), host=Host(io=(Placed(0x200, 0x200, 16),))),
        "memory": play(card_of(asks(memory), asks(high))),
        "lines of every kind": play(
            card_of(asks({"irq": [9], "types": ["low-level"]}, {"irq": [10]}, {"dma": [5]}))
        ),
        "choices": play(encode({**one, "device": [choices]}), host=Host(irq={5})),
        "choices where nothing is left": play(
            encode({**one, "device": [choices]}), host=Host(irq={5, 7, 9})
        ),
        "an alias at the port for the reads": play(card_of(asks({"io": 0x610, "length": 8}))),
        "a range check": play(card_of({**SOUND, "registers": [0x31]})),
        "boot devices on lines that are taken": play(
            card_of(BOOT), card_of(BOOT, serial=2), host=Host("A small PC", irq={11})
        ),
        "boot devices on lines that are taken, by nobody": play(
            card_of(BOOT),
            card_of(BOOT, BOOT, serial=2),
            host=Host("A small PC", irq={11}),
            by="none",
        ),
        "boot devices, by a BIOS": play(card_of(SOUND, BOOT), by="boot"),
        "boot devices, by nobody": play(card_of(SOUND, BOOT), by="none"),
        "a boot device without needs, by nobody": play(card_of(asks(boot=True)), by="none"),
        "nothing in the slots, by nobody": play(b"\xff" * 64, by="none"),
        "more devices than numbers": play(card_of(*[asks({"irq": [3 + n]}) for n in range(12)])),
    }


def put(data: bytes, at: int, new: bytes) -> bytes:
    """Data with other bytes at a place, which may be counted from the end."""
    at %= len(data)
    return data[:at] + new + data[at + len(new) :]


def told_of(name: str, found: Rehearsal) -> str:
    """What is told of a power-up: its steps, what a person reads, and each device's registers."""
    said = answer_of(CATALOG, found)
    lines = [f"# {name}", *rehearsal_lines(CATALOG, said, trace=True)]
    for card in (*said.cards, *said.unconfigured):
        for device in card.devices:
            numbers = " ".join(f"{at:X}={value:X}" for at, value in device.registers if value)
            lines.append(f"{device.outcome.device.id}: {numbers}")
    words = ", ".join(remark["remark"] for remark in said.as_json()["warnings"]) or "none"
    return re.sub(r"\x1b\[\d+m", "", "\n".join([*lines, f"remarks: {words}", ""]))


def rehearsals() -> str:
    """What is told of all scenes."""
    return "\n".join(told_of(*one) for one in scenes().items())


def test_what_is_told() -> None:
    """Every step, every sentence and every register, as the golden file holds them."""
    assert rehearsals() == REHEARSALS.read_text(encoding="utf-8")


class Bench:
    """Cards on a bus, with a scan by another hand to reach them."""

    def __init__(self, *data: bytes) -> None:
        self.cards = [Card(CATALOG, one, slot=n) for n, one in enumerate(data)]
        self.bus = Backplane(CATALOG.bus, self.cards)
        self.scan = Scan(self.bus, READ_DATA)

    def states(self) -> list[str]:
        return [card.state for card in self.cards]

    def isolating(self) -> None:
        """Bring all cards to isolation."""
        self.scan.send_key()
        self.scan.put(0x03, 0)
        self.scan.put(0x00, READ_DATA >> 2)
        self.bus.write(ADDRESS, 0x01)

    def opened(self, device: int = 0) -> Scan:
        """Bring the first card that is found to configuration."""
        self.scan.isolate()
        self.scan.open(1, device)
        return self.scan


# --- ports and key (Spec 3.1, 3.2, B.1) -----------------------------------------------------------


@pytest.mark.requirement("R-3.1-1", "R-3.1-2", "R-2.2-2", "R-3.1.1-1", "R-3.1.1-2")
def test_three_ports_of_twelve_bits() -> None:
    bench = Bench(card_of(SOUND))
    for byte in [0, 0, *key()]:
        bench.bus.write(ADDRESS + 0x1000, byte)  # bit 12 is not decoded
    assert bench.states() == ["sleep"]
    scan = bench.opened()
    bench.bus.write(ADDRESS, 0x70)
    for value in (5, 7):  # any number of accesses hit the register that was named
        bench.bus.write(WRITE_DATA + 0x3000, value)
        assert bench.bus.read(READ_DATA) == bench.bus.read(READ_DATA + 0x1000) == value
    assert bench.bus.read(ADDRESS) == bench.bus.read(WRITE_DATA) == 0xFF  # written only
    bench.bus.write(READ_DATA, 9)  # read only
    assert scan.get(0x70) == 7
    assert bench.bus.read(READ_DATA + 0x400) == 0xFF  # bit 10 is


@pytest.mark.requirement("R-3.2-1", "R-3.2-2", "R-3.2-3", "R-B.1-2", "R-2.2-6")
def test_silent_and_unmoved_until_the_key() -> None:
    bench = Bench(card_of(SOUND))
    scan = bench.opened()
    scan.put(0x70, 5)
    scan.put(0x02, 0x02)
    for register in range(0x100):  # nothing is heeded, nothing answers
        scan.put(register, 0x01)
        assert scan.get(register) == 0xFF
    assert bench.states() == ["wait"]
    bench.bus.write(ADDRESS, 0x6A)
    scan.send_key([*key()][1:])  # without its first byte: two bytes 00h come before, and reset it
    assert bench.states() == ["wait"]
    scan.send_key()
    scan.open(1, 0)
    assert scan.get(0x70) == 5


# --- isolation (Spec 3.3) -------------------------------------------------------------------------


@pytest.mark.requirement("R-3.3-3", "R-3.3.1-2", "R-3.3.1-3", "R-6-1", "R-A.1-01", "R-4.1-5")
def test_bits_are_sent_lowest_first() -> None:
    bench = Bench(card_of(SOUND))
    bench.isolating()
    sent = []
    for _ in range(72):
        pair = (bench.bus.read(READ_DATA), bench.bus.read(READ_DATA))
        assert pair in {(0x55, 0xAA), (0xFF, 0xFF)}
        sent.append(pair == (0x55, 0xAA))
    raw = identifier("QRL0301", 1)
    assert sent == [bool(raw[n // 8] >> n % 8 & 1) for n in range(72)]
    bench.bus.write(WRITE_DATA, 0x55)  # 01h is read only
    assert bench.states() == ["isolation"]


@pytest.mark.requirement("R-3.3.1-4", "R-3.3.1-5", "R-3.3.1-6")
@pytest.mark.parametrize(
    ("pair", "after"),
    [
        ((0x55, 0xAA), "sleep"),
        ((0xFD, 0xFE), "sleep"),  # only the lower two bits are compared: 01, 10
        ((0x55, 0xFF), "isolation"),  # both reads must show it
        ((0xFF, 0xAA), "isolation"),
        ((0x00, 0x00), "isolation"),
    ],
)
def test_a_card_that_floats_listens_to_two_lines(pair: tuple[int, int], after: str) -> None:
    card = Card(CATALOG, card_of(SOUND))
    scan = Scan(Backplane(CATALOG.bus, [card]), READ_DATA)
    scan.send_key()
    scan.put(0x03, 0)
    scan.put(0x00, READ_DATA >> 2)
    card.write(ADDRESS, 0x01)
    for value in pair:  # the identifier's first bit is 0: 46h is 0110 0010, lowest bit first
        assert card.drive(READ_DATA) is None
        card.hear(READ_DATA, value)
    assert card.state == after
    if after == "isolation":
        assert card.drive(READ_DATA) == 0x55  # it goes on with its second bit, which is 1


@pytest.mark.requirement("R-3.3.1-7", "R-4.1-1", "R-4.3-13", "R-4.4-4", "R-1.1-2", "R-3.3-2")
def test_losers_take_part_again_and_each_gets_a_number_of_its_own() -> None:
    found = play(*(card_of(SOUND, serial=n) for n in (1, 2, 3)))
    cards = [slot.card for slot in found.slots if slot.card is not None]
    assert sorted(card.csn for card in cards) == [1, 2, 3]
    assert steps(found, "round", "round-silent") == ["round"] * 3 + ["round-silent"]
    # Set to the same resources, each can be reached alone.
    bench = Bench(*(card_of(SOUND, serial=n) for n in (1, 2)))
    bench.scan.isolate()
    for csn, line in ((1, 5), (2, 7)):
        bench.scan.open(csn, 0)
        bench.scan.put(0x70, line)
    for csn, line in ((1, 5), (2, 7)):
        bench.scan.open(csn, 0)
        assert (bench.scan.get(0x06), bench.scan.get(0x70)) == (csn, line)


@pytest.mark.requirement("R-3.3.1-1", "R-3.3.1-8", "R-4.3-7", "R-4.3-11", "R-4.3-10", "R-A.1-00")
def test_isolation_begins_anew_when_numbers_are_forgotten() -> None:
    bench = Bench(card_of(SOUND), card_of(SOUND, serial=2))
    bench.scan.isolate()
    bench.scan.put(0x02, 0x04)
    assert [card.csn for card in bench.cards] == [0, 0]
    assert bench.scan.get(0x06) == 0xFF  # READ_DATA is undefined: nobody answers
    bench.scan.put(0x03, 0)
    assert bench.states() == ["isolation", "isolation"]
    bench.scan.put(0x00, 0x3F3 >> 2)  # one write sets all cards
    assert {card.read_port for card in bench.cards} == {0x3F3}
    bench.scan.put(0x03, 7)
    bench.scan.put(0x00, 0x203 >> 2)  # in isolation only
    assert {card.read_port for card in bench.cards} == {0x3F3}


# --- what the software does, and how long it takes (Spec 2.2, 3.3.2, 4.3, 4.4) --------------------


@pytest.mark.requirement("R-0-1", "R-2.2-1", "R-4.4-3", "R-4.6.2-9", "R-4.1-3", "R-4.7-4")
@pytest.mark.requirement("R-3.3.2-1", "R-3.3.2-2", "R-3.3.2-4", "R-4.5-1", "R-4.6.2-1")
def test_the_order_of_a_power_up() -> None:
    found = play(card_of(SOUND))
    assert steps(found) == [
        "load", "reset-drv", "delay", "key", "control", "delay", "wake-all", "read-port",
        "round", "csn", "numbered", "wake-all", "round-silent", "wake", "data", "assign",
        "wake", "device", "registers", "wake", "device", "activate", "read-back", "wait",
    ]  # fmt: skip
    assert [slot.card.state for slot in found.slots if slot.card] == ["wait"]


@pytest.mark.requirement("R-3.3.2-5", "R-4.3-2", "R-4.3-5", "R-4.4-1", "R-4.4-6")
def test_the_waits_add_up() -> None:
    # 2 ms after RESET_DRV, 2 ms after Reset; a round is 1 ms and 71 times 250 us (Spec 3.3.2, 4.3).
    one = 1000 + 71 * 250
    assert play(card_of(SOUND)).microseconds == 4000 + 2 * one
    assert answer(card_of(SOUND))["milliseconds"] == 41.5
    three = play(*(card_of(SOUND, serial=n) for n in (1, 2, 3)))
    assert three.microseconds == 4000 + 4 * one
    empty = play(bytes([0xFF]) * 256)  # a round at each of eight places for READ_DATA
    assert empty.microseconds == 4000 + 8 * one
    assert play(card_of(SOUND), by="none").microseconds == 2000


@pytest.mark.requirement("R-3.3.2-3", "R-3.1.3-1", "R-4.3-22")
def test_read_data_moves_away_from_what_is_active() -> None:
    active = asks({"io": 0x210, "length": 8}, boot=True)  # 213h is where it looks first
    found = play(card_of(active))
    assert found.read_port == 0x233
    assert steps(found, "read-port", "moved") == ["read-port", "moved", "read-port"]
    # A port that the host is known to have is not even tried.
    found = play(card_of(SOUND), host=Host(io=(Placed(0x213, 1, 16),)))
    assert (found.read_port, steps(found, "moved")) == (0x233, [])


# --- commands and resets (Spec 4.3) ---------------------------------------------------------------


@pytest.mark.requirement("R-4.3-1", "R-4.3-9", "R-4.3-8", "R-4.4-1", "R-C.1-6", "R-0-2")
def test_resets_hard_and_warm() -> None:
    for reset in ("line", "07h", "03h"):
        bench = Bench(card_of(SOUND, BOOT))
        scan = bench.opened()
        (card,) = bench.cards
        for register, value in ((0x70, 5), (0x60, 0x02), (0x61, 0x20), (0x30, 1)):
            scan.put(register, value)
        scan.put(0x07, 1)
        scan.put(0x30, 0)
        if reset == "line":
            bench.bus.reset_drv()
        else:
            scan.put(0x02, int(reset[:2], 16))
        warm = reset == "03h"
        assert (card.state, card.csn) == ("wait", 1 if warm else 0)
        assert (card.read_port == READ_DATA) is warm
        # The devices are as at power-up: only the boot device is on.
        assert [device.is_active for device in card.devices] == [False, True]
        sound, boot = card.devices
        assert (sound.read(0x70), sound.read(0x74), sound.read(0x60)) == (0, 4, 0)
        assert (boot.read(0x60), boot.read(0x61), boot.read(0x70)) == (0x03, 0x40, 11)
        if warm:  # no new isolation is needed
            scan.send_key()
            scan.open(1, 0)
            assert scan.get(0x06) == 1


@pytest.mark.requirement("R-4.3-16", "R-4.3-17", "R-4.5-4", "R-A.1-04", "R-A.1-05", "R-4.5-5")
def test_any_wake_rewinds_the_data() -> None:
    data = identifier("QRL0301", 1) + CARD_ITEMS
    bench = Bench(data)
    scan = bench.opened()
    (card,) = bench.cards
    assert bytes(scan.byte() for _ in range(12)) == data[:12]
    scan.put(0x04, 0xFF)  # read only
    scan.put(0x05, 0xFF)
    assert scan.byte() == data[12]
    for csn in (1, 9):  # its own number or not
        scan.put(0x03, csn)
        assert card.pointer == 0
    scan.put(0x03, 1)
    assert scan.get(0x05) & 1 == 0 and scan.get(0x05) & 1 == 1  # eight bits are gathered
    assert scan.get(0x04) == data[0]
    assert scan.get(0x05) & 1 == 0  # a read clears it
    scan.put(0x03, 0)
    assert (card.state, scan.get(0x04)) == ("sleep", 0xFF)


@pytest.mark.requirement("R-2.2-7", "R-4.3-22", "R-5.1-3", "R-5.2-2", "R-4.7-1", "R-A.2-31")
def test_devices_are_turned_on_and_off() -> None:
    bench = Bench(card_of(asks({"io_fixed": 0x201, "length": 1}, registers=[0x31])))
    scan = bench.opened()
    assert bench.bus.read(0x201) == 0xFF  # inactive: it drives nothing
    scan.put(0x31, 0xFF)
    assert scan.get(0x31) == 0x03  # bits 7:2 read 0
    assert bench.bus.read(0x201) == 0x55
    scan.put(0x31, 0x02)
    assert bench.bus.read(0x201) == 0xAA
    scan.put(0x31, 0x00)
    scan.put(0x30, 0xFF)
    assert scan.get(0x30) == 0x01
    before = dict(bench.cards[0].devices[0].registers)
    assert bench.bus.read(0x201) != 0xFF
    assert [scan.get(register) for register in range(0x30, 0x100)]
    assert bench.cards[0].devices[0].registers == before
    assert bench.bus.read(0x201) != 0xFF  # reading disturbs nothing
    scan.put(0x30, 0x00)
    assert bench.bus.read(0x201) == 0xFF


@pytest.mark.requirement("R-4.2-1", "R-4.2-2", "R-A-2", "R-4.3-12")
def test_registers_of_the_card_and_of_its_devices() -> None:
    bench = Bench(card_of(SOUND, SOUND))
    scan = bench.opened(1)
    scan.put(0x70, 7)
    scan.put(0x07, 0)
    scan.put(0x70, 5)
    assert (scan.get(0x06), scan.get(0x07), scan.get(0x70)) == (1, 0, 5)
    scan.put(0x07, 1)
    assert (scan.get(0x06), scan.get(0x07), scan.get(0x70)) == (1, 1, 7)
    # The maker's own are not known here: they read 0, and do nothing.
    assert [scan.get(n) for n in (0x20, 0x2F, 0x38, 0x3F, 0xF0, 0xFE)] == [0] * 6
    bench.bus.write(ADDRESS, 0x01)  # 01h is answered in isolation only
    assert bench.bus.read(READ_DATA) == 0xFF


# --- what stands in the registers (Spec 4.6, 5.1, A.3) --------------------------------------------


def memory(base: int, length: int, *, limit: bool, **more: Any) -> dict[str, Any]:
    entry = {"memory24": [base, base], "length": length, "align": min(length, 0x10000) or 0x100}
    return {**entry, "high_address": limit, **more}


@pytest.mark.requirement("R-4.6.1-3", "R-A.3.1-7", "R-A.3.1-9", "R-A.3.1-2", "R-A.3.2-2")
def test_registers_as_they_stand_after_activation() -> None:
    one = asks(
        memory(0xC0000, 0x20000, limit=False, width="16"),
        memory(0x100000, 0x10000, limit=True),
        memory(0, 0, limit=False),
        {"io": 0x220, "length": 16},
        {"irq": []},
        {"dma": []},
    )
    found = registers(card_of(one))
    expected = {
        0x30: 0x01,
        # 128 KiB at C0000h as a mask; 64 KiB at 1 MiB with its upper limit (Spec A.3.1).
        0x40: 0x0C, 0x41: 0x00, 0x42: 0x02, 0x43: 0xFE, 0x44: 0x00,
        0x48: 0x10, 0x49: 0x00, 0x4A: 0x01, 0x4B: 0x11, 0x4C: 0x00,
        0x60: 0x02, 0x61: 0x20,
        0x71: 0x02,  # a null IRQ: line 0, type 02h (Spec 6.2.2.4)
        0x74: 0x04, 0x75: 0x04,  # a null DMA, and one that is missing (Spec 6.2.2.5, A.3.4)
    }  # fmt: skip
    assert found == dict.fromkeys(found, 0) | expected
    # All that the standard gives a device: 30h-37h, 40h-A8h; 38h-3Fh are the maker's.
    assert sorted(found) == [*range(0x30, 0x38), *range(0x40, 0xA9)]


@pytest.mark.requirement("R-A.3.1-10", "R-A.3.3-2", "R-4.6-2", "R-5.1-4", "R-C.1-4")
def test_what_is_fixed_always_shows() -> None:
    window = memory(0xC8000, 0x4000, limit=True)
    scan = Bench(card_of(asks({"io_fixed": 0x201, "length": 1}, window, {"irq": [5]}))).opened()
    for register in (0x40, 0x42, 0x60, 0x61, 0x70):
        scan.put(register, 0x00)
    assert [scan.get(n) for n in (0x60, 0x61)] == [0x02, 0x01]
    # 42h bit 0 says what 43h and 44h hold, and is read-only.
    assert [scan.get(n) for n in (0x40, 0x42, 0x70)] == [0x00, 0x01, 0x00]


@pytest.mark.requirement("R-5.1-1", "R-5.1-2")
def test_a_device_answers_where_it_was_assigned_and_nowhere_else() -> None:
    device = asks({"io": [0x220, 0x280], "align": 0x20, "length": 16}, {"irq": [5]})
    taken = Host(io=(Placed(0x220, 16, 16),))
    found = play(card_of(device), host=taken)
    card = found.slots[0].card
    assert card is not None
    assert [port for port in range(0x400) if card.drive(port) is not None] == [*range(0x240, 0x250)]


@pytest.mark.requirement("R-6.2.2.6-2", "R-7-3")
def test_of_equal_priorities_the_first_is_given() -> None:
    choices = [
        {"priority": "good", "resources": [{"io": base, "length": 16}]} for base in (0x240, 0x220)
    ]
    (device,) = answer(card_of({"choice": choices}))["cards"][0]["devices"]
    assert (device["choice"], device["io"]) == (0, [{"base": 0x240, "length": 16}])


@pytest.mark.requirement("R-2.2-5", "R-4.3-20", "R-4.3-21")
def test_a_range_check_moves_the_range() -> None:
    # The first card's key is turned off, but it is active from the start: the software can't know.
    hidden = asks({"io": 0x220, "length": 16}, boot=True)
    silent = Card(CATALOG, card_of(hidden), responds_to_key=False)
    checked = asks({"io": [0x220, 0x280], "align": 0x20, "length": 16}, registers=[0x31])
    card = Card(CATALOG, card_of(checked, serial=2), slot=1)
    found = power_up(CATALOG, Backplane(CATALOG.bus, [silent, card]), EMPTY_PC, assign)
    ((device,),) = [one.devices for one in found.cards]
    assert device.given is not None and device.given.values["io"] == (Placed(0x240, 16, 16),)
    assert card.devices[0].is_active


# --- bases that registers can hold (Spec A.3.1) ---------------------------------------------------

HELD = [
    # Lowest and highest base, alignment, length, upper limit: the bases that can be given.
    (0xA0000, 0xA0300, 0x80, 0x100, True, [0xA0000, 0xA0100, 0xA0200, 0xA0300]),
    (0xA0000, 0xA0300, 0x180, 0x100, True, [0xA0000, 0xA0300]),
    (0xC0000, 0xE0000, 0x10000, 0x20000, False, [0xC0000, 0xE0000]),
    (0xC8000, 0xD0000, 0x4000, 0x8000, False, [0xC8000, 0xD0000]),
    (0xC0000, 0xE0000, 0x10000, 0x18000, False, []),  # no power of two
    (0xC0000, 0xE0000, 0x10000, 0x18000, True, [0xC0000, 0xD0000, 0xE0000]),
    (0xC4000, 0xC4000, 0x4000, 0x8000, False, []),  # not aligned to its length
    (0xFE0000, 0xFF0000, 0x10000, 0x10000, True, [0xFE0000]),  # a limit of 16 MiB doesn't fit
    (0xFE0000, 0xFF0000, 0x10000, 0x10000, False, [0xFE0000, 0xFF0000]),
]


@pytest.mark.requirement("R-A.3.1-3", "R-A.3.1-6", "R-A.3.1-8", "R-A.3.1-9")
@pytest.mark.parametrize(("low", "high", "align", "length", "limit", "bases"), HELD)
def test_only_bases_that_the_registers_hold_are_given(
    low: int, high: int, align: int, length: int, limit: bool, bases: list[int]
) -> None:
    entry = {"memory24": [low, high], "length": length, "align": align, "high_address": limit}
    image = decode(CATALOG, card_of(asks(entry)))
    taken: list[Placed] = []
    for _ in range(len(bases) + 1):
        host = Host(memory=tuple(taken))
        found = assign(CATALOG, [requirements_of(image)], host)
        if not found.feasible:
            break
        (given,) = found.devices
        assert given.values["memory"][0] is not None
        taken.append(Placed(given.as_json()["memory"][0]["base"], 0x100, 24))
    assert [one.base for one in taken] == bases


def test_memory_is_not_put_on_the_host_s_own_by_a_base_that_is_cut() -> None:
    # Alignment 80h: the next base after A0000h that 40h and 41h can hold is A0100h (Spec A.3.1).
    entry = {"memory24": [0xA0000, 0xA0200], "length": 0x100, "align": 0x80, "high_address": True}
    host = Host(memory=(Placed(0xA0000, 0x80, 32),))
    found = registers(card_of(asks(entry)), host=host)
    assert (found[0x40], found[0x41]) == (0x0A, 0x01)


# --- what software of the field keeps and leaves out (PnP code of an operating system kernel) -----


@pytest.mark.parametrize(
    ("needs", "given"),
    [
        ({"io": 0xA79, "length": 1}, None),
        ({"io": [0xA78, 0xA7A], "align": 1, "length": 1}, 0xA78),
        ({"io": [0xA79, 0xA7A], "align": 1, "length": 1}, 0xA7A),
        ({"io": 0x210, "length": 8}, None),  # READ_DATA is at 213h
        ({"io": [0x210, 0x218], "align": 8, "length": 8}, 0x218),
        # Compared without aliases: 279h is A79h to who decodes ten bits, 613h is 213h.
        ({"io": 0x278, "length": 4, "decode": 10}, 0x278),
        ({"io": 0x610, "length": 8, "decode": 10}, 0x610),
        ({"io": [0x210, 0x610], "align": 0x80, "length": 8, "decode": 10}, 0x290),
    ],
)
def test_ports_that_software_keeps(needs: dict[str, Any], given: int | None) -> None:
    found = answer(card_of(asks(needs)))
    assert found["read_data"] == 0x213
    (card,) = found["cards"]
    assert [one["io"][0]["base"] for one in card["devices"]] == ([] if given is None else [given])
    said = [one["remark"] for one in found["warnings"]]
    if given is None:
        assert said == ["ports-kept"]
        assert found["left_out"] == [{"card": 0, "device": "QRL0001", "number": 0}]
    else:
        # At its alias it answers at READ_DATA all the same, once it is active.
        assert said == (["read-port-spoilt"] if given == 0x610 else [])
    # `assign` knows of no such ports: they take nothing from a card.
    assert assign(CATALOG, [requirements_of(decode(CATALOG, card_of(asks(needs))))]).feasible


def test_devices_numbered_above_10_are_never_activated() -> None:
    devices = [asks({"io": 0x300 + 8 * n, "length": 8}) for n in range(13)]
    found = answer(card_of(*devices))
    assert [one["number"] for one in found["cards"][0]["devices"]] == [*range(11)]
    assert [one["number"] for one in found["left_out"]] == [11, 12]
    assert [one["remark"] for one in found["warnings"]] == ["number-too-high"] * 2


# --- who configures the card (Spec 6.2.2.2, C.1) --------------------------------------------------


@pytest.mark.requirement("R-6.2.2.2-6", "R-C.1-2")
def test_a_bios_for_a_pnp_system_configures_boot_devices_only() -> None:
    found = play(card_of(SOUND, BOOT), by="boot")
    data = answer_of(CATALOG, found).as_json()
    assert data["configured_by"] == "boot"
    assert [one["device"] for one in data["cards"][0]["devices"]] == ["QRL0002"]
    assert data["left_out"] == [{"card": 0, "device": "QRL0001", "number": 0}]
    assert [one["remark"] for one in data["warnings"]] == ["not-for-boot"]
    assert not answer_of(CATALOG, found).is_well
    # It gives a boot device another line than at power-up, where it must.
    moved = asks({"irq": [11, 12]}, {"io": 0x340, "length": 16}, boot=True)
    taken = Host(irq={11})
    (device,) = answer(card_of(moved), host=taken, by="boot")["cards"][0]["devices"]
    assert device["irq"] == [12]


@pytest.mark.requirement("R-0-2", "R-4.3-1", "R-C.1-4", "R-C.1-6")
def test_without_pnp_software_only_boot_devices_are_on() -> None:
    found = play(card_of(SOUND, BOOT), by="none")
    data = answer_of(CATALOG, found).as_json()
    assert (data["cards"], data["lost"], data["read_data"]) == ([], [], None)
    (active,) = data["active"]
    assert (active["device"], active["number"], active["irq"]) == ("QRL0002", 1, [11])
    assert dict(active["registers"])[0x30] == 1
    assert data["left_out"] == [{"card": 0, "device": "QRL0001", "number": 0}]
    assert not answer_of(CATALOG, found).is_well
    assert answer_of(CATALOG, play(card_of(BOOT), by="none")).is_well
