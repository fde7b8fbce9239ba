"""JSON Schema of numbers within limits, as numbers or spelt as texts: 544, "0x220", "220h".

A text is compared with a regular expression that is made digit by digit, so that it takes just the
numbers that the limits take. What it can't say: that a number spelt in decimal is a multiple.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Any

from romtool.schema.numbers import LONGEST

DIGITS = "0123456789ABCDEF"

Run = tuple[int, int]
"""The lowest and the highest of numbers in a row."""


def number_schema(*runs: Run, unit: int = 1) -> dict[str, Any]:
    """Return the JSON Schema of the numbers in these runs, in steps of `unit`."""
    joined = list(_joined(runs, unit))
    step = {} if unit == 1 else {"multipleOf": unit}
    numbers = [{"type": "integer", "minimum": low, "maximum": high, **step} for low, high in joined]
    text = {"type": "string", "maxLength": LONGEST, "pattern": text_pattern(joined, unit)}
    return {"anyOf": [*numbers, text]}


def text_pattern(runs: Iterable[Run], unit: int = 1) -> str:
    """Return the pattern of the texts that spell a number in these runs."""
    runs = list(runs)
    hexadecimal = "|".join(_spelt(runs, 16, unit))
    decimal = "|".join(_spelt(runs, 10, unit))
    return rf"^\s*(0[xX]0*({hexadecimal})|0*({hexadecimal})[hH]|0*({decimal}))\s*$"


def _joined(runs: Iterable[Run], unit: int) -> Iterator[Run]:
    """Yield the runs in order, those that touch made one."""
    last: Run | None = None
    for low, high in sorted(runs):
        if last is not None and low <= last[1] + unit:
            last = last[0], max(last[1], high)
            continue
        if last is not None:
            yield last
        last = low, high
    if last is not None:
        yield last


def _spelt(runs: Iterable[Run], base: int, unit: int) -> Iterator[str]:
    """Yield a pattern for each way to spell the numbers, without leading zeros.

    Steps show in a base of which the unit is a power: they are zeros at the end.
    """
    zeros = 0
    while base ** (zeros + 1) <= unit and unit % base ** (zeros + 1) == 0:
        zeros += 1
    if base**zeros != unit:
        zeros = 0
    scale = base**zeros
    for low, high in runs:
        if zeros and low == 0:
            yield "0"
        for pattern in _of_lengths(max(-(-low // scale), bool(zeros)), high // scale, base):
            yield pattern + "0" * zeros


def _of_lengths(low: int, high: int, base: int) -> Iterator[str]:
    """Yield a pattern for the numbers of each length, those of whole lengths taken together."""
    ends = sorted({low, high + 1, *_powers(base, low, high)})
    whole: list[int] = []
    for first, stop in pairwise(ends):
        length = len(_digits(first, base))
        least = 0 if length == 1 else base ** (length - 1)
        if (first, stop) == (least, base**length):
            whole.append(length)
        else:
            yield _same_length(_digits(first, base), _digits(stop - 1, base), base)
    if whole:
        digit = _one_of(0, base - 1)
        if whole[0] == 1:
            yield f"{digit}{{1,{whole[-1]}}}"
        else:
            yield f"{_one_of(1, base - 1)}{digit}{{{whole[0] - 1},{whole[-1] - 1}}}"


def _powers(base: int, low: int, high: int) -> Iterator[int]:
    power = base
    while power <= high:
        if power > low:
            yield power
        power *= base


def _digits(number: int, base: int) -> list[int]:
    found = [number % base]
    while number >= base:
        number //= base
        found.insert(0, number % base)
    return found


def _same_length(low: list[int], high: list[int], base: int) -> str:
    """Return the pattern of the numbers from `low` to `high`, of as many digits."""
    if not low:
        return ""
    rest = len(low) - 1
    if low[0] == high[0]:
        return _one_of(low[0], low[0]) + _same_length(low[1:], high[1:], base)
    first, last, ways = low[0], high[0], []
    if any(low[1:]):
        ways.append(_one_of(first, first) + _same_length(low[1:], [base - 1] * rest, base))
        first += 1
    if any(digit != base - 1 for digit in high[1:]):
        ways.append(_one_of(last, last) + _same_length([0] * rest, high[1:], base))
        last -= 1
    if first <= last:
        many = f"{{{rest}}}" if rest > 1 else ""
        ways.append(_one_of(first, last) + (_one_of(0, base - 1) + many if rest else ""))
    return ways[0] if len(ways) == 1 else f"({'|'.join(ways)})"


def _one_of(first: int, last: int) -> str:
    """Return the pattern of one digit from `first` to `last`, letters large or small."""
    low, high = DIGITS[first], DIGITS[last]
    if first == last:
        return low if low.isdigit() else f"[{low}{low.lower()}]"
    if high.isdigit():
        return f"[{low}-{high}]"
    letters = "A" if low.isdigit() else low
    digits = f"{low}-9" if low.isdigit() else ""
    return f"[{digits}{letters}-{high}{letters.lower()}-{high.lower()}]"
