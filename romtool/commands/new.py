"""`romtool new`: a profile to begin with."""

from __future__ import annotations

from pathlib import Path

import click

from romtool.commands import completing
from romtool.commands.call import DONE, Call, declare
from romtool.commands.options import FORCE
from romtool.commands.printing import echo, echo_utf8, warn
from romtool.errors import InputError
from romtool.files.output import write_files
from romtool.image.decode import layout_named
from romtool.profile.starter_text import starter_text

SUFFIX = ".toml"


@declare("new", FORCE, example="romtool new my-card.toml --layout counted-19 --part 24C04")
@click.argument("file", shell_complete=completing.files)
@click.option(
    "--layout",
    metavar="L",
    shell_complete=completing.layouts,
    help="What the chip wants before the PnP data; left out: nothing.",
)
@click.option(
    "--part",
    metavar="P",
    shell_complete=completing.parts,
    help="The EEPROM part; left out: the smallest that holds it.",
)
def command(call: Call, file: str, layout: str | None, part: str | None) -> int:
    """Write a commented card profile that builds as it is: a small board for DOS games.

    Each key says what it means and what it takes. FILE - is standard output.
    """
    catalog = call.catalog
    frame = catalog.default_layout if layout is None else layout_named(catalog, layout)
    chosen = None if part is None else catalog.part(part)
    try:
        text = starter_text(catalog, frame, chosen)
    except InputError as refused:
        raise refused.in_file("standard output" if file == "-" else file) from None
    if file == "-":
        echo_utf8(text)
        return DONE
    write_files([(Path(file), text.encode())], force=call.force)
    echo(f"wrote {file}")
    if not file.lower().endswith(SUFFIX):
        warn(f"{file}: commands other than build know a profile by {SUFFIX}, or by --input toml")
    return DONE
