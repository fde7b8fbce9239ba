"""`romtool new`: a profile, or a host file, to begin with."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click

from romtool.commands import completing
from romtool.commands.call import DONE, Call, declare
from romtool.commands.options import FORCE, INPUT, VARIANT, wiring_of, wiring_options
from romtool.commands.printing import echo
from romtool.errors import InputError, Problem, refuse
from romtool.files.shipped import shipped_file
from romtool.image.decode import decode, layout_named
from romtool.profile.build import built
from romtool.profile.starter import functions_of
from romtool.profile.starter_text import starter_text
from romtool.rules.expect import expect_findings, functions_found
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout
from romtool.schema.numbers import did_you_mean, hex_text, one_of
from romtool.text.findings import message
from romtool.toml.parse import parse_toml

HOST = "workshop"
"""The shipped host that a host file to fill in is a copy of."""


@declare(
    "new",
    FORCE,
    INPUT,
    VARIANT,
    example="romtool new my-card.toml --layout counted-19 --irq-wiring 5,7,9",
)
@click.argument("file", shell_complete=completing.files)
@click.option(
    "--layout",
    metavar="L",
    shell_complete=completing.layouts,
    help="The layout of the chip; with --like that of the donor, where its bytes don't tell.",
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
@click.option("--host", is_flag=True, help="Write a host file to fill in: what your PC has taken.")
def command(
    call: Call,
    file: str,
    layout: str | None,
    like: str | None,
    part: str | None,
    irq_wiring: list[int] | None,
    dma_wiring: list[int] | None,
    without: tuple[str, ...],
    host: bool,
) -> int:
    """Write a commented card profile that builds as it is: a small board for DOS games.

    Each key says what it means and what it takes. FILE - is standard output.
    """
    catalog = call.catalog
    wiring = wiring_of(irq=irq_wiring, dma=dma_wiring)
    if host:
        if layout or like or part or wiring or without or call.input_format or call.variant:
            raise click.UsageError("--host writes a host file: nothing of a card goes with it")
        call.write(Path(file), shipped_file(HOST))
        return DONE
    if like is None and (call.input_format or call.variant):
        raise click.UsageError("--input and --variant are about the donor's dump: give --like DUMP")
    if layout is None and like is None:
        raise InputError(_layouts_known(catalog))
    _check_functions(catalog, without)
    call.layout = layout
    donor = _Donor(call, like) if like is not None else None
    chosen = donor.layout if donor else layout_named(catalog, layout or "")
    if chosen.name not in catalog.layouts:
        hint = f"the layouts of EEPROMs are {', '.join(catalog.layouts)}"
        raise refuse(f"no card can begin with {chosen.title}", hint)
    name = part or (donor.part if donor else None)
    stated = catalog.part(name) if name else None
    try:
        text = starter_text(
            catalog,
            chosen,
            stated,
            wiring=(donor.wiring() if donor else {}) | wiring,
            config=donor.config() if donor else {},
            without=without,
        )
    except InputError as refused:
        raise refused.in_file("standard output" if file == "-" else file) from None
    call.write(Path(file), text.encode())
    _warn_of_elsewhere(catalog, text, file)
    return DONE


class _Donor:
    """The dump of a donor card: what a profile for another board of its kind takes from it."""

    def __init__(self, call: Call, name: str) -> None:
        loaded = call.load(name)
        self.catalog, self.image = call.catalog, loaded.image
        if self.image.layout is None or self.image.lead is not None:
            message = f"--like: no known layout fits {name}"
            hint = "name one by --layout, or let `romtool schema draft` describe its chip"
            raise click.UsageError(f"{message}; {hint}")
        self.layout: ImageLayout = self.image.layout
        sized = self.catalog.parts_of(len(self.image.data))
        self.part = loaded.part or next((part.name for part in sized), None)

    def wiring(self) -> dict[str, list[int]]:
        """Return the line on each pin, for each bus of which the layout says it."""
        found = {
            bus: [
                line for field in self.layout.wiring(bus) for line in self.image.config[field.key]
            ]
            for bus in self.catalog.starter.wiring
        }
        return {bus: lines for bus, lines in found.items() if lines}

    def config(self) -> dict[str, object]:
        """Return the settings that are not typical, but for the wiring."""
        config = self.image.config
        return {
            field.key: config[field.key]
            for field in self.layout.config_fields
            if not field.kind.is_wiring and not field.is_default(config[field.key])
        }


def _check_functions(catalog: Catalog, without: tuple[str, ...]) -> None:
    known = functions_of(catalog.starter)
    for name in without:
        if name not in known:
            hint = did_you_mean(name, known) or f"the starter has {one_of(known)}"
            raise click.UsageError(f"--without: no function is called {name}; {hint}")
    if set(known) <= set(without):
        raise click.UsageError("--without: nothing is left of the card")


def _layouts_known(catalog: Catalog) -> Iterator[Problem]:
    """Yield what to say where no layout is given: those known, and how to tell which one it is."""
    hint = "give --layout L; or --like DUMP, and the donor's is taken (`inspect DUMP` names it)"
    yield Problem("no layout is named: what the chip wants before the PnP data", hint)
    for layout in catalog.layouts.values():
        begin = f"a dump begins with {hex_text(layout.signature)}" if layout.signature else ""
        yield Problem(f"layout {layout.name}: {layout.title}", begin)


def _warn_of_elsewhere(catalog: Catalog, text: str, file: str) -> None:
    """Tell what of the card is not where its software looks: a wiring can leave no other way."""
    assembly = built(catalog, parse_toml(text))
    expected = catalog.expectations[catalog.starter.expect]
    image = decode(catalog, assembly.data, assembly.layout)
    for found in expect_findings(image, expected, functions_found(image, expected)):
        if found.severity != "note":
            echo(message(found, file), err=True)
