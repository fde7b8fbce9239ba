"""Which format a capture has: told by how it begins."""

from __future__ import annotations

import itertools

from romtool.capture.csv_levels import has_times, read_csv
from romtool.capture.levels import Lines, Recording
from romtool.capture.vcd import read_vcd
from romtool.errors import refuse


def read_recording(lines: Lines) -> Recording:
    """Return what a text of either format records; raises InputError, perhaps in mid-reading."""
    rest = iter(lines)
    blank = []
    for line in rest:
        if not line.strip("\ufeff \t\r\n"):
            blank.append(line)
            continue
        whole = itertools.chain(blank, [line], rest)
        if line.lstrip("\ufeff \t").startswith("$"):
            return read_vcd(whole)
        if has_times(line):
            return read_csv(whole)
        hint = "export it as VCD, or as CSV whose first row names the columns, one of them time"
        raise refuse("is no capture that can be read", hint)
    raise refuse("is empty", "capture again")
