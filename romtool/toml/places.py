"""Line and column of the keys and values of a TOML document.

The values themselves come from ``tomllib``, which forgets where it read them.  When an error
about a value is to be told, this scanner goes over the text once more and finds the place.

It leans on the text being valid: it looks only for what tells keys and values apart, and takes
no notice of the rest (inside brackets, for instance, a comma is mere space).  On text that is
not valid it stops at the first thing it cannot read, and keeps what it found until there.
"""

import re
import tomllib
from bisect import bisect_right
from collections.abc import Iterator
from contextlib import suppress
from functools import lru_cache
from itertools import count
from typing import NamedTuple

Path = tuple[str | int, ...]


class Place(NamedTuple):
    """A place in a text; both numbers count from 1, columns count characters."""

    line: int
    column: int


def places(text: str) -> dict[Path, Place]:
    """Give for every key path and array element the place where its value starts.

    A table made by a header or by a dotted key has no value text: its place is the first
    character of the key in that header, or of that dotted key.
    """
    scan = _scan(text)
    return {path: scan.place(scan.value_at[node]) for path, node in scan.paths()}


def key_places(text: str) -> dict[Path, Place]:
    """Give for every key path the place where its own key starts.

    Array elements have no key: theirs is the place of the value.
    """
    scan = _scan(text)
    return {path: scan.place(scan.key_at[node]) for path, node in scan.paths()}


def place_of(text: str, path: Path, *, key: bool = False) -> Place:
    """Give the place of the value (or key) at a path, or else of its nearest ancestor."""
    scan = _scan(text)
    node = _ROOT
    for step in path:
        child = scan.children.get((node, step))
        if child is None:
            break
        node = child
    return scan.place((scan.key_at if key else scan.value_at)[node])


def has_path(text: str, path: Path) -> bool:
    """Say whether the document has this very path."""
    scan = _scan(text)
    node = _ROOT
    for step in path:
        child = scan.children.get((node, step))
        if child is None:
            return False
        node = child
    return True


def syntax_fault(error: tomllib.TOMLDecodeError, text: str) -> tuple[str, Place]:
    """Split an error of ``tomllib`` into its message and the place in the text."""
    # Only newer versions keep the place in attributes; the wording is the same in all of them.
    message = str(error)
    found = _FAULT.fullmatch(message)
    if found is None:
        return message, Place(1, 1)
    if found["line"]:
        return found["message"], Place(int(found["line"]), int(found["column"]))
    # A newline at the very end ends the last line, it does not begin another one.
    lines = text.replace("\r\n", "\n").removesuffix("\n").split("\n")
    return found["message"], Place(len(lines), len(lines[-1]) + 1)


_FAULT = re.compile(
    r"(?P<message>.*) \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)",
    re.DOTALL,
)

# Possessive quantifiers throughout: no match ever steps back, so the scan takes linear time.
_GAP = re.compile(r"(?:[ \t\n,]++|#[^\n]*+)*+")
_HEADER = re.compile(r"\[\[?[ \t]*+")
_HEADER_END = re.compile(r"[ \t]*+\]\]?")
_DOT = re.compile(r"[ \t]*+\.[ \t]*+")
_EQUALS = re.compile(r"[ \t]*+=[ \t]*+")
_LINE_STRING = r""""(?:[^"\\\n]++|\\[^\n])*+"|'[^'\n]*+'"""
_KEY = re.compile(rf"[A-Za-z0-9_-]++|{_LINE_STRING}")
_SCALAR = re.compile(
    # Up to two quotes more than the closing three belong to the string.
    r'"""(?:[^"\\]++|\\.|"(?!""))*+"{3,5}'
    r"|'''(?:[^']++|'(?!''))*+'{3,5}"
    rf"|{_LINE_STRING}"
    r"|[0-9]{4}-[0-9]{2}-[0-9]{2} [0-9][0-9:.Zz+-]*+"  # date and time, a space between
    r"|[A-Za-z0-9_:.+-]++",
    re.DOTALL,
)

_ROOT = 0

# The paths of a map hold this many steps at most, all together.  No document written for its
# contents comes near; brackets nested without end would otherwise need memory without end.
_MOST_STEPS = 20_000_000


class _Lost(Exception):
    """The text goes on with something that no valid document has there."""


class _Scan:
    """All nodes (tables, arrays and other values) of one document.

    A node is a number.  Each knows its parent by a (parent, step) pair rather than by its full
    path, so that deep nesting costs no more than broad nesting, and nothing is recursive.
    """

    def __init__(self, text: str) -> None:
        self._text = text.replace("\r\n", "\n")  # as tomllib does; moves no line and no column
        self._at = 0
        self._line_starts = [0, *(end.end() for end in re.finditer("\n", self._text))]
        self.children: dict[tuple[int, str | int], int] = {}
        self.value_at = [0]
        self.key_at = [0]
        self._table_counts: dict[int, int] = {}  # array of tables -> number of its tables so far
        with suppress(_Lost):
            self._document()

    def place(self, offset: int) -> Place:
        line = bisect_right(self._line_starts, offset)
        return Place(line, offset - self._line_starts[line - 1] + 1)

    def paths(self) -> Iterator[tuple[Path, int]]:
        """Yield every path with its node, parents first."""
        known: list[Path] = [()]
        steps = 0
        for (parent, step), node in self.children.items():
            steps += len(known[parent]) + 1
            if steps > _MOST_STEPS:
                return
            known.append((*known[parent], step))
            yield known[node], node

    def _document(self) -> None:
        table = _ROOT
        self._take(_GAP)
        while self._at < len(self._text):
            if self._text[self._at] == "[":
                table = self._header()
            else:
                self._value(self._pair(table))
            self._take(_GAP)

    def _header(self) -> int:
        """Read a table header, give the table it opens."""
        is_array = self._take(_HEADER).startswith("[[")
        keys = self._keys()
        self._take(_HEADER_END)
        start = keys[0][1]
        *outer, (name, at) = keys
        node = self._child(self._inner(_ROOT, outer), name, start, at)
        if is_array:
            index = self._table_counts.get(node, 0)
            self._table_counts[node] = index + 1
            return self._child(node, index, start, start)
        # Headers of its sub-tables may have come before, but this is the one of the table.
        self.value_at[node], self.key_at[node] = start, at
        return node

    def _pair(self, table: int) -> int:
        """Read a key and its equals sign, give the node of the value that comes next."""
        *outer, (name, at) = self._keys()
        self._take(_EQUALS)
        return self._child(self._inner(table, outer), name, self._at, at)

    def _value(self, node: int) -> None:
        """Read one value; what is nested in it is kept in a list of the brackets still open."""
        open_brackets: list[tuple[int, Iterator[int] | None]] = []  # no indexes: a table
        while True:
            if self._text.startswith(("[", "{"), self._at):
                is_array = self._text[self._at] == "["
                open_brackets.append((node, count() if is_array else None))
                self._at += 1
            else:
                self._take(_SCALAR)
            while open_brackets:
                self._take(_GAP)
                if not self._text.startswith(("]", "}"), self._at):
                    break
                open_brackets.pop()
                self._at += 1
            if not open_brackets:
                return
            holder, indexes = open_brackets[-1]
            if indexes is None:
                node = self._pair(holder)
            else:
                node = self._child(holder, next(indexes), self._at, self._at)

    def _keys(self) -> list[tuple[str, int]]:
        """Read a key, dotted or not, as its parts and their offsets."""
        keys = []
        while True:
            at = self._at
            keys.append((_key_name(self._take(_KEY)), at))
            if not (dot := _DOT.match(self._text, self._at)):
                return keys
            self._at = dot.end()

    def _inner(self, node: int, keys: list[tuple[str, int]]) -> int:
        """Go down a dotted key; an array of tables stands for its last table."""
        for name, at in keys:
            node = self._child(node, name, keys[0][1], at)
            if tables := self._table_counts.get(node):
                node = self.children[node, tables - 1]
        return node

    def _child(self, parent: int, step: str | int, value_at: int, key_at: int) -> int:
        """Give the child of a node, a new one with these offsets if there is none yet."""
        new = len(self.value_at)
        node = self.children.setdefault((parent, step), new)
        if node == new:
            self.value_at.append(value_at)
            self.key_at.append(key_at)
        return node

    def _take(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self._text, self._at)
        if found is None:
            raise _Lost
        self._at = found.end()
        return found[0]


def _key_name(key: str) -> str:
    """Give the name that a bare or quoted key stands for."""
    if key[0] == "'" or (key[0] == '"' and "\\" not in key):
        return key[1:-1]
    if key[0] != '"':
        return key
    try:
        return str(tomllib.loads(f"key = {key}")["key"])
    except tomllib.TOMLDecodeError:
        raise _Lost from None


_scan = lru_cache(maxsize=4)(_Scan)  # one document may have many errors to be told
