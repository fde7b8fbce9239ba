"""All that the schemas say: the catalogue that everything else asks."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from romtool.errors import InvalidValue, refuse
from romtool.schema.codec import OnDemand
from romtool.schema.described import Described
from romtool.schema.field_types import Check, Lines
from romtool.schema.numbers import clip
from romtool.schema.records import TagInfo

if TYPE_CHECKING:  # a call loads what it unpacks of the catalogue
    from romtool.schema.bench import Cause, Observation, SerialBus, Symptom
    from romtool.schema.bus import Bus, PnpSoftware, Resource
    from romtool.schema.checksums import Checksum
    from romtool.schema.expect import Expectation, Starter
    from romtool.schema.fields import Field, FieldOf
    from romtool.schema.image_layouts import Identifier, ImageLayout, Part
    from romtool.schema.protocol import Protocol
    from romtool.schema.records import DescriptorType, Tag
    from romtool.schema.standard import Checked, StandardRequirement
    from romtool.schema.tables import TableSpec


class Rule(Described):
    """Something that is checked: its words stand in the schema, its logic in `romtool.rules`.

    `why`: why it matters at the bench. `requirements`: what of the standard it checks.
    """

    name: str
    severity: str
    message: str
    why: str
    hint: str
    source: str
    requirements: tuple[str, ...]


class Caution(Described):
    """Something to heed before anything is burnt."""

    name: str
    text: str
    source: str


class ReadFault(Described):
    """One way in which a read goes wrong, in words; its logic is in `romtool.recover`.

    `done` says how it is undone ({words} are filled in), `check` what to look at on the bench.
    A read that nothing can be made of is known by its `pattern`, or by its `period` in bytes.
    `is_fault`: a fault; else a way of handling reads, such as a vote.
    """

    name: str
    title: str
    is_fault: bool
    done: str
    check: str
    source: str
    pattern: bytes
    period: int | None


class Judgement(Described):
    """A sentence about a recovered image, or about what would settle it; {words} are filled in."""

    name: str
    text: str


RAW_ID = "id_raw"
"""The key of an ID's bytes, where a profile has to say them because no text spells the ID."""


class Catalog(
    Described,
    headers="header",
    records="record",
    layouts="frame",
    parts="part",
    cautions="caution",
    standard="requirement",
    rules="rule",
    read_faults="read_fault",
    judgements="judgement",
    expectations="expectation",
    resources="resource",
    checksums="checksum",
    serial_buses="serial_bus",
    observations="observation",
    symptoms="symptom",
    causes="cause",
    tables="table",
):
    """Everything that the schemas say: the tables of a schema file, each by its name."""

    headers: Mapping[str, Tag]
    records: Mapping[str, DescriptorType]
    identifier: Identifier
    layouts: Mapping[str, ImageLayout]
    """Those of EEPROMs."""
    read_layouts: Mapping[str, ImageLayout]
    """Those of what a system read through the bus: items, without the identifier."""
    parts: Mapping[str, Part]
    cautions: Mapping[str, Caution]
    standard: Mapping[str, StandardRequirement]
    rules: Mapping[str, Rule]
    read_faults: Mapping[str, ReadFault]
    judgements: Mapping[str, Judgement]
    expectations: Mapping[str, Expectation]
    starter: Starter
    resources: Mapping[str, Resource]
    bus: Bus
    protocol: Protocol
    pnp_software: PnpSoftware
    tables: Mapping[str, TableSpec]
    checksums: Mapping[str, Checksum]
    serial_buses: Mapping[str, SerialBus]
    observations: Mapping[str, Observation]
    symptoms: Mapping[str, Symptom]
    causes: Mapping[str, Cause]

    def checked(self) -> list[Checked]:
        """Return every requirement of the standard with what checks it."""
        from romtool.schema.standard import checked

        played = (*self.protocol.remarks.values(), *self.protocol.steps.values())
        return checked(self.standard, self.rules.values(), played)

    @functools.cached_property
    def all_layouts(self) -> dict[str, ImageLayout]:
        """The layouts of EEPROMs, then those of reads through the bus."""
        return {**self.layouts, **self.read_layouts}

    @functools.cached_property
    def by_code(self) -> dict[tuple[str, int], DescriptorType]:
        """The record for each header and item name."""
        return {(r.header.name, code): r for r in self.records.values() for code in r.codes}

    @functools.cached_property
    def tag_infos(self) -> Mapping[int, TagInfo | None]:
        """What each first byte of an item says; None for one at which software stops reading.

        The item's name stands in the first byte, for all headers (Spec 6.2).
        """
        return OnDemand(self._beginning)

    def _beginning(self, first: int) -> TagInfo | None:
        for header in self.headers.values():
            found = header.read(bytes([first]).ljust(header.size, b"\0"))
            if found is not None and first != header.ends_reading:
                code, length = found
                record = self.by_code[header.name, code]
                size = header.size + length if header.size == 1 else None
                return TagInfo(header=header, record=record, size=size, ends=record.role == "end")
        return None

    @functools.cached_property
    def by_role(self) -> dict[str, DescriptorType]:
        """The first record of each role."""
        return {record.role: record for record in reversed(list(self.records.values()))}

    @functools.cached_property
    def entries(self) -> dict[str, list[DescriptorType]]:
        """The records for each key of a profile's list of resources, the shortest first."""
        found: dict[str, list[DescriptorType]] = {}
        for record in sorted(self.records.values(), key=lambda r: r.header.size):
            if record.entry:
                found.setdefault(record.key_field.key, []).append(record)
        return found

    @functools.cached_property
    def port_resource(self) -> Resource:
        """The resource that is ports: what `bus` says is about it."""
        return next(resource for resource in self.resources.values() if resource.is_io)

    @functools.cached_property
    def line_kinds(self) -> Mapping[str, DescriptorType]:
        """The record of each resource of which an item lists lines or channels, by its name."""
        return {
            record.requires.kind: record
            for record in self.records.values()
            if record.requires is not None and isinstance(record.key_field.kind, Lines)
        }

    def field(self, name: str) -> Field:
        """Return the field that a profile's key names, as RECORD.KEY or identifier.KEY."""
        owner, _, key = name.partition(".")
        layout = (
            self.identifier.field_layout
            if owner == "identifier"
            else self.records[owner].field_layout
        )
        return layout.by_key[key]

    def shortest(self, head: str, values: Mapping[str, Any]) -> DescriptorType:
        """Return the record, of those whose entries begin with this key, that takes least room.

        Raises InvalidValue where the values fit none of them.
        """
        *others, longest = self.entries[head]
        for record in others:
            try:
                record.laid_out(values)
            except InvalidValue:
                continue
            return record
        longest.laid_out(values)
        return longest

    def judgement(self, name: str, **words: object) -> str:
        """Return what is said of a recovered image, with these words filled in."""
        return self.judgements[name].text.format_map(words)

    @property
    def end_field(self) -> FieldOf[Check]:
        """The field with the end item's checksum."""
        return self.by_role["end"].field_layout.of_type(Check)[0]

    @functools.cached_property
    def no_end(self) -> str | None:
        """The word that a profile's override says for: there is no end item."""
        return self.tables["override"].keys[self.end_field.key].absent

    @functools.cached_property
    def default_layout(self) -> ImageLayout:
        """The layout of a profile that names none."""
        return next(layout for layout in self.layouts.values() if layout.default)

    def parts_of(self, size: int) -> list[Part]:
        """Return the parts of exactly this size in bytes."""
        found = [part for part in self.parts.values() if part.size == size]
        return sorted(found, key=lambda part: part.name)

    def part(self, name: str, size: int | None = None) -> Part:
        """Return the part of this name, in small letters or capitals; raises InputError.

        `size` (bytes): refuse a part of another size.
        """
        folded = {known.upper(): part for known, part in self.parts.items()}
        part = self.parts.get(name) or folded.get(name.upper())
        if part is None:
            hint = f"known are {', '.join(self.parts)}; or write size = …"
            raise refuse(f"no part is called {clip(name)}", hint)
        if size is not None and part.size != size:
            hint = "take another --part, or `recover` the dump first"
            raise refuse(f"{size} bytes are not the {part.size} of a {part.name}", hint)
        return part

    @functools.cached_property
    def part_sizes(self) -> list[int]:
        """The sizes that parts come in, in bytes, ascending."""
        return sorted({part.size for part in self.parts.values()})
