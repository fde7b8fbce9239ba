"""Assignment problems by other hands: drawn at random, and solved with CP-SAT or by trying all.

A need is {"irq": lines}, {"dma": channels}, {"io": (low, high, step, length, bits)} or
{"memory": (low, high, step, length)}. A device is {"id", "before", "choices", "after"}, lists of
needs, a choice {"rank", "needs"}; a card is a list of devices. A host is {"irq": [], "dma": [],
"io": [(base, length, bits)], "memory": [(base, length)]}.

An answer is (devices left out, score, choices, values): choices by device, None where there are
none or the device is left out; values by device in the order of its needs, None for an empty need.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from random import Random
from typing import Any

Requirement = dict[str, Any]
Device = dict[str, Any]
Host = dict[str, Any]
Placed = tuple[str, int]
Answer = tuple[int, int, list[int | None], list[list[int | None]]]

PLAIN = (
    16  # a decode of fewer bits answers at every alias: 10 bits, equal mod 400h (common practice)
)
ALSO = {2: 9}  # IRQ 2 on the bus is line 9 (common practice)


def values(need: Requirement) -> list[int]:
    """Every value that a need can be given; none where it asks for nothing."""
    ((kind, what),) = need.items()
    if kind in ("irq", "dma"):
        return sorted(what)
    low, high, step, length = what[:4]
    # Bases are minimum + k x alignment, an alignment of 0 counts as 1.
    return list(range(low, high + 1, step or 1)) if length else []


def is_empty(need: Requirement) -> bool:
    """Whether a need asks for nothing: an empty mask, or length 0."""
    ((kind, what),) = need.items()
    return not (what if kind in ("irq", "dma") else what[3])


def collide(one: Requirement, value: int, other: Requirement, second: int) -> bool:
    """Whether two needs, given these values, are in each other's way."""
    ((kind, what),), ((other_kind, others),) = one.items(), other.items()
    if kind != other_kind:
        return False
    if kind == "dma":
        return value == second
    if kind == "irq":
        return ALSO.get(value, value) == ALSO.get(second, second)
    mine, theirs = (value, what[3]), (second, others[3])
    bits = min(what[4], others[4]) if kind == "io" else PLAIN
    if bits < PLAIN:
        return bool(residues(*mine, bits) & residues(*theirs, bits))
    return bool(max(value, second) < min(value + what[3], second + others[3]))


def residues(base: int, length: int, bits: int) -> frozenset[int]:
    """The addresses of a range, as they look to who decodes so many bits."""
    return frozenset((base + n) % (1 << bits) for n in range(min(length, 1 << bits)))


def taken(need: Requirement, value: int, host: Host) -> bool:
    """Whether the host has taken a value."""
    ((kind, _),) = need.items()
    if kind == "irq":
        return value in host["irq"] or ALSO.get(value) in host["irq"]
    if kind == "dma":
        return value in host["dma"]
    if kind == "memory":
        return any(
            collide(need, value, {"memory": (base, base, 1, length)}, base)
            for base, length in host["memory"]
        )
    return any(
        collide(need, value, {"io": (base, base, 1, length, bits)}, base)
        for base, length, bits in host["io"]
    )


def in_effect(device: Device, choice: int | None) -> list[Requirement]:
    """The needs of a device with a choice, in order."""
    own = [] if choice is None else device["choices"][choice]["needs"]
    return [*device["before"], *own, *device["after"]]


def choices_of(device: Device) -> list[int | None]:
    """What can be chosen: choices by number, or None alone."""
    return list(range(len(device["choices"]))) or [None]


def rank(device: Device, choice: int | None) -> int:
    """The rank of a choice; 0 without choices."""
    return 0 if choice is None else int(device["choices"][choice]["rank"])


def by_trying(devices: list[Device], host: Host) -> Answer | None:
    """The best answer with all devices, by trying every one; None where there is none."""
    best: tuple[int, list[int], list[list[int | None]]] | None = None
    for chosen in itertools.product(*(choices_of(device) for device in devices)):
        score = sum(rank(device, choice) for device, choice in zip(devices, chosen, strict=True))
        key = (score, [choice or 0 for choice in chosen])
        if best is not None and key >= best[:2]:
            continue
        needs = [in_effect(device, choice) for device, choice in zip(devices, chosen, strict=True)]
        found = first_values([need for group in needs for need in group], host)
        if found is not None:
            rest = iter(found)
            best = (*key, [[next(rest) for _ in group] for group in needs])
    if best is None:
        return None
    listed = [best[1][n] if device["choices"] else None for n, device in enumerate(devices)]
    return 0, best[0], listed, best[2]


def first_values(needs: list[Requirement], host: Host) -> list[int | None] | None:
    """The smallest values for needs, the first need first, by trying all; None: there are none."""

    def go_on(given: list[int | None]) -> list[int | None] | None:
        if len(given) == len(needs):
            return given
        need = needs[len(given)]
        for value in [None] if is_empty(need) else values(need):
            if value is None or fits(given, need, value):
                found = go_on([*given, value])
                if found is not None:
                    return found
        return None

    def fits(given: list[int | None], need: Requirement, value: int) -> bool:
        return not taken(need, value, host) and not any(
            before is not None and collide(needs[n], before, need, value)
            for n, before in enumerate(given)
        )

    return go_on([])


class BySolver:
    """The problem as a model for CP-SAT: a boolean a choice, a boolean a value, pairs excluded."""

    def __init__(self, devices: list[Device], host: Host) -> None:
        from ortools.sat.python import cp_model

        self.cp = cp_model
        self.model = cp_model.CpModel()
        self.devices = devices
        self.out = [self.model.new_bool_var("") for _ in devices]
        self.chosen: list[dict[int | None, Any]] = []
        self.given: list[tuple[int, Any, Requirement, dict[int, Any]]] = []
        for number, device in enumerate(devices):
            chosen: dict[int | None, Any] = {
                choice: self.model.new_bool_var("") for choice in choices_of(device)
            }
            self.model.add_exactly_one([*chosen.values(), self.out[number]])
            self.chosen.append(chosen)
            for choice, literal in chosen.items():
                for need in in_effect(device, choice):
                    self._need(number, literal, need, host)
        self._exclude()

    def _need(self, number: int, literal: Any, need: Requirement, host: Host) -> None:
        if is_empty(need):
            self.given.append((number, literal, need, {}))
            return
        free = [value for value in values(need) if not taken(need, value, host)]
        given = {value: self.model.new_bool_var("") for value in free}
        # Exactly one value if the need is in effect, none if it is not.
        self.model.add(sum(given.values()) == literal)
        self.given.append((number, literal, need, given))

    def _exclude(self) -> None:
        pairs = itertools.combinations([row for row in self.given if row[3]], 2)
        for (number, chosen, one, mine), (second, other_chosen, other, theirs) in pairs:
            if number == second and chosen is not other_chosen:
                continue
            for (value, a), (found, b) in itertools.product(mine.items(), theirs.items()):
                if collide(one, value, other, found):
                    self.model.add_bool_or([~a, ~b])

    def solver(self) -> Any:
        """A solver that answers the same on every run."""
        solver = self.cp.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        return solver

    def lowest(self, cost: Any) -> tuple[int, Any] | None:
        """The lowest value of a cost, which is kept from then on; None where nothing fits."""
        self.model.minimize(cost)
        solver = self.solver()
        status = solver.solve(self.model)
        if status == self.cp.INFEASIBLE:
            return None
        assert status == self.cp.OPTIMAL
        lowest = round(solver.objective_value)
        self.model.add(cost == lowest)
        return lowest, solver

    def score(self) -> Any:
        """The sum of the ranks of what is chosen."""
        return sum(
            rank(device, choice) * literal
            for device, chosen in zip(self.devices, self.chosen, strict=True)
            for choice, literal in chosen.items()
        )

    def places(self) -> Iterator[tuple[Any, int]]:
        """Place of what is chosen, device by device; one that is left out comes last."""
        for chosen, out in zip(self.chosen, self.out, strict=True):
            listed = [*chosen.values(), out]
            yield sum(n * literal for n, literal in enumerate(listed)), len(listed)

    def settle(self, wanted: list[tuple[Any, int]]) -> Any:
        """Make a list of terms (each below its radix) the smallest, several digits at a time."""
        solver = None
        while wanted:
            total, radix, digits = 0, 1, 0
            while digits < len(wanted) and (radix == 1 or radix * wanted[digits][1] < 1 << 30):
                term, base = wanted[digits]
                total, radix, digits = total * base + term, radix * base, digits + 1
            found = self.lowest(total)
            assert found is not None
            solver, wanted = found[1], wanted[digits:]
        return solver


def by_solver(devices: list[Device], host: Host) -> Answer:
    """The best answer, stage by stage: fewest left out, lowest score, first choices, values."""
    problem = BySolver(devices, host)
    found = problem.lowest(sum(problem.out))
    assert found is not None
    left_out = found[0]
    found = problem.lowest(problem.score())
    assert found is not None
    score = found[0]
    solver = problem.settle(list(problem.places()))
    chosen: list[int | None] = []
    wanted = []
    for number, literals in enumerate(problem.chosen):
        now = [choice for choice, literal in literals.items() if solver.value(literal)]
        chosen.append(now[0] if now else None)
        literal = literals[now[0]] if now else None
        for place, active, _, given in problem.given:
            if place == number and active is literal and given:
                index = sum(n * use for n, use in enumerate(given.values()))
                wanted.append((index, len(given)))
    solver = problem.settle(wanted) or solver
    listed: list[list[int | None]] = [[] for _ in devices]
    for number, active, need, given in problem.given:
        if solver.value(active):
            value = None if is_empty(need) else next(v for v in given if solver.value(given[v]))
            listed[number].append(value)
    return left_out, score, chosen, listed


def feasible(devices: list[Device], host: Host) -> bool:
    """Whether all devices can be served at once."""
    problem = BySolver(devices, host)
    for out in problem.out:
        problem.model.add(out == 0)
    return bool(problem.solver().solve(problem.model) in (problem.cp.OPTIMAL, problem.cp.FEASIBLE))


# --- problems drawn at random

# IRQ and DMA as sound cards offer them (common practice, no source).
LINES, CHANNELS = [3, 5, 7, 9, 10, 11, 12, 15], [0, 1, 3, 5, 6, 7]


def draw_need(rng: Random, kind: str) -> Requirement:
    """One need, at times an empty one."""
    empty = rng.random() < 0.05
    if kind == "irq":
        return {kind: [] if empty else sorted(rng.sample(LINES, rng.randint(1, 5)))}
    if kind == "dma":
        return {kind: [] if empty else sorted(rng.sample(CHANNELS, rng.randint(1, 4)))}
    if kind == "memory":
        low = 0xC0000 + 0x4000 * rng.randint(0, 6)
        length = 0 if empty else 0x1000 * rng.randint(1, 8)
        return {kind: (low, low + 0x2000 * rng.randint(0, 8), rng.choice([0x1000, 0x4000]), length)}
    low = rng.choice([0x200, 0x220, 0x300, 0x330, 0x530, 0x620, 0xA20]) + rng.choice(
        [0, 0, 8, 0x20]
    )
    step = rng.choice([0, 1, 4, 8, 0x10, 0x20])
    places = rng.randint(0, 7)
    length = 0 if empty else rng.choice([1, 2, 4, 8, 16])
    return {kind: (low, low + places * (step or 1), step, length, rng.choice([10, 16, 16]))}


def draw_device(rng: Random, name: str) -> Device:
    """One device: up to three choices, and what always applies."""
    most = {"irq": 2, "dma": 2, "io": 3, "memory": 1}

    def needs(odds: float) -> list[Requirement]:
        kinds = [kind for kind, count in most.items() for _ in range(count)]
        rng.shuffle(kinds)
        return [draw_need(rng, kind) for kind in kinds if rng.random() < odds / len(kinds)]

    count = rng.choice([0, 1, 2, 3])
    return {
        "id": name,
        "before": needs(1 if count else 2.5),
        "choices": [
            {"rank": rng.choice([0, 1, 1, 2]), "needs": needs(2.5 - n / 2)} for n in range(count)
        ],
        "after": needs(0.4),
    }


def draw_host(rng: Random) -> Host:
    """What a PC has taken already, from nothing to much."""
    much = rng.random()
    return {
        "irq": [line for line in (0, 1, 2, 3, 4, 5, 6, 7, 12) if rng.random() < much],
        "dma": [channel for channel in (0, 2, 4, 5) if rng.random() < much],
        "io": [
            (base, length, rng.choice([10, 16]))
            for base, length in [(0x3F8, 8), (0x2F8, 8), (0x378, 3), (0x220, 4), (0x338, 2)]
            if rng.random() < much
        ],
        "memory": [(0xA0000, 0x20000), (0xC8000, 0x4000)][: rng.randint(0, 2)],
    }


def draw_cards(rng: Random, cards: int, most: int) -> list[list[Device]]:
    """So many cards with up to `most` devices each."""
    return [
        [draw_device(rng, f"QRL{card:03X}{n}") for n in range(rng.randint(1, most))]
        for card in range(cards)
    ]


def draw_crowded(rng: Random, kind: str, bits: int) -> tuple[list[list[Device]], Host]:
    """Ranges of unlike lengths and steps that hardly fit where they can go, and a host among them.

    Of ports, some decode only so few bits that they can go all around between two aliases.
    """
    room = rng.randint(8, 3 << bits)

    def shape(length: int) -> tuple[int, ...]:
        decoded = (rng.choice([bits, PLAIN]),) if kind == "io" else ()
        return (length, *decoded)

    def need() -> Requirement:
        low = rng.randint(0, room // 2)
        high = rng.randint(low, room)
        return {kind: (low, high, rng.choice([0, 1, 1, 2, 3, 5, 6]), *shape(rng.randint(1, 6)))}

    devices: list[Device] = []
    for number in range(rng.randint(2, 6)):
        count = rng.choice([0, 0, 0, 2])
        devices.append(
            {
                "id": f"QRL{number:04X}",
                "before": [] if count else [need()],
                "choices": [{"rank": rng.randint(0, 2), "needs": [need()]} for _ in range(count)],
                "after": [need()] if rng.random() < 0.3 else [],
            }
        )
    host: Host = {"irq": [], "dma": [], "io": [], "memory": []}
    for _ in range(rng.randint(0, 2)):
        host[kind].append((rng.randint(0, room), *shape(rng.randint(1, 4))))
    return [devices], host
