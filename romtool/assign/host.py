"""A PC without the cards in question: what is taken in it already."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from romtool.errors import InputError
from romtool.requirements.collide import Placed, ports_collide
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import whole_number
from romtool.schema.numbers import address
from romtool.schema.tables import check_table

MEMORY_BITS = 32


class Entry(NamedTuple):
    """One thing that is taken: a line or channel, or a range of addresses (`value` its place).

    `what`: what has taken it; empty where nobody says.
    """

    kind: str
    value: int | Placed
    what: str = ""

    def __str__(self) -> str:
        """Return its name in a conflict, such as `host irq 5` or `host io 3F8h`."""
        value = self.value
        return f"host {self.kind} {value if isinstance(value, int) else address(value.base)}"

    def has_taken(self, catalog: Catalog, value: int | Placed) -> bool:
        """Whether a card can't be given this line, channel or range beside it."""
        if isinstance(self.value, int):
            return isinstance(value, int) and self.value in names_of(catalog, self.kind, value)
        return isinstance(value, Placed) and ports_collide(catalog.bus, value, self.value)


def names_of(catalog: Catalog, kind: str, line: int) -> set[int]:
    """Return the numbers of a line that a card offers: its own, and that of the same line."""
    return {line, catalog.resources[kind].renamed.get(line, line)}


def taken_with(catalog: Catalog, kind: str, value: int | Placed) -> Iterator[Entry]:
    """Yield what a card has taken from others, once it is given a value."""
    if isinstance(value, Placed):
        yield Entry(kind, value)
    else:
        for line in sorted(names_of(catalog, kind, value)):
            yield Entry(kind, line)


class Host:
    """What a PC has taken, by the kind of resource: `Host("my PC", irq=[5], io=[Placed(…)])`.

    Without anything: an empty PC.
    """

    def __init__(
        self, name: str = "an empty PC", *entries: Entry, **taken: Iterable[int | Placed]
    ) -> None:
        self.name = name
        given = [Entry(kind, value) for kind, values in taken.items() for value in values]
        self._entries = tuple(dict.fromkeys((*entries, *given)))

    def entries(self, kind: str | None = None) -> Iterator[Entry]:
        """Yield everything that is taken, or all of one kind; lines and channels ascending."""
        lines = [entry for entry in self._entries if isinstance(entry.value, int)]
        ranges = [entry for entry in self._entries if not isinstance(entry.value, int)]
        for one in dict.fromkeys(entry.kind for entry in self._entries):
            if kind in (None, one):
                yield from sorted(entry for entry in lines if entry.kind == one)
                yield from (entry for entry in ranges if entry.kind == one)

    def lines(self, kind: str) -> frozenset[int]:
        """Return the lines or channels that are taken."""
        return frozenset(e.value for e in self.entries(kind) if isinstance(e.value, int))

    def ranges(self, kind: str) -> tuple[Placed, ...]:
        """Return the ranges of addresses that are taken, as they were given."""
        return tuple(e.value for e in self.entries(kind) if isinstance(e.value, Placed))

    def taking(self, *more: Entry) -> Host:
        """Return the same PC with more in it."""
        return Host(self.name, *self._entries, *more)


EMPTY_PC = Host()


def host_of(catalog: Catalog, data: Mapping[str, Any], name: str) -> Host:
    """Return the PC that a host file describes; raises InputError with every fault.

    `name` is what it is called where the file doesn't say.
    """
    problems = list(check_table(data, catalog.tables["host"], catalog.tables))
    if problems:
        raise InputError(problems)
    entries = (
        _entry(catalog, kind, value) for kind in catalog.resources for value in data.get(kind, ())
    )
    return Host(data.get("name", name), *entries)


def _entry(catalog: Catalog, kind: str, value: Any) -> Entry:
    if not isinstance(value, Mapping):
        return Entry(kind, whole_number(value))
    usual = catalog.tables["host-ports"].keys["decode"].default
    bits = value.get("decode", usual) if catalog.resources[kind].is_io else MEMORY_BITS
    base, length = whole_number(value["base"]), whole_number(value["length"])
    return Entry(kind, Placed(base, length, whole_number(bits)), value.get("what", ""))
