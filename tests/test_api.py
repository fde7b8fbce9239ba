"""The examples of the library's documentation, run as they stand."""

import doctest

from romtool import api


def test_the_examples_of_the_documentation() -> None:
    result = doctest.testmod(api)
    assert result.attempted > 10
    assert result.failed == 0
