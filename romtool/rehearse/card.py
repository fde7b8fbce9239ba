"""A card as it stands on the bus: the states of chapter 4, the registers of appendix A.

It hears every access, and acts by what it hears: the key, wake, isolation, its number, its
configuration. In which state it responds to which register stands in `schemas/protocol.toml`.
"""

from __future__ import annotations

from romtool.image.decode import read_as
from romtool.rehearse.device import LogicalDevice, devices_in
from romtool.rehearse.steps import Note, unheard
from romtool.schema.catalog import Catalog

WAIT, SLEEP, ISOLATION, CONFIG = "wait", "sleep", "isolation", "config"
"""The states of a card (Spec chapter 4); `schemas/protocol.toml` uses these names."""

PAST = 0xFF
"""What a chip gives after the data it loaded: not known; as an erased part would."""

UNDEFINED = -1
"""READ_DATA before software has set it: the card answers nowhere."""


class Card:
    """A card; `data` is what its chip holds, the identifier first.

    One that doesn't respond to the key stays in its first state. It sends its identifier's checksum
    as it is stored: that some chips compute the byte themselves is not modelled.
    """

    def __init__(
        self,
        catalog: Catalog,
        data: bytes,
        *,
        responds_to_key: bool = True,
        slot: int = 0,
        note: Note = unheard,
    ) -> None:
        self.catalog, self.protocol, self.bus = catalog, catalog.protocol, catalog.bus
        self.data, self.responds_to_key, self.slot, self.note = data, responds_to_key, slot, note
        image = read_as(catalog, data, catalog.default_layout)
        self.devices = [LogicalDevice(catalog, one) for one in devices_in(image)]
        size = catalog.identifier.size
        self.identifier = data[:size].ljust(size, bytes([PAST]))
        self.key = tuple(self.protocol.key())
        self.by_number = {r.number: r for r in self.protocol.registers.values()}
        self.reset_drv()

    def reset_drv(self) -> None:
        """Start anew, as the bus line RESET_DRV has it (Spec 4.3)."""
        self.state, self.csn, self.read_port = WAIT, 0, UNDEFINED
        self.matched = 0  # bytes of the key heard in order
        self.index = 0  # the register that ADDRESS names
        self.device = 0  # the logical device that registers from 30h on belong to
        self._rewind()
        for device in self.devices:
            device.reset()

    def _rewind(self) -> None:
        """Put identifier, resource data and isolation back to their start."""
        self.pointer = 0  # the next byte of resource data
        self.is_ready = False  # whether that byte is gathered
        self.pair = 0  # of isolation: the pair of reads that comes next
        self.heard = b""  # the reads of this pair so far

    # --- what the bus asks ------------------------------------------------------------------

    def drive(self, port: int) -> int | None:
        """Return what the card puts on the bus for a read of this port; None for nothing."""
        answers = [device.answer(port) for device in self.devices]
        if self._is_at(port, self.read_port):
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
        if not self._is_at(port, self.read_port):
            return
        if self._answers("isolation"):
            self._hear_isolation(value)
        elif self._answers("data"):
            self.pointer += 1
            self.is_ready = False
        elif self._answers("status"):
            self.is_ready = True  # one look later the next eight bits are gathered

    def write(self, port: int, value: int) -> None:
        """Take note of what was written to this port."""
        if self._is_at(port, self.bus.address_port):
            if self.state == WAIT:
                self._hear_key(value)
            else:
                self.index = value
        elif self._is_at(port, self.bus.write_port):
            self._write(value)

    def _is_at(self, port: int, own: int) -> bool:
        """Whether a port is one of the card's own three, as far as it decodes (Spec 3.1)."""
        return port & self.bus.pnp_mask == own

    # --- the key (Spec 3.2, B.1) ---------------------------------------------

    def _hear_key(self, value: int) -> None:
        """Compare a byte with the shift register; one that differs puts it back to its seed."""
        self.matched = self.matched + 1 if value == self.key[self.matched] else 0
        if self.matched == len(self.key):
            self.matched = 0
            if self.responds_to_key:
                self.state = SLEEP

    # --- isolation (Spec 3.3.1) ---------------------------------------------------------

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
        compared = self.protocol.isolation_compares
        pairs = zip(self.heard, self.protocol.isolation_reply, strict=True)
        lost = not self._bit() and all(not (one ^ other) & compared for one, other in pairs)
        self.heard = b""
        self.pair += 1
        if lost:
            reply = self.protocol.isolation_reply
            self.note("asleep", slot=self.slot + 1, pair=self.pair, reply=reply)
            self.state = SLEEP

    # --- registers (Spec 4.3, A) ---------------------------------------------

    def _answers(self, name: str) -> bool:
        """Whether a read now is one of this register, in a state that answers it."""
        register = self.protocol.registers[name]
        return self.index == register.number and self.state in register.read

    def _read(self) -> int | None:
        """Return what a read of READ_DATA gives; None for nothing."""
        register = self.by_number.get(self.index)
        if register is not None and self.state not in register.read:
            return None
        if register is None and self.state != CONFIG:
            return None
        if self.index >= self.protocol.device_registers.start:
            found = self._chosen()
            return None if found is None else found.read(self.index)
        name = register.name if register is not None else ""
        if name == "isolation":
            return self.protocol.isolation_reply[len(self.heard)] if self._bit() else None
        if name == "data":
            return self.data[self.pointer] if self.pointer < len(self.data) else PAST
        if name == "status":
            return self.protocol.registers["status"].mask("ready") if self.is_ready else 0
        return {"csn": self.csn, "device": self.device}.get(name, 0)

    def _chosen(self) -> LogicalDevice | None:
        """Return the device that registers from 30h on belong to; None where there is none."""
        return self.devices[self.device] if self.device < len(self.devices) else None

    def _write(self, value: int) -> None:
        """Take what is written to the register that ADDRESS names, if the state allows it."""
        register = self.by_number.get(self.index)
        if self.state not in (register.write if register is not None else {CONFIG}):
            return
        if self.index >= self.protocol.device_registers.start:
            device = self._chosen()
            if device is not None:
                device.write(self.index, value)
        elif register is None:
            return
        elif register.name == "read-port":
            ports = self.bus.read_ports
            self.read_port = value * ports.step + ports.start % ports.step
        elif register.name == "control":
            self._control(value)
        elif register.name == "wake":
            self._wake(value)
        elif register.name == "csn" and value:
            self._number(value)
        elif register.name == "device" and len(self.devices) > 1:
            self.device = value

    def _control(self, value: int) -> None:
        """Carry out the commands whose bits are 1; all of them are RESET_DRV (Spec 4.3)."""
        control = self.protocol.registers["control"]
        if value & control.mask("reset"):
            for device in self.devices:
                device.reset()
        if value & control.mask("no_csn"):
            self.csn, self.read_port = 0, UNDEFINED
        if value & control.mask("wait"):
            self.state = WAIT

    def _wake(self, csn: int) -> None:
        """Answer to the card's own number; any other sends it to sleep. Reading begins anew."""
        awake = CONFIG if csn else ISOLATION
        self.state = awake if csn == self.csn else SLEEP
        self._rewind()

    def _number(self, csn: int) -> None:
        """Take a number. Resource data goes on after the bits that isolation has sent."""
        self.csn = csn
        if self.state == ISOLATION:
            self.pointer = self.pair // 8
            self.state = CONFIG
            self.note("numbered", slot=self.slot + 1, csn=csn)
