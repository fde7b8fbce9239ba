"""`romtool profile`: a dump as a profile that can be edited."""

from __future__ import annotations

from pathlib import Path

import click

from romtool.commands import completing
from romtool.commands.call import DONE, Call, declare
from romtool.commands.options import FORCE, IMAGE
from romtool.commands.printing import warn
from romtool.profile.write import profile_text
from romtool.text.findings import counted
from romtool.text.problems import visible


@declare("profile", *IMAGE, FORCE, example="romtool profile donor.bin -o donor.toml")
@click.argument("dump", shell_complete=completing.files)
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    type=click.Path(path_type=Path),
    default="-",
    help="The profile to write; left out, or -: standard output.",
)
def command(call: Call, dump: str, output: Path) -> int:
    """Write DUMP as a card profile that builds back to the same bytes, whatever it holds."""
    taken = call.load(dump)
    if taken.image.layout is None:
        warn(f"{taken.name}: no layout fits: the bytes stand as they are; `recover` may help")
    else:
        found = taken.findings()
        if any(finding.severity == "error" for finding in found):
            warn(f"{taken.name}: {counted(found)}, all kept as they are; `check` lists them")
    name = visible(Path(taken.name).name)
    decoded = taken.image.layout.name if taken.image.layout else None
    text = profile_text(call.catalog, taken.input.data, decoded, taken.part, name)
    call.write(output, text.encode())
    return DONE
