"""How much is tried. A whole run (`-m ""`) tries all; the usual one shows each kind of fault."""

from collections.abc import Sequence
from random import Random
from typing import Any

import pytest
from hypothesis import strategies as st

is_whole = False
"""Whether this run tries all; set before the tests are loaded."""

PART = 10
"""What part of its examples a test tries in the usual run."""

LEAST = 15
"""Examples that it tries all the same."""

FEWEST = 6
"""Cases that it tries all the same: what differs by a case's number differs within so many."""


def examples(count: int) -> int:
    """How many of so many examples this run tries."""
    return count if is_whole else min(count, max(LEAST, count // PART))


def some(cases: Sequence[Any]) -> list[Any]:
    """The cases of `parametrize`, of which the usual run tries the first part."""
    count = max(FEWEST, len(cases) // PART)
    return [*cases[:count], *(pytest.param(case, marks=pytest.mark.bulk) for case in cases[count:])]


def randoms() -> st.SearchStrategy[Random]:
    """Sources of random numbers; in a whole run each number is drawn, so that failures shrink."""
    if is_whole:
        return st.randoms(use_true_random=False)
    return st.integers(0, (1 << 64) - 1).map(Random)
