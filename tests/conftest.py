"""How much a run tries: everything, unless its `-m` leaves `bulk` out, as pyproject.toml does."""

import pytest
from hypothesis import settings

from tests.support import amount


def pytest_configure(config: pytest.Config) -> None:
    amount.is_whole = "not bulk" not in config.option.markexpr
    settings.register_profile("this run", max_examples=amount.examples(100), deadline=None)
    settings.load_profile("this run")
