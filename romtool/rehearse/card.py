"""A card as it stands on the bus: the states of chapter 4, the registers of appendix A.

It hears every access, and acts by what it hears: the key, wake, isolation, its number, its
configuration.
"""

from __future__ import annotations

from romtool.rehearse.device import LogicalDevice
from romtool.rehearse.resources import having, image_of, requirements_in
from romtool.rehearse.steps import Note, unheard
from romtool.schema.catalog import Catalog

WAIT, SLEEP, ISOLATION, CONFIG = "wait", "sleep", "isolation", "config"
"""The states of a card (Spec chapter 4); `schemas/protocol.toml` uses these names."""

BEHIND = 0xFF
"""What a chip gives after the data it loaded: not known; as an erased part would."""


class Card:
    """A card; `data` is what its chip holds, the identifier first.

    One that doesn't heed the key stays in its first state. It sends its identifier's checksum as
    it is stored: that some chips compute the byte themselves is not modelled.
    """

    def __init__(
        self,
        catalog: Catalog,
        data: bytes,
        *,
        heeds_key: bool = True,
        slot: int = 0,
        note: Note = unheard,
    ) -> None:
        self.catalog, self.protocol, self.bus = catalog, catalog.protocol, catalog.bus
        self.data, self.heeds_key, self.slot, self.note = data, heeds_key, slot, note
        image = image_of(catalog, data)
        has_check = having(image, self.protocol.registers["range-check"])
        self.devices = [
            LogicalDevice(catalog, requirements, has_check=has)
            for requirements, has in zip(requirements_in(image).devices, has_check, strict=True)
        ]
        size = catalog.identifier.size
        self.identifier = data[:size].ljust(size, bytes([BEHIND]))
        self.key = tuple(self.protocol.key())
        self.by_number = {r.number: r.name for r in self.protocol.registers.values()}
        self.state, self.csn, self.read_port = WAIT, 0, -1
        self.matched = 0  # bytes of the key heard in order
        self.index = 0  # the register that ADDRESS names
        self.device = 0  # the logical device that registers from 30h on belong to
        self.pointer = 0  # the next byte of resource data
        self.pair = 0  # of isolation: the pair of reads that comes next
        self.heard = b""  # the reads of this pair so far

    # --- what the bus asks ------------------------------------------------------------------

    def drive(self, port: int) -> int | None:
        """Return what the card puts on the bus for a read of this port; None for nothing."""
        answers = [device.answer(port) for device in self.devices]
        if port == self.read_port:
            answers.append(self._read())
        found = [answer for answer in answers if answer is not None]
        if not found:
            return None
        value = found[0]
        for answer in found[1:]:
            value &= answer
        return value

    def hear(self, port: int, value: int) -> None:
        """Take note of what a read of this port carried, whoever answered."""
        if port != self.read_port:
            return
        if self._reaches("isolation"):
            self._hear_isolation(value)
        elif self._reaches("data"):
            self.pointer += 1

    def write(self, port: int, value: int) -> None:
        """Take note of what was written to this port."""
        if port == self.bus.address_port:
            if self.state == WAIT:
                self._hear_key(value)
            else:
                self.index = value
        elif port == self.bus.write_port:
            self._write(value)

    # --- the key (Spec chapter 3, appendix B.1) ---------------------------------------------

    def _hear_key(self, value: int) -> None:
        """Compare a byte with the shift register; one that differs puts it back to its seed."""
        self.matched = self.matched + 1 if value == self.key[self.matched] else 0
        if self.matched == len(self.key):
            self.matched = 0
            if self.heeds_key:
                self.state = SLEEP

    # --- isolation (Spec chapter 3) ---------------------------------------------------------

    def _bit(self) -> int:
        """Return the bit for this pair of reads, bit 0 of each byte first; 0 after the last."""
        if self.pair >= 8 * len(self.identifier):
            return 0
        return self.identifier[self.pair // 8] >> self.pair % 8 & 1

    def _hear_isolation(self, value: int) -> None:
        """End a pair: a card that answered nothing and hears another's answer goes to sleep."""
        self.heard += bytes([value])
        if len(self.heard) < len(self.protocol.isolation_reply):
            return
        lost = self.heard == self.protocol.isolation_reply and not self._bit()
        self.heard = b""
        self.pair += 1
        if lost:
            self.note("asleep", slot=self.slot, pair=self.pair)
            self.state = SLEEP

    # --- registers (Spec chapter 4, appendix A) ---------------------------------------------

    def _reaches(self, name: str) -> bool:
        """Whether an access now is one of this register, in a state that heeds it."""
        register = self.protocol.registers[name]
        return self.index == register.number and self.state in register.states

    def _read(self) -> int | None:
        if self._reaches("isolation"):
            reply = self.protocol.isolation_reply
            return reply[len(self.heard)] if self._bit() else None
        if self.state != CONFIG:
            return None
        if self._reaches("data"):
            return self.data[self.pointer] if self.pointer < len(self.data) else BEHIND
        if self._reaches("status"):
            return self.protocol.registers["status"].mask("ready")
        if self._reaches("csn"):
            return self.csn
        if self._reaches("device"):
            return self.device
        device = self._chosen()
        return None if device is None else device.read(self.index)

    def _chosen(self) -> LogicalDevice | None:
        """Return the device whose register ADDRESS names; None for a register of the card."""
        of_device = self.index >= self.protocol.device_registers_from
        return self.devices[self.device] if of_device and self.device < len(self.devices) else None

    def _write(self, value: int) -> None:
        name = self.by_number.get(self.index, "")
        if self.state == CONFIG and self._chosen() is not None:
            self.devices[self.device].write(self.index, value)
        elif name and self._reaches(name):
            if name == "read-port":
                ports = self.bus.read_ports
                self.read_port = value * ports.step + ports.start % ports.step
            elif name == "control":
                self._control(value)
            elif name == "wake":
                self._wake(value)
            elif name == "csn":
                self._number(value)
            elif name == "device":
                self.device = value

    def _control(self, value: int) -> None:
        control = self.protocol.registers["control"]
        if value & control.mask("reset"):
            for device in self.devices:
                device.reset()
        if value & control.mask("no_csn"):
            self.csn = 0
        if value & control.mask("wait"):
            self.state = WAIT

    def _wake(self, csn: int) -> None:
        """Answer to the card's own number; any other sends it to sleep. Reading begins anew."""
        awake = CONFIG if csn else ISOLATION
        self.state = awake if csn == self.csn else SLEEP
        self.pointer, self.pair, self.heard = 0, 0, b""

    def _number(self, csn: int) -> None:
        """Take a number. Resource data goes on after the bits that isolation has sent."""
        self.csn = csn
        if self.state == ISOLATION:
            self.pointer = self.pair // 8
            self.state = CONFIG
            self.note("numbered", slot=self.slot, csn=csn)
