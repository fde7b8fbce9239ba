"""Resource data, from the software's side: read item by item until one ends it (Spec chapter 4)."""

from __future__ import annotations

from dataclasses import dataclass

from romtool.image.walk import peek_tag
from romtool.limits import MAX_IMAGE
from romtool.rehearse.access import Access
from romtool.rehearse.remarks import Said, say
from romtool.schema.catalog import Catalog


@dataclass(frozen=True)
class Read:
    """What was read of a card: whole items only, the identifier before them.

    `fault`: why there is no end item, None if it came.
    """

    data: bytes
    problem: Said | None


class _NotReady(Exception):
    """A card that never says that its next byte is there."""


def read_card(access: Access, csn: int) -> Read:
    """Wake a card and read its data. The first bytes are the identifier again."""
    read = _read_card(access, csn)
    access.note("data", csn=csn, read=read)
    return read


def _read_card(access: Access, csn: int) -> Read:
    access.wake(csn)
    catalog, data, whole = access.catalog, bytearray(), 0
    try:
        data += _take(access, catalog.identifier.size)
        while True:
            whole = len(data)
            data += _take(access, 1)
            if data[whole] in _stops(catalog):
                return _ended(catalog, data, whole, "stopped", byte=data[whole])
            while (found := peek_tag(catalog, bytes(data[whole:]), 0)) is None:
                data += _take(access, 1)
            record, size = found
            if whole + size > MAX_IMAGE:
                return _ended(catalog, data, whole, "no-end")
            data += _take(access, whole + size - len(data))
            if record.role == "end":
                return Read(bytes(data), None)
    except _NotReady:
        return _ended(catalog, data, whole, "not-ready")


def _take(access: Access, count: int) -> bytes:
    """Read so many bytes, each as soon as the card says that it is ready."""
    ready = access.mask("status", "ready")
    found = bytearray()
    for _ in range(count):
        polls = range(access.protocol.software.most_polls)
        if not any(access.read("status") & ready for _ in polls):
            raise _NotReady
        found.append(access.read("data"))
    return bytes(found)


def _stops(catalog: Catalog) -> set[int | None]:
    """Return the bytes at which software stops reading, where an item should begin."""
    return {header.ends_reading for header in catalog.headers.values()}


def _ended(catalog: Catalog, data: bytearray, whole: int, name: str, **words: object) -> Read:
    problem = say(catalog, name, at=len(data) if name == "not-ready" else whole, **words)
    return Read(bytes(data[:whole]), problem)
