"""`romtool build`: a card profile to the files that a device programmer takes."""

from __future__ import annotations

import hashlib
import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import click

from romtool import __version__
from romtool.commands.common import (
    NO,
    catalog_of,
    echo,
    echo_json,
    force_option,
    guarded,
    json_option,
    placed,
    schemas_option,
    tell,
)
from romtool.errors import Refused
from romtool.files.intake import Intake, shown, take
from romtool.files.output import write_files
from romtool.files.records import hex_text, srec_text
from romtool.image.decode import decode
from romtool.image.spoiling import swapped_pairs
from romtool.profile.serials import with_serials
from romtool.rules.check import check
from romtool.schema.catalog import Catalog
from romtool.text.findings import message
from romtool.toml.located import located

FORMATS = ("bin", "hex", "srec")
MOST_SERIALS = 10000


def _formats(ctx: click.Context, param: click.Parameter, value: str) -> tuple[str, ...]:
    """Return the formats of a list with commas between."""
    words = tuple(dict.fromkeys(word.strip().lower() for word in value.split(",")))
    for word in words:
        if word not in FORMATS:
            raise click.BadParameter(f"{word!r} is none of {', '.join(FORMATS)}", ctx, param)
    return words


def _serials(ctx: click.Context, param: click.Parameter, value: str | None) -> range | None:
    """Return the serial numbers of a range such as 1-20, or a single one."""
    if value is None:
        return None
    found = re.fullmatch(r"(\d{1,10})(?:-(\d{1,10}))?", value)
    if not found:
        raise click.BadParameter(f"{value!r} is not like 1-20", ctx, param)
    first, last = int(found[1]), int(found[2] or found[1])
    if last < first:
        raise click.BadParameter(f"{value!r}: the first number is above the last", ctx, param)
    if last - first >= MOST_SERIALS:
        raise click.BadParameter(f"more than {MOST_SERIALS} serial numbers at once", ctx, param)
    return range(first, last + 1)


@click.command(
    "build",
    epilog="Example: romtool build samples/hollow-lane.toml -o out --serials 1-20",
)
@click.argument("profile")
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
    metavar="bin,hex,srec",
    callback=_formats,
    default="bin,hex",
    show_default=True,
    help="What to write.",
)
@click.option(
    "--serials", metavar="A-B", callback=_serials, help="One set of files for each serial number."
)
@click.option("--swap-pairs", is_flag=True, help="Swap byte pairs, as some programmers want it.")
@click.option("--allow-faults", is_flag=True, help="Write it even with rule errors.")
@force_option
@json_option
@schemas_option
@guarded
def command(
    profile: str,
    output: Path,
    formats: tuple[str, ...],
    serials: range | None,
    swap_pairs: bool,
    allow_faults: bool,
    force: bool,
    as_json: bool,
    schemas: tuple[Path, ...],
) -> None:
    """Build the image of a card profile: STEM.bin and STEM.hex, exactly the part's size.

    Nothing is written where the profile has rule errors (exit code 1), unless --allow-faults.
    """
    catalog = catalog_of(schemas)
    _check_serials(catalog, serials)
    intake = take(catalog, profile, "toml")
    stem = "image" if profile == "-" else Path(profile).stem
    images = list(_images(catalog, intake, stem, serials))
    failed = _judge(catalog, intake, images)
    if failed and not allow_faults:
        if as_json:
            echo_json({"layout": _layout(intake), "part": _part(intake), "files": []})
        tell(f"{shown(profile)}: nothing written; mend the errors, or give --allow-faults")
        sys.exit(NO)
    files: list[tuple[Path, bytes]] = []
    listed = []
    for name, data in images:
        burnt = swapped_pairs(data) if swap_pairs else data
        files += [(output / f"{name}.{kind}", _as_file(burnt, kind)) for kind in formats]
    for path, data in files:
        listed.append((path, len(data), hashlib.sha256(data).hexdigest()))
    if serials is not None:
        manifest = _manifest(images, swap_pairs, serials, formats)
        files.append((output / f"{stem}.manifest.json", manifest))
    write_files(files, force=force)
    if as_json:
        rows = [{"file": str(p), "size": size, "sha256": digest} for p, size, digest in listed]
        echo_json({"layout": _layout(intake), "part": _part(intake), "files": rows})
        return
    for path, size, digest in listed:
        echo(f"{path}  {size} bytes")
        echo(f"  SHA-256 {digest}")
    if serials is not None:
        echo(f"{files[-1][0]}  {len(images)} images")
    elif _part(intake) is None:
        parts = [part.name for part in catalog.parts_of(len(images[0][1]))]
        echo(f"part: {' or '.join(parts)}" if parts else "part: none has this size")


def _check_serials(catalog: Catalog, serials: range | None) -> None:
    """Refuse serial numbers that can't be stored, or that stand for none."""
    field = catalog.identifier.serial_field
    none = getattr(field.kind, "none", None)
    for serial in serials[-1:] if serials else ():
        if serial > field.kind.top or serial == none:
            message = f"--serials: {serial} is no serial number, {field.kind.top} stands for none"
            raise click.UsageError(message, click.get_current_context())


def _layout(intake: Intake) -> str | None:
    return intake.assembly.layout if intake.assembly else None


def _part(intake: Intake) -> str | None:
    return intake.assembly.part if intake.assembly else None


def _images(
    catalog: Catalog, intake: Intake, stem: str, serials: range | None
) -> Iterator[tuple[str, bytes]]:
    """Yield each image with the stem of its files."""
    if serials is None:
        yield stem, intake.data
        return
    try:
        for serial, data in zip(serials, with_serials(catalog, intake.text, serials), strict=True):
            yield f"{stem}-{serial:05}", data
    except Refused as refused:
        faults = [located(fault, intake.text) for fault in refused.faults]
        raise Refused(faults).in_file(intake.name) from None


def _judge(catalog: Catalog, intake: Intake, images: list[tuple[str, bytes]]) -> bool:
    """Tell what the rules find, once for all images that have it; return whether errors are."""
    told: dict[str, list[str]] = {}
    failed = False
    for name, data in images:
        for finding in check(decode(catalog, data, _layout(intake))):
            failed = failed or finding.severity == "error"
            if finding.severity != "note":
                line = message(placed(finding, intake), intake.name)
                told.setdefault(line, []).append(name)
    for line, names in told.items():
        some = len(names) < len(images)
        click.echo(line + (f" ({', '.join(names)})" if some else ""), err=True)
    return failed


def _as_file(data: bytes, kind: str) -> bytes:
    if kind == "bin":
        return data
    return (hex_text(data) if kind == "hex" else srec_text(data)).encode()


def _manifest(
    images: list[tuple[str, bytes]], swap_pairs: bool, serials: range, formats: tuple[str, ...]
) -> bytes:
    rows = []
    for serial, (name, data) in zip(serials, images, strict=True):
        burnt = swapped_pairs(data) if swap_pairs else data
        file = f"{name}.{'bin' if 'bin' in formats else formats[0]}"
        content = _as_file(burnt, file.rpartition(".")[2])
        digest = hashlib.sha256(content).hexdigest()
        rows.append({"serial": serial, "file": file, "size": len(content), "sha256": digest})
    answer = {"tool": "romtool", "version": __version__, "images": rows}
    return (json.dumps(answer, indent=2) + "\n").encode()
