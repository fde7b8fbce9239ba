"""`romtool verify`: is this readback what should have been burnt?"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import click

from romtool.commands.common import (
    DONE,
    NO,
    catalog_of,
    echo,
    echo_json,
    echo_lines,
    guarded,
    image_options,
    json_option,
    take_image,
)
from romtool.errors import refuse
from romtool.files.intake import shown
from romtool.image.spoiling import swapped_pairs
from romtool.text.page import line, title
from romtool.verify import Difference, differences, remark

MOST_ROWS = 40
"""So many differing bytes are listed for people; JSON has all of them."""


@click.command(
    "verify",
    epilog="Example: romtool verify readback.bin hollow-lane.toml",
)
@click.argument("readback")
@click.argument("expected")
@click.option("--swap-pairs", is_flag=True, help="The readback has its byte pairs swapped.")
@image_options
@json_option
@guarded
def command(
    readback: str,
    expected: str,
    swap_pairs: bool,
    layout: str | None,
    part: str | None,
    forced: str | None,
    schemas: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Tell whether READBACK is what EXPECTED (an image or a profile) should have put there.

    Names the field of each byte that differs. Exit code 1 where one does. --input says what
    READBACK is.
    """
    if readback == expected == "-":
        raise refuse("standard input can be read only once", "name a file for one of the two")
    catalog = catalog_of(schemas)
    read = take_image(catalog, readback, forced=forced).intake.data
    want = take_image(catalog, expected, layout=layout, part=part).image
    if swap_pairs:
        read = swapped_pairs(read)
    found = differences(read, want)
    if as_json:
        echo_json({"match": not found, "differences": [one.as_json() for one in found]})
        sys.exit(NO if found else DONE)
    if not found:
        echo(f"match: all {len(read)} bytes of {shown(readback)} are as {shown(expected)} has them")
        sys.exit(DONE)
    echo_lines(title("no match", _counted(found, len(want.data))))
    words = remark(read, want)
    if words:
        echo(words)
    echo("  at    expected  found  field")
    for one in found[:MOST_ROWS]:
        echo_lines(_row(one))
    if len(found) > MOST_ROWS:
        echo(f"  … and {len(found) - MOST_ROWS} more")
    sys.exit(NO)


def _counted(found: list[Difference], size: int) -> str:
    """Return how many bytes differ, are missing, or are too many."""
    missing = sum(one.found is None for one in found)
    extra = sum(one.expected is None for one in found)
    differ = len(found) - missing - extra
    words = [f"{differ} of {size} bytes differ"] if differ else []
    words += [f"{missing} of {size} bytes are missing"] if missing else []
    words += [f"{extra} bytes are too many"] if extra else []
    return ", ".join(words)


def _row(one: Difference) -> Iterator[str]:
    want = "--" if one.expected is None else f"{one.expected:02X}"
    have = "--" if one.found is None else f"{one.found:02X}"
    yield from line(f"  {one.offset:04X}  {want:8}  {have:5}", one.field, column=25)
