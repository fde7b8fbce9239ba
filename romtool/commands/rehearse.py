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
    guarded,
    host_at,
    host_option,
    image_options,
    json_option,
    leave,
    take_images,
)
from romtool.rehearse.answer import rehearsal_json
from romtool.rehearse.rehearsal import ALL, CONFIGURED_BY, rehearse
from romtool.text.rehearsal import rehearsal_lines


@click.command(
    "rehearse",
    epilog="Example: romtool rehearse hollow-lane.bin --trace",
)
@click.argument(
    "images", nargs=-1, required=True, metavar="IMAGE...", shell_complete=completing.files
)
@click.option(
    "--configured-by",
    type=click.Choice(CONFIGURED_BY),
    default=ALL,
    show_default=True,
    help="Who configures the cards: PnP software, every device; a BIOS, only devices needed for "
    "boot, as it does for a PnP system; or nobody, as in plain DOS.",
)
@click.option("--trace", is_flag=True, help="Tell every step, a line each.")
@host_option
@image_options
@json_option
@guarded
def command(
    images: tuple[str, ...],
    configured_by: str,
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
    taken = take_images(catalog, images, layout=layout, part=part, forced=forced)
    images_of = [(one.name, one.image) for one in taken]
    found = rehearse(catalog, images_of, assign, pc, configured_by)
    if as_json:
        answer = rehearsal_json(catalog, found)
        if trace:
            answer["steps"] = [{"step": step.name, "words": step.text} for step in found.steps]
        echo_json(answer)
    else:
        echo_lines(rehearsal_lines(catalog, found, trace=trace))
    leave(DONE if found.is_well else NO)
