"""Clauses of a boolean problem, and the sums and limits that are made of them.

A literal is a number, its negation the same number with a minus; a clause is a list of literals
of which at least one holds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

Weighed = Mapping[int, Sequence[int]]
"""Literals by their weight; of one such group at most one weight counts."""

FEW = 5
"""Up to so many literals are kept apart pair by pair."""


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
