"""Helpers of the tests."""

import pytest

pytest.register_assert_rewrite("tests.support.checking")
