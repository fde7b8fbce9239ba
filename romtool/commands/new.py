"""`romtool new`: a profile, or a host file, to begin with."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click

from romtool.commands import completing
from romtool.commands.call import DONE, Call, declare
from romtool.commands.options import FORCE, wiring_of, wiring_options
from romtool.commands.printing import echo, echo_utf8, warn
from romtool.errors import InputError, Problem
from romtool.files.output import write_files
from romtool.image.decode import decode, layout_named
from romtool.image.model import Image
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.profile.starter import functions_of
from romtool.profile.starter_text import starter_text
from romtool.rules.expect import expect_findings
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout, Part
from romtool.schema.numbers import did_you_mean, hex_text, one_of
from romtool.text.findings import message
from romtool.toml.parse import parse_toml


@declare("new", FORCE, example="romtool new my-card.toml --layout counted-19 --irq-wiring 5,7,9")
@click.argument("file", shell_complete=completing.files)
@click.option(
    "--layout", metavar="L", shell_complete=completing.layouts, help="The layout of the chip."
)
@click.option(
    "--like",
    metavar="DUMP",
    shell_complete=completing.files,
    help="A donor's dump: layout, part and configuration are as there.",
)
@click.option(
    "--part",
    metavar="P",
    shell_complete=completing.parts,
    help="The EEPROM part; left out: the smallest that holds it.",
)
@wiring_options
@click.option(
    "--without",
    metavar="FUNCTION",
    multiple=True,
    help="A function that the board doesn't have, such as game-port (repeatable).",
)
def command(
    call: Call,
    file: str,
    layout: str | None,
    like: str | None,
    part: str | None,
    irq_wiring: list[int] | None,
    dma_wiring: list[int] | None,
    without: tuple[str, ...],
) -> int:
    """Write a commented card profile that builds as it is: a small board for DOS games.

    Each key says what it means and what it takes. FILE - is standard output.
    """
    catalog = call.catalog
    wiring = wiring_of(irq=irq_wiring, dma=dma_wiring)
    _check_functions(catalog, without)
    config = {}
    chosen: Part | None = None
    if like is not None:
        if layout is not None:
            raise click.UsageError("--layout and --like: the donor's layout is taken, give one")
        donor = call.load(like)
        frame = _layout_of(donor.image, donor.name)
        config = _untypical(donor.image, frame)
        for bus in catalog.starter.wiring:
            fields = frame.wiring(bus)
            lines = [line for field in fields for line in donor.image.config[field.key]]
            if lines:
                wiring.setdefault(bus, lines)
        parts = (
            [donor.part]
            if donor.part
            else [p.name for p in catalog.parts_of(len(donor.image.data))]
        )
        chosen = catalog.part(parts[0]) if parts else None
    elif layout is not None:
        frame = layout_named(catalog, layout)
    else:
        raise InputError(_layouts_known(catalog))
    chosen = catalog.part(part) if part is not None else chosen
    try:
        text = starter_text(catalog, frame, chosen, wiring=wiring, config=config, without=without)
    except InputError as refused:
        raise refused.in_file("standard output" if file == "-" else file) from None
    code = _write(call, file, text)
    _warn_of_elsewhere(catalog, text, file)
    return code


def _write(call: Call, file: str, text: str) -> int:
    if file == "-":
        echo_utf8(text)
        return DONE
    write_files([(Path(file), text.encode())], force=call.force)
    echo(f"wrote {file}")
    return DONE


def _check_functions(catalog: Catalog, without: tuple[str, ...]) -> None:
    known = functions_of(catalog.starter)
    for name in without:
        if name not in known:
            hint = did_you_mean(name, known) or f"the starter has {one_of(known)}"
            raise click.UsageError(f"--without: no function is called {name}; {hint}")
    if set(known) <= set(without):
        raise click.UsageError("--without: nothing is left of the card")


def _layout_of(image: Image, name: str) -> ImageLayout:
    if image.layout is None:
        raise click.UsageError(
            f"--like: no layout fits {name}; `romtool schema draft {name}` describes its chip"
        )
    return image.layout


def _untypical(image: Image, layout: ImageLayout) -> dict[str, object]:
    """Return a donor's settings that are not typical; the wiring is the board's own."""
    return {
        field.key: image.config[field.key]
        for field in layout.config_fields
        if not field.kind.is_wiring and not field.is_default(image.config[field.key])
    }


def _layouts_known(catalog: Catalog) -> Iterator[Problem]:
    """Yield what to say where no layout is given: those known, and how to tell which one it is."""
    hint = "give --layout L; or --like DUMP, and the donor's is taken (`inspect DUMP` names it)"
    yield Problem("no layout is named: what the chip wants before the PnP data", hint)
    for layout in catalog.layouts.values():
        begin = f"a dump begins with {hex_text(layout.signature)}" if layout.signature else ""
        yield Problem(f"layout {layout.name}: {layout.title}", begin)


def _warn_of_elsewhere(catalog: Catalog, text: str, file: str) -> None:
    """Tell what of the card is not where its software looks: a wiring can leave no other way."""
    assembly = assemble(read_profile(catalog, parse_toml(text)))
    expected = catalog.expectations[catalog.starter.expect]
    for found in expect_findings(decode(catalog, assembly.data, assembly.layout), expected):
        if found.severity != "note":
            warn(message(found, file).removeprefix("romtool: "))
