"""Levels over time, as a file tells them, whatever its format."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

LOW, HIGH, FLOATING, UNKNOWN = range(4)
"""The levels of a channel: `FLOATING` is z, `UNKNOWN` is x."""

LEVELS = {"0": LOW, "1": HIGH, "z": FLOATING, "Z": FLOATING, "x": UNKNOWN, "X": UNKNOWN}
"""How files write them."""


Change = tuple[float, int, int]
"""A channel takes another level: time in the recording's units, channel, level.

A plain tuple, as a capture has millions of them.
"""


class Recording:
    """The channels of a capture and how their levels change, in order of time.

    `unit`: seconds of one unit of time. `changes` can be read only once. While it is read, `end`
    holds the last time that the file names, and `cut` whether the file breaks off in a line.
    """

    def __init__(self, channels: tuple[str, ...], unit: float) -> None:
        self.channels = channels
        self.unit = unit
        self.end: float = 0
        self.cut = False
        self.changes: Iterator[Change] = iter(())


Lines = Iterable[str]
"""Lines of a text, each with its line end; only the last one may lack it."""
