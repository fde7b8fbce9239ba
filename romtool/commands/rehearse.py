"""`romtool rehearse`: what would a PC see of these cards at power-up?"""

from __future__ import annotations

from pathlib import Path

import click

from romtool.commands import completing
from romtool.commands.common import (
    DONE,
    NO,
    catalog_of,
    echo_json,
    echo_lines,
    handle_refusals,
    host_at,
    host_option,
    image_options,
    json_option,
    exit_with,
    load_images,
)
from romtool.rehearse.answer import rehearsal_json
from romtool.rehearse.rehearsal import rehearse
from romtool.text.rehearsal import rehearsal_lines
from romtool.text.trace import in_words


@click.command(
    "rehearse",
    epilog="Example: romtool rehearse hollow-lane.bin --trace",
)
@click.argument(
    "images", nargs=-1, required=True, metavar="IMAGE...", shell_complete=completing.files
)
@click.option("--trace", is_flag=True, help="Tell every step, a line each.")
@host_option
@image_options
@json_option
@handle_refusals
def command(
    images: tuple[str, ...],
    trace: bool,
    host: str | None,
    layout: str | None,
    part: str | None,
    forced: str | None,
    schemas: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Play the power-up of a PC in which these images are the cards' EEPROMs.

    The chips load, the software sends the key, isolates the cards bit by bit, reads their resource
    data, assigns and activates. Tells what the PC sees, which cards it never sees, and why. Exit
    code 1 where a card is lost or a device gets nothing.
    """
    from romtool.assign.assign import assign

    catalog = catalog_of(schemas)
    pc = host_at(catalog, host)
    taken = load_images(catalog, images, layout=layout, part=part, forced=forced)
    images_of = [(one.name, one.image) for one in taken]
    found = rehearse(catalog, images_of, assign, pc)
    if as_json:
        answer = rehearsal_json(catalog, found)
        if trace:
            answer["steps"] = [
                {"step": step.name, "words": in_words(catalog, step)[1]} for step in found.steps
            ]
        echo_json(answer)
    else:
        echo_lines(rehearsal_lines(catalog, found, trace=trace))
    exit_with(DONE if found.is_well else NO)
