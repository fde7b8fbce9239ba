"""The bus as the schema describes it: its ports, and the kinds of things that a device asks for."""

from __future__ import annotations

from collections.abc import Mapping

from romtool.schema.described import Described


class RequirementSpec(Described):
    """What an item asks the PC for: a kind of resource, and how to read it from the item.

    `bits`: address bits decoded, 0 where a field says. `decode`, `width`: the keys of the fields
    that say how many bits are decoded, and how many are moved at a time.
    """

    kind: str
    bits: int = 0
    decode: str | None = None
    width: str | None = None


class Resource(Described):
    """A kind of thing that a device asks for: IRQ lines, DMA channels, ports, memory.

    `most`: how many of its items can be in effect at once. `never`: lines that reach no slot;
    `renamed`: those that go by another number; `widths`: which can move so many bits.
    `ports`: what the `Bus` says is about it; `alike`: a card's are of one address width.
    """

    name: str
    title: str
    short: str
    source: str
    max_per_device: int
    not_on_slot: frozenset[int] = frozenset()
    renamed: Mapping[int, int]
    widths: Mapping[str, frozenset[int]]
    is_io: bool = False
    single_width: bool = False

    def on_bus(self, line: int) -> int:
        """Return the number by which a line goes on the bus."""
        return self.renamed.get(line, line)


class Bus(Described):
    """Ports of the bus that matter to PnP software and to every card.

    By convention, ranges of `block_least` ports or more begin at a multiple of `block_step`.
    """

    title: str
    source: str
    address_port: int
    write_port: int
    read_ports: range
    system_ports_below: int
    alias_step: int
    block_least: int
    block_step: int

    @property
    def pnp_ports(self) -> tuple[int, int]:
        """The two ports that PnP software writes to."""
        return self.address_port, self.write_port

    def aliases(self, bits: int) -> bool:
        """Whether a device that decodes so many address bits answers at aliases too."""
        return 1 << bits <= self.alias_step


class PnpSoftware(Described):
    """What PnP software of the field makes of PnP data: how much it keeps, where it looks.

    `name_length`: characters of a name; `compatible_ids`: of a device; `devices`: of a card that
    it activates; `refused_checksum`: of an identifier that it takes for no card; `read_scan`: the
    addresses at which it looks for a free READ_DATA port.
    """

    title: str
    source: str
    name_length: int
    compatible_ids: int
    devices: int
    refused_checksum: int
    read_scan: tuple[int, ...]
