"""Keys with too many dots are refused before they cost minutes; in strings they are no keys."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romtool.errors import InputError
from romtool.toml.parse import MOST_PARTS, parse_toml, too_deep_at

DEEP = ".".join(["a"] * (MOST_PARTS + 1))
LONG = ".".join(["a"] * 200_000)


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [
        (f"{DEEP} = 1", 1, 1),
        (f"x = 1\n[{LONG}]", 2, 2),
        (f"x = {{ y = 1, {LONG} = 1 }}", 1, 14),
        (DEEP.replace(".", " . ") + " = 1", 1, 1),
        (DEEP.replace("a", '"a.b"') + " = 1", 1, 1),
        (DEEP.replace("a", "'a'") + " = 1", 1, 1),
    ],
)
def test_a_deep_key_is_refused_with_its_place(text: str, line: int, column: int) -> None:
    with pytest.raises(InputError) as refused:
        parse_toml(text)
    (problem,) = refused.value.problems
    assert (problem.line, problem.column) == (line, column)
    assert "parts" in problem.message


@pytest.mark.parametrize(
    "text",
    [
        ".".join(["a"] * MOST_PARTS) + " = 1",
        f'x = "{LONG}"',
        f"x = '{LONG}'",
        f'x = """\n{LONG} "quoted" {LONG}"""',
        f"x = '''\n{LONG}'''",
        f"# {LONG}",
        f'x = "a\\"{DEEP}"',
        "x = [" + "1.5, " * 100 + "]",
    ],
)
def test_what_is_no_deep_key_is_taken(text: str) -> None:
    parse_toml(text)


@given(st.text(alphabet="a.\"'\\\n#= ", max_size=200))
def test_any_text_is_looked_at_without_harm(text: str) -> None:
    too_deep_at(text * 3)
