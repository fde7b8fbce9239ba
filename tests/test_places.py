"""Tests of the places of TOML keys and values."""

import datetime
import json
import time
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from romtool.toml.places import Path, Place, key_places, place_of, places, syntax_fault
from tests.support import amount

# --- examples -------------------------------------------------------------------------------


def offset_of(text: str, place: Place) -> int:
    """Give the offset of a place in a text without carriage returns."""
    return sum(len(line) + 1 for line in text.split("\n")[: place.line - 1]) + place.column - 1


def value_text(text: str, path: Path) -> str:
    return text[offset_of(text, places(text)[path]) :]


def key_text(text: str, path: Path) -> str:
    return text[offset_of(text, key_places(text)[path]) :]


def test_keys_and_values() -> None:
    text = '# note = 1\n  a = 1 # b = 2\n\n"q.\\u0041" = 2\n\'l "x" \' = 3\n'
    assert places(text) == {
        ("a",): Place(2, 7),
        ("q.A",): Place(4, 14),
        ('l "x" ',): Place(5, 12),
    }
    assert key_places(text) == {
        ("a",): Place(2, 3),
        ("q.A",): Place(4, 1),
        ('l "x" ',): Place(5, 1),
    }


def test_dotted_key() -> None:
    text = "a . \"b.c\"\t.'d' = 1\na.e = 2"
    assert places(text) == {
        ("a",): Place(1, 1),
        ("a", "b.c"): Place(1, 1),
        ("a", "b.c", "d"): Place(1, 18),
        ("a", "e"): Place(2, 7),
    }
    assert key_places(text) == {
        ("a",): Place(1, 1),
        ("a", "b.c"): Place(1, 5),
        ("a", "b.c", "d"): Place(1, 12),
        ("a", "e"): Place(2, 3),
    }


def test_table_headers() -> None:
    text = "[ a . b ]\nx = 1\n[a] # late\ny = 2\n"
    assert places(text) == {
        ("a",): Place(3, 2),
        ("a", "b"): Place(1, 3),
        ("a", "b", "x"): Place(2, 5),
        ("a", "y"): Place(4, 5),
    }
    assert key_places(text)["a", "b"] == Place(1, 7)


def test_arrays_of_tables() -> None:
    text = """\
[[device]]
name = "one"
[[device.choice]]
irq = 1
[[device.choice]]
irq = 2
[device.choice.more]
x.y = 3
[[device]]
[[ device . choice ]]
irq = 4
"""
    assert places(text) == {
        ("device",): Place(1, 3),
        ("device", 0): Place(1, 3),
        ("device", 0, "name"): Place(2, 8),
        ("device", 0, "choice"): Place(3, 3),
        ("device", 0, "choice", 0): Place(3, 3),
        ("device", 0, "choice", 0, "irq"): Place(4, 7),
        ("device", 0, "choice", 1): Place(5, 3),
        ("device", 0, "choice", 1, "irq"): Place(6, 7),
        ("device", 0, "choice", 1, "more"): Place(7, 2),
        ("device", 0, "choice", 1, "more", "x"): Place(8, 1),
        ("device", 0, "choice", 1, "more", "x", "y"): Place(8, 7),
        ("device", 1): Place(9, 3),
        ("device", 1, "choice"): Place(10, 4),
        ("device", 1, "choice", 0): Place(10, 4),
        ("device", 1, "choice", 0, "irq"): Place(11, 7),
    }
    assert key_places(text)["device", 0, "choice"] == Place(3, 10)
    assert key_places(text)["device", 0, "choice", 1] == Place(5, 3)


def test_inline_tables_and_nested_arrays() -> None:
    text = """\
a = [ # first ]
  [1, 2,], # second }
  { b . c = 3, "d" = [ {} ] }
  , [],
]
e = 4
"""
    assert places(text) == {
        ("a",): Place(1, 5),
        ("a", 0): Place(2, 3),
        ("a", 0, 0): Place(2, 4),
        ("a", 0, 1): Place(2, 7),
        ("a", 1): Place(3, 3),
        ("a", 1, "b"): Place(3, 5),
        ("a", 1, "b", "c"): Place(3, 13),
        ("a", 1, "d"): Place(3, 22),
        ("a", 1, "d", 0): Place(3, 24),
        ("a", 2): Place(4, 5),
        ("e",): Place(6, 5),
    }
    assert key_places(text)["a", 1, "b", "c"] == Place(3, 9)
    assert key_places(text)["a", 1, "d", 0] == Place(3, 24)


@pytest.mark.parametrize(
    "value",
    [
        '""',
        r'"a \" ] # \\"',
        "''",
        r"'a \'",
        '""""""',
        '"""a"""',
        '"""a""""',
        '"""a"""""',
        '"""\n]\n x = 1 ""\\""""',
        '"""a \\  \n\n  b \\\n"""',
        "''''''",
        "'''a'''''",
        "'''\n]\n x = \\ ''a''''",
        "0xdead_beef",
        "+1_000",
        "-1.5e-07",
        "-inf",
        "nan",
        "true",
        "1979-05-27",
        "07:32:00.5",
        "1979-05-27T07:32:00Z",
        "1979-05-27 07:32:00.25-07:00",
    ],
)
def test_value_forms(value: str) -> None:
    text = f"a = {value}# no\nb = [{value},\n{value} ]\nc = {{ d = {value}, e = {value} }}\nz = 1"
    assert set(places(text)) == set(paths_of(tomllib.loads(text)))
    for path in [("a",), ("b", 0), ("b", 1), ("c", "d"), ("c", "e")]:
        assert value_text(text, path).startswith(value)
    assert value_text(text, ("z",)) == "1"


def test_carriage_returns() -> None:
    text = '[t]\r\na = """x\r\ny"""\r\nb = [\r\n 1,\r\n]\r\nc = 2\r\n'
    assert places(text) == places(text.replace("\r\n", "\n"))
    assert place_of(text, ("t", "b", 0)) == Place(5, 2)
    assert place_of(text, ("t", "c")) == Place(7, 5)


def test_columns_count_characters() -> None:
    assert place_of('"éß𝄞" = { x = 1 }', ("éß𝄞", "x")) == Place(1, 15)


def test_nearest_ancestor() -> None:
    text = "x = 1\n[a]\nb = [1]\n"
    assert place_of(text, ()) == Place(1, 1)
    assert place_of(text, (), key=True) == Place(1, 1)
    assert place_of(text, ("none", "x")) == Place(1, 1)
    assert place_of(text, ("a", "none")) == Place(2, 2)
    assert place_of(text, ("a", "b", 0)) == Place(3, 6)
    assert place_of(text, ("a", "b", 1)) == Place(3, 5)
    assert place_of(text, ("a", "b", "0")) == Place(3, 5)
    assert place_of(text, ("a", "b", 1), key=True) == Place(3, 1)


def test_invalid_text_keeps_what_came_before() -> None:
    assert places("") == {}
    assert places("a = 1\n? = 2\nb = 3") == {("a",): Place(1, 5)}
    assert places('a = 1\n"\\q" = 2') == {("a",): Place(1, 5)}


SIZE = 20 if amount.is_whole else 1
"""Fifty kilobytes show what grows with the square, too, a megabyte what grows a little faster."""


@pytest.mark.parametrize(
    "text",
    [
        "\n".join(f"[[t{i % 7}]]\n[t{i % 7}.s]\na=1\nb=[2]" for i in range(1_500 * SIZE)),
        "a = " + "[" * (50_000 * SIZE),
        "a = " + "{a=" * (15_000 * SIZE),
        "a = [" * (10_000 * SIZE),
        "a." * (25_000 * SIZE),
        "a." * (25_000 * SIZE) + "a = 1",
        'a = """' + '\\"' * (25_000 * SIZE),
        'a = "' + "\\" * (50_000 * SIZE),
        "a" + " " * (50_000 * SIZE),
        "a = [" + "'''" * (15_000 * SIZE),
        "a = [" + "1 #\n" * (12_500 * SIZE),
    ],
    ids=lambda text: text[:8].strip(),
)
def test_large_text_takes_linear_time(text: str) -> None:
    start = time.process_time()
    place_of(text, ("a", 0, 0, 0))
    places(text)
    assert time.process_time() - start < 20  # each takes about a second


def test_deep_nesting() -> None:
    depth = 100_000
    text = "a = " + "[" * depth + "]" * depth + "\nb = 1"
    assert place_of(text, ("a", *[0] * (depth - 1))) == Place(1, 4 + depth)
    assert place_of(text, ("b",)) == Place(2, 5)


def problem(text: str) -> tuple[str, Place]:
    with pytest.raises(tomllib.TOMLDecodeError) as caught:
        tomllib.loads(text)
    return syntax_fault(caught.value, text)


def test_syntax_fault() -> None:
    assert problem("a = 1\r\nb = ?\r\n") == ("Invalid value", Place(2, 5))
    assert problem("a = 1\n[b") == (
        "Expected ']' at the end of a table declaration",
        Place(2, 3),
    )
    assert problem("a = 1\r\nb = [1,\r\n")[1] == Place(2, 8)
    assert problem("a = [\n\n\n")[1] == Place(3, 1)
    assert problem("a")[1] == Place(1, 2)
    assert "(at" not in problem("a = [\n")[0]


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # newer versions want the text, too
def test_syntax_fault_takes_the_last_place_named() -> None:
    text = "\n\n\n\n"
    error = tomllib.TOMLDecodeError("Twice 'x (at line 1, column 2)' (at line 3, column 5)")
    assert syntax_fault(error, text) == ("Twice 'x (at line 1, column 2)'", Place(3, 5))
    bare = tomllib.TOMLDecodeError("No place")
    assert syntax_fault(bare, text) == ("No place", Place(1, 1))


# --- properties -----------------------------------------------------------------------------


def paths_of(value: object, path: Path = ()) -> Iterator[Path]:
    """Yield the paths of everything in a value read by tomllib."""
    if path:
        yield path
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from paths_of(inner, (*path, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from paths_of(inner, (*path, index))


def at_path(value: Any, path: Path) -> Any:
    for step in path:
        value = value[step]
    return value


# No lone surrogates: no escape can write them.
STRINGS = st.text(st.characters(exclude_categories=["Cs"]), max_size=6) | st.text(
    "\"'\\\n\r\t #=[]{},.x", max_size=9
)
KEYS = st.sampled_from(["a", "b", "c", "1", "-_"]) | st.text(
    st.sampled_from("ab.\"'\\ #=[]\n\té𝄞"), max_size=4
)
SCALARS = (
    STRINGS
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False)
    | st.booleans()
    | st.dates()
    | st.times()
    | st.datetimes()
    | st.datetimes(timezones=st.just(datetime.UTC))
)
VALUES: st.SearchStrategy[Any] = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(KEYS, inner, max_size=3)
        | st.lists(st.dictionaries(KEYS, inner, max_size=3), max_size=3)
    ),
    max_leaves=12,
)
TABLES: st.SearchStrategy[dict[str, Any]] = st.dictionaries(KEYS, VALUES, max_size=4)


def basic(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def plain(text: str) -> bool:
    """Whether a string can be told without escapes (but for its quotes)."""
    return all((char >= " " and char != "\x7f") or char == "\t" for char in text)


def key_forms(name: str) -> list[str]:
    forms = [basic(name)]
    if name and all(char.isascii() and (char.isalnum() or char in "-_") for char in name):
        forms.append(name)
    if plain(name) and "'" not in name:
        forms.append(f"'{name}'")
    return forms


def string_forms(text: str) -> list[str]:
    lines = "".join(
        char if plain(char) or char == "\n" else f"\\u{ord(char):04x}"
        for char in text.replace("\\", "\\\\")
    )
    unfinished = lines.replace('"""', '""\\"')
    forms = [basic(text), f'"""\n{unfinished}"""']
    if not text.startswith(" "):  # the backslash would take that space too
        forms.append(f'"""\\\n \n{basic(text)[1:-1]}"""')
    if plain(text) and "'" not in text:
        forms.append(f"'{text}'")
    if plain(text.replace("\n", "")) and "'''" not in text:
        forms.append(f"'''\n{text}'''")
    return forms


class Renderer:
    """Renders tables to TOML, every choice of style drawn from hypothesis."""

    def __init__(self, data: st.DataObject) -> None:
        self.data = data

    def pick(self, *choices: str) -> str:
        return self.data.draw(st.sampled_from(choices))

    def key(self, names: tuple[str, ...]) -> str:
        dot = self.pick(".", " . ", "\t.")
        return dot.join(self.pick(*key_forms(name)) for name in names)

    def scalar(self, value: object) -> str:
        match value:
            case str():
                return self.pick(*string_forms(value))
            case bool():
                return "true" if value else "false"
            case int() if value >= 0:
                return self.pick(str(value), f"+{value}", f"{value:_}", f"0x{value:x}")
            case datetime.datetime():
                return value.isoformat(self.pick("T", " ", "t"))
            case datetime.date() | datetime.time():
                return value.isoformat()
            case _:
                return repr(value)

    def value(self, value: object) -> str:
        if isinstance(value, dict):
            gap = self.pick("", " ")
            return "{" + gap + f"{gap},{gap}".join(self.pairs((), value)) + gap + "}"
        if isinstance(value, list):
            gap = self.pick("", " ", "\n", " # ] [ ' \"\n\t")
            tail = self.pick("", ",") if value else ""
            inner = f"{gap},{gap}".join(self.value(item) for item in value)
            return "[" + gap + inner + gap + tail + gap + "]"
        return self.scalar(value)

    def pairs(self, prefix: tuple[str, ...], table: Mapping[str, Any]) -> Iterator[str]:
        for name, value in table.items():
            if isinstance(value, dict) and value and self.pick("dotted", "inline") == "dotted":
                yield from self.pairs((*prefix, name), value)
            else:
                gap = self.pick("", " ")
                yield f"{self.key((*prefix, name))}{gap}={gap}{self.value(value)}"

    def table(self, path: tuple[str, ...], table: Mapping[str, Any], header: str) -> Iterator[str]:
        """Yield the lines of a table: its own pairs, then those of tables with headers."""
        own: dict[str, Any] = {}
        below: dict[str, Any] = {}
        for name, value in table.items():
            tables = value if isinstance(value, list) else [value]
            possible = tables and all(isinstance(item, dict) for item in tables)
            kind = self.pick("header", "pair") if possible else "pair"
            (below if kind == "header" else own)[name] = value
        implied = header == "[" and not own and any(isinstance(v, dict) for v in below.values())
        if header and not (implied and self.pick("implied", "told") == "implied"):
            gap = self.pick("", " ")
            closing = "]" * len(header)
            yield f"{header}{gap}{self.key(path)}{gap}{closing}"
        yield from self.pairs((), own)
        for name, value in below.items():
            if isinstance(value, dict):
                yield from self.table((*path, name), value, "[")
            else:
                for item in value:
                    yield from self.table((*path, name), item, "[[")

    def document(self, table: Mapping[str, Any]) -> str:
        indent = self.pick("", "  ")
        tail = self.pick("", " ", " # [x] = ' \"", "\n\n# y = 1")
        text = "".join(f"{indent}{line}{tail}\n" for line in self.table((), table, ""))
        return text.replace("\n", self.pick("\n", "\r\n"))


@st.composite
def documents(draw: st.DrawFn) -> str:
    return Renderer(draw(st.data())).document(draw(TABLES))


def assert_value_starts(text: str, place: Place, value: object) -> None:
    """Assert that some stretch of text from the place on reads as the value."""
    rest = text[offset_of(text, place) :]
    for end in range(1, len(rest) + 1):
        if end < len(rest) and rest[end] not in " \t\n,]}#":
            continue
        try:
            read = tomllib.loads(f"v = {rest[:end]}")["v"]
        except tomllib.TOMLDecodeError:
            continue
        if repr(read) == repr(value):
            return
    raise AssertionError(f"{value!r} is not at {place} in {text!r}")


SLOW = settings(deadline=None, suppress_health_check=list(HealthCheck))


@SLOW
@given(documents())
def test_paths_and_values_are_those_of_tomllib(text: str) -> None:
    table = tomllib.loads(text)
    values = places(text)
    assert set(values) == set(paths_of(table))
    assert set(key_places(text)) == set(values)
    lines = text.replace("\r\n", "\n")
    for path, place in values.items():
        value = at_path(table, path)
        assert place_of(text, path) == place
        if not isinstance(value, dict | list):
            assert_value_starts(lines, place, value)


@SLOW
@given(documents())
def test_keys_start_with_their_name(text: str) -> None:
    lines = text.replace("\r\n", "\n")
    for path, place in key_places(text).items():
        name = path[-1]
        assert place_of(text, path, key=True) == place
        if isinstance(name, str):
            assert lines.startswith(tuple(key_forms(name)), offset_of(lines, place))
        elif place != places(text)[path]:
            raise AssertionError(f"element {path} has two places")


@SLOW
@given(st.data(), TABLES)
def test_rendering_is_true(data: st.DataObject, table: dict[str, Any]) -> None:
    """The tests above are worth what the renderer is worth."""
    assert tomllib.loads(Renderer(data).document(table)) == table


def assert_agrees_if_valid(text: str) -> None:
    values, keys = places(text), key_places(text)
    place_of(text, ("a", 0, "b"), key=True)
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message, place = syntax_fault(error, text)
        assert message
        assert place.line >= 1
        assert place.line <= text.count("\n") + 1
        assert place.column >= 1
    else:
        assert set(values) == set(keys) == set(paths_of(table))


@SLOW
@given(st.text() | st.text("ab01=.,[]{}#'\"\\ \n\r\té") | st.text("a=1[]\n.", max_size=20))
def test_arbitrary_text_never_raises(text: str) -> None:
    assert_agrees_if_valid(text)


@SLOW
@given(
    documents(),
    st.lists(
        st.tuples(
            st.integers(0, 400),
            st.integers(0, 5),
            st.text("ab1=.,[]{}#'\"\\ \n\r", max_size=3) | st.text(max_size=2),
        ),
        min_size=1,
        max_size=4,
    ),
)
def test_mutated_documents_never_raise(text: str, changes: list[tuple[int, int, str]]) -> None:
    for position, removed, added in changes:
        start = position % (len(text) + 1)
        text = text[:start] + added + text[start + removed :]
    assert_agrees_if_valid(text)
