"""Value change dumps (IEEE 1364-2005, chapter 18), read as they come: never more than a line."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from romtool.capture.levels import FLOATING, LEVELS, LOW, UNKNOWN, Change, Lines, Recording
from romtool.errors import InputError, Problem

SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "ps": 1e-12, "fs": 1e-15}
"""Units of $timescale (18.2.3.6)."""

MOST_CHANNELS = 4096
"""Bits of all variables together: no logic analyser has as many."""

_TIMESCALE = re.compile(r"(10{0,2})(s|ms|us|ns|ps|fs)\Z")
_RANGE = re.compile(r"\[(-?\d+)(?::(-?\d+))?\]\Z")
_HINT = "export the capture again as VCD"


class _Variable(NamedTuple):
    """A declared variable: its first channel and its bits; none where it has no levels."""

    first: int
    bits: int


def read_vcd(lines: Lines) -> Recording:
    """Return the recording of a value change dump; raises InputError for what is none.

    Problems after the declarations are raised while the changes are read.
    """
    numbered = enumerate(lines, 1)
    channels: list[str] = []
    variables: dict[str, _Variable] = {}
    unit = 1.0
    section: list[str] = []
    for number, line in numbered:
        for word in line.split():
            if word != "$end":
                section.append(word)
                continue
            kind, words = (section[0], section[1:]) if section else ("", [])
            section = []
            if kind == "$timescale":
                unit = _unit(words, number)
            elif kind == "$var":
                _declare(words, number, channels, variables)
            elif kind == "$enddefinitions":
                recording = Recording(tuple(channels), unit)
                recording.changes = _Body(recording, variables).changes(numbered)
                return recording
    raise _problem("there is no $enddefinitions: the declarations are not all there", None)


def _problem(message: str, line: int | None) -> InputError:
    return InputError([Problem(message, _HINT, line=line)])


def _unit(words: list[str], number: int) -> float:
    found = _TIMESCALE.match("".join(words))
    if found is None:
        raise _problem(f'$timescale {" ".join(words)[:40]} is none such as "1 ns"', number)
    return int(found[1]) * SECONDS[found[2]]


def _declare(
    words: list[str], number: int, channels: list[str], variables: dict[str, _Variable]
) -> None:
    """Add the channels of `$var type size code reference`; one more name of a code adds none."""
    if len(words) < 4 or not words[1].isdecimal() or len(words[1]) > 5:
        raise _problem(f"$var {' '.join(words)[:40]} is not type, size, code and name", number)
    kind, size, code, name = words[0], int(words[1]), words[2], "".join(words[3:])
    if code in variables:
        return
    if kind in ("real", "realtime", "event", "string") or not size:
        variables[code] = _Variable(0, 0)
        return
    if len(channels) + size > MOST_CHANNELS:
        raise _problem(f"more than {MOST_CHANNELS} bits are declared", number)
    variables[code] = _Variable(len(channels), size)
    if size == 1:
        channels.append(name)
        return
    found = _RANGE.search(name)
    high, low = (int(found[1]), int(found[2] or found[1])) if found else (size - 1, 0)
    step = 1 if low > high else -1
    stem = name[: found.start()] if found else name
    channels.extend(f"{stem}[{high + step * place}]" for place in range(size))


class _Body:
    """What stands after the declarations (18.2.1): times, and levels of variables."""

    def __init__(self, recording: Recording, variables: dict[str, _Variable]) -> None:
        self._recording = recording
        self._variables = variables
        self._levels = [-1] * len(recording.channels)
        self._time = 0
        self._is_comment = False

    def changes(self, numbered: Iterator[tuple[int, str]]) -> Iterator[Change]:
        """Yield the changes, the first level of each channel included."""
        variables = self._variables.items()
        scalars = {code: variable.first for code, variable in variables if variable.bits == 1}
        levels, known = self._levels, LEVELS
        for number, line in numbered:
            # A line with one level or one time is what nearly all of a long file is made of.
            first = line[:1]
            if first in known and not self._is_comment:
                channel = scalars.get(line[1:].rstrip())
                if channel is not None:
                    level = known[first]
                    if levels[channel] != level:
                        levels[channel] = level
                        yield self._time, channel, level
                    continue
            elif first == "#" and line[1:-1].isdecimal() and not self._is_comment:
                self._move(line[1:], line, number)
                continue
            yield from self._words(line, number)

    def _move(self, digits: str, line: str, number: int) -> None:
        if not line.endswith("\n"):
            self._recording.cut = True  # it may have lost digits
            return
        later = int(digits)
        if later < self._time:
            raise _problem(f"time runs back from {self._time} to {later}", number)
        self._recording.end = self._time = later

    def _words(self, line: str, number: int) -> Iterator[Change]:
        """Yield the changes of a line of any form: several to a line, vectors, comments."""
        words = iter(line.split())
        for word in words:
            mark, rest = word[0], word[1:]
            if self._is_comment:
                self._is_comment = word != "$end"
            elif mark == "$":
                self._is_comment = word == "$comment"
            elif mark == "#" and rest.isdecimal():
                self._move(rest, line, number)
            elif mark in "rRsS":
                next(words, None)
            elif mark in "bB":
                yield from self._set(rest, next(words, ""), line, number)
            else:
                yield from self._set(mark, rest, line, number)

    def _set(self, bits: str, code: str, line: str, number: int) -> Iterator[Change]:
        variable = self._variables.get(code)
        if variable is None or not bits or not all(bit in LEVELS for bit in bits):
            if line.endswith("\n"):
                words = f"{bits} {code}"[:40].strip()
                raise _problem(f"{words} is no time and no level of a variable", number)
            self._recording.cut = True
            return
        for channel, level in enumerate(_spread(bits, variable.bits), variable.first):
            if self._levels[channel] != level:
                self._levels[channel] = level
                yield self._time, channel, level


def _spread(bits: str, size: int) -> Iterator[int]:
    """Yield the levels of a vector; what is left out at its left is as Table 18-1 says."""
    found = [LEVELS[bit] for bit in bits[-size:]] if size else []
    lead = found[0] if found and found[0] in (FLOATING, UNKNOWN) else LOW
    yield from [lead] * (size - len(found))
    yield from found
