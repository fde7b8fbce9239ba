"""One call of a command: what its shared options say, and the exit code that it comes to."""

from __future__ import annotations

import functools
import os
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import click

from romtool.commands.loading import LoadedImage, load_image
from romtool.commands.options import SCHEMAS
from romtool.commands.printing import (
    echo,
    echo_json,
    is_standard_output,
    output_name,
    refusal_json,
    warn,
    warn_of_faults,
)
from romtool.errors import InputError, refuse
from romtool.files.inputs import InputFile, expand, read_input
from romtool.files.reading import StrPath
from romtool.files.schemas import load_catalog

if TYPE_CHECKING:
    from romtool.assign.host import Host
    from romtool.schema.catalog import Catalog
    from romtool.schema.expect import Expectation

DONE, NO, UNUSABLE = 0, 1, 2
"""Exit codes: done or yes; no; an unusable call or input."""

SUFFIX = ".toml"
"""What tells a file from a name, for --expect."""


class Call:
    """What the shared options of a call say, those that its command has, and what follows.

    Everything that reads raises InputError, with every fault that was found.
    """

    def __init__(
        self,
        *,
        schemas: Sequence[str] = (),
        layout: str | None = None,
        part: str | None = None,
        input_format: str | None = None,
        variant: str | None = None,
        host: str | None = None,
        expect: str | None = None,
        force: bool = False,
        as_json: bool = False,
    ) -> None:
        self.schemas = list(dict.fromkeys(schemas))
        self.layout = layout
        self.part = part
        self.input_format = input_format
        self.variant = variant
        self.force = force
        self.as_json = as_json
        self.has_unusable = False
        """Whether an input could not be used, which has been told: the exit code is 2 then."""
        self.files: list[dict[str, Any]] = []
        """The inputs that `load_all` was given, as in the JSON answers."""
        self._host = host
        self._expect = expect

    @functools.cached_property
    def catalog(self) -> Catalog:
        """The schemas that come with romtool, and the user's."""
        expect = self._expect or ""
        return load_catalog(self.schemas, [expect] if expect.endswith(SUFFIX) else ())

    @functools.cached_property
    def expectations(self) -> list[Expectation]:
        """The software that --expect names, or all that its file describes."""
        wanted = self._expect
        if wanted is None:
            return []
        known = self.catalog.expectations
        if not wanted.endswith(SUFFIX):
            if wanted not in known:
                hint = f"known are {', '.join(known)}; your own: --schemas DIR, or --expect FILE"
                raise refuse(f"--expect: nothing called {wanted}", f"{hint}{SUFFIX}")
            return [known[wanted]]
        found = [one for one in known.values() if one.own and os.path.samefile(one.file, wanted)]
        if not found:
            hint = "copy one: `romtool schema export dos-games`"
            raise refuse("no [[expectation]] in this file", hint).in_file(wanted)
        return found

    @functools.cached_property
    def host(self) -> Host | None:
        """The PC that --host describes."""
        if self._host is None:
            return None
        from romtool.files.shipped import load_host

        return load_host(self.catalog, self._host)

    @property
    def pc(self) -> Host:
        """The PC that --host describes, or else one in which nothing is taken."""
        from romtool.assign.host import EMPTY_PC

        return self.host or EMPTY_PC

    def write(self, path: StrPath, data: bytes) -> None:
        """Write the one file that a command makes, and say so; `-` is standard output."""
        if is_standard_output(path):
            self.put(path, data)
            return
        from pathlib import Path

        path = Path(path)
        self.put(path, data)
        echo(f"wrote {output_name(path)}")

    def put(self, path: StrPath, data: bytes) -> None:
        """Write the one file that a command makes; `-` is standard output.

        What is told beside it goes to standard error then: `printing.answer_beside`.
        """
        if is_standard_output(path):
            if self.as_json:
                self.as_json = False  # an answer would be taken for the file
                hint = "give -o the name of a file"
                raise refuse("--json and -o - both want standard output", hint)
            click.echo(data, nl=False)
        else:
            from pathlib import Path

            from romtool.files.output import write_files

            write_files([(Path(path), data)], force=self.force)

    def read(self, name: str, *, gaps: bool = False) -> InputFile:
        """Return the bytes of an input; `gaps`: it may leave some out."""
        return read_input(self.catalog, name, self.input_format, gaps=gaps, variant=self.variant)

    def load(
        self, name: str, note: Callable[[str], None] = warn, *, by_content: bool = False
    ) -> LoadedImage:
        """Return an input, decoded; `note` takes what a user should know of it, a line each.

        `by_content`: --input is not meant for this one.
        """
        return load_image(
            self.catalog,
            name,
            layout=self.layout,
            part=self.part,
            input_format=None if by_content else self.input_format,
            variant=self.variant,
            note=note,
        )

    def load_pair(self, first: str, second: str) -> tuple[LoadedImage, LoadedImage]:
        """Return two inputs that are compared.

        Layout and part are those of both. A format that is named is meant for standard input, if
        one of the two comes from there.
        """
        if first == second == "-":
            raise refuse("standard input can be read only once", "name a file for one of the two")
        meant = [name for name in (first, second) if name == "-"] or (first, second)
        one, other = (self.load(name, by_content=name not in meant) for name in (first, second))
        return one, other

    def load_all(self, names: Sequence[str]) -> list[LoadedImage]:
        """Return all inputs, decoded; a folder stands for the images and profiles in it.

        One that can't be used is told, and hides no other. Raises InputError where none can be.
        """
        loaded = []
        files, refusals = expand(names)
        self.files = [refusal_json(refused) for refused in refusals]
        for place, name in enumerate(files, len(refusals)):
            try:
                loaded.append(self.load(name)._replace(place=place))
                self.files.append({"file": loaded[-1].name})
            except InputError as refused:
                refusals.append(refused)
                self.files.append(refusal_json(refused))
        if not loaded:
            raise InputError(problem for refusal in refusals for problem in refusal.problems)
        for refusal in refusals:
            warn_of_faults(refusal)
            self.has_unusable = True
        return loaded

    def by_card(self, answer: dict[str, Any], loaded: Sequence[LoadedImage]) -> dict[str, Any]:
        """Return a JSON answer about all inputs, with their names; each `card` is a place there."""
        places = [one.place for one in loaded]

        def placed(value: Any) -> Any:
            if isinstance(value, list):
                return [placed(one) for one in value]
            if isinstance(value, dict):
                return {k: places[v] if k == "card" else placed(v) for k, v in value.items()}
            return value

        return {"files": self.files, **{key: placed(value) for key, value in answer.items()}}


def declare(
    name: str,
    *options: click.Option,
    example: str,
    short_help: str | None = None,
    group: click.Group | None = None,
) -> Callable[[Callable[..., int]], click.Command]:
    """Return what makes a command of a function, which gets a Call first and returns an exit code.

    `options` are shared ones (`romtool.commands.options`), whose values the Call holds; all take
    --schemas. The function's own options and arguments are click's decorators, below this one. A
    refusal is told, and is exit code 2. `group` is the command of which it is one.
    """
    shared = (*options, SCHEMAS)

    def decorate(function: Callable[..., int]) -> click.Command:
        @functools.wraps(function)
        def run(**given: Any) -> int:
            root = click.get_current_context().find_root().params.get("schemas", ())
            values = {str(option.name): given.pop(str(option.name)) for option in shared}
            values["schemas"] = [*root, *values["schemas"]]
            call = Call(**values)
            try:
                code = function(call, **given)
            except InputError as refused:
                warn_of_faults(refused)
                if call.as_json:
                    files = {"files": call.files} if len(call.files) > 1 else {}
                    echo_json({**files, **refusal_json(refused)})
                return UNUSABLE
            return UNUSABLE if call.has_unusable else code

        made = click.command(name, epilog=f"Example: {example}", short_help=short_help)(run)
        made.params += shared
        if group is not None:
            group.add_command(made)
        return made

    return decorate
