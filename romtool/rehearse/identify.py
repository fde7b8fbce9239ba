"""Which cards are there, and what their data says: isolation and reading, from software's side.

It believes what it reads and nothing else: a card is there if a round of 72 pairs of reads brings
64 bits and a checksum that they sum to.
"""

from __future__ import annotations

from dataclasses import dataclass

from romtool.answers.rehearsal import Remark
from romtool.assign.host import Host
from romtool.formats import MAX_IMAGE
from romtool.image.walk import peek_tag
from romtool.rehearse.access import Access
from romtool.rehearse.steps import remark
from romtool.requirements.collide import answers_at
from romtool.requirements.model import card_words
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Check


@dataclass(frozen=True)
class IsolationRound:
    """What one round of isolation brought: the identifier's bytes, and the checksum they make."""

    raw: bytes
    computed: int

    @property
    def is_silent(self) -> bool:
        """Whether no card answered at all."""
        return not any(self.raw)

    @property
    def is_right(self) -> bool:
        """Whether the checksum that was sent is that of the bits before it."""
        return self.raw[-1] == self.computed


@dataclass(frozen=True)
class IsolationResult:
    """The cards found, those of CSN 1, 2, … in order, and READ_DATA, where it was last.

    `last`: the round that brought no card and ended the search; None where numbers ran out, or
    nobody searched.
    """

    read_port: int | None
    cards: tuple[IsolationRound, ...]
    last: IsolationRound | None


@dataclass(frozen=True)
class ResourceData:
    """What was read of a card: whole items only, the identifier before them.

    `problem`: why there is no end item, None if it came; `doubt`: why the bytes may be wrong.
    """

    data: bytes
    problem: Remark | None
    doubt: Remark | None = None


# --- isolation (Spec 3.3): which cards are there, one after the other -----------------------------


def isolate(access: Access, host: Host) -> IsolationResult:
    """Find the cards: at the first port for READ_DATA at which one is heard."""
    found = IsolationResult(None, (), None)
    taken = host.ranges(access.catalog.port_resource.name)
    for port in access.catalog.pnp_software.read_scan.ports:
        if port not in access.catalog.bus.read_ports:
            continue
        if any(answers_at(access.catalog.bus, one, port) for one in taken):
            access.note("port-taken", port=port)
            continue
        access.wake(0)
        access.use_read_port(port)
        found = _rounds(access, port)
        if found.cards:
            break
        access.note("moved", port=port)
    return found


def _rounds(access: Access, port: int) -> IsolationResult:
    """Number the cards until a round brings none."""
    refused = access.catalog.pnp_software.refused_checksum
    cards: list[IsolationRound] = []
    while len(cards) < access.catalog.pnp_software.last_csn:
        started = access.elapsed
        heard = _round(access)
        taken = heard.is_right and heard.computed != refused
        name = "round" if taken else "round-silent" if heard.is_silent else "round-refused"
        access.note(
            name,
            number=len(cards) + 1,
            bits=heard.raw[:-1],
            sum=heard.raw[-1],
            computed=heard.computed,
            card=card_words(*identity(access.catalog, heard.raw)),
            microseconds=access.elapsed - started,
        )
        if not taken:
            return IsolationResult(port, tuple(cards), heard)
        cards.append(heard)
        access.note("csn", csn=len(cards))
        access.write("csn", len(cards))
        access.wake(0)
    return IsolationResult(port, tuple(cards), None)


def _round(access: Access) -> IsolationRound:
    """Read the identifier, a pair of reads a bit, bit 0 of each byte first."""
    reply, waits = access.protocol.isolation_reply, access.protocol.waits
    raw = bytearray(access.catalog.identifier.size)
    access.point("isolation")
    for place in range(8 * len(raw)):
        access.delay(waits.pair if place else waits.round)
        pair = bytes([access.read_on() for _ in reply])
        raw[place // 8] |= (pair == reply) << place % 8
    return IsolationRound(bytes(raw), checksum_of(access.catalog, bytes(raw)))


def checksum_of(catalog: Catalog, identifier: bytes) -> int:
    """Return the checksum that an identifier's bits make (Spec B.2)."""
    field = catalog.identifier.check_field
    assert isinstance(field.kind, Check)
    return field.kind.checksum.of(identifier[field.kind.region(field.at)])


def identity(catalog: Catalog, identifier: bytes) -> tuple[str | None, int | None]:
    """Return the ID and the serial number of an identifier; None where there is none."""
    layout = catalog.identifier.field_layout
    values, _ = layout.values(layout.parse(identifier))
    card, serial = (
        values[catalog.identifier.id_field.key],
        values[catalog.identifier.serial_field.key],
    )
    return card if isinstance(card, str) else None, serial if isinstance(serial, int) else None


# --- resource data (Spec 4.5): read item by item until one ends it --------------------------------


def read_card(access: Access, csn: int, heard: IsolationRound) -> ResourceData:
    """Wake a card and read its data.

    The first bytes are the identifier again, of which the checksum isn't valid here (Spec 4.5):
    those that isolation brought stand in their place.
    """
    access.wake(csn)
    reader = _Reader(access)
    reader.take(len(heard.raw))
    problem = reader.items()
    read = ResourceData(heard.raw + bytes(reader.data[len(heard.raw) :]), problem, reader.doubt)
    end = "to the end item" if problem is None else problem.text
    access.note("data", csn=csn, size=len(read.data), end=end)
    return read


class _Reader:
    """Resource data as it is read; `doubt`: the first byte that was never ready."""

    def __init__(self, access: Access) -> None:
        self.access = access
        self.data = bytearray()
        self.doubt: Remark | None = None

    def take(self, count: int) -> None:
        """Read `count` bytes, each as soon as the card says that it is ready."""
        access, software = self.access, self.access.catalog.pnp_software
        ready = access.mask("status", "ready")
        for _ in range(count):
            if any(access.read("status") & ready for _ in range(software.most_polls)):
                self.data.append(access.read("data"))
                continue
            if self.doubt is None:
                words = {"at": len(self.data), "instead": software.never_ready}
                self.doubt = remark(access.catalog, "not-ready", **words)
            self.data.append(software.never_ready)

    def items(self) -> Remark | None:
        """Read items up to the end item; return why there is none."""
        catalog, data = self.access.catalog, self.data
        marks = (header.ends_reading for header in catalog.headers.values())
        ends = {bytes([mark]) for mark in marks if mark is not None}
        stops = catalog.pnp_software.stops
        while True:
            whole = len(data)
            self.take(1)
            while (found := peek_tag(catalog, bytes(data[whole:]), 0)) is None:
                if bytes(data[whole:]) in ends:
                    break
                self.take(1)
            begun = bytes(data[whole:])
            if begun in ends:
                del data[whole:]
                return remark(catalog, "stopped", at=whole, bytes=begun)
            if begun in stops or found is None or whole + found[1] > MAX_IMAGE:
                del data[whole:]
                return remark(catalog, "no-end", at=whole)
            record, size = found
            self.take(whole + size - len(data))
            if record.role == "end":
                return None
