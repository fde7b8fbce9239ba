"""Isolation, from the software's side: which cards are there, one after the other (Spec chapter 3).

It believes what it reads and nothing else. A card is there if a round of 72 pairs of reads brings
64 bits and a checksum that they sum to.
"""

from __future__ import annotations

from dataclasses import dataclass

from romtool.assign.host import Host
from romtool.rehearse.access import Access, candidates
from romtool.requirements.collide import answers_at
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Check


@dataclass(frozen=True)
class Heard:
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
class Isolated:
    """The cards found, those of CSN 1, 2, … in order, and READ_DATA (None: no port is free).

    `last`: the round that brought no card and ended the search; None where numbers ran out.
    """

    read_port: int | None
    cards: tuple[Heard, ...]
    last: Heard | None


def isolate(access: Access, host: Host) -> Isolated:
    """Find the cards: at the first port for READ_DATA at which there is one."""
    found = Isolated(None, (), None)
    for port in candidates(access.catalog):
        if any(answers_at(access.catalog.bus, taken, port) for taken in host.io):
            access.note("port-taken", port=port)
            continue
        access.wake(0)
        access.use_read_port(port)
        found = _rounds(access, port)
        if found.cards:
            break
    return found


def _rounds(access: Access, port: int) -> Isolated:
    """Number the cards until a round brings none."""
    refused = access.catalog.consumer.refused_checksum
    cards: list[Heard] = []
    while len(cards) < access.protocol.software.last_csn:
        heard = _round(access)
        taken = heard.is_right and heard.computed != refused
        access.note("round", number=len(cards) + 1, heard=heard, taken=taken)
        if not taken:
            return Isolated(port, tuple(cards), heard)
        cards.append(heard)
        access.note("csn", csn=len(cards))
        access.write("csn", len(cards))
        access.wake(0)
    return Isolated(port, tuple(cards), None)


def _round(access: Access) -> Heard:
    """Read the identifier, a pair of reads a bit, bit 0 of each byte first."""
    reply = access.protocol.isolation_reply
    raw = bytearray(access.catalog.identifier.size)
    access.point("isolation")
    for place in range(8 * len(raw)):
        pair = bytes([access.read_on() for _ in reply])
        raw[place // 8] |= (pair == reply) << place % 8
    return Heard(bytes(raw), checksum_of(access.catalog, bytes(raw)))


def checksum_of(catalog: Catalog, identifier: bytes) -> int:
    """Return the checksum that an identifier's bits make (Spec appendix B.2)."""
    field = catalog.identifier.check_field
    assert isinstance(field.kind, Check)
    return field.kind.checksum.of(identifier[field.kind.region(field.at)])
