"""An image: bytes in which every byte has a place, with what was stored and what it should be."""

from __future__ import annotations

import functools
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from romtool.image.walk import Descriptor, peek_tag, walk
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import AnyKind, Stored
from romtool.schema.fields import Field, Unit
from romtool.schema.image_layouts import REGIONS, ImageLayout
from romtool.schema.records import DescriptorType

if TYPE_CHECKING:
    from romtool.image.tree import Node

MIN_FILL_GAP = 8
"""The fewest fill bytes in a row that end a run of data after the PnP data."""


Verdict = Literal["right", "other way", "not checked", "not stored", "wrong"]
"""`other way`: counted in another way that is accepted; `not checked`: the stored value says so;
`not stored`: it is what often stands where the chip works the value out itself."""


class Compared(NamedTuple):
    """A stored value beside the computed one, and whether it is what it should be."""

    stored: Stored
    computed: Stored
    verdict: Verdict
    way: str | None = None
    """The name of the accepted other way of counting that the stored value agrees with."""

    @property
    def ok(self) -> bool:
        """Whether the card and the PC accept the stored value."""
        return self.verdict not in ("not stored", "wrong")

    @property
    def way_words(self) -> str:
        """The accepted other way of counting in words: `without identifier`."""
        return (self.way or "").replace("-", " ")

    def judgement(self, kind: AnyKind) -> str:
        """Return in words whether the stored value is right, and if not, what it should be."""
        if self.verdict in ("right", "not checked"):
            return self.verdict
        should = kind.show(kind.to_value(self.computed))
        if self.verdict == "other way":
            return f"counted {self.way_words}; usual is {should}"
        return f"should be {should}"


class Run(NamedTuple):
    """Bytes after the PnP data: `kind` is patch, data or fill."""

    offset: int
    raw: bytes
    kind: str

    @property
    def end(self) -> int:
        """The address after the last byte."""
        return self.offset + len(self.raw)


class Image:
    """What stands in an EEPROM, read with one layout; None: no layout fits these bytes.

    All that follows from the bytes is read when it is asked for, and never changes.
    """

    def __init__(self, catalog: Catalog, data: bytes, layout: ImageLayout | None) -> None:
        self.catalog = catalog
        self.data = data
        self.layout = layout
        self._comparisons: dict[str, Compared] = {}

    @functools.cached_property
    def items(self) -> tuple[Descriptor, ...]:
        """The items, as far as the walk goes; none without a layout."""
        return tuple(walk(self.catalog, self.data, self.items_at)) if self.layout else ()

    def with_rest(self, data: bytes) -> Image:
        """Return the image with the same items, where `data` has other bytes after them."""
        image = Image(self.catalog, data, self.layout)
        image.items = self.items
        return image

    @functools.cached_property
    def layout_stored(self) -> Mapping[str, Stored]:
        """The stored values of the layout's fields."""
        if self.layout is None:
            return {}
        return self.layout.field_layout.parse(self.data[: self.layout.size])

    @functools.cached_property
    def layout_values(self) -> Mapping[str, Any]:
        """The values of the layout's fields, for people."""
        if self.layout is None:
            return {}
        return self.layout.field_layout.values(self.layout_stored)[0]

    @property
    def config(self) -> dict[str, Any]:
        """The values of the configuration bytes."""
        if self.layout is None:
            return {}
        return {f.key: self.layout_values[f.key] for f in self.layout.config_fields}

    @functools.cached_property
    def identifier_values(self) -> tuple[Mapping[str, Any], bool]:
        """The identifier's values, and whether a profile can say them."""
        layout = self.catalog.identifier.field_layout
        if not self.identifier_size:
            return {field.key: None for field in layout.fields}, False
        return layout.reader(self.catalog.identifier.size).values(self.identifier_raw)

    @property
    def card_id(self) -> str | None:
        """The card's ID; None where the stored bits spell none."""
        value = self.identifier_values[0][self.catalog.identifier.id_field.key]
        return value if isinstance(value, str) else None

    @property
    def identifier_at(self) -> int:
        """The address of the serial identifier."""
        return self.layout.size if self.layout else 0

    @property
    def identifier_size(self) -> int:
        """The bytes of the serial identifier: 0 in resource data alone."""
        there = self.layout is None or self.layout.identifier
        return self.catalog.identifier.size if there else 0

    @property
    def lead(self) -> bytes | None:
        """The bytes before the PnP data, where no known layout explains them."""
        if self.layout is None or not self.layout.is_lead:
            return None
        return self.data[: self.layout.size]

    @property
    def layout_name(self) -> str | None:
        """The name of the known layout; None where there is none."""
        return None if self.layout is None or self.layout.is_lead else self.layout.name

    @property
    def identifier_raw(self) -> bytes:
        """The bytes of the serial identifier."""
        return self.data[self.identifier_at : self.items_at]

    @property
    def items_at(self) -> int:
        """The address of the first item."""
        return self.identifier_at + self.identifier_size

    @property
    def items_raw(self) -> bytes:
        """The bytes of the items, as far as the walk goes."""
        return self.data[self.items_at : self.items_end]

    @property
    def items_end(self) -> int:
        """The address after the last item; 0 in an image without a layout."""
        if self.layout is None:
            return 0
        return self.items[-1].end if self.items else self.items_at

    @property
    def end_item(self) -> Descriptor | None:
        """The end item, if the walk came to one."""
        last = self.items[-1] if self.items else None
        return last if last is not None and last.record.role == "end" else None

    @property
    def cut_item(self) -> tuple[DescriptorType, int] | None:
        """What is announced where the walk stopped: record and size (bytes) of a whole item."""
        return peek_tag(self.catalog, self.data, self.items_end)

    def size_of(self, region: str) -> int:
        """Return the size (bytes) of a region that a count can name; items are walked for it."""
        whole = self.identifier_size
        return whole if region == "identifier" else self.items_end - self.items_at

    @property
    def regions(self) -> dict[str, int]:
        """The sizes (bytes) of the regions that a count can name."""
        return {name: self.size_of(name) for name in REGIONS}

    @functools.cached_property
    def fill(self) -> int:
        """The byte that fills unused places: the commonest after the PnP data."""
        usual = self.layout.fill if self.layout else 0xFF
        rest = self.data[self.items_end :]
        if not rest:
            return usual
        counts = Counter(rest)
        most = max(counts.values())
        if counts[usual] == most:
            return usual
        return min(byte for byte, count in counts.items() if count == most)

    @functools.cached_property
    def tail(self) -> tuple[Run, ...]:
        """What stands after the PnP data, run by run: patch, data, fill."""
        return tuple(self._runs())

    @functools.cached_property
    def tree(self) -> Node:
        """The annotated tree: every bit in one leaf."""
        from romtool.image.tree import tree_of

        return tree_of(self)

    def _runs(self) -> Iterator[Run]:
        at, fill = self.items_end, bytes([self.fill])
        gap = fill * MIN_FILL_GAP
        while at < len(self.data):
            end = at
            while end < len(self.data) and self.data[end] == self.fill:
                end += 1
            if end > at:
                yield Run(at, self.data[at:end], "fill")
                at = end
                continue
            end = self.data.find(gap, at)
            run = self.data[at:] if end < 0 else self.data[at:end]
            run = run.rstrip(fill)
            yield Run(at, run, "patch" if self._is_patch(at) else "data")
            at += len(run)

    def _is_patch(self, at: int) -> bool:
        """Whether bytes here belong to the PnP data before them, and would move with it."""
        if self.layout is None or at != self.items_end:
            return False
        return self.layout.patch or self.end_item is None

    def runs(self, kind: str) -> list[Run]:
        """Return the runs of one kind after the PnP data."""
        return [run for run in self.tail if run.kind == kind]

    @functools.cached_property
    def id_checksum(self) -> Compared | None:
        """The identifier's checksum."""
        if self.layout is None or not self.identifier_size:
            return None
        field, raw = self.catalog.identifier.check_field, self.identifier_raw
        return self._compared(field.kind, raw[field.at], field.at, raw)

    @functools.cached_property
    def end_checksum(self) -> Compared | None:
        """The checksum in the end item; None without an end item of the right length."""
        end = self.end_item
        if end is None or not end.values:
            return None
        field, region = self.catalog.end_field, self.data[self.items_at : end.end]
        at = end.address_of(field) - self.items_at
        return self._compared(field.kind, region[at], at, region)

    def _compared(self, kind: AnyKind, stored: Stored, at: int, data: bytes) -> Compared:
        """Compare what is stored at `at` in `data` with what should be there: the one judgement."""
        expected = kind.expected(at, data, self.size_of)
        if stored == expected:
            return Compared(stored, expected, "right")
        if kind.is_unchecked(stored):
            return Compared(stored, expected, "not checked")
        ways = [way for way, other in kind.ways(self.size_of).items() if other == stored]
        if ways:
            return Compared(stored, expected, "other way", ways[-1])
        return Compared(stored, expected, "not stored" if kind.is_left_out(stored) else "wrong")

    @functools.cached_property
    def computed(self) -> Mapping[str, Compared]:
        """The layout's constant and computed fields: stored beside computed."""
        fields = self.layout.computed_fields if self.layout is not None else ()
        return {field.key: self.compare(field) for field in fields}

    def compare(self, field: Field) -> Compared:
        """Return one of the layout's constant and computed fields: stored beside computed."""
        if field.key not in self._comparisons:
            stored = self._computed_stored[field.key]
            compared = self._compared(field.kind, stored, field.at, self.data)
            self._comparisons[field.key] = compared
        return self._comparisons[field.key]

    @functools.cached_property
    def _computed_stored(self) -> Mapping[str, Stored]:
        """What is stored in the layout's constant and computed fields."""
        layout = self.layout
        return {} if layout is None else layout.computed_reader.stored(self.data[: layout.size])

    def layout_units(self) -> Iterator[tuple[Unit, bytes]]:
        """Yield the layout's runs of bytes with what stands in them."""
        if self.layout is not None:
            for unit in self.layout.field_layout.units:
                yield unit, self.data[unit.at : unit.at + (unit.size or 0)]
