"""The question as clauses: which choice of each device, which value of each item, all at once."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence

from romtool.assign.host import Entry, names_of
from romtool.assign.variables import (
    DeviceVariables,
    Domains,
    Variable,
    given_value,
    placed,
    range_of,
)
from romtool.requirements.collide import Placed
from romtool.requirements.model import LineRequirement
from romtool.schema.bus import Bus
from romtool.schema.catalog import Catalog

Weighed = Mapping[int, Sequence[int]]
"""Literals by their weight; of one such group at most one weight counts."""

FEW = 5
"""The most literals that are kept apart pair by pair."""


class Clauses:
    """A growing list of clauses."""

    def __init__(self) -> None:
        self.all: list[list[int]] = []
        self.last = 0

    def new(self) -> int:
        """Return a literal that is not used yet."""
        self.last += 1
        return self.last

    def add(self, *literals: int) -> None:
        """Add a clause."""
        self.all.append(list(literals))

    def at_most_one(self, literals: Sequence[int]) -> None:
        """Let no two of these literals hold: pair by pair, or along a chain where they are many."""
        if len(literals) <= FEW:
            for index, one in enumerate(literals):
                for other in literals[index + 1 :]:
                    self.add(-one, -other)
            return
        before = 0
        for literal in literals:
            here = self.new()  # one of the literals so far holds
            self.add(-literal, here)
            if before:
                self.add(-before, here)
                self.add(-before, -literal)
            before = here

    def at_most(self, groups: Sequence[Weighed], bound: int) -> None:
        """Let the weights of the literals that hold, at most one a group, sum up to no more.

        A tree of sums: each node has a literal for every sum that can arise below it, those above
        the bound as one (a generalised totalizer).
        """
        nodes = [self._leaf(group, bound) for group in groups]
        while len(nodes) > 1:
            pairs = zip(nodes[::2], nodes[1::2], strict=False)
            rest = nodes[-1:] if len(nodes) % 2 else []
            nodes = [self._joined(one, other, bound) for one, other in pairs] + rest
        for node in nodes:
            if bound + 1 in node:
                self.add(-node[bound + 1])

    def _leaf(self, group: Weighed, bound: int) -> dict[int, int]:
        leaf: dict[int, int] = {}
        for weight, literals in group.items():
            total = min(weight, bound + 1)
            if not total:
                continue
            if total not in leaf:
                leaf[total] = self.new()
            for literal in literals:
                self.add(-literal, leaf[total])
        return leaf

    def _joined(self, one: dict[int, int], other: dict[int, int], bound: int) -> dict[int, int]:
        node: dict[int, int] = {}
        for left, left_literal in [(0, 0), *one.items()]:
            for right, right_literal in [(0, 0), *other.items()]:
                total = min(left + right, bound + 1)
                if not total:
                    continue
                if total not in node:
                    node[total] = self.new()
                known = [-literal for literal in (left_literal, right_literal) if literal]
                self.add(*known, node[total])
        return node


Use = tuple[int, int]
"""A literal, and the number of the item or entry that it belongs to."""


class Model:
    """Literals and clauses of an assignment problem.

    `present[d]`: device d gets something; `chosen[d][a]`: by its alternative a; `given[item]`: by
    value, the item gets it. `kept[entry]`: an entry of the host counts; only where the host
    is open to question (`open_host`), else what it has taken is never offered.
    """

    def __init__(
        self,
        catalog: Catalog,
        devices: Sequence[DeviceVariables],
        values: Domains,
        entries: Sequence[Entry],
        *,
        open_host: bool = False,
    ) -> None:
        self.catalog = catalog
        self.devices = devices
        self.clauses = Clauses()
        self.present = [self.clauses.new() for _ in devices]
        self.chosen = [self._chosen(place) for place in range(len(devices))]
        self.kept = {entry: self.clauses.new() for entry in entries} if open_host else {}
        self.entries = entries
        self.given = {item: self._given(item, offered) for item, offered in values.items()}
        self.kinds = dict.fromkeys(item.need.kind for item in values)
        for kind in self.kinds:
            self._keep_apart(kind)

    def _chosen(self, place: int) -> list[int]:
        """Return the literals of a device's alternatives, exactly one if it is present."""
        present = self.present[place]
        count = len(self.devices[place].own)
        if count == 1:
            return [present]
        chosen = [self.clauses.new() for _ in range(count)]
        self.clauses.add(-present, *chosen)
        for literal in chosen:
            self.clauses.add(-literal, present)
        self.clauses.at_most_one(chosen)
        return chosen

    def _given(self, item: Variable, offered: Sequence[int]) -> dict[int, int]:
        """Return the literals of an item's values: one of them if the item is in effect."""
        free = [value for value in offered if self.kept or not self.taken(item, value)]
        given = {value: self.clauses.new() for value in free}
        self.clauses.add(-self.in_effect(item), *given.values())
        return given

    def in_effect(self, item: Variable) -> int:
        """Return the literal that says whether an item is in effect."""
        if item.alternative is None:
            return self.present[item.device]
        return self.chosen[item.device][item.alternative]

    def taken(self, item: Variable, value: int) -> bool:
        """Whether an entry of the host has taken a value of an item."""
        return any(hits(self.catalog, entry, item, value) for entry in self.entries)

    def _keep_apart(self, kind: str) -> None:
        entries = [entry for entry in self.kept if entry.kind == kind]
        items = [item for item in self.given if item.need.kind == kind]
        if isinstance(items[0].need, LineRequirement):
            self._keep_lines_apart(items)
        else:
            self._keep_ranges_apart(self.catalog.bus, items)
        for item in items:
            for value, literal in self.given[item].items():
                for entry in entries:
                    if hits(self.catalog, entry, item, value):
                        self.clauses.add(-self.kept[entry], -literal)

    def _keep_lines_apart(self, items: Sequence[Variable]) -> None:
        users: dict[int, list[Use]] = {}
        for number, item in enumerate(items):
            for line, literal in self.given[item].items():
                for name in names_of(self.catalog, item.need.kind, line):
                    users.setdefault(name, []).append((literal, number))
        for name in sorted(users):
            self._at_most_one(users[name])

    def _keep_ranges_apart(self, bus: Bus, items: Sequence[Variable]) -> None:
        """Let no two ranges overlap.

        Two ranges overlap if, and only if, one of them holds the first address of the other, so it
        is enough to look at first addresses; for ranges with aliases, between two aliases.
        """
        plain: list[tuple[Use, Placed]] = []
        aliased: list[tuple[Use, Placed]] = []
        for number, item in enumerate(items):
            kin = aliased if bus.aliases(range_of(item).bits) else plain
            for base, literal in self.given[item].items():
                kin.append(((literal, number), placed(item, base)))
        for users in _holding(plain, sorted({there.base for _, there in plain}), 0):
            self._at_most_one(users)
        if not aliased:
            return
        firsts = sorted({there.base % bus.alias_step for _, there in (*plain, *aliased)})
        both = zip(
            _holding(aliased, firsts, bus.alias_step),
            _holding(plain, firsts, bus.alias_step),
            strict=True,
        )
        for with_aliases, without in both:
            self._at_most_one(with_aliases)
            if with_aliases and without:
                by_plain = self.clauses.new()
                for literal, _ in without:
                    self.clauses.add(-literal, by_plain)
                for literal, _ in with_aliases:
                    self.clauses.add(-literal, -by_plain)

    def _at_most_one(self, users: Sequence[Use]) -> None:
        if len({number for _, number in users}) > 1:
            self.clauses.at_most_one([literal for literal, _ in users])


def _holding(
    ranges: Sequence[tuple[Use, Placed]], firsts: Sequence[int], alias_period: int
) -> Iterator[list[Use]]:
    """Yield who holds each of the first addresses; `alias_period`: 0 where there are no aliases."""
    holders: list[list[Use]] = [[] for _ in firsts]
    for use, there in ranges:
        for low, high in parts(there, alias_period):
            for index in range(bisect_left(firsts, low), bisect_left(firsts, high)):
                holders[index].append(use)
    yield from holders


def parts(there: Placed, alias_period: int) -> Iterator[tuple[int, int]]:
    """Yield the addresses of a range, brought between two aliases, as (first, after)."""
    if not alias_period:
        yield there.base, there.base + there.length
    elif there.length >= alias_period:
        yield 0, alias_period
    else:
        low = there.base % alias_period
        yield low, min(low + there.length, alias_period)
        if low + there.length > alias_period:
            yield 0, low + there.length - alias_period


def hits(catalog: Catalog, entry: Entry, item: Variable, value: int) -> bool:
    """Whether a value of an item is one that an entry of the host has taken."""
    return entry.kind == item.need.kind and entry.has_taken(catalog, given_value(item, value))
