"""`romtool check`: is this image right?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

import click

from romtool.commands.call import DONE, NO, Call, declare
from romtool.commands.expecting import functions_of
from romtool.commands.loading import LoadedImage
from romtool.commands.many import Answer, answer_each, summary
from romtool.commands.options import (
    EXPECT,
    HOST,
    IMAGE,
    JSON,
    configured_by_option,
    images_argument,
)
from romtool.commands.printing import echo, echo_lines, warn
from romtool.rehearse import ALL
from romtool.rules.check import in_order
from romtool.rules.findings import Finding
from romtool.text.findings import block, counted, function_line
from romtool.text.page import line, title
from romtool.text.problems import visible

if TYPE_CHECKING:
    from romtool.rules.expect import FunctionFound

CLEAN = "clean"
KINDS = {"error": "with errors", "warning": "with warnings"}
"""What a file is called in the count, by the worst that was found in it."""

DUPLICATES = 4
"""The most files that are named of those that are one card."""


@declare("check", EXPECT, HOST, *IMAGE, JSON, example="romtool check donor.bin --expect dos-games")
@images_argument
@configured_by_option
@click.option("--strict", is_flag=True, help="Warnings count as errors.")
def command(call: Call, images: tuple[str, ...], configured_by: str, strict: bool) -> int:
    """Check images by the rules of the standard and of the trade.

    With --expect, also whether each function of the card is where that software looks for it: by
    its first choices, or with --host by what the card is given in that PC. Exit code 1 where there
    are errors.
    """
    if call.host is not None and not call.expectations:
        raise click.UsageError("--host says what --expect is judged by: give --expect too")
    if configured_by != ALL and call.host is None:
        raise click.UsageError("--configured-by is about a PC: give --expect and --host too")

    def work(name: str, note: Callable[[str], None]) -> Answer:
        one = call.load(name, note)
        functions, expected = functions_of(call, one, configured_by)
        return _answer(one, in_order([*one.findings(), *expected]), functions, call)

    marks: list[tuple[str, bytes]] = []
    counts = answer_each(call, images, work, doing="checking", marks=marks)
    for words in _duplicates(marks):
        if call.as_json:
            warn(words)
        else:
            echo_lines(line("Same card", words, style="yellow"))
    if not call.as_json and counts.total() > 1:
        echo(summary(counts, (CLEAN, *KINDS.values())))
    failed = counts[KINDS["error"]] > 0 or (strict and counts[KINDS["warning"]] > 0)
    if strict and failed and not call.as_json:
        echo("warnings count: --strict")
    return NO if failed else DONE


def _answer(
    one: LoadedImage, findings: list[Finding], functions: list[FunctionFound], call: Call
) -> Answer:
    found = {finding.severity for finding in findings}
    kind = next((KINDS[severity] for severity in KINDS if severity in found), CLEAN)
    is_card = one.image.layout is not None and one.image.identifier_size
    mark = (one.name, one.image.identifier_raw) if is_card else None
    if not call.as_json:
        return Answer(kind, _lines(one, findings, functions), mark=mark)
    data = _data(one, findings)
    if call.expectations:
        data["functions"] = [function.as_json() for function in functions]
    return Answer(kind, data=data, mark=mark)


def _duplicates(marks: Sequence[tuple[str, bytes]]) -> Iterator[str]:
    """Yield which files are one and the same card to PnP software (Spec 3.3, 6.1.2)."""
    by_identifier: dict[bytes, list[str]] = {}
    for file, identifier in marks:
        by_identifier.setdefault(identifier, []).append(visible(file))
    for files in by_identifier.values():
        if len(files) > 1:
            more = f" and {len(files) - DUPLICATES} more" if len(files) > DUPLICATES else ""
            names = ", ".join(files[:DUPLICATES]) + more
            yield (
                f"{names}: one card, by their 72 bits; in one PC only one of them is seen: "
                "give each a serial number of its own"
            )


def _lines(
    one: LoadedImage, findings: list[Finding], functions: list[FunctionFound]
) -> Iterator[str]:
    yield from title(one.title, counted(findings))
    for function in functions:
        yield from function_line(function)
    for finding in findings:
        yield from block(finding)


def _data(one: LoadedImage, findings: list[Finding]) -> dict[str, Any]:
    return {
        "file": one.name,
        "findings": [finding.as_json() for finding in findings],
        "errors": sum(f.severity == "error" for f in findings),
        "warnings": sum(f.severity == "warning" for f in findings),
    }
