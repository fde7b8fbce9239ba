"""`romtool check`: is this image right?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from romtool.commands.common import (
    DONE,
    NO,
    Taken,
    catalog_of,
    echo,
    echo_answers,
    echo_lines,
    guarded,
    image_options,
    json_option,
    leave,
    take_images,
)
from romtool.rules.findings import Finding
from romtool.text.findings import block, counted
from romtool.text.page import title


@click.command(
    "check",
    epilog="Example: romtool check donor.bin --strict",
)
@click.argument("images", nargs=-1, required=True, metavar="IMAGE...")
@click.option("--strict", is_flag=True, help="Warnings count as errors.")
@image_options
@json_option
@guarded
def command(
    images: tuple[str, ...],
    strict: bool,
    layout: str | None,
    part: str | None,
    forced: str | None,
    schemas: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Check the structure of images: checksums, signature, count, items and their order.

    Exit code 1 where there are errors.
    """
    catalog = catalog_of(schemas)
    taken = take_images(catalog, images, layout=layout, part=part, forced=forced)
    found = [(one, one.findings()) for one in taken]
    if as_json:
        echo_answers([_answer(one, findings) for one, findings in found], images)
    else:
        for one, findings in found:
            echo_lines(title(one.name, counted(findings)))
            for finding in findings:
                echo_lines(block(finding))
    bad = ("error", "warning") if strict else ("error",)
    failed = any(f.severity in bad for _, findings in found for f in findings)
    if strict and failed and not as_json:
        echo("warnings count: --strict")
    leave(NO if failed else DONE)


def _answer(one: Taken, findings: list[Finding]) -> dict[str, Any]:
    return {
        "file": one.name,
        "findings": [finding.as_json() for finding in findings],
        "errors": sum(f.severity == "error" for f in findings),
        "warnings": sum(f.severity == "warning" for f in findings),
    }
