"""One logical device of a card: its registers, and the ports at which it answers (Spec App. A)."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.rehearse.bus import UNKNOWN
from romtool.rehearse.registers import cleared, held
from romtool.requirements.collide import Placed, answers_at
from romtool.requirements.model import DeviceRequirements, RangeRequirement
from romtool.schema.catalog import Catalog


class LogicalDevice:
    """The registers of a device from 30h on; `has_check`: 31h, the I/O range check, among them."""

    def __init__(
        self, catalog: Catalog, requirements: DeviceRequirements, *, has_check: bool
    ) -> None:
        self.catalog = catalog
        self.requirements = requirements
        self.activate = catalog.protocol.registers["activate"]
        self.check = catalog.protocol.registers["range-check"]
        self.missing = frozenset() if has_check else frozenset({self.check.number})
        self.reset()

    def reset(self) -> None:
        """Put all registers to what they are at power-up."""
        descriptors = cleared(self.catalog.protocol)
        self.registers = {self.activate.number: 0, self.check.number: 0} | descriptors
        self._settle()

    def write(self, number: int, value: int) -> None:
        """Write a register; one that the device doesn't have takes nothing."""
        if number in self.registers and number not in self.missing:
            if number == self.activate.number:
                value &= self.activate.mask("active")
            self.registers[number] = value
            self._settle()

    def read(self, number: int) -> int | None:
        """Return what stands in a register; None for one that the device doesn't have."""
        return None if number in self.missing else self.registers.get(number)

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
        ports = self.catalog.port_resource.name
        for place, base in enumerate(held(self.catalog.protocol, ports, "base", self.registers)):
            if base is not None:
                spans = [span for span in self._spans(place) if base in span.bases]
                for span in spans[:1]:
                    yield Placed(base, span.length, span.bits)

    def _spans(self, place: int) -> Iterator[RangeRequirement]:
        for alternative in self.requirements.alternatives:
            needs = alternative.of_kind(self.catalog.port_resource.name)
            if place < len(needs):
                need = needs[place]
                if isinstance(need, RangeRequirement):
                    yield need
