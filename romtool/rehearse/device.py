"""One logical device of a card: its registers, and where it answers (Spec A.2, A.3)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from romtool.image.card import card_of
from romtool.image.model import Image
from romtool.rehearse.bus import UNKNOWN
from romtool.rehearse.registers import (
    Place,
    filled,
    held,
    places_of,
    power_up_values,
    stored,
    writable,
)
from romtool.requirements.collide import Placed, answers_at
from romtool.requirements.model import DeviceRequirements, RangeRequirement
from romtool.requirements.read import requirements_in
from romtool.schema.catalog import Catalog


class DeviceData(NamedTuple):
    """What a card's data says of a device: what it asks for, and what stands in its ID item.

    `boot`: it may take part in boot; `has_check`: it has register 31h, the I/O range check.
    """

    requirements: DeviceRequirements
    boot: bool
    has_check: bool


def devices_in(image: Image | None) -> list[DeviceData]:
    """Return the devices that an image describes (Spec 6.2.2.2)."""
    if image is None:
        return []
    check = image.catalog.protocol.registers["range-check"]
    parts = card_of(image).devices
    found = []
    for one, requirements in zip(parts, requirements_in(image, parts).devices, strict=True):
        values = one.start.values
        stated = values.get(check.announced or "") or ()
        found.append(DeviceData(requirements, bool(values.get("boot")), check.number in stated))
    return found


class LogicalDevice:
    """The registers of a device from 30h on, and whether and where it answers on the bus."""

    def __init__(self, catalog: Catalog, data: DeviceData) -> None:
        self.catalog, self.data, self.requirements = catalog, data, data.requirements
        self.activate = catalog.protocol.registers["activate"]
        self.check = catalog.protocol.registers["range-check"]
        self.places = places_of(catalog, data.requirements)
        self.power_up = power_up_values(catalog, data.requirements) if data.boot else None
        self.writable = {self.activate.number: self.activate.mask("active")}
        if data.has_check:
            self.writable[self.check.number] = self.check.mask("on", "pattern")
        for place in self.places:
            for field in place.block.fields:
                self.writable |= stored(place.first, field, writable(place, field))
        self.missing = {
            number: field.missing
            for block in catalog.protocol.blocks
            for first in block.at
            for field in block.fields
            for number in stored(first, field, 0)
        }
        self.reset()

    def reset(self) -> None:
        """Load all registers with what they are at power-up (Spec 4.3)."""
        start = filled(self.catalog, self.requirements, self.power_up)
        for place in self.places:
            if place.fixed is not None:
                alone = filled(
                    self.catalog,
                    self.requirements,
                    power_up_values(self.catalog, self.requirements),
                )
                start |= {n: alone[n] for n in _numbers(place)}
        active = self.activate.mask("active") if self.power_up is not None else 0
        self.registers = {self.activate.number: active, self.check.number: 0} | start
        self._settle()

    def write(self, number: int, value: int) -> None:
        """Write a register; bits that it doesn't have, or that are fixed, take nothing."""
        writable = self.writable.get(number, 0)
        if writable:
            self.registers[number] = self.registers[number] & ~writable | value & writable
            self._settle()

    def read(self, number: int) -> int:
        """Return what stands in a register; one that is missing or reserved reads 0, DMA 4."""
        return self.registers.get(number, self.missing.get(number, 0))

    @property
    def is_active(self) -> bool:
        """Whether the device is on."""
        return bool(self.registers[self.activate.number] & self.activate.mask("active"))

    def answer(self, port: int) -> int | None:
        """Return what it puts on the bus for a read of a port of its own; None for another."""
        for one in self.ranges:
            if answers_at(self.catalog.bus, one, port):
                return self.reply
        return None

    def _settle(self) -> None:
        """Settle where the device answers, and with what.

        An inactive device answers only while its ranges are checked, with a pattern.
        """
        checking = self.registers[self.check.number]
        patterns = self.catalog.protocol.range_patterns
        pattern = patterns[bool(checking & self.check.mask("pattern"))]
        self.reply = UNKNOWN if self.is_active else pattern
        answers = self.is_active or checking & self.check.mask("on")
        self.ranges = tuple(self._ranges()) if answers else ()

    def _ranges(self) -> Iterator[Placed]:
        """Yield the ports at which the device is set to answer.

        How many, and how far it decodes, is built into it: what its own data says of the choice
        that has such a base.
        """
        for place in self.places:
            if not self.catalog.resources[place.block.resource].is_io:
                continue
            base = held(place, "base", self.registers)
            spans = [
                need
                for need in place.needs
                if isinstance(need, RangeRequirement) and base in need.bases
            ]
            if base is not None and spans:
                yield Placed(base, spans[0].length, spans[0].bits)


def _numbers(place: Place) -> Iterator[int]:
    for field in place.block.fields:
        yield from stored(place.first, field, 0)
