"""What the commands share: options, the catalogue, messages, JSON."""

from __future__ import annotations

import functools
import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, NoReturn, TypeVar

import click

from romtool.commands import completing
from romtool.errors import InputError, refuse
from romtool.files.intake import FORMATS, InputFile, expand, read_input
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.image.model import Image
from romtool.rules.check import check
from romtool.rules.findings import Finding
from romtool.schema.catalog import Catalog
from romtool.schema.expect import Expectation
from romtool.text.problems import problem_line, one_line

if TYPE_CHECKING:
    from romtool.assign.host import Host

F = TypeVar("F", bound=Callable[..., Any])

MOST_TOLD = 50
"""So many faults are told: more than anyone fixes in one go."""

DONE, NO, UNUSABLE = 0, 1, 2
"""Exit codes: done or yes; no; an unusable call or input."""


def echo(text: str = "", *, err: bool = False) -> None:
    """Write a line; colour only on a terminal, none with NO_COLOR."""
    click.echo(text, err=err, color=False if os.environ.get("NO_COLOR") else None)


def echo_lines(lines: Iterable[str]) -> None:
    """Write lines to standard output."""
    for text in lines:
        echo(text)


def echo_utf8(text: str) -> None:
    """Write a text as it is, and as UTF-8 whatever the locale: for other programs."""
    click.echo(text.encode(), nl=False)


def json_text(answer: Any) -> str:
    """Return JSON; of a file's name that is no UTF-8 each odd byte is an escaped surrogate."""
    import json

    text = json.dumps(answer, indent=2, ensure_ascii=False)
    return _SURROGATE.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


_SURROGATE = re.compile("[\ud800-\udfff]")


def echo_json(answer: Any) -> None:
    """Write the one JSON document of a command."""
    echo_utf8(json_text(answer) + "\n")


def warn(text: str) -> None:
    """Write one message line to standard error."""
    echo(one_line(f"romtool: {text}"), err=True)


def warn_problems(refused: InputError) -> None:
    """Write the faults of a refusal to standard error, a line each."""
    for text in problem_lines(refused):
        warn(text)


def problem_lines(refused: InputError) -> Iterator[str]:
    """Yield a line for each fault of a refusal; of very many for the first."""
    yield from map(problem_line, refused.problems[:MOST_TOLD])
    more = len(refused.problems) - MOST_TOLD
    if more > 0:
        yield f"{more} more fault{'s' if more > 1 else ''}; fix these first"


def add_options(*options: Callable[[F], F]) -> Callable[[F], F]:
    """Return a decorator that adds several options, in this order."""

    def decorate(function: F) -> F:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


schemas_option = click.option(
    "--schemas",
    multiple=True,
    metavar="DIR",
    type=click.Path(path_type=Path),
    envvar="ROMTOOL_SCHEMAS",
    help="Folder with frames and parts of your own (repeatable).",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Answer as JSON.")
force_option = click.option("--force", is_flag=True, help="Replace files that exist.")
input_option = click.option(
    "--input",
    "forced",
    type=click.Choice(FORMATS),
    help="What the input is, where its content doesn't tell.",
)
layout_option = click.option(
    "--layout",
    metavar="L",
    shell_complete=completing.layouts,
    help="The layout, where bytes don't tell.",
)
part_option = click.option(
    "--part",
    metavar="P",
    shell_complete=completing.parts,
    help="The EEPROM part, where bytes don't tell.",
)
host_option = click.option(
    "--host",
    metavar="HOST",
    shell_complete=completing.files,
    help="What the PC has taken (TOML); left out: nothing.",
)
image_options: Callable[[F], F] = add_options(
    layout_option, part_option, input_option, schemas_option
)


def catalog_of(schemas: tuple[Path, ...], files: Sequence[Path] = ()) -> Catalog:
    """Return the catalogue with the user's schemas; raises InputError with the place of faults.

    `files`: single schema files beside the folders.
    """
    context = click.get_current_context(silent=True)
    root = context.find_root().params.get("schemas", ()) if context else ()
    folders = list(dict.fromkeys([*(Path(folder) for folder in root), *schemas]))
    return load_catalog(folders, files)


def host_at(catalog: Catalog, name: str | None) -> Host:
    """Return the PC that a file describes, an empty one for none; raises InputError."""
    from romtool.assign.host import EMPTY_PC
    from romtool.files.hosts import load_host

    return EMPTY_PC if name is None else load_host(catalog, name)


class LoadedImage(NamedTuple):
    """An input, decoded: where it came from, the image, and the part if that is settled."""

    input_file: InputFile
    image: Image
    part: str | None

    @property
    def name(self) -> str:
        """The input's name, for messages and answers."""
        return self.input_file.name

    def findings(self, expectations: Sequence[Expectation] = ()) -> list[Finding]:
        """Return what the rules find, with lines for what came from a profile.

        `expectations`: software whose conventions are checked too.
        """
        return [placed(finding, self.input_file) for finding in check(self.image, expectations)]


def placed(finding: Finding, input_file: InputFile) -> Finding:
    """Return a finding with its line in the profile, where the image was built from one."""
    place = input_file.place(finding.offset, finding.path)
    return finding if place is None else finding._replace(line=place[0], column=place[1])


def load_image(
    catalog: Catalog,
    name: str,
    *,
    layout: str | None = None,
    part: str | None = None,
    forced: str | None = None,
    note: Callable[[str], None] = warn,
) -> LoadedImage:
    """Return an input, decoded; raises InputError where it can't be used.

    `note` takes what a user should know of it, a line each.
    """
    input_file = read_input(catalog, name, forced)
    for words in input_file.notes:
        note(words)
    try:
        stated = input_file.assembly
        layout = layout or (stated.layout if stated else None)
        image = decode(catalog, input_file.data, layout)
        settled = catalog.part(part, len(input_file.data)).name if part else None
    except InputError as refused:
        raise refused.in_file(input_file.name) from None
    return LoadedImage(input_file, image, settled or (stated.part if stated else None))


def load_pair(
    catalog: Catalog,
    first: str,
    second: str,
    *,
    layout: str | None,
    part: str | None,
    forced: str | None,
) -> tuple[LoadedImage, LoadedImage]:
    """Return two inputs that are compared with each other; raises InputError.

    Layout and part are those of both. A format that is named is meant for standard input, whose
    name tells nothing, if one of the two comes from there.
    """
    if first == second == "-":
        raise refuse("standard input can be read only once", "name a file for one of the two")
    names = (first, second)
    meant = [name for name in names if name == "-"] or names
    one, other = (
        load_image(
            catalog, name, layout=layout, part=part, forced=forced if name in meant else None
        )
        for name in names
    )
    return one, other


def load_images(
    catalog: Catalog,
    names: Sequence[str],
    *,
    layout: str | None,
    part: str | None,
    forced: str | None,
) -> list[LoadedImage]:
    """Return all inputs, decoded; a folder stands for the images and profiles in it.

    One that can't be used is told, and remembered for `leave`; the others are taken. Raises
    InputError where none can be used.
    """
    taken = []
    files, refusals = expand(names)
    for name in files:
        try:
            taken.append(load_image(catalog, name, layout=layout, part=part, forced=forced))
        except InputError as refused:
            refusals.append(refused)
    for refusal in refusals:
        warn_problems(refusal)
        click.get_current_context().obj = UNUSABLE
    if not taken:
        raise InputError([])
    return taken


def exit_with(code: int) -> NoReturn:
    """End the command with this exit code, or with 2 where an input could not be used."""
    sys.exit(click.get_current_context().obj or code)


def handle_refusals(function: F) -> F:
    """Return a command that answers a refusal with its faults and exit code 2."""

    @functools.wraps(function)
    def wrapper(*args: Any, **kwargs: Any) -> Any:
        try:
            return function(*args, **kwargs)
        except InputError as refused:
            warn_problems(refused)
            sys.exit(UNUSABLE)

    return wrapper  # type: ignore[return-value]
