"""What PnP software can assign: compared with CP-SAT, and against trying everything."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from random import Random
from typing import Any

import pytest

from romtool.assign import candidates
from romtool.assign.answer import Assignment, Side
from romtool.assign.assign import assign
from romtool.assign.host import EMPTY_PC, Entry, Host
from romtool.assign.outcome import free_instead, still_free
from romtool.errors import InputError
from romtool.files.schemas import load_catalog
from romtool.requirements.collide import Placed
from romtool.requirements.model import (
    Alternative,
    CardRequirements,
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.schema.catalog import Catalog
from tests.support import assigning as other
from tests.support.amount import is_whole, some

CATALOG = load_catalog()
BITS = 4
SMALL = CATALOG.altered(bus=CATALOG.bus.altered(alias_step=1 << BITS))
"""A bus on which aliases begin anew after 16 ports, so that everything can be tried."""
ROOT = Path(__file__).resolve().parent.parent


def requirement_of(need: other.Requirement) -> Requirement:
    ((kind, what),) = need.items()
    if kind in ("irq", "dma"):
        return LineRequirement(kind, tuple(what))
    low, high, step, length, *bits = what
    return RangeRequirement(kind, low, high, step, length, bits[0] if bits else 32)


def requirements_of(cards: list[list[other.Device]]) -> list[CardRequirements]:
    return [
        CardRequirements(
            "QRL0301", number, tuple(device_of(device, n) for n, device in enumerate(card))
        )
        for number, card in enumerate(cards)
    ]


def device_of(device: other.Device, number: int) -> DeviceRequirements:
    before, after = (tuple(map(requirement_of, device[key])) for key in ("before", "after"))
    alternatives = []
    for place, choice in enumerate(device["choices"]):
        own = tuple(map(requirement_of, choice["needs"]))
        needs = (*before, *own, *after)
        alternatives.append(Alternative(place, None, choice["rank"], own, needs))
    if not alternatives:
        alternatives.append(Alternative(None, None, 0, (), (*before, *after)))
    return DeviceRequirements(device["id"], number, None, before, tuple(alternatives), after)


def host_of(host: other.Host) -> Host:
    return Host(
        "drawn",
        irq=host["irq"],
        dma=host["dma"],
        io=(Placed(*entry) for entry in host["io"]),
        memory=(Placed(base, length, 32) for base, length in host["memory"]),
    )


def answer_of(cards: list[list[other.Device]], found: Assignment) -> other.Answer:
    """An assignment in the words of the tests."""
    devices = [device for card in cards for device in card]
    places = [(number, n) for number, card in enumerate(cards) for n in range(len(card))]
    given = {(one.card, one.number): one for one in found.devices}
    assert {*given, *found.left_out} == set(places)
    assert len(given) + len(found.left_out) == len(places)
    chosen = [given[place].choice if place in given else None for place in places]
    listed: list[list[int | None]] = []
    score = 0
    for place, device, choice in zip(places, devices, chosen, strict=True):
        if place not in given:
            listed.append([])
            continue
        score += other.rank(device, choice)
        left = {kind: list(given[place].values[kind]) for kind in ("irq", "dma", "io", "memory")}
        row: list[int | None] = []
        for need in other.in_effect(device, choice):
            value: Any = left[next(iter(need))].pop(0)
            row.append(value.base if isinstance(value, Placed) else value)
        assert not any(left.values())
        listed.append(row)
    return len(found.left_out), score, chosen, listed


def compare(cards: list[list[other.Device]], host: other.Host, catalog: Catalog = CATALOG) -> None:
    devices = [device for card in cards for device in card]
    found = assign(catalog, requirements_of(cards), host_of(host))
    expected = other.by_solver(devices, host)
    assert found.feasible == (expected[0] == 0)
    assert found.score == (expected[1] if found.feasible else None)
    assert answer_of(cards, found) == expected


@pytest.mark.parametrize("seed", some(range(150)))
def test_small_ones_as_cp_sat_has_them(seed: int) -> None:
    rng = Random(seed)
    compare(other.draw_cards(rng, rng.randint(1, 3), 2), other.draw_host(rng))


@pytest.mark.parametrize("seed", some(range(1000, 1024)))
def test_up_to_eight_cards_as_cp_sat_has_them(seed: int) -> None:
    rng = Random(seed)
    compare(other.draw_cards(rng, 4 + seed % 5, 5), other.draw_host(rng))


@pytest.mark.parametrize("seed", some(range(2000, 2060)))
def test_small_ones_as_trying_everything_has_them(seed: int) -> None:
    rng = Random(seed)
    cards, host = other.draw_cards(rng, rng.randint(1, 2), 2), other.draw_host(rng)
    expected = other.by_trying([device for card in cards for device in card], host)
    found = assign(CATALOG, requirements_of(cards), host_of(host))
    assert found.feasible == (expected is not None)
    assert expected is None or answer_of(cards, found) == expected


@pytest.mark.parametrize("seed", some(range(3000, 3300)))
def test_few_bases_of_wide_ranges_suffice(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    # Every range of more than one base is cut down as if it were wide.
    monkeypatch.setattr(candidates, "MANY", 1)
    compare(*other.draw_crowded(Random(seed), "io" if seed % 4 else "memory", BITS), SMALL)


@pytest.mark.parametrize("seed", some(range(5000, 5120)))
def test_kept_ports_and_bases_that_registers_hold(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ports that software keeps, whatever their aliases; bases that are multiples of a unit.

    The other hand leaves out the values that the need can't be given so.
    """
    rng = Random(seed)
    cards, host = other.draw_crowded(rng, "memory" if seed % 4 == 0 else "io", BITS)
    kept, unit = rng.sample(range(3 << BITS), 3), rng.choice([1, 2, 4])
    every, plain = other.values, requirement_of

    def values(need: other.Requirement) -> list[int]:
        ((kind, what),) = need.items()
        if kind == "memory":
            return [base for base in every(need) if base % unit == 0]
        return [base for base in every(need) if not {*range(base, base + what[3])} & {*kept}]

    def held(need: other.Requirement) -> Requirement:
        found = plain(need)
        if isinstance(found, LineRequirement) or found.kind != "memory":
            return found
        bases = [base for base in found.stated if base % unit == 0]
        step = bases[1] - bases[0] if len(bases) > 1 else 1
        return found._replace(held=range(bases[0], bases[-1] + 1, step) if bases else range(0))

    monkeypatch.setattr(candidates, "MANY", 1)
    monkeypatch.setattr(sys.modules[__name__], "requirement_of", held)
    cases = requirements_of(cards)
    monkeypatch.setattr(other, "values", values)
    found = assign(SMALL, cases, host_of(host), kept)
    devices = [device for card in cards for device in card]
    assert answer_of(cards, found) == other.by_solver(devices, host)


@pytest.mark.parametrize("seed", some(range(4000, 4080)))
def test_nothing_can_be_left_out_of_a_conflict(seed: int) -> None:
    rng = Random(seed)
    cards, host = other.draw_cards(rng, rng.randint(1, 4), 3), other.draw_host(rng)
    if seed % 4 == 0:
        cards, host = other.draw_crowded(rng, rng.choice(["io", "memory"]), BITS)
    found = assign(SMALL if seed % 4 == 0 else CATALOG, requirements_of(cards), host_of(host))
    clash = found.conflict
    assert (clash is None) == found.feasible
    if clash is None:
        return
    parties: list[Any] = [*clash.sides, *clash.entries]
    assert clash.names() == [
        party.id if isinstance(party, Side) else str(party) for party in parties
    ]

    def together(kept: list[Any]) -> bool:
        devices = [cards[card][number] for card, number, *_ in kept_of(kept, Side)]
        return other.feasible(devices, only(host, kept_of(kept, Entry)))

    assert not together(parties)
    for party in parties:
        assert together([one for one in parties if one is not party])


def kept_of(parties: list[Any], kind: type) -> list[Any]:
    return [party for party in parties if isinstance(party, kind)]


def only(host: other.Host, entries: list[Entry]) -> other.Host:
    """A host that has taken just these entries."""

    def rows(kind: str) -> list[Any]:
        values = [entry.value for entry in entries if entry.kind == kind]
        return [v if isinstance(v, int) else (v.base, v.length, v.bits) for v in values]

    kept = {kind: rows(kind) for kind in ("irq", "dma", "io")}
    kept["memory"] = [(base, length) for base, length, _ in rows("memory")]
    assert all(row in host[kind] for kind in kept for row in kept[kind])
    return kept


# --- what is known without a solver

NOTHING: other.Host = {"irq": [], "dma": [], "io": [], "memory": []}


def device(*needs: other.Requirement, choices: tuple[other.Device, ...] = ()) -> other.Device:
    return {"id": "QRL0001", "before": list(needs), "choices": list(choices), "after": []}


def given(*devices: other.Device, host: other.Host = NOTHING) -> list[list[int | None]]:
    """The values of devices of one card, in a host that has room for them."""
    found = assign(CATALOG, requirements_of([list(devices)]), host_of(host))
    assert found.feasible
    return answer_of([list(devices)], found)[3]


def test_a_range_of_4_gib_is_placed_behind_what_is_taken() -> None:
    wide: other.Requirement = {"memory": (0, 0xFFFFFFFF, 1, 0x12345)}
    host = {**NOTHING, "memory": [(0x10000, 0x80000), (0xA0000, 0x20000)]}
    # Before 10000h and between 90000h and A0000h there is less room than 12345h.
    assert given(device(wide), device(wide), host=host) == [[0xC0000], [0xD2345]]


def test_a_wide_range_makes_way_for_a_later_one_that_can_t() -> None:
    wide: other.Requirement = {"memory": (0, 0xFFFFFFFF, 1, 0x300)}
    fixed: other.Requirement = {"memory": (0x200, 0x200, 1, 0x100)}
    assert given(device(wide), device(fixed)) == [[0x300], [0x200]]
    ports: other.Requirement = {"io": (0, 0xFFFF, 1, 0x40, 10)}
    # 610h is 210h to who decodes ten bits: between the aliases of 200h-20Fh there is room.
    later: other.Requirement = {"io": (0x600, 0x600, 1, 16, 16)}
    assert given(device({"io": (0x1F8, 0xFFFF, 1, 0x40, 10)}), device(later)) == [[0x210], [0x600]]
    assert given(device(ports), device(later)) == [[0], [0x600]]


def test_forty_devices_that_want_one_of_ten_lines() -> None:
    lines: other.Requirement = {"irq": [3, 4, 5, 7, 9, 10, 11, 12, 14, 15]}
    choices: tuple[other.Device, ...] = ({"rank": 0, "needs": [lines]}, {"rank": 1, "needs": []})
    devices = [device(choices=choices) for _ in range(40)]
    found = assign(CATALOG, requirements_of([devices]))
    assert found.score == 30
    # Ten get a line, the first ten; the smallest first.
    assert answer_of([devices], found)[2] == [0] * 10 + [1] * 30
    assert [one.values["irq"] for one in found.devices[:10]] == [(line,) for line in lines["irq"]]
    greedy = [device(lines) for _ in range(40)]
    found = assign(CATALOG, requirements_of([greedy]))
    assert not found.feasible
    assert found.conflict is not None and len(found.conflict.sides) == 11
    assert len(found.left_out) == 30


def test_a_host_s_irq_2_doesn_t_take_9_and_line_2_is_9() -> None:
    host = {**NOTHING, "irq": [2]}
    assert given(device({"irq": [9]}), host=host) == [[9]]
    # A card's pin 2 is the line that goes by 9 (common practice, no source).
    assert given(device({"irq": [2]}), device({"irq": [9, 10]})) == [[2], [10]]


def test_ports_of_the_protocol_take_nothing_from_a_card() -> None:
    # Example 7.1 of the standard has a printer port at 278h, of which 279h is the status register.
    printer: other.Requirement = {"io": (0x278, 0x278, 1, 4, 16)}
    assert given(device(printer, {"io": (0xA79, 0xA79, 1, 1, 16)})) == [[0x278, 0xA79]]


def test_two_items_of_one_device_share_nothing() -> None:
    both = device({"irq": [5, 7]}, {"irq": [5]}, {"io": (0x220, 0x230, 16, 16, 16)},
                  {"io": (0x220, 0x220, 1, 16, 10)})  # fmt: skip
    assert given(both) == [[7, 5, 0x230, 0x220]]


def test_what_asks_for_nothing_keeps_its_place() -> None:
    empty = device({"irq": []}, {"irq": [5]}, {"dma": []}, {"io": (0, 0, 1, 0, 16)},
                   {"io": (0x220, 0x220, 1, 4, 16)})  # fmt: skip
    (one,) = assign(CATALOG, requirements_of([[empty]])).devices
    assert one.values == {
        "irq": (None, 5), "dma": (None,), "io": (None, Placed(0x220, 4, 16)), "memory": (),
    }  # fmt: skip


def test_more_wide_ranges_than_can_be_looked_at_are_refused() -> None:
    ten = [device({"io": (0, 0xFFFF, 1, 40, 10)}) for _ in range(20)]
    sixteen = [device({"io": (0, 0xFFFF, 1, 40, 16)}) for _ in range(10)]
    last = [device({"io": (base, base, 1, 8, 10)}) for base in range(0x100, 0x400, 0x40)]
    with pytest.raises(InputError, match="nearly anywhere"):
        assign(CATALOG, requirements_of([[*ten, *sixteen, *last]]))


def test_the_same_answer_whatever_the_order_of_sets() -> None:
    script = (
        "from random import Random; from tests.test_assign import *\n"
        "for seed in (1, 2, 3):\n"
        "    rng = Random(seed)\n"
        "    cards, host = other.draw_cards(rng, 4, 4), other.draw_host(rng)\n"
        "    print(assign(CATALOG, requirements_of(cards), host_of(host)))\n"
    )
    told = {
        subprocess.run(
            [sys.executable, "-c", script],
            capture_output=True,
            check=True,
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed},
        ).stdout
        for seed in (("0", "1", "77") if is_whole else ("0", "77"))
    }
    assert len(told) == 1 and told != {b""}


def test_a_crowd_of_both_kinds_of_decode_is_counted() -> None:
    """Fifteen ranges of 16 ports, 13 places from 200h to 380h every 20h: two get nothing.

    Below the first alias two ranges collide alike, however many bits they decode; told nothing of
    that, a solver tries all orders of them.
    """
    devices = [
        {
            "id": f"QRL{n:04X}",
            "before": [],
            "after": [],
            "choices": [
                {"rank": 0, "needs": [{"io": [0x200, 0x380, 0x20, 16, 16]}]},
                {"rank": 1, "needs": [{"io": [0x200, 0x380, 0x20, 16, 10]}]},
            ],
        }
        for n in range(15)
    ]
    found = assign(CATALOG, requirements_of([devices]))
    assert not found.feasible
    assert len(found.left_out) == 2
    assert found.conflict is not None
    assert len(found.conflict.sides) == 14
    assert {one.choice for one in found.devices} == {0}


# --- what else was free ---------------------------------------------------------------------------


def all_free(
    host: other.Host, *devices: other.Device
) -> tuple[dict[str, list[int]], list[list[list[int]]]]:
    """What is free still, by kind; and for each device what each need could have been instead."""
    (card,) = requirements_of([list(devices)])
    pc = host_of(host)
    given = assign(CATALOG, [card], pc).devices
    rows = [
        [one.free for one in free_instead(CATALOG, pc, given, mine, device.alternatives[0])]
        for mine, device in zip(given, card.devices, strict=True)
    ]
    return {kind.name: lines for kind, lines in still_free(CATALOG, pc, given)}, rows


@pytest.mark.parametrize(("bases", "is_cut"), [(9, False), (10, True)])
def test_more_free_bases_than_are_told(bases: int, is_cut: bool) -> None:
    """Eight are told; that there are more only where there are."""
    (card,) = requirements_of([[device({"io": [0x200, 0x200 + 16 * (bases - 1), 16, 16, 16]})]])
    given = assign(CATALOG, [card], EMPTY_PC).devices
    alternative = card.devices[0].alternatives[0]
    (told,) = free_instead(CATALOG, EMPTY_PC, given, given[0], alternative)
    assert (len(told.free), told.is_cut) == (8, is_cut)


def test_lines_that_nobody_has_taken() -> None:
    host = {**NOTHING, "irq": [3, 4], "dma": [2]}
    free, rows = all_free(
        host, device({"irq": [5, 7, 4, 10]}, {"dma": [1, 2, 3]}), device({"irq": [7, 10, 11]})
    )
    # 0, 1, 8 and 13, and channel 4, reach no slot, 2 is 9 there (common practice, no source).
    assert free == {"irq": [6, 9, 10, 11, 12, 14, 15], "dma": [0, 3, 5, 6, 7]}
    assert rows == [[[10], [3]], [[10, 11]]]


def test_a_line_that_goes_by_another_number_is_taken_with_it() -> None:
    _, rows = all_free(NOTHING, device({"irq": [9]}), device({"irq": [2, 5, 10]}))
    assert rows == [[[]], [[10]]]


def test_a_need_of_nothing_could_not_have_been_another() -> None:
    _, rows = all_free(NOTHING, device({"irq": []}, {"irq": [5, 7]}, {"irq": [7, 9]}))
    assert rows == [[[], [9]]]


@pytest.mark.parametrize("mine", [10, 16])
@pytest.mark.parametrize("taken", [10, 16])
@pytest.mark.parametrize("step", [1, 4])
def test_bases_that_hit_nothing(step: int, taken: int, mine: int) -> None:
    """Counted out: each base tried against each port that is taken, aliases and all."""
    host = {**NOTHING, "io": [(0x234, 12, taken), (0x250, 1, taken), (0x640, 16, taken)]}
    wide: other.Requirement = {"io": (0x210, 0x2C0, step, 8, mine)}
    own: other.Requirement = {"io": (0x2A0, 0x2A0, 1, 4, 16)}
    _, rows = all_free(host, device(wide, own), device({"io": (0x220, 0x220, 1, 4, taken)}))

    def ports(base: int, length: int, bits: int) -> set[int]:
        # 10 bits: at every address equal mod 400h (common practice, no source).
        turns = range(0, 0x10000, 0x400) if bits == 10 else [0]
        first = base % 0x400 if bits == 10 else base
        return {(first + n) + turn for n in range(length) for turn in turns}

    used = set().union(*(ports(*one) for one in host["io"]))
    used |= ports(0x2A0, 4, 16) | ports(0x220, 4, taken)
    free = [base for base in range(0x210, 0x2C1, step) if not ports(base, 8, mine) & used]
    assert free[0] == 0x210  # what it was given
    assert rows == [[free[1:9], []], [[]]]
