"""`romtool report`: one page about an image, to look at and to print."""

from __future__ import annotations

from pathlib import Path

import click

from romtool.assign.host import Host
from romtool.commands import completing
from romtool.commands.common import (
    LoadedImage,
    catalog_of,
    echo,
    force_option,
    handle_refusals,
    host_at,
    host_option,
    image_options,
    load_image,
    load_pair,
)
from romtool.files.output import write_files
from romtool.files.reading import name_text
from romtool.image.model import Image
from romtool.report.given import InThatPC
from romtool.report.model import report_of
from romtool.report.origin import Subject
from romtool.schema.catalog import Catalog
from romtool.text.problems import visible
from romtool.requirements.read import requirements_of


@click.command(
    "report",
    epilog="Example: romtool report donor.bin --host samples/hosts/single-board.toml",
)
@click.argument("image", shell_complete=completing.files)
@click.argument("other", required=False, metavar="[IMAGE2]", shell_complete=completing.files)
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="The page to write; left out: STEM.html in this folder.",
)
@host_option
@image_options
@force_option
@handle_refusals
def command(
    image: str,
    other: str | None,
    output: Path | None,
    host: str | None,
    layout: str | None,
    part: str | None,
    forced: str | None,
    schemas: tuple[Path, ...],
    force: bool,
) -> None:
    """Write one HTML page about IMAGE that needs nothing else, to look at and to print.

    Verdict and findings, a map of the bytes, the card and its devices, lines and ports, checksums,
    and how it was made; of two images also the differences, with --host what the card gets there.
    """
    from romtool.report.page import page

    catalog = catalog_of(schemas)
    if other is None:
        taken = load_image(catalog, image, layout=layout, part=part, forced=forced)
        second = None
    else:
        pair = load_pair(catalog, image, other, layout=layout, part=part, forced=forced)
        taken, second = pair[0], _subject(pair[1])
    pc = None if host is None else _in_pc(catalog, taken.image, host_at(catalog, host))
    text = page(report_of(_subject(taken), pc, second))
    stem = "image" if image == "-" else Path(image).stem
    path = output or Path(f"{stem}.html")
    write_files([(path, text.encode())], force=force)
    echo(f"wrote {visible(name_text(path))}")


def _in_pc(catalog: Catalog, image: Image, host: Host) -> InThatPC:
    from romtool.assign.assign import assign

    return InThatPC(host, assign(catalog, [requirements_of(image)], host))


def _subject(taken: LoadedImage) -> Subject:
    input_file = taken.input_file
    return Subject(
        taken.name, input_file.format, taken.image, taken.part, taken.findings(), input_file.text
    )
