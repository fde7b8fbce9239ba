"""How long the best assignment takes, beside CP-SAT on the same problem; no test asserts a time.

    python -m pytest tests/benchmarks/test_assign_speed.py --benchmark-enable

CP-SAT only finds how many devices have to be left out, and the lowest score of the others, from a
model that is made already; romtool makes its own, and finds the choices, the values and, where
there is one, the conflict too. Importing CP-SAT takes longer than all of it, and is not counted.
"""

from __future__ import annotations

from random import Random

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from romtool.assign.assign import assign
from tests.support import assigning as other
from tests.test_assign import CATALOG, host_of, requirements_of

CARDS = {"one card": 1, "four cards": 4, "eight cards": 8}
"""Cards of up to five devices, in a PC with little taken."""


@pytest.fixture(params=CARDS)
def problem(request: pytest.FixtureRequest) -> tuple[str, list[list[other.Device]], other.Host]:
    """A problem that is the same on every run, and its name."""
    rng = Random(7)
    return request.param, other.draw_cards(rng, CARDS[request.param], 5), other.draw_host(rng)


Problem = tuple[str, list[list[other.Device]], other.Host]


def test_reference_of_assigning(benchmark: BenchmarkFixture, problem: Problem) -> None:
    benchmark.group, cards, host = problem
    devices = [device for card in cards for device in card]

    def fresh() -> tuple[tuple[other.BySolver], dict[str, object]]:
        return (other.BySolver(devices, host),), {}

    def solve(model: other.BySolver) -> int:
        out = model.lowest(sum(model.out))
        assert out is not None and model.lowest(model.score()) is not None
        return out[0]

    left_out = benchmark.pedantic(solve, setup=fresh, rounds=5)  # type: ignore[no-untyped-call]
    assert left_out == other.by_solver(devices, host)[0]


def test_assign(benchmark: BenchmarkFixture, problem: Problem) -> None:
    benchmark.group, cards, host = problem
    requirements, pc = requirements_of(cards), host_of(host)
    found = benchmark(assign, CATALOG, requirements, pc)
    assert len(found.devices) + len(found.left_out) == sum(map(len, cards))
