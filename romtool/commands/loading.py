"""Inputs decoded for a command: the image, where it came from, and what the rules find in it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple

from romtool.errors import InputError
from romtool.files.inputs import InputFile, read_input
from romtool.image.decode import decode
from romtool.image.model import Image
from romtool.schema.catalog import Catalog

if TYPE_CHECKING:
    from romtool.rules.findings import Finding
    from romtool.schema.expect import Expectation


class LoadedImage(NamedTuple):
    """An input, decoded: where it came from, the image, and the part if that is settled.

    `place`: which of several inputs it is.
    """

    input: InputFile
    image: Image
    part: str | None
    place: int = 0

    @property
    def name(self) -> str:
        """The input's name, for messages and answers."""
        return self.input.name

    @property
    def title(self) -> str:
        """The input's name for people, with that of the variant if it is one."""
        return self.input.title

    def findings(self, expectations: Sequence[Expectation] = ()) -> list[Finding]:
        """Return what the rules find, with lines for what came from a profile.

        `expectations`: software whose conventions are checked too.
        """
        from romtool.rules.check import check

        return [self.with_line(finding) for finding in check(self.image, expectations)]

    def with_line(self, finding: Finding) -> Finding:
        """Return a finding with its line in the profile, where the image was built from one."""
        return with_line(finding, self.input)


def with_line(finding: Finding, source: InputFile) -> Finding:
    """Return a finding with its line in the profile, and its variant, if it is about one."""
    place = source.place(finding.offset, finding.path)
    if place is None:
        return finding
    variant = "" if source.variant is None else f"variant {source.variant}: "
    message = f"{variant}{finding.message}"
    return finding._replace(message=message, line=place[0], column=place[1])


def load_image(
    catalog: Catalog,
    name: str,
    *,
    layout: str | None,
    part: str | None,
    input_format: str | None,
    variant: str | None,
    note: Callable[[str], None],
) -> LoadedImage:
    """Return an input, decoded; raises InputError where it can't be used.

    `note` takes what a user should know of it, a line each.
    """
    source = read_input(catalog, name, input_format, variant=variant)
    for words in source.notes:
        note(words)
    try:
        stated = source.assembly
        wanted = layout or (stated.read_as if stated else None)
        image = decode(catalog, source.data, wanted)
        settled = catalog.part(part, len(source.data)).name if part else None
    except InputError as refused:
        raise refused.in_file(source.name) from None
    return LoadedImage(source, image, settled or (stated.part if stated else None))
