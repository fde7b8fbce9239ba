"""`romtool check`: is this image right?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

import click

from romtool.commands.call import DONE, NO, Call, declare
from romtool.commands.loading import LoadedImage
from romtool.commands.many import Answer, answer_each, summary
from romtool.commands.options import EXPECT, IMAGE, JSON, images_argument
from romtool.commands.printing import echo
from romtool.rules.findings import Finding
from romtool.schema.expect import Expectation
from romtool.text.findings import block, counted
from romtool.text.page import title

CLEAN = "clean"
KINDS = {"error": "with errors", "warning": "with warnings"}
"""What a file is called in the count, by the worst that was found in it."""


@declare("check", EXPECT, *IMAGE, JSON, example="romtool check donor.bin --expect dos-games")
@images_argument
@click.option("--strict", is_flag=True, help="Warnings count as errors.")
def command(call: Call, images: tuple[str, ...], strict: bool) -> int:
    """Check the structure of images: checksums, signature, count, items and their order.

    With --expect, also whether the first choices are what that software assumes. Exit code 1
    where there are errors.
    """
    expectations = call.expectations

    def work(name: str, note: Callable[[str], None]) -> Answer:
        return _answer(call.load(name, note), expectations, call.as_json)

    counts = answer_each(call, images, work, doing="checking")
    if not call.as_json and counts.total() > 1:
        echo(summary(counts, (CLEAN, *KINDS.values())))
    failed = counts[KINDS["error"]] > 0 or (strict and counts[KINDS["warning"]] > 0)
    if strict and failed and not call.as_json:
        echo("warnings count: --strict")
    return NO if failed else DONE


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
