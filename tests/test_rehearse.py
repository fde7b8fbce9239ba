"""The whole rehearsal: which cards the PC sees, what they get, which it never sees and why.

Images are made by tests/support/independent.py; what stands in the cards' registers afterwards is
read by tests/support/bus_scan.py, and compared with the solver of tests/support/assigning.py.
"""

from __future__ import annotations

from itertools import combinations
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romtool.assign.assign import assign
from romtool.assign.host import EMPTY_PC, Host
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.rehearse.answer import answer_of
from romtool.rehearse.bus import Backplane
from romtool.rehearse.rehearsal import Rehearsal, rehearse
from romtool.requirements.collide import Placed
from romtool.schema.catalog import Catalog
from romtool.text.rehearsal import rehearsal_lines
from tests.support import assigning as other
from tests.support.amount import examples, some
from tests.support.bus_scan import Scan
from tests.support.independent import encode, identifier_checksum, pack_id, pnp_bytes
from tests.support.profiles import LAYOUTS, Table
from tests.test_assign import host_of

CATALOG = load_catalog()


def profile(
    card: str = "QRL0301", layout: str = "plain", *, serial: int | None = 1, **more: Any
) -> Table:
    """A card with one device that takes IRQ 5, 7 or 9, DMA 1 or 3 and 16 ports."""
    table: Table = {
        "image": {"layout": layout},
        "card": {"id": card} | ({} if serial is None else {"serial": serial}),
        "device": [
            {
                "id": "QRL0001",
                "resources": [
                    {"irq": [5, 7, 9]},
                    {"dma": [1, 3]},
                    {"io": [0x220, 0x280], "align": 0x20, "length": 16},
                ],
            }
        ],
    }
    return {**table, **more}


def play(*images: bytes | Table, host: Host = EMPTY_PC, catalog: Catalog = CATALOG) -> Rehearsal:
    data = [image if isinstance(image, bytes) else encode(image) for image in images]
    named = [(f"{n}.bin", decode(catalog, one)) for n, one in enumerate(data)]
    return rehearse(catalog, named, assign, host)


def answer(found: Rehearsal) -> dict[str, Any]:
    return answer_of(CATALOG, found).as_json()


def only(found: Rehearsal, slot: int) -> str:
    """The one reason why the card in a slot is lost."""
    ((remark,),) = [lost.why for lost in found.lost if lost.slot == slot]
    return remark.name


# --- what is seen ---------------------------------------------------------------------------------


def test_four_cards_of_four_frames() -> None:
    cards = [profile(f"QRL03{n}1", layout) for n, layout in enumerate(LAYOUTS, 1)]
    found = play(*cards)
    assert [card["csn"] for card in answer(found)["cards"]] == [1, 2, 3, 4]
    sizes = {card["card"]["id"]: len(pnp_bytes(card)) for card in cards}
    assert {card["id"]: card["resource_bytes"] for card in answer(found)["cards"]} == sizes
    assert all(card["checksum_ok"] is True for card in answer(found)["cards"])
    assert not found.lost


def test_the_card_whose_first_differing_bit_is_1_comes_first() -> None:
    # Serial numbers are sent lowest bit first (Spec 6.1): 3 is 1100…, 1 is 1000…, 2 is 0100…
    found = play(*(profile(serial=n) for n in (1, 2, 3)))
    assert [card["serial"] for card in answer(found)["cards"]] == [3, 1, 2]
    assert [card["card"] for card in answer(found)["cards"]] == [2, 0, 1]


def test_nothing_in_the_slots_answers() -> None:
    found = play(bytes([0xFF]) * 256)
    assert answer(found)["cards"] == []
    assert only(found, 0) == "no-layout"
    assert answer(found)["lost"][0]["id"] is None
    assert not answer_of(CATALOG, found).is_well


# --- what is lost ---------------------------------------------------------------------------------


@pytest.mark.parametrize("serial", [None, 7])
def test_of_twins_one_is_lost(serial: int | None) -> None:
    found = play(profile(serial=serial), profile(serial=serial))
    (seen,) = answer(found)["cards"]
    assert (seen["card"], seen["serial"]) == (0, serial)
    assert only(found, 1) == "duplicate"
    (lost,) = answer(found)["lost"]
    assert lost["id"] == "QRL0301"
    assert ("neither has a serial number" if serial is None else "serial number 7") in lost["why"]
    assert "0.bin" in lost["why"]
    assert not found.warnings  # what they say is the same


def test_twins_that_say_different_things_are_garbage() -> None:
    twins = [profile(), profile()]
    twins[1]["device"][0]["id"] = "QRL0002"
    found = play(*twins)
    assert only(found, 1) == "duplicate"
    assert "garbage" in [warned.remark.name for warned in found.warnings]
    (seen,) = answer(found)["cards"]
    # Wired and: 0001h and 0002h make 0000h.
    assert [device.requirements.id for device in found.seen[0].card.devices] == ["QRL0000"]
    assert seen["checksum_ok"] is False


@pytest.mark.parametrize("layout", ["counted-19", "counted-7", "marked-8"])
def test_a_wrong_signature_and_the_card_is_absent(layout: str) -> None:
    image = bytearray(encode(profile(layout=layout)))
    image[0] ^= 0x01
    found = play(bytes(image), profile("QRL0302"))
    assert [card["id"] for card in answer(found)["cards"]] == ["QRL0302"]
    assert only(found, 0) == "eeprom-ignored"
    assert "built into" in answer(found)["lost"][0]["why"]


def test_a_key_that_is_turned_off() -> None:
    image = bytearray(encode(profile(layout="counted-19")))
    image[6] |= 0x20  # bit 5 of the miscellaneous byte turns the key off (from memory)
    found = play(bytes(image), profile("QRL0302"))
    assert [card["id"] for card in answer(found)["cards"]] == ["QRL0302"]
    assert only(found, 0) == "key-off"


def wrong_checksum(**more: Any) -> Table:
    return profile(override={"id_checksum": 0x55}, **more)


def test_a_wrong_identifier_checksum_hides_what_comes_later() -> None:
    # The wrong one is isolated second: 1 before 2 before 4 (lowest bit first).
    cards = [
        profile(serial=4),
        wrong_checksum(serial=2),
        profile(serial=1),
    ]
    found = play(*cards)
    assert [card["serial"] for card in answer(found)["cards"]] == [1]
    assert [only(found, slot) for slot in (0, 1)] == ["after", "identifier-wrong"]
    assert "1.bin" in answer(found)["lost"][0]["why"]
    # One that doesn't respond to the key is not to blame, though its bits are the same.
    deaf = bytearray(encode(profile(layout="counted-19", serial=2)))
    deaf[6] |= 0x20  # bit 5 of the miscellaneous byte (from memory)
    deaf[23 + 8] = 0x55
    found = play(bytes(deaf), *cards)
    assert [only(found, slot) for slot in (0, 1, 2)] == ["key-off", "after", "identifier-wrong"]
    assert "2.bin" in answer(found)["lost"][1]["why"]


def test_a_wrong_identifier_checksum_alone_makes_it_try_all_ports() -> None:
    found = play(wrong_checksum())
    tried = [step.facts["port"] for step in found.steps if step.name == "read-port"]
    # The PnP code of an operating system kernel: from 213h, every 20h, without 280h-380h.
    assert tried == [0x213, 0x233, 0x253, 0x273, 0x393, 0x3B3, 0x3D3, 0x3F3]
    assert only(found, 0) == "identifier-wrong"


def test_a_checksum_that_the_chip_may_compute_itself() -> None:
    found = play(profile(override={"id_checksum": 0}))
    ((_, said),) = [lost.why for lost in found.lost]
    assert said.name == "identifier-left-out"


def test_a_right_checksum_of_zero() -> None:
    # Some serial number gives it (Spec App. B.2, by another hand).
    header = pack_id("QRL0301")
    serial = next(
        n for n in range(1, 5000) if identifier_checksum(header + n.to_bytes(4, "little")) == 0
    )
    found = play(profile(serial=serial), profile("QRL0302"))
    assert only(found, 0) == "identifier-refused"


def test_no_port_for_the_reads() -> None:
    found = play(profile(), host=Host(io=(Placed(0x200, 0x200, 16),)))
    assert answer(found)["read_data"] is None
    assert only(found, 0) == "no-read-port"


def test_numbers_run_out() -> None:
    software = CATALOG.pnp_software.altered(last_csn=2)
    few = CATALOG.altered(pnp_software=software)
    cards = [profile(serial=n) for n in (1, 3, 2)]
    found = play(*cards, catalog=few)
    assert [seen.card.csn for seen in found.seen] == [1, 2]
    assert only(found, 2) == "no-number"


# --- what deserves a look -------------------------------------------------------------------------


def names(found: Rehearsal) -> list[str]:
    return [warned.remark.name for warned in found.warnings]


def test_a_line_that_no_pin_drives() -> None:
    wired = {"irq_wiring": [9, 7, 0, 0, 0, 0], "dma_wiring": [4, 3, 4]}
    found = play(profile(layout="counted-7", config=wired))
    # The software takes the smallest of each: IRQ 5, DMA 1.
    assert names(found) == ["undriven", "undriven"]
    texts = [warned.remark.text for warned in found.warnings]
    assert "IRQ line 5" in texts[0] and "irq_wiring" in texts[0]
    assert "DMA channel 1" in texts[1] and "dma_wiring" in texts[1]
    assert [one["device"] for one in answer(found)["warnings"]] == ["QRL0001", "QRL0001"]
    assert answer_of(CATALOG, found).is_well  # the PC sees nothing wrong
    wired = {"irq_wiring": [9, 7, 5, 0, 0, 0], "dma_wiring": [4, 3, 1]}
    assert not play(profile(layout="counted-7", config=wired)).warnings


def test_irq_2_is_line_9() -> None:
    wired = {"irq_wiring": [9, 0, 0, 0, 0, 0]}
    device = {"id": "QRL0001", "resources": [{"irq": [2]}]}
    found = play(profile(layout="counted-7", config=wired, device=[device]))
    assert not found.warnings
    assert registers(found)[0][0]["irq"] == [9, 0]


def test_a_count_that_is_too_small_cuts_the_data() -> None:
    whole = profile(layout="counted-19")
    cut = profile(layout="counted-19", override={"count": len(pnp_bytes(whole)) - 2})
    found = play(cut)
    assert names(found) == ["no-end"]
    (card,) = answer(found)["cards"]
    assert card["checksum_ok"] is None
    assert card["resource_bytes"] == len(pnp_bytes(whole)) - 2  # all but the end item
    without = profile(layout="counted-19", override={"count": len(pnp_bytes(whole)) - 9})
    assert not play(without).warnings  # counted without the identifier: common practice, accepted


def test_an_end_checksum_that_is_wrong_is_told() -> None:
    found = play(profile(override={"end_checksum": 1}))
    assert names(found) == ["end-checksum"]
    assert answer(found)["cards"][0]["checksum_ok"] is False
    assert answer_of(CATALOG, found).is_well


def test_a_device_gets_nothing() -> None:
    found = play(profile(), profile("QRL0302"), host=Host(irq={7, 9}))
    assert [len(card["devices"]) for card in answer(found)["cards"]] == [1, 0]
    assert answer(found)["left_out"] == [
        {"card": found.seen[1].slot, "device": "QRL0001", "number": 0}
    ]
    assert answer(found)["conflict"]
    assert not answer_of(CATALOG, found).is_well


@pytest.mark.requirement("R-A.3.1-4", "R-A.3.1-6", "R-A.3.1-7", "R-A.3.1-9", "R-A.3.1-14")
def test_memory_and_types_in_the_registers() -> None:
    # Spec A.3: control bit 1 is 16 bits wide, bit 0 says that a limit follows, else a mask; type
    # bit 0 is level, bit 1 is high. 32-bit: control bits 2:1 are 3 for 32 bits wide.
    low = {"memory24": [0xC8000, 0xC8000], "length": 0x4000, "align": 0x4000, "width": "16"}
    high = {"memory32": [0xFE000000, 0xFE000000], "length": 0x1000, "align": 1, "width": "32"}
    cards = [
        profile(
            serial=1,
            device=[{"id": "QRL0001", "resources": [low, {"irq": [5], "trigger": ["low-level"]}]}],
        ),
        profile(
            serial=2,
            device=[
                {
                    "id": "QRL0002",
                    "resources": [
                        {**low, "memory24": [0xD0000, 0xD0000], "high_address": True},
                        {"irq": [7]},
                    ],
                }
            ],
        ),
        profile(
            serial=4,
            device=[{"id": "QRL0003", "resources": [high, {**high, "memory32": [0, 0]}]}],
        ),
    ]
    first, second, third = registers(play(*cards))
    # Without an upper limit the length stands as a mask (Spec A.3.1).
    assert first[0]["memory24"][0] == (0xC8000, 2, 0xFFC000)
    assert first[0]["types"] == [1, 0]
    assert second[0]["memory24"][0] == (0xD0000, 3, 0xD4000)
    assert second[0]["types"] == [2, 0]
    assert third[0]["memory32"][:3] == [
        (0xFE000000, 6, 0xFFFFF000),
        (0, 6, 0xFFFFF000),
        (0, 0, 0),
    ]


# --- the cards' own registers, against the solver -------------------------------------------------


def registers(found: Rehearsal) -> list[list[dict[str, list[Any]]]]:
    """What stands in the registers of every device, card by card as numbered, read by the scan.

    The devices are turned off for it: one that is on may answer at READ_DATA.
    """
    cards = [slot.card for slot in found.slots if slot.card is not None]
    scan = Scan(Backplane(CATALOG.bus, cards), found.read_port or 0)
    scan.send_key()
    for seen in found.seen:
        for device in seen.card.devices:
            scan.open(seen.card.csn, device.requirements.number)
            scan.put(0x30, 0)
    return [
        [scan.given(seen.card.csn, device.requirements.number) for device in seen.card.devices]
        for seen in found.seen
    ]


def entry(need: other.Requirement) -> Table:
    """A need as an entry of a profile's list."""
    ((kind, what),) = need.items()
    if kind in ("irq", "dma"):
        return {kind: what}
    low, high, step, length, *bits = what
    key = "io" if kind == "io" else "memory32"
    decode = {"decode": bits[0]} if bits else {}
    # An upper limit: a mask of the length could not be had at every base (Spec A.3.1).
    upper = {} if kind == "io" else {"high_address": True}
    return {key: [low, high], "align": step, "length": length, **decode, **upper}


def device_of(device: other.Device) -> Table:
    choices = [
        {
            "priority": ("good", "acceptable", "sub-optimal")[choice["rank"]],
            "resources": [*map(entry, choice["needs"])],
        }
        for choice in device["choices"]
    ]
    return {
        "id": device["id"],
        "resources": [*map(entry, device["before"])],
        "choice": choices,
        "resources_after": [*map(entry, device["after"])],
    }


def few(device: other.Device) -> bool:
    """Whether a device has registers for all that it asks for (Spec App. A)."""
    most = {"irq": 2, "dma": 2, "io": 8, "memory": 4}
    kinds = [
        [next(iter(need)) for need in other.in_effect(device, choice)]
        for choice in other.choices_of(device)
    ]
    return all(found.count(kind) <= most[kind] for found in kinds for kind in most)


def draw(seed: int) -> tuple[list[list[other.Device]], other.Host]:
    rng = Random(seed)
    while True:
        cards = other.draw_cards(rng, rng.randint(1, 8), 3)
        host = other.draw_host(rng)
        host["io"] = [one for one in host["io"] if one[0] != 0x220]  # leaves READ_DATA a port
        if all(few(device) for card in cards for device in card):
            return cards, host


def in_registers(found: dict[str, list[Any]], needs: list[other.Requirement]) -> list[int]:
    """The values of a device's needs as its registers have them."""
    left = {kind: iter(found[key]) for kind, key in KEYS.items()}
    values = []
    for need in needs:
        value = next(left[next(iter(need))])
        values.append(value[0] if isinstance(value, tuple) else value)
    return values


KEYS = {"irq": "irq", "dma": "dma", "io": "io", "memory": "memory32"}


@pytest.mark.parametrize("seed", some(range(24)))
def test_random_cards_get_the_best_and_never_collide(seed: int) -> None:
    cards, host = draw(seed)
    images = [
        profile(serial=n, device=[*map(device_of, card)]) for n, card in enumerate(cards, 0x40)
    ]
    found = play(*images, host=host_of(host))
    assert not found.lost and len(found.seen) == len(cards)
    every = [device for card in cards for device in card]
    left_out, score, *_ = other.by_solver(every, host)
    rows = list(zip(found.seen, registers(found), strict=True))
    placed, mine, missing = list[tuple[int, other.Requirement, int]](), 0, 0
    for seen, values in rows:
        for device, held in zip(seen.card.devices, values, strict=True):
            drawn = cards[seen.slot][device.requirements.number]
            if device.given is None:
                missing += 1
                continue
            mine += other.rank(drawn, device.given.choice)
            needs = other.in_effect(drawn, device.given.choice)
            for need, value in zip(needs, in_registers(held, needs), strict=True):
                if not other.is_empty(need):
                    assert value in {other.ALSO.get(v, v) for v in other.values(need)} | set(
                        other.values(need)
                    )
                    assert not other.taken(need, value, host)
                    placed.append((len(placed), need, value))
    assert (missing, mine) == (left_out, score)
    for (_, one, value), (_, second, another) in combinations(placed, 2):
        assert not other.collide(one, value, second, another)


# --- whatever stands in the slots -----------------------------------------------------------------


def spoilt(serial: int, layout: str, at: int, value: int) -> bytes:
    """An image with one byte changed."""
    raw = bytearray(encode(profile(serial=serial, layout=layout)))
    raw[at % len(raw)] = value
    return bytes(raw)


images = st.one_of(
    st.binary(min_size=1, max_size=300),
    st.builds(
        spoilt,
        st.integers(0, 3),
        st.sampled_from(LAYOUTS),
        st.integers(0, 120),
        st.integers(0, 255),
    ),
)


@settings(deadline=None, max_examples=examples(100))
@given(st.lists(images, min_size=1, max_size=6))
def test_every_card_is_seen_or_lost(data: list[bytes]) -> None:
    found = play(*data)
    slots = sorted([*(seen.slot for seen in found.seen), *(lost.slot for lost in found.lost)])
    assert slots == list(range(len(data)))
    assert all(lost.why for lost in found.lost)
    assert all(step.text for step in found.steps)
    for line in rehearsal_lines(CATALOG, answer_of(CATALOG, found), trace=True):
        assert len(line.replace("\x1b[1m", "").replace("\x1b[0m", "")) <= 100
    answer_of(CATALOG, found).as_json()


def test_a_lead_is_played_and_resource_data_alone_is_not() -> None:
    pnp = pnp_bytes(profile())
    found = play(b"\x37HOLLOW" + pnp)
    assert [card["id"] for card in answer(found)["cards"]] == ["QRL0301"]
    assert names(found) == ["lead-played"]
    # What a system saved of a card has no identifier, which every card sends (Spec 6.1).
    found = play(pnp[9:])
    assert only(found, 0) == "no-identifier"
