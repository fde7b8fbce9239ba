"""`romtool report`: one page about an image, to look at and to print."""

from __future__ import annotations

from pathlib import Path

import click

from romtool.assign.host import Host
from romtool.commands import completing
from romtool.commands.call import DONE, Call, declare
from romtool.commands.loading import LoadedImage
from romtool.commands.options import FORCE, HOST, IMAGE
from romtool.image.model import Image
from romtool.report.given import InThatPC
from romtool.report.model import report_of
from romtool.report.origin import Subject
from romtool.requirements.read import requirements_of
from romtool.schema.catalog import Catalog


@declare(
    "report",
    HOST,
    *IMAGE,
    FORCE,
    example="romtool report donor.bin --host workshop",
)
@click.argument("image", shell_complete=completing.files)
@click.argument("other", required=False, metavar="[IMAGE2]", shell_complete=completing.files)
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="The page to write; left out: STEM.html in this folder; -: standard output.",
)
def command(call: Call, image: str, other: str | None, output: Path | None) -> int:
    """Write one HTML page about IMAGE that needs nothing else, to look at and to print.

    Verdict and findings, a map of the bytes, the card and its devices, lines and ports, checksums,
    and how it was made; of two images also the differences, with --host what the card gets there.
    """
    from romtool.report.page import page

    if other is None:
        loaded, second = call.load(image), None
    else:
        pair = call.load_pair(image, other)
        loaded, second = pair[0], _subject(pair[1])
    pc = None if call.host is None else _in_pc(call.catalog, loaded.image, call.host)
    text = page(report_of(_subject(loaded), pc, second))
    stem = "image" if image == "-" else Path(image).stem
    path = output or Path(f"{stem}.html")
    call.write(path, text.encode())
    return DONE


def _in_pc(catalog: Catalog, image: Image, host: Host) -> InThatPC:
    from romtool.assign.assign import assign

    return InThatPC(host, assign(catalog, [requirements_of(image)], host))


def _subject(loaded: LoadedImage) -> Subject:
    source = loaded.input
    return Subject(
        loaded.name, source.format, loaded.image, loaded.part, loaded.findings(), source.text
    )
