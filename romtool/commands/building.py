"""One assembly of a profile, built: its images, what is found in them, the files they make."""

from __future__ import annotations

import functools
import hashlib
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from romtool.commands.call import Call
from romtool.commands.loading import with_line
from romtool.commands.printing import echo
from romtool.commands.progress import Progress
from romtool.commands.series import Series, Written
from romtool.errors import InputError
from romtool.files.inputs import read_input
from romtool.files.reading import name_text
from romtool.formats import TOML, WRITTEN
from romtool.image.card import card_of
from romtool.image.corruption import swapped_pairs
from romtool.image.decode import decode
from romtool.image.model import Image
from romtool.profile.build import with_serials
from romtool.rules.check import check
from romtool.rules.findings import Finding
from romtool.schema.field_types import Pins
from romtool.schema.fields import Field
from romtool.schema.image_layouts import ImageLayout, Part
from romtool.schema.numbers import clip
from romtool.text.findings import message
from romtool.text.page import line
from romtool.text.problems import visible
from romtool.toml.parse import located

LONGEST_LIST = 200
"""Characters of a list of serial numbers that have a finding."""

SWAPPED = ".swapped"
"""What stands after the stem of files whose byte pairs are swapped."""


class BuildOptions(NamedTuple):
    """What is to be written, and where: `serials` None is the card as the profile has it."""

    folder: Path
    formats: Sequence[str]
    serials: range | None
    swap_pairs: bool


class BuildJob:
    """One assembly of the profile: the profile itself, or a variant; and where its files go."""

    def __init__(
        self, call: Call, profile: str, variant: str | None, options: BuildOptions
    ) -> None:
        self.catalog = call.catalog
        self.input = read_input(call.catalog, profile, TOML.name, variant=variant)
        self.options = options
        stem = "image" if profile == "-" else Path(profile).stem
        self.series = Series(
            options.serials,
            options.folder,
            stem if variant is None else f"{stem}-{variant}",
            options.formats,
            suffix=SWAPPED if options.swap_pairs else "",
            about=self._about(),
        )

    @functools.cached_property
    def image(self) -> Image:
        """The image as the profile has it, without a serial number of the series."""
        return decode(self.catalog, self.input.data, self.read_as)

    @property
    def read_as(self) -> ImageLayout | None:
        """What the images are read with."""
        return self.input.assembly.read_as if self.input.assembly else None

    @property
    def layout(self) -> str | None:
        """The layout that the profile names."""
        return self.input.assembly.layout if self.input.assembly else None

    @property
    def part(self) -> str | None:
        """The part that the profile names."""
        return self.input.assembly.part if self.input.assembly else None

    @property
    def parts(self) -> list[Part]:
        """The part that the profile names, or all of that size."""
        known = self.catalog.parts
        return [known[self.part]] if self.part else self.catalog.parts_of(len(self.input.data))

    def _about(self) -> dict[str, Any]:
        return {
            "card": self.image.card_id,
            "variant": self.input.variant,
            "part": self.part,
            "swapped_pairs": self.options.swap_pairs,
            "profile_sha256": hashlib.sha256(self.input.text.encode()).hexdigest(),
        }

    def images(self) -> Iterator[bytes]:
        """Yield each image."""
        if self.options.serials is None:
            yield self.input.data
            return
        profile, variant = self.input.tables, self.input.variant
        try:
            yield from with_serials(self.catalog, profile, self.options.serials, variant)
        except InputError as refused:
            problems = [located(problem, self.input.text) for problem in refused.problems]
            raise InputError(problems).in_file(self.input.name) from None

    def has_errors(self) -> bool:
        """Tell what the rules find, once for all images that have it; return whether errors are."""
        serials = self.options.serials or range(1)
        found: dict[Finding, list[int]] = {}
        with self.series.resumable(), Progress("checking", len(serials)) as progress:
            for serial, data in zip(serials, self.images(), strict=True):
                for finding in check(decode(self.catalog, data, self.read_as)):
                    if finding.severity != "note":
                        found.setdefault(finding, []).append(serial)
                progress.step()
        for finding, having in found.items():
            words = message(with_line(finding, self.input), self.input.name)
            if len(having) < len(serials):
                numbers = clip(", ".join(map(str, having)), LONGEST_LIST)
                words += f" (serial{'s' if len(having) > 1 else ''} {numbers})"
            echo(words, err=True)
        return any(finding.severity == "error" for finding in found)

    def write(self, *, force: bool) -> list[Written]:
        """Write the files of all images, and the manifest of a series."""
        with self.series.resumable():
            return self.series.write(self.contents, force=force)

    def contents(self) -> Iterator[list[bytes]]:
        """Yield the content of each image's files, one a format."""
        for data in self.images():
            burnt = swapped_pairs(data) if self.options.swap_pairs else data
            yield [WRITTEN[kind].write(burnt) for kind in self.options.formats]

    def lines(self, written: Sequence[Written]) -> Iterator[str]:
        """Yield what was written, and what to know before it is burnt."""
        for one in written:
            yield f"{visible(one.name)}  {one.size} bytes"
            yield f"  SHA-256 {one.digest}"
        if self.series.manifest is not None:
            yield f"{visible(name_text(self.series.manifest))}  {len(self.series.names)} images"
        elif self.part is None:
            names = [part.name for part in self.parts]
            yield f"part: {' or '.join(names)}" if names else "part: none has this size"
        for bus in dict.fromkeys(part.bus for part in self.parts):
            order = self.catalog.serial_buses[bus]
            words = order.swapped_order if self.options.swap_pairs else order.file_order
            names = [part.name for part in self.parts if part.bus == bus]
            if words:
                yield from line(f"{' or '.join(names)}:", words)
        for field in self.assumed():
            words = f"{field.title} {field.kind.show(field.default)}, as {field.key} is left out"
            yield from line("assumed", words)

    def assumed(self) -> Iterator[Field]:
        """Yield the wirings that the profile leaves out: what is typical is built in."""
        for field in self.image.layout.config_fields if self.image.layout else ():
            if isinstance(field.kind, Pins) and not self.input.states(("config", field.key)):
                yield field

    def labels(self, written: Sequence[Written]) -> Iterator[dict[str, Any]]:
        """Yield a row for each card: what is burnt into its part, and how to tell it."""
        values, _ = self.image.identifier_values
        serial_key = self.catalog.identifier.serial_field.key
        serials = self.options.serials or [values.get(serial_key)]
        card = card_of(self.image)
        for index, serial in enumerate(serials):
            one = written[index * len(self.options.formats)]
            yield {
                "file": os.path.basename(one.name),
                "card": self.image.card_id,
                "serial": serial,
                "serial_hex": None if serial is None else f"{serial:08X}",
                "name": card.name.key_value if card.name else None,
                "variant": self.input.variant,
                "part": self.part or " or ".join(part.name for part in self.parts),
                "swapped_pairs": "yes" if self.options.swap_pairs else "no",
                "sha256": one.digest,
            }

    def example_ids(self) -> list[str]:
        """Return the IDs of card and devices that are examples."""
        ids = [self.image.card_id, *(device.id for device in card_of(self.image).devices)]
        vendor = self.catalog.starter.example_vendor
        return [id_ for id_ in dict.fromkeys(ids) if id_ is not None and id_.startswith(vendor)]
