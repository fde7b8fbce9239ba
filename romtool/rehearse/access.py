"""The three ports through which PnP software reaches all cards (Spec 3.1), and its waits."""

from __future__ import annotations

from typing import Protocol

from romtool.rehearse.steps import Note, unheard
from romtool.schema.catalog import Catalog


class Ports(Protocol):
    """Anything with ports: a bus, a card on its own."""

    def read(self, port: int) -> int:
        """Return what a read of this port gives."""

    def write(self, port: int, value: int) -> None:
        """Write a byte to this port."""


class Access:
    """Registers of the cards by name or number, through ADDRESS, WRITE_DATA and READ_DATA.

    `note` takes the steps that the software does; `elapsed` sums up what it waits, in
    microseconds.
    """

    def __init__(self, catalog: Catalog, ports: Ports, note: Note = unheard) -> None:
        self.catalog = catalog
        self.protocol = catalog.protocol
        self.ports = ports
        self.note = note
        self.read_port = 0
        self.elapsed = 0

    def delay(self, microseconds: int) -> None:
        """Wait."""
        self.elapsed += microseconds

    def send_key(self) -> None:
        """Wake the cards' logic: the lead-in, then the initiation key (Spec appendix B.1)."""
        lead = self.protocol.key_lead
        for byte in (*lead, *self.protocol.key()):
            self.ports.write(self.catalog.bus.address_port, byte)
        self.note("key", lead=lead, length=self.protocol.key_length)

    def wake(self, csn: int) -> None:
        """Wake the card of this number, or for 0 all that have none; all others sleep."""
        self.note("wake" if csn else "wake-all", csn=csn)
        self.write("wake", csn)

    def point(self, register: str | int) -> None:
        """Name the register that the next accesses are for."""
        number = register if isinstance(register, int) else self._number(register)
        self.ports.write(self.catalog.bus.address_port, number)

    def write(self, register: str | int, value: int) -> None:
        """Write a register."""
        self.point(register)
        self.ports.write(self.catalog.bus.write_port, value)

    def read(self, register: str | int) -> int:
        """Read a register."""
        self.point(register)
        return self.read_on()

    def read_on(self) -> int:
        """Read the register that was named last."""
        return self.ports.read(self.read_port)

    def use_read_port(self, port: int) -> None:
        """Put READ_DATA at this port, for the cards that are in isolation."""
        self.read_port = port
        self.write("read-port", port // self.catalog.bus.read_ports.step)
        self.note("read-port", port=port)

    def mask(self, register: str, *bits: str) -> int:
        """Return the byte in which just these bits of a register are set."""
        return self.protocol.registers[register].mask(*bits)

    def _number(self, register: str) -> int:
        return self.protocol.registers[register].number
