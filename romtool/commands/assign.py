"""`romtool assign`: what can PnP software give these cards in that PC?"""

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
from romtool.errors import Problem, InputError
from romtool.text.assignment import Card, assignment_lines
from romtool.requirements.read import requirements_of


@click.command(
    "assign",
    epilog="Example: romtool assign hollow-lane.bin --host samples/hosts/single-board.toml",
)
@click.argument(
    "images", nargs=-1, required=True, metavar="IMAGE...", shell_complete=completing.files
)
@host_option
@image_options
@json_option
@handle_refusals
def command(
    images: tuple[str, ...],
    host: str | None,
    layout: str | None,
    part: str | None,
    forced: str | None,
    schemas: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Tell which lines, channels and ports PnP software can give these cards in a PC.

    The best set, proved; or, with exit code 1, a conflict from which nothing can be left out, and
    the best set with the fewest devices left out.
    """
    from romtool.assign.assign import assign

    catalog = catalog_of(schemas)
    pc = host_at(catalog, host)
    taken = load_images(catalog, images, layout=layout, part=part, forced=forced)
    unread = [one.name for one in taken if one.image.layout is None]
    if unread:
        rule = catalog.rules["no-frame"]
        raise InputError(Problem(rule.message, rule.hint, file=name) for name in unread)
    cards = [Card(one.name, one.image, requirements_of(one.image)) for one in taken]
    found = assign(catalog, [card.requirements for card in cards], pc)
    if as_json:
        echo_json({"host": pc.name, **found.as_json()})
    else:
        echo_lines(assignment_lines(catalog, cards, pc, found))
    exit_with(DONE if found.feasible else NO)
