"""`romtool profile`: a dump as a profile that can be edited."""

from __future__ import annotations

import os

import click

from romtool.commands import completing
from romtool.commands.call import DONE, Call, declare
from romtool.commands.options import FORCE, IMAGE, wiring_of, wiring_options
from romtool.commands.printing import echo, warn
from romtool.profile.write import fitted_text, profile_text
from romtool.schema.numbers import sizes
from romtool.text.findings import counted
from romtool.text.problems import visible
from romtool.text.profile import removal_lines


@declare("profile", *IMAGE, FORCE, example="romtool profile donor.bin -o donor.toml")
@click.argument("dump", shell_complete=completing.files)
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    type=click.Path(),
    default="-",
    help="The profile to write; left out, or -: standard output.",
)
@wiring_options
@click.option(
    "--without",
    metavar="DEVICE",
    multiple=True,
    help="A device that the board doesn't have, by ID; QRL0403/2: the second of that ID.",
)
def command(
    call: Call,
    dump: str,
    output: str,
    irq_wiring: list[int] | None,
    dma_wiring: list[int] | None,
    without: tuple[str, ...],
) -> int:
    """Write DUMP as a card profile that builds back to the same bytes, whatever it holds.

    With a wiring or --without, as one that fits that board: it says what it took out.
    """
    taken = call.load(dump)
    if taken.image.layout is None:
        warn(f"{taken.name}: no layout fits: the bytes stand as they are; `recover` may help")
    else:
        if taken.image.lead is not None:
            size = sizes(len(taken.image.lead))
            warn(f"{taken.name}: a count or a sum in its lead of {size} doesn't follow an edit")
        found = taken.findings()
        if any(finding.severity == "error" for finding in found):
            warn(f"{taken.name}: {counted(found)}, all kept as they are; `check` lists them")
    name = visible(os.path.basename(taken.name))
    decoded = taken.image.layout
    wiring = wiring_of(irq=irq_wiring, dma=dma_wiring)
    if wiring or without:
        text, removed = fitted_text(call.catalog, taken.image, taken.part, name, wiring, without)
        for words in removal_lines(call.catalog, removed):
            echo(words, err=True)
    else:
        text = profile_text(call.catalog, taken.input.data, decoded, taken.part, name)
    call.write(output, text.encode())
    return DONE
