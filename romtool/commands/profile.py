"""`romtool profile`: a dump as a profile that can be edited."""

from __future__ import annotations

from pathlib import Path

import click

from romtool.commands import completing
from romtool.commands.common import (
    catalog_of,
    echo,
    echo_utf8,
    force_option,
    handle_refusals,
    image_options,
    load_image,
    warn,
)
from romtool.files.output import write_files
from romtool.files.reading import name_text
from romtool.profile.write import profile_text
from romtool.text.problems import visible
from romtool.text.findings import counted


@click.command(
    "profile",
    epilog="Example: romtool profile donor.bin -o donor.toml",
)
@click.argument("dump", shell_complete=completing.files)
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="The profile to write; left out: standard output.",
)
@image_options
@force_option
@handle_refusals
def command(
    dump: str,
    output: Path | None,
    layout: str | None,
    part: str | None,
    forced: str | None,
    schemas: tuple[Path, ...],
    force: bool,
) -> None:
    """Write DUMP as a card profile that builds back to the same bytes, whatever it holds."""
    catalog = catalog_of(schemas)
    taken = load_image(catalog, dump, layout=layout, part=part, forced=forced)
    if taken.image.layout is None:
        warn(f"{taken.name}: no layout fits: the bytes stand as they are; `recover` may help")
    else:
        found = taken.findings()
        if any(finding.severity == "error" for finding in found):
            warn(f"{taken.name}: {counted(found)}, all kept as they are; `check` lists them")
    name = visible(Path(taken.name).name)
    decoded = taken.image.layout.name if taken.image.layout else None
    text = profile_text(catalog, taken.input_file.data, decoded, taken.part, name)
    if output is None:
        echo_utf8(text)
        return
    write_files([(output, text.encode())], force=force)
    echo(f"wrote {visible(name_text(output))}")
