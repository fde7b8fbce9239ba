"""What PnP software can assign: held against CP-SAT, and against trying everything."""

from __future__ import annotations

from random import Random
from typing import Any

import pytest

from romtool.assign.answer import Assignment
from romtool.assign.assign import assign
from romtool.assign.host import Host
from romtool.files.schemas import load_catalog
from romtool.wants.collide import Placed
from romtool.wants.needs import Alternative, CardWants, DeviceWants, Lines, Need, Span
from tests.support import assigning as other

CATALOG = load_catalog()


def need_of(need: other.Need) -> Need:
    ((kind, what),) = need.items()
    if kind in ("irq", "dma"):
        return Lines(kind, tuple(what))
    low, high, step, length, *bits = what
    return Span(kind, low, high, step, length, bits[0] if bits else 32)


def wants_of(cards: list[list[other.Device]]) -> list[CardWants]:
    return [
        CardWants("QRL0301", number, tuple(device_of(device, n) for n, device in enumerate(card)))
        for number, card in enumerate(cards)
    ]


def device_of(device: other.Device, number: int) -> DeviceWants:
    before, after = (tuple(map(need_of, device[key])) for key in ("before", "after"))
    alternatives = []
    for place, choice in enumerate(device["choices"]):
        own = tuple(map(need_of, choice["needs"]))
        needs = (*before, *own, *after)
        alternatives.append(Alternative(place, None, choice["rank"], own, needs))
    if not alternatives:
        alternatives.append(Alternative(None, None, 0, (), (*before, *after)))
    return DeviceWants(device["id"], number, None, before, tuple(alternatives), after)


def host_of(host: other.Host) -> Host:
    return Host(
        "drawn",
        frozenset(host["irq"]),
        frozenset(host["dma"]),
        tuple(Placed(*entry) for entry in host["io"]),
        tuple(Placed(base, length, 32) for base, length in host["memory"]),
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
        left = {kind: list(getattr(given[place], kind)) for kind in ("irq", "dma", "io", "memory")}
        row: list[int | None] = []
        for need in other.in_effect(device, choice):
            value: Any = left[next(iter(need))].pop(0)
            row.append(value.base if isinstance(value, Placed) else value)
        assert not any(left.values())
        listed.append(row)
    return len(found.left_out), score, chosen, listed


def compare(cards: list[list[other.Device]], host: other.Host) -> None:
    devices = [device for card in cards for device in card]
    found = assign(CATALOG, wants_of(cards), host_of(host))
    expected = other.by_solver(devices, host)
    assert found.feasible == (expected[0] == 0)
    assert found.score == (expected[1] if found.feasible else None)
    assert answer_of(cards, found) == expected


@pytest.mark.parametrize("seed", range(150))
def test_small_ones_as_cp_sat_has_them(seed: int) -> None:
    rng = Random(seed)
    compare(other.draw_cards(rng, rng.randint(1, 3), 2), other.draw_host(rng))
