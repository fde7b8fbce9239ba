"""What is there to judge by: images and what the other commands make of them."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from romtool.assign.assign import assign
from romtool.assign.host import EMPTY_PC, Host
from romtool.capture.findings import findings as capture_findings
from romtool.capture.model import BusFinding, DecodedCapture
from romtool.image.model import Image
from romtool.readback.diagnosis import diagnose as name_read_faults
from romtool.rehearse.rehearsal import Rehearsal, rehearse
from romtool.requirements.model import DeviceRequirements
from romtool.requirements.read import pins_of, requirements_of
from romtool.rules.check import check
from romtool.rules.expect import InPC, expect_findings, functions_found
from romtool.rules.findings import Finding
from romtool.schema.catalog import Catalog
from romtool.verify import Difference, differences

GIVEN = "expect-given"
"""The rule that a PC gives a function something else than software looks for."""


class Named(NamedTuple):
    """An image with the name of its file."""

    name: str
    image: Image


class Evidence:
    """Images, a host, a readback of the first image's part, a capture: as far as they are there.

    What the other commands make of them is worked out when it is asked for.
    """

    def __init__(
        self,
        catalog: Catalog,
        images: Sequence[Named] = (),
        host: Host | None = None,
        readback: bytes | None = None,
        capture: DecodedCapture | None = None,
    ) -> None:
        self.catalog = catalog
        self.images = tuple(images)
        self.host = host
        self.readback = readback
        self.capture = capture

    @property
    def readable(self) -> list[Named]:
        """The images that a layout fits."""
        return [one for one in self.images if one.image.layout is not None]

    @property
    def are_all_readable(self) -> bool:
        """Whether there is an image, and a layout fits each."""
        return bool(self.images) and len(self.readable) == len(self.images)

    @functools.cached_property
    def findings(self) -> list[tuple[str, Finding]]:
        """What `check` says of each image, with its conventions for all software known.

        With a host, what is given in that PC is looked at too.
        """
        expectations = tuple(self.catalog.expectations.values())
        found = [
            (one.name, finding) for one in self.images for finding in check(one.image, expectations)
        ]
        if self.host is None or self.rehearsal is None:
            return found
        for place, one in enumerate(self.images):
            in_pc = InPC(self.host.name, self.rehearsal.given_in(place))
            for expectation in expectations:
                functions = functions_found(one.image, expectation, in_pc)
                given = expect_findings(one.image, expectation, functions)
                found += [(one.name, finding) for finding in given if finding.rule == GIVEN]
        return found

    @functools.cached_property
    def rehearsal(self) -> Rehearsal | None:
        """The power-up with all these cards, as `rehearse` plays it; None without an image."""
        if not self.images:
            return None
        images = [(one.name, one.image) for one in self.images]
        return rehearse(self.catalog, images, assign, self.host or EMPTY_PC)

    @functools.cached_property
    def remarks(self) -> list[tuple[str, str]]:
        """Name and words of what a rehearsal remarks on cards and devices."""
        if self.rehearsal is None:
            return []
        lost = [said for one in self.rehearsal.lost for said in one.why]
        warned = [one.remark for one in self.rehearsal.warnings]
        return [(one.name, one.text) for one in (*lost, *warned)]

    @functools.cached_property
    def observations(self) -> list[BusFinding]:
        """What `capture` finds."""
        if self.capture is None:
            return []
        expected = self.images[0].image if self.images else None
        return capture_findings(self.catalog, self.capture, expected)

    @functools.cached_property
    def differences(self) -> list[Difference] | None:
        """Bytes in which the readback differs from the first image; None without both."""
        if self.readback is None or not self.images:
            return None
        return differences(self.readback, self.images[0].image)

    @functools.cached_property
    def read_faults(self) -> list[tuple[str, str]]:
        """Name and title of what explains all differences of the readback."""
        if not self.differences or self.readback is None:
            return []
        named = name_read_faults(self.readback, self.images[0].image)
        return [(one.name, one.title) for one in named.faults] if named else []

    def devices(self) -> Iterator[tuple[Image, DeviceRequirements]]:
        """Yield every device with what it asks for, and its image."""
        for one in self.readable:
            for device in requirements_of(one.image).devices:
                yield one.image, device

    def pins(self, kind: str) -> str:
        """Return the lines of the first image's board with their pins: `IRQ 5 (pin A)`."""
        resource = self.catalog.resources[kind]
        pins = pins_of(self.images[0].image, resource) if self.images else None
        found = [f"{resource.short} {line} ({pin})" for line, pin in (pins or {}).items()]
        return ", ".join(found) or f"the chip's {resource.short} pins"
