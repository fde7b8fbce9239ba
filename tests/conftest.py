"""How much a run tries: everything, unless its `-m` leaves `bulk` out, as pyproject.toml does."""

import gc
from typing import Any

import pytest
from hypothesis import settings

from tests.support import amount


def pytest_configure(config: pytest.Config) -> None:
    amount.is_whole = "not bulk" not in config.option.markexpr
    settings.register_profile("this run", max_examples=amount.examples(100), deadline=None)
    settings.load_profile("this run")
    gc.disable()  # while tests are collected, nothing is dropped


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Give each file to one process, so that nothing its tests share is made twice."""
    from xdist.scheduler import LoadFileScheduling

    return LoadFileScheduling(config, log)


def pytest_collection_finish() -> None:
    """Never look again for garbage among the tests themselves, nor copy them with a process."""
    gc.freeze()
    gc.enable()
