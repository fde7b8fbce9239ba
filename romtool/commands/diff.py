"""`romtool diff`: what differs between two images, in the card's terms and in bytes."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from romtool.commands import completing
from romtool.commands.common import (
    DONE,
    NO,
    catalog_of,
    echo,
    echo_json,
    echo_lines,
    handle_refusals,
    image_options,
    json_option,
    load_pair,
)
from romtool.diff.compare import compare
from romtool.text.diff import counted, differences_lines


@click.command(
    "diff",
    epilog="Example: romtool diff donor.bin hollow-lane.toml",
)
@click.argument("first", metavar="A", shell_complete=completing.files)
@click.argument("second", metavar="B", shell_complete=completing.files)
@image_options
@json_option
@handle_refusals
def command(
    first: str,
    second: str,
    layout: str | None,
    part: str | None,
    forced: str | None,
    schemas: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Tell what differs between A and B, each an image or a profile, faults or not.

    First in the card's terms: layout, part, configuration, devices, choices, resources; then what
    follows from that: checksums, counts, places; then the bytes that no term explains. Exit code
    0 only if every byte is the same. The options hold for both;
    with standard input (-) for one of the two, --input is for that one.
    """
    catalog = catalog_of(schemas)
    a, b = load_pair(catalog, first, second, layout=layout, part=part, forced=forced)
    found = compare(a.image, b.image, (a.part, b.part))
    if as_json:
        echo_json(found.as_json())
    elif found.same and not found.changes:
        echo(f"same: all {len(a.image.data)} bytes of {a.name} are as {b.name} has them")
    else:
        echo_lines(differences_lines(found, [a.name, b.name], counted(a.image.data, b.image.data)))
    sys.exit(DONE if found.same else NO)
