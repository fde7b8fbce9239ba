"""`romtool verify`: is this readback what should have been burnt?"""

from __future__ import annotations

import sys
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
from romtool.recover.likeness import likeness
from romtool.text.verify import verify_lines
from romtool.verify import differences


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

    Names the field of each byte that differs, and the mishap where one explains them all: byte
    pairs swapped, one bit late and so on. Exit code 1 where a byte differs. --input says what
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
    like = likeness(read, want) if found else None
    if as_json:
        answer = {"match": not found, "differences": [one.as_json() for one in found]}
        echo_json(answer | ({"mishaps": like.as_json() if like else []} if found else {}))
    elif not found:
        echo(f"match: all {len(read)} bytes of {shown(readback)} are as {shown(expected)} has them")
    else:
        option = ", or --swap-pairs" if swapped_pairs(read) == want.data else ""
        echo_lines(verify_lines(found, len(want.data), like, option))
    sys.exit(NO if found else DONE)
