"""`romtool check`: is this image right?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import click

from romtool.commands import completing
from romtool.commands.common import (
    DONE,
    NO,
    LoadedImage,
    echo,
    handle_refusals,
    image_options,
    json_option,
    exit_with,
    load_image,
)
from romtool.commands.expecting import expect_option, with_expectations
from romtool.commands.many import Answer, summary, answer_each
from romtool.rules.findings import Finding
from romtool.schema.expect import Expectation
from romtool.text.findings import block, counted
from romtool.text.page import title

CLEAN = "clean"
KINDS = {"error": "with errors", "warning": "with warnings"}
"""What a file is called in the count, by the worst that was found in it."""


@click.command(
    "check",
    epilog="Example: romtool check donor.bin --expect dos-games",
)
@click.argument(
    "images", nargs=-1, required=True, metavar="IMAGE...", shell_complete=completing.files
)
@expect_option
@click.option("--strict", is_flag=True, help="Warnings count as errors.")
@image_options
@json_option
@handle_refusals
def command(
    images: tuple[str, ...],
    expected: str | None,
    strict: bool,
    layout: str | None,
    part: str | None,
    forced: str | None,
    schemas: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Check the structure of images: checksums, signature, count, items and their order.

    With --expect, also whether the first choices are what that software assumes. Exit code 1
    where there are errors.
    """
    catalog, expectations = with_expectations(schemas, expected)

    def work(name: str, note: Callable[[str], None]) -> Answer:
        one = load_image(catalog, name, layout=layout, part=part, forced=forced, note=note)
        return _answer(one, expectations, as_json)

    counts = answer_each(images, work, as_json=as_json, doing="checking")
    if not as_json and counts.total() > 1:
        echo(summary(counts, (CLEAN, *KINDS.values())))
    failed = counts[KINDS["error"]] > 0 or (strict and counts[KINDS["warning"]] > 0)
    if strict and failed and not as_json:
        echo("warnings count: --strict")
    exit_with(NO if failed else DONE)


def _answer(one: LoadedImage, expectations: Sequence[Expectation], as_json: bool) -> Answer:
    findings = one.findings(expectations)
    found = {finding.severity for finding in findings}
    kind = next((KINDS[severity] for severity in KINDS if severity in found), CLEAN)
    if as_json:
        return Answer(kind, data=_data(one, findings))
    return Answer(kind, _lines(one, findings))


def _lines(one: LoadedImage, findings: list[Finding]) -> Iterator[str]:
    yield from title(one.name, counted(findings))
    for finding in findings:
        yield from block(finding)


def _data(one: LoadedImage, findings: list[Finding]) -> dict[str, Any]:
    return {
        "file": one.name,
        "findings": [finding.as_json() for finding in findings],
        "errors": sum(f.severity == "error" for f in findings),
        "warnings": sum(f.severity == "warning" for f in findings),
    }
