"""`romtool report`: one page about an image, to look at and to print."""

from __future__ import annotations

import datetime
import os
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from romtool.commands import completing
from romtool.commands.call import DONE, Call, declare
from romtool.commands.expecting import functions_of
from romtool.commands.loading import LoadedImage
from romtool.commands.options import EXPECT, FORCE, HOST, IMAGE, configured_by_option
from romtool.image.model import Image
from romtool.report.model import Report, report_of
from romtool.report.pc import InThatPC
from romtool.report.subject import Expected, Subject
from romtool.requirements.read import requirements_of
from romtool.rules.findings import Finding
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import one_of

if TYPE_CHECKING:
    from romtool.assign.host import Host
    from romtool.report.conversation import Conversation

PAGE, MARKDOWN = ".html", ".md"
"""What the name of a page ends in that nobody named; of a file that is to be Markdown."""


@declare(
    "report",
    HOST,
    EXPECT,
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
@click.option(
    "--capture",
    "captured",
    metavar="CAPTURE",
    shell_complete=completing.files,
    help="A logic analyser's capture of the EEPROM's bus: what the chip read of it.",
)
@configured_by_option
def command(
    call: Call,
    image: str,
    other: str | None,
    output: Path | None,
    captured: str | None,
    configured_by: str,
) -> int:
    """Write one HTML page about IMAGE that needs nothing else, to look at and to print.

    Verdict and findings, a map of the bytes, the card and its devices, lines and ports, checksums,
    and how it was made; of two images also the differences, with --host what the card gets there.
    FILE.md is Markdown, for a repository.
    """
    if other is None:
        loaded, second = call.load(image), None
    else:
        pair = call.load_pair(image, other)
        loaded, second = pair[0], _subject(pair[1], [])
    functions, findings = functions_of(call, loaded, configured_by)
    titles = [expectation.title for expectation in call.expectations]
    report = report_of(
        _subject(loaded, findings),
        None if call.host is None else _in_pc(call.catalog, loaded.image, call.host),
        second,
        expected=[Expected(one_of(titles), tuple(functions))] if titles else [],
        conversation=_conversation(call, captured, loaded) if captured is not None else None,
        dated=_today(),
    )
    stem = "image" if image == "-" else Path(image).stem
    path = output or Path(f"{stem}{PAGE}")
    call.write(path, _rendered(report, path).encode())
    return DONE


def _rendered(report: Report, path: Path) -> str:
    """Return the report in the form that the name of its file asks for."""
    if path.suffix.lower() == MARKDOWN:
        from romtool.report.markdown import markdown

        return markdown(report)
    from romtool.report.page import page

    return page(report)


def _conversation(call: Call, captured: str, loaded: LoadedImage) -> Conversation:
    """Return what a capture shows, compared with the image."""
    from romtool.capture.findings import findings
    from romtool.commands.capture import decoded_capture
    from romtool.report.conversation import conversation_of

    call.part = call.part or loaded.part
    decoded = decoded_capture(call, captured, None)
    found = findings(call.catalog, decoded, loaded.image, None)
    return conversation_of(os.path.basename(captured), decoded, found)


def _today() -> str:
    """Return the day (UTC): that of SOURCE_DATE_EPOCH, which makes a page reproducible, or ours."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    seconds = int(epoch) if epoch.isdigit() else time.time()
    return datetime.datetime.fromtimestamp(seconds, datetime.UTC).date().isoformat()


def _in_pc(catalog: Catalog, image: Image, host: Host) -> InThatPC:
    from romtool.assign.assign import assign

    return InThatPC(host, assign(catalog, [requirements_of(image)], host))


def _subject(loaded: LoadedImage, expected: Sequence[Finding]) -> Subject:
    source = loaded.input
    return Subject(
        loaded.title if source.name == "-" else os.path.basename(loaded.title),
        source.format,
        loaded.image,
        loaded.part,
        loaded.findings(),
        source.text,
        source.tables.get("board", {}),
        expected,
    )
