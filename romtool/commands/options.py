"""The options and arguments that several commands share, each said once.

A command names the groups it takes (`romtool.commands.call.declare`); their values reach it as
attributes of its `Call`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from romtool.commands import completing
from romtool.errors import InvalidValue
from romtool.formats import FORMATS
from romtool.rehearse import ALL, CONFIGURED_BY
from romtool.schema.numbers import parse_number

F = TypeVar("F", bound=Callable[..., Any])

SCHEMAS = click.Option(
    ["--schemas"],
    multiple=True,
    metavar="DIR",
    type=click.Path(),
    envvar="ROMTOOL_SCHEMAS",
    help="Folder with frames and parts of your own (repeatable).",
)
LAYOUT = click.Option(
    ["--layout"],
    metavar="L",
    shell_complete=completing.layouts,
    help="The layout, where bytes don't tell.",
)
PART = click.Option(
    ["--part"],
    metavar="P",
    shell_complete=completing.parts,
    help="The EEPROM part, where bytes don't tell.",
)
INPUT = click.Option(
    ["--input", "input_format"],
    type=click.Choice(list(FORMATS)),
    help="What the input is, where its content doesn't tell.",
)
VARIANT = click.Option(
    ["--variant"], metavar="NAME", help="Which variant, where an input is a profile that has some."
)
IMAGE = (LAYOUT, PART, INPUT, VARIANT)
"""What every command takes that reads an IMAGE: what the bytes can't tell."""

HOST = click.Option(
    ["--host"],
    metavar="HOST",
    shell_complete=completing.hosts,
    help="What the PC has taken: a host FILE.toml, or bare, workshop; left out: nothing.",
)
EXPECT = click.Option(
    ["--expect"],
    metavar="NAME",
    shell_complete=completing.expectations,
    help="Check the conventions of some software too, such as dos-games; or a schema FILE.toml.",
)
FORCE = click.Option(["--force"], is_flag=True, help="Replace files that exist.")
JSON = click.Option(["--json", "as_json"], is_flag=True, help="Answer as JSON.")

images_argument = click.argument(
    "images", nargs=-1, required=True, metavar="IMAGE...", shell_complete=completing.files
)

configured_by_option = click.option(
    "--configured-by",
    type=click.Choice(CONFIGURED_BY),
    default=ALL,
    show_default=True,
    help="Who configures the cards: PnP software, every device; a BIOS that leaves the rest to a "
    "PnP system, only boot devices; or nobody, as in plain DOS.",
)


def wiring_options(function: F) -> F:
    """Add what says which bus line each pin of the board's chip is wired to; see `wiring_of`."""
    for bus, example in (("dma", "0,1,3"), ("irq", "5,7,9")):
        option = click.option(
            f"--{bus}-wiring",
            metavar=f"{example},…",
            callback=_lines,
            help=f"The {bus.upper()} line on each pin of the chip, in pin order.",
        )
        function = option(function)
    return function


def wiring_of(**lines: list[int] | None) -> dict[str, list[int]]:
    """Return the wiring that the options give, by bus."""
    return {bus: given for bus, given in lines.items() if given is not None}


def _lines(ctx: click.Context, param: click.Parameter, value: str | None) -> list[int] | None:
    if value is None:
        return None
    try:
        return [parse_number(word.strip()) for word in value.split(",") if word.strip()]
    except InvalidValue as wrong:
        raise click.BadParameter(f"{value!r}: {wrong.message}", ctx, param) from None
