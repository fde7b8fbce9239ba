"""The question as clauses: which choice of each device, which value of each item, all at once."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence

from romtool.assign.asks import Ask, Asker, Values, placed, span_of
from romtool.assign.clauses import Clauses
from romtool.assign.host import Entry
from romtool.requirements.collide import Placed, ports_collide
from romtool.requirements.model import LineRequirement
from romtool.schema.bus import Bus
from romtool.schema.catalog import Catalog

Use = tuple[int, int]
"""A literal, and the number of the item or entry that it belongs to."""


class Model:
    """Literals and clauses of an assignment problem.

    `present[d]`: device d gets something; `chosen[d][a]`: by its alternative a; `given[ask]`: by
    value, the item gets it. `kept[entry]`: an entry of the host counts; only where the host
    is open to question (`open_host`), else what it has taken is never offered.
    """

    def __init__(
        self,
        catalog: Catalog,
        askers: Sequence[Asker],
        values: Values,
        entries: Sequence[Entry],
        *,
        open_host: bool = False,
    ) -> None:
        self.catalog = catalog
        self.askers = askers
        self.clauses = Clauses()
        self.present = [self.clauses.new() for _ in askers]
        self.chosen = [self._chosen(place) for place in range(len(askers))]
        self.kept = {entry: self.clauses.new() for entry in entries} if open_host else {}
        self.entries = entries
        self.given = {ask: self._given(ask, offered) for ask, offered in values.items()}
        self.kinds = dict.fromkeys(ask.need.kind for ask in values)
        for kind in self.kinds:
            self._keep_apart(kind)

    def _chosen(self, place: int) -> list[int]:
        """Return the literals of a device's alternatives, exactly one if it is present."""
        present = self.present[place]
        count = len(self.askers[place].own)
        if count == 1:
            return [present]
        chosen = [self.clauses.new() for _ in range(count)]
        self.clauses.add(-present, *chosen)
        for literal in chosen:
            self.clauses.add(-literal, present)
        self.clauses.at_most_one(chosen)
        return chosen

    def _given(self, ask: Ask, offered: Sequence[int]) -> dict[int, int]:
        """Return the literals of an item's values: one of them if the item is in effect."""
        free = [value for value in offered if self.kept or not self.taken(ask, value)]
        given = {value: self.clauses.new() for value in free}
        self.clauses.add(-self.in_effect(ask), *given.values())
        return given

    def in_effect(self, ask: Ask) -> int:
        """Return the literal that says whether an item is in effect."""
        if ask.alternative is None:
            return self.present[ask.device]
        return self.chosen[ask.device][ask.alternative]

    def taken(self, ask: Ask, value: int) -> bool:
        """Whether an entry of the host has taken a value of an item."""
        return any(hits(self.catalog, entry, ask, value) for entry in self.entries)

    def _keep_apart(self, kind: str) -> None:
        entries = [entry for entry in self.kept if entry.kind == kind]
        asks = [ask for ask in self.given if ask.need.kind == kind]
        if isinstance(asks[0].need, LineRequirement):
            self._keep_lines_apart(asks)
        else:
            self._keep_ranges_apart(self.catalog.bus, asks)
        for ask in asks:
            for value, literal in self.given[ask].items():
                for entry in entries:
                    if hits(self.catalog, entry, ask, value):
                        self.clauses.add(-self.kept[entry], -literal)

    def _keep_lines_apart(self, asks: Sequence[Ask]) -> None:
        users: dict[int, list[Use]] = {}
        for number, ask in enumerate(asks):
            for line, literal in self.given[ask].items():
                for name in names_of(self.catalog, ask.need.kind, line):
                    users.setdefault(name, []).append((literal, number))
        for name in sorted(users):
            self._at_most_one(users[name])

    def _keep_ranges_apart(self, bus: Bus, asks: Sequence[Ask]) -> None:
        """Let no two ranges overlap.

        Two ranges overlap if, and only if, one of them holds the first address of the other, so it
        is enough to look at first addresses; for ranges with aliases, between two aliases.
        """
        plain: list[tuple[Use, Placed]] = []
        aliased: list[tuple[Use, Placed]] = []
        for number, ask in enumerate(asks):
            kin = aliased if bus.aliases(span_of(ask).bits) else plain
            for base, literal in self.given[ask].items():
                kin.append(((literal, number), placed(ask, base)))
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
    ranges: Sequence[tuple[Use, Placed]], firsts: Sequence[int], turn: int
) -> Iterator[list[Use]]:
    """Yield who holds each of the first addresses; `turn`: ports from alias to alias, if any."""
    holders: list[list[Use]] = [[] for _ in firsts]
    for use, there in ranges:
        for low, high in parts(there, turn):
            for index in range(bisect_left(firsts, low), bisect_left(firsts, high)):
                holders[index].append(use)
    yield from holders


def parts(there: Placed, turn: int) -> Iterator[tuple[int, int]]:
    """Yield the addresses of a range, brought between two aliases, as (first, after)."""
    if not turn:
        yield there.base, there.base + there.length
    elif there.length >= turn:
        yield 0, turn
    else:
        low = there.base % turn
        yield low, min(low + there.length, turn)
        if low + there.length > turn:
            yield 0, low + there.length - turn


def names_of(catalog: Catalog, kind: str, line: int) -> set[int]:
    """Return the numbers of a line that a card offers: its own, and that of the same line."""
    return {line, catalog.resources[kind].renamed.get(line, line)}


def hits(catalog: Catalog, entry: Entry, ask: Ask, value: int) -> bool:
    """Whether a value of an item is one that an entry of the host has taken."""
    if entry.kind != ask.need.kind:
        return False
    if isinstance(entry.value, int):
        return entry.value in names_of(catalog, entry.kind, value)
    return ports_collide(catalog.bus, placed(ask, value), entry.value)
