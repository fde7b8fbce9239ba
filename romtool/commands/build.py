"""`romtool build`: a card profile to the files that a device programmer takes."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from romtool.commands import completing
from romtool.commands.building import BuildJob, BuildOptions
from romtool.commands.call import DONE, NO, Call, declare
from romtool.commands.options import FORCE, JSON
from romtool.commands.printing import echo, echo_json, echo_lines, is_standard_output, warn
from romtool.commands.series import MOST, Written, serials_option
from romtool.errors import refuse
from romtool.files.inputs import read_input
from romtool.files.output import write_files
from romtool.files.reading import name_text, shown
from romtool.formats import TOML, WRITTEN
from romtool.profile.variants import ALL, variant_names
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout
from romtool.text.page import line
from romtool.text.problems import visible
from romtool.text.schema import BEFORE_BURNING


def _formats(ctx: click.Context, param: click.Parameter, value: str) -> tuple[str, ...]:
    """Return the formats of a list with commas between."""
    words = tuple(dict.fromkeys(word.strip().lower() for word in value.split(",")))
    for word in words:
        if word not in WRITTEN:
            raise click.BadParameter(f"{word!r} is none of {', '.join(WRITTEN)}", ctx, param)
    return words


@declare(
    "build",
    FORCE,
    JSON,
    example="romtool build samples/hollow-lane.toml -o out --serials 1-20",
)
@click.argument("profile", shell_complete=completing.files)
@click.option(
    "-o",
    "--output",
    metavar="DIR",
    type=click.Path(path_type=Path),
    default=Path(),
    help="Folder for the files (made if need be); left out: this one.",
)
@click.option(
    "--format",
    "formats",
    shell_complete=completing.formats,
    metavar=",".join(WRITTEN),
    callback=_formats,
    default="bin,hex",
    show_default=True,
    help="What to write.",
)
@click.option(
    "--serials",
    metavar="A-B",
    callback=serials_option,
    help="One set of files for each serial number.",
)
@click.option("--variant", metavar="NAME|all", help="A variant of the board; all: the profile too.")
@click.option(
    "--labels",
    metavar="FILE.csv",
    type=click.Path(path_type=Path),
    help="Write a table of the cards too, one row a card.",
)
@click.option("--swap-pairs", is_flag=True, help="Swap byte pairs, as some programmers want it.")
@click.option("--allow-faults", is_flag=True, help="Write it even with rule errors.")
def command(
    call: Call,
    profile: str,
    output: Path,
    formats: tuple[str, ...],
    serials: range | None,
    variant: str | None,
    labels: Path | None,
    swap_pairs: bool,
    allow_faults: bool,
) -> int:
    """Build the image of a card profile: STEM.bin and STEM.hex, exactly the part's size.

    Nothing is written where the profile has rule errors (exit code 1), unless --allow-faults.
    """
    _check_serials(call.catalog, serials)
    if serials is not None and len(serials) > MOST and not call.force:
        message = f"--serials: {len(serials)} cards at once are more than {MOST}"
        raise click.UsageError(f"{message}; --force if it is meant")
    to_stdout = is_standard_output(output)
    if to_stdout and (serials is not None or variant == ALL or len(formats) > 1 or call.as_json):
        message = "-o -: one file goes to standard output"
        raise click.UsageError(f"{message}; give one --format, and no series, --json or all")
    options = BuildOptions(output, formats, serials, swap_pairs)
    names = _variants(call, profile) if variant == ALL else [variant]
    jobs = [BuildJob(call, profile, name, options) for name in names]
    failed = [job.has_errors() for job in jobs]
    if any(failed) and not allow_faults:
        if call.as_json:
            echo_json(_answer(call.catalog, jobs, []))
        warn(f"{shown(profile)}: nothing written; fix the errors, or give --allow-faults")
        return NO
    if to_stdout:
        click.echo(next(jobs[0].contents())[0], nl=False)
        return DONE
    written = [job.write(force=call.force) for job in jobs]
    if labels is not None:
        write_files([(labels, _labels(jobs, written))], force=call.force)
    if call.as_json:
        echo_json(_answer(call.catalog, jobs, written))
        return DONE
    for job, files in zip(jobs, written, strict=True):
        echo_lines(job.lines(files))
    examples = list(dict.fromkeys(id_ for job in jobs for id_ in job.example_ids()))
    if examples:
        words = f"{', '.join(examples)}: {call.catalog.starter.choosing_ids}"
        echo_lines(line("note", words))
    layout = _layout(call.catalog, jobs)
    if layout is not None:
        echo_lines(line("layout", f"{layout.name}, {layout.source}"))
    if labels is not None:
        echo(f"{visible(name_text(labels))}  {sum(len(job.series.names) for job in jobs)} cards")
    echo(BEFORE_BURNING)
    return DONE


def _layout(catalog: Catalog, jobs: Sequence[BuildJob]) -> ImageLayout | None:
    """Return the layout, which all variants of a board have."""
    return catalog.layouts.get(jobs[0].layout or "")


def _variants(call: Call, profile: str) -> list[str | None]:
    """Return what `all` stands for: the profile itself, and its variants."""
    if profile == "-":
        message = "standard input can be read only once"
        raise refuse(message, "name the file for --variant all")
    return [None, *variant_names(read_input(call.catalog, profile, TOML.name).tables)]


def _answer(
    catalog: Catalog, jobs: Sequence[BuildJob], written: Sequence[Sequence[Written]]
) -> dict[str, Any]:
    layout = _layout(catalog, jobs)
    return {
        "layout": jobs[0].layout,
        "source": layout.source if layout else None,
        "part": jobs[0].part,
        "files": [one.as_json() for files in written for one in files],
    }


def _labels(jobs: Sequence[BuildJob], written: Sequence[Sequence[Written]]) -> bytes:
    """Return a CSV table with a row for each card."""
    rows = [row for job, files in zip(jobs, written, strict=True) for row in job.labels(files)]
    text = io.StringIO()
    table = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    table.writeheader()
    table.writerows(rows)
    return text.getvalue().encode()


def _check_serials(catalog: Catalog, serials: range | None) -> None:
    """Refuse serial numbers that can't be stored, or that stand for none."""
    field = catalog.identifier.serial_field
    none = getattr(field.kind, "none", None)
    for serial in serials[-1:] if serials else ():
        if serial > field.kind.top or serial == none:
            message = f"--serials: {serial} is no serial number, {field.kind.top} stands for none"
            raise click.UsageError(message, click.get_current_context())
