"""`romtool build`: a card profile to the files that a device programmer takes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import click

from romtool.commands import completing
from romtool.commands.call import DONE, NO, Call, declare
from romtool.commands.loading import with_line
from romtool.commands.options import FORCE, JSON
from romtool.commands.printing import echo, echo_json, echo_lines, warn
from romtool.commands.progress import Progress
from romtool.commands.series import MANY, Series, Written, serials_option
from romtool.errors import InputError, refuse
from romtool.files.inputs import InputFile, read_input
from romtool.files.reading import name_text, shown
from romtool.formats import WRITTEN
from romtool.image.decode import decode
from romtool.image.spoiling import swapped_pairs
from romtool.profile.serials import with_serials
from romtool.rules.check import check
from romtool.rules.findings import Finding
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import clip
from romtool.text.findings import message
from romtool.text.page import line
from romtool.text.problems import visible
from romtool.text.schema import BEFORE_BURNING
from romtool.toml.located import located

LONGEST_LIST = 200
"""Characters of a list of serial numbers that have a fault."""


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
@click.option("--swap-pairs", is_flag=True, help="Swap byte pairs, as some programmers want it.")
@click.option("--allow-faults", is_flag=True, help="Write it even with rule errors.")
def command(
    call: Call,
    profile: str,
    output: Path,
    formats: tuple[str, ...],
    serials: range | None,
    swap_pairs: bool,
    allow_faults: bool,
) -> int:
    """Build the image of a card profile: STEM.bin and STEM.hex, exactly the part's size.

    Nothing is written where the profile has rule errors (exit code 1), unless --allow-faults.
    """
    catalog = call.catalog
    _check_serials(catalog, serials)
    if serials is not None and len(serials) > MANY and not call.force:
        message = f"--serials: {len(serials)} numbers are more than {MANY} at once"
        raise refuse(message, "give --force if so many are meant")
    input_file = read_input(catalog, profile, "toml")
    stem = "image" if profile == "-" else Path(profile).stem
    series = Series(serials, output, stem, formats)
    written: list[Written] | None = None
    with series.told():
        failed = _judge(
            catalog, input_file, serials or range(1), _images(catalog, input_file, serials)
        )
        if not failed or allow_faults:
            written = series.write(
                lambda: (
                    _as_files(data, formats, swap_pairs)
                    for data in _images(catalog, input_file, serials)
                ),
                force=call.force,
            )
    layout = catalog.layouts.get(_layout(input_file) or "")
    if call.as_json:
        rows = [one.as_json() for one in written or ()]
        about = {"layout": _layout(input_file), "source": layout.source if layout else None}
        echo_json({**about, "part": _part(input_file), "files": rows})
    if written is None:
        warn(f"{shown(profile)}: nothing written; fix the errors, or give --allow-faults")
        return NO
    if call.as_json:
        return DONE
    for one in written:
        echo(f"{visible(one.name)}  {one.size} bytes")
        echo(f"  SHA-256 {one.digest}")
    if series.manifest is not None:
        echo(f"{visible(name_text(series.manifest))}  {len(series.names)} images")
    elif _part(input_file) is None:
        parts = [part.name for part in catalog.parts_of(len(input_file.data))]
        echo(f"part: {' or '.join(parts)}" if parts else "part: none has this size")
    if layout is not None:
        echo_lines(line("layout", f"{layout.name}, {layout.source}", column=0))
    echo(BEFORE_BURNING)
    return DONE


def _check_serials(catalog: Catalog, serials: range | None) -> None:
    """Refuse serial numbers that can't be stored, or that stand for none."""
    field = catalog.identifier.serial_field
    none = getattr(field.kind, "none", None)
    for serial in serials[-1:] if serials else ():
        if serial > field.kind.top or serial == none:
            message = f"--serials: {serial} is no serial number, {field.kind.top} stands for none"
            raise click.UsageError(message, click.get_current_context())


def _layout(input_file: InputFile) -> str | None:
    return input_file.assembly.layout if input_file.assembly else None


def _part(input_file: InputFile) -> str | None:
    return input_file.assembly.part if input_file.assembly else None


def _images(catalog: Catalog, input_file: InputFile, serials: range | None) -> Iterator[bytes]:
    """Yield each image."""
    if serials is None:
        yield input_file.data
        return
    try:
        yield from with_serials(catalog, input_file.text, serials)
    except InputError as refused:
        problems = [located(problem, input_file.text) for problem in refused.problems]
        raise InputError(problems).in_file(input_file.name) from None


def _judge(
    catalog: Catalog, input_file: InputFile, serials: range, images: Iterable[bytes]
) -> bool:
    """Tell what the rules find, once for all images that have it; return whether errors are."""
    found: dict[Finding, list[int]] = {}
    with Progress("checking", len(serials)) as progress:
        for serial, data in zip(serials, images, strict=True):
            for finding in check(decode(catalog, data, _layout(input_file))):
                if finding.severity != "note":
                    found.setdefault(finding, []).append(serial)
            progress.step()
    for finding, having in found.items():
        words = message(with_line(finding, input_file), input_file.name)
        if len(having) < len(serials):
            numbers = clip(", ".join(map(str, having)), LONGEST_LIST)
            words += f" (serial{'s' if len(having) > 1 else ''} {numbers})"
        echo(words, err=True)
    return any(finding.severity == "error" for finding in found)


def _as_files(data: bytes, formats: Sequence[str], swap_pairs: bool) -> list[bytes]:
    """Return the content of an image's files, one a format."""
    burnt = swapped_pairs(data) if swap_pairs else data
    return [WRITTEN[kind].write(burnt) for kind in formats]
