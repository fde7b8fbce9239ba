"""The bus as the schema describes it: its ports, and the kinds of things that a device asks for."""

from __future__ import annotations

import functools
from collections.abc import Mapping

from romtool.schema.described import Described


class RequirementSpec(Described):
    """What an item asks the PC for: a kind of resource, and how to read it from the item.

    `bits`: address bits decoded, 0 where a field says. `decode`, `width`: the keys of the fields
    that say how many bits are decoded, and how many are moved at a time.
    """

    kind: str
    bits: int
    decode: str | None
    width: str | None


class Resource(Described):
    """A kind of thing that a device asks for: IRQ lines, DMA channels, ports, memory.

    `most`: how many of its items can be in effect at once. `never`: lines that reach no slot;
    `renamed`: those that go by another number; `widths`: which can move how many bits.
    `ports`: what the `Bus` says is about it; `alike`: a card's are of one address width.
    """

    name: str
    title: str
    short: str
    source: str
    max_per_device: int
    not_on_slot: frozenset[int]
    renamed: Mapping[int, int]
    widths: Mapping[str, frozenset[int]]
    is_io: bool
    single_width: bool

    def on_bus(self, line: int) -> int:
        """Return the number by which a line goes on the bus."""
        return self.renamed.get(line, line)


class PortBlock(Described):
    """By convention, ranges of `least` ports or more begin at a multiple of `step`."""

    least: int
    step: int


class Bus(Described, read_ports="read_port"):
    """Ports of the bus that matter to PnP software and to every card.

    `read_ports`: where READ_DATA may be; `pnp_bits`: address bits of all three that cards decode;
    `alias_step`: what a device answers to that decodes too few address bits; `block`: where wide
    ranges begin.
    """

    title: str
    source: str
    address_port: int
    write_port: int
    read_ports: range
    pnp_bits: int
    system_ports_below: int
    alias_step: int
    block: PortBlock

    @property
    def pnp_mask(self) -> int:
        """The address bits that cards decode of the ports of the protocol."""
        return (1 << self.pnp_bits) - 1

    @property
    def pnp_ports(self) -> tuple[int, int]:
        """The two ports that PnP software writes to."""
        return self.address_port, self.write_port

    def aliases(self, bits: int) -> bool:
        """Whether a device that decodes `bits` address bits answers at aliases too."""
        return 1 << bits <= self.alias_step


class ReadScan(Described):
    """Addresses from `lowest` to `highest`, but for those from first to last of `leaves_out`."""

    lowest: int
    highest: int
    step: int
    leaves_out: tuple[int, ...]

    @functools.cached_property
    def ports(self) -> tuple[int, ...]:
        """All of them, in the order in which software tries them."""
        first, last = self.leaves_out
        every = range(self.lowest, self.highest + 1, self.step)
        return tuple(port for port in every if not first <= port <= last)


class PnpSoftware(Described):
    """What PnP software of the field does where the standard leaves it free.

    `name_length`: characters of a name; `compatible_ids`: of a device; `devices`: of a card that
    it activates; `refused_checksum`: of an identifier that it takes for no card; `read_scan`:
    where it looks for a free READ_DATA port. `last_csn`: the last number that it gives;
    `most_polls`: times that it asks for a byte; `never_ready`: what it takes then; `stops`: bytes
    at which it ends the reading, where an item should begin.
    """

    title: str
    source: str
    name_length: int
    compatible_ids: int
    devices: int
    refused_checksum: int
    read_scan: ReadScan
    last_csn: int
    most_polls: int
    never_ready: int
    stops: tuple[bytes, ...]
