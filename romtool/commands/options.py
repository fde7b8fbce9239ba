"""The options and arguments that several commands share, each said once.

A command names the groups it takes (`romtool.commands.call.declare`); their values reach it as
attributes of its `Call`.
"""

from __future__ import annotations

from pathlib import Path

import click

from romtool.commands import completing
from romtool.formats import FORMATS

SCHEMAS = click.Option(
    ["--schemas"],
    multiple=True,
    metavar="DIR",
    type=click.Path(path_type=Path),
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
IMAGE = (LAYOUT, PART, INPUT)
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
