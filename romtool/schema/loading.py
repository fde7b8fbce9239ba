"""Schema files to the catalogue: each file compared with the schema for the schemas, then made.

What a table may say, and what stands for a key that is left out, says `schemas/schema.toml`;
`make` turns a table into its value. Here is what one table can't know: names, references between
tables, what must add up over all files.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple, TypeVar, get_args

from romtool.errors import InputError, Path, Problem
from romtool.schema import bench, bus, image_layouts, standard
from romtool.schema.bus import Resource
from romtool.schema.catalog import Catalog
from romtool.schema.checksums import Checksum
from romtool.schema.described import Described, make, shapes
from romtool.schema.expect import Expectation, Starter, StarterTable, function_faults, with_ids
from romtool.schema.field_layouts import layout_of
from romtool.schema.field_types import AnyKind, CompressedAsciiCode, Lines
from romtool.schema.fields import FieldLayout
from romtool.schema.image_layouts import Identifier, ImageLayout
from romtool.schema.making import Block, FieldMaker
from romtool.schema.numbers import one_of, parse_number
from romtool.schema.protocol import Protocol, Register, RegisterBlock, Remark, Sentence
from romtool.schema.records import DescriptorType, Tag
from romtool.schema.tables import TableSpec, check_table, table_specs
from romtool.toml.parse import parse_toml

T = TypeVar("T", bound=Described)


_KINDS = {
    **vars(bench), **vars(bus), **vars(image_layouts), **vars(standard), **globals()
}  # fmt: skip
"""What the catalogue holds, by the names of the classes."""


class SchemaFile(NamedTuple):
    """One schema file: its name for messages, and its text; `own`: a user's."""

    name: str
    text: str
    own: bool = True


Parsed = Sequence[tuple[SchemaFile, dict[str, Any]]]
"""Schema files, each with the tables of its text."""


def load(files: Sequence[SchemaFile]) -> Catalog:
    """Return the catalogue of these files; raises InputError with file and place of each fault."""
    return catalog_of([(file, _parse(file)) for file in files])


def catalog_of(parsed: Parsed) -> Catalog:
    """Return the catalogue of parsed files; raises InputError with file and place of each fault."""
    specs = _specs(parsed)
    problems = [
        problem
        for file, data in parsed
        for problem in _in(
            file.name, check_table(data, specs["own-file" if file.own else "file"], specs)
        )
    ]
    if problems:
        raise InputError(problems)
    return _Loader(parsed, specs).catalog()


def _parse(file: SchemaFile) -> dict[str, Any]:
    try:
        return parse_toml(file.text)
    except InputError as refused:
        raise refused.in_file(file.name) from None


def _specs(parsed: Parsed) -> dict[str, TableSpec]:
    """Return what the schema for the schemas says: the file that describes a schema file."""
    for _, data in parsed:
        specs = data.get("table", [])
        if isinstance(specs, list) and any(spec.get("name") == "file" for spec in specs):
            return table_specs(specs)
    raise InputError([Problem("no schema for the schemas was found", DAMAGED)])


def _in(file: str, problems: Iterable[Problem]) -> Iterator[Problem]:
    yield from InputError(problems).in_file(file).problems


DAMAGED = "the installation is damaged"


class Table(NamedTuple):
    """A table of a schema file: which one, where it stands, what it says, where that comes from."""

    table: str
    file: SchemaFile
    path: Path
    raw: dict[str, Any]
    source: str

    def problem(self, message: str, hint: str = "", *inside: str | int) -> Problem:
        """Return a fault of the table, or of what stands `inside` it."""
        return Problem(message, hint, (*self.path, *inside), file=self.file.name)


class _Loader:
    """Makes the catalogue; faults are collected, and what comes after them is looked at too."""

    def __init__(self, parsed: Parsed, specs: Mapping[str, TableSpec]) -> None:
        self.parsed = parsed
        self.specs = specs
        self.problems: list[Problem] = []

    def catalog(self) -> Catalog:
        """Return everything that the files say; raises InputError.

        A table that needs no other is made for its attribute of the catalogue as it stands.
        """
        described = [table for _, data in self.parsed for table in data.get("table", [])]
        others = [table for table in described if table["name"] not in self.specs]
        tables = {**self.specs, **table_specs(others, self.specs)}
        checksums = self.named("checksum", Checksum)
        self.make_fields = FieldMaker(
            self.specs, self._blocks(), checksums, self.named("spelling", CompressedAsciiCode)
        )
        resources = self.named("resource", Resource)
        identifier = self.one("identifier", Identifier)
        layouts = self._frames(set(tables["override"].keys))
        headers = self.named("header", Tag)
        self._refuse()
        records = self._records(headers, resources)
        given: dict[str, Any] = {
            "tables": tables,
            "checksums": checksums,
            "headers": headers,
            "records": records,
            "identifier": identifier,
            "layouts": {name: one for name, one in layouts.items() if one.identifier},
            "read_layouts": {name: one for name, one in layouts.items() if not one.identifier},
            "resources": resources,
            "expectations": self._expectations(identifier.id_field.kind, records, resources),
            "starter": self._starter(),
            "protocol": self._protocol(resources, checksums),
        }
        for name, shape in shapes(Catalog, _KINDS).items():
            if name not in given:
                table, inner = Catalog.key_names.get(name, name), get_args(shape)
                given[name] = self.named(table, inner[1]) if inner else self.one(table, shape)
        self._refuse()
        return Catalog(**given)

    def _refuse(self) -> None:
        """Stop where something was found: what comes now would stumble over it."""
        if self.problems:
            raise InputError(self.problems)

    def tables(self, table: str) -> Iterator[Table]:
        """Yield every table of this name."""
        for file, data in self.parsed:
            found = data.get(table, [])
            single = isinstance(found, dict)
            for index, raw in enumerate([found] if single else found):
                path: Path = (table,) if single else (table, index)
                yield Table(table, file, path, raw, raw.get("source", data["source"]))

    def made(self, cls: type[T], table: Table, **given: Any) -> T:
        """Return the value of a table, with its layout where it has fields."""
        given |= {
            n: self._layout(table) for n, shape in shapes(cls).items() if shape is FieldLayout
        }
        return make(cls, self.specs, table.table, table.raw, table.source, **given)

    def named(self, table: str, cls: type[T]) -> dict[str, T]:
        """Return the values of all tables of one kind, by their names."""
        found: dict[str, T] = {}
        for one in self.tables(table):
            self._new(found, one)
            found[one.raw["name"]] = self.made(cls, one)
        return found

    def one(self, table: str, cls: type[T], **given: Any) -> T:
        """Return the value of the one table of its kind."""
        for one in self.tables(table):
            return self.made(cls, one, **given)
        raise InputError([Problem(f"no schema describes {self.specs[table].text}", DAMAGED)])

    def _new(self, known: Mapping[str, object], one: Table) -> None:
        if one.raw["name"] in known:
            message = f"{one.table} {one.raw['name']} is described twice"
            self.problems.append(one.problem(message, "give it a name of its own", "name"))

    def _layout(self, table: Table) -> FieldLayout:
        """Return the layout of a table's fields; they fill its `size`, where it has one."""
        try:
            path = (*table.path, "field")
            fields = list(self.make_fields.fields(table.raw["field"], path, table.source))
            return layout_of(fields, table.raw.get("size"), table.path)
        except InputError as refused:
            self.problems += refused.in_file(table.file.name).problems
            return FieldLayout(fields=(), units=())

    def _blocks(self) -> dict[str, Block]:
        blocks: dict[str, Block] = {}
        for one in self.tables("block"):
            self._new(blocks, one)
            blocks[one.raw["name"]] = self.made(Block, one, file=one.file.name, path=one.path)
        return blocks

    def _frames(self, overrides: set[str]) -> dict[str, ImageLayout]:
        layouts: dict[str, ImageLayout] = {}
        for one in self.tables("frame"):
            self._new(layouts, one)
            layout = self.made(ImageLayout, one)
            self.problems += _frame_faults(one, layout, layouts.values(), overrides)
            layouts[layout.name] = layout
        return layouts

    def _records(
        self, headers: Mapping[str, Tag], resources: Mapping[str, Resource]
    ) -> dict[str, DescriptorType]:
        records: dict[str, DescriptorType] = {}
        owners: dict[tuple[str, int], str] = {}
        for one in self.tables("record"):
            self._new(records, one)
            header = headers.get(one.raw["header"])
            if header is None:
                message = f"no header is called {one.raw['header']}"
                self.problems.append(one.problem(message, "", "header"))
                continue
            codes = frozenset(_codes(one.raw))
            record = self.made(DescriptorType, one, header=header, codes=codes)
            self.problems += _record_faults(one, record, owners, resources)
            owners |= {(header.name, code): record.name for code in codes}
            records[record.name] = record
        for header in headers.values():
            missing = set(range(header.top_code + 1)) - {c for n, c in owners if n == header.name}
            if missing:
                words = ", ".join(f"{code:X}h" for code in sorted(missing))
                self.problems.append(Problem(f"{header.title}: no record has the name {words}"))
        return records

    def _expectations(
        self, ids: AnyKind, records: Mapping[str, DescriptorType], resources: Mapping[str, Resource]
    ) -> dict[str, Expectation]:
        """Return what software expects; a user's own replaces a shipped one of its name."""
        asked = {
            r.requires.kind
            for r in records.values()
            if r.requires and isinstance(r.key_field.kind, Lines)
        }
        lines = {kind: resources[kind].widths for kind in asked if kind in resources}
        shipped: dict[str, Expectation] = {}
        own: dict[str, Expectation] = {}
        for one in self.tables("expectation"):
            known = own if one.file.own else shipped
            self._new(known, one)
            made = self.made(Expectation, one, file=one.file.name, own=one.file.own)
            problems: list[Problem] = []
            for index, function in enumerate(made.functions):
                place = (*one.path, "function", index)
                problems += _in(one.file.name, function_faults(function, place, ids, lines))
                if function.resource not in resources:
                    message = f"no resource is called {function.resource}"
                    hint = f"known are {one_of(list(resources))}"
                    problems.append(one.problem(message, hint, "function", index, "resource"))
            self.problems += problems
            if not problems:
                spelt = tuple(with_ids(function, ids) for function in made.functions)
                known[made.name] = made.altered(functions=spelt)
        return shipped | own

    def _starter(self) -> Starter:
        devices = [raw for one in self.tables("starter") for raw in one.raw["device"]]
        tables = tuple(self._starter_table("starter-device", raw) for raw in devices)
        return self.one("starter", Starter, devices=tables)

    def _starter_table(self, table: str, raw: Mapping[str, Any]) -> StarterTable:
        """Return a device or a choice: its own keys are the comment and the choices."""
        own = set(StarterTable.key_names.values()) | {"text"}
        keys = {key: value for key, value in raw.items() if key not in own}
        choices = [self._starter_table("starter-choice", one) for one in raw.get("choice", ())]
        return make(StarterTable, self.specs, table, raw, keys=keys, choices=tuple(choices))

    def _protocol(
        self, resources: Mapping[str, Resource], checksums: Mapping[str, Checksum]
    ) -> Protocol:
        for one in self.tables("protocol"):
            if one.raw["key_register"] not in checksums:
                message = f"no checksum is called {one.raw['key_register']}"
                hint = "the key's register is that of a checksum"
                raise InputError([one.problem(message, hint, "key_register")])
            return self.made(
                Protocol,
                one,
                key_register=checksums[one.raw["key_register"]],
                registers=self.named("register", Register),
                blocks=self._register_blocks(resources),
                steps=self.named("step", Sentence),
                remarks=self.named("remark", Remark),
            )
        return self.one("protocol", Protocol)

    def _register_blocks(self, resources: Mapping[str, Resource]) -> tuple[RegisterBlock, ...]:
        found: list[RegisterBlock] = []
        for one in self.tables("register_block"):
            block = self.made(RegisterBlock, one)
            self.problems += _register_block_faults(one, block, found, resources)
            found.append(block)
        return tuple(found)


# --- what must add up over several tables -----------------------------------------------------


def _frame_faults(
    one: Table, layout: ImageLayout, others: Iterable[ImageLayout], overrides: set[str]
) -> Iterator[Problem]:
    """Yield what would be two things at once in a profile, and what a profile can't leave out."""
    if layout.default and any(other.default for other in others):
        hint = "leave it out: a profile names the layout"
        yield one.problem("another layout is the default already", hint, "default")
    for field in layout.field_layout.fields:
        message = hint = ""
        if field.kind.is_computed and field.key in overrides:
            message = f"{field.key} is taken"
            hint = "give it a key of its own: [override] has this one already"
        elif not field.kind.is_computed and not field.may_be_left_out:
            message = f"{field.key} has no default"
            hint = "a profile may leave it out: give its typical value"
        if message:
            yield Problem(message, hint, field.path, file=one.file.name)


def _record_faults(
    one: Table,
    record: DescriptorType,
    owners: Mapping[tuple[str, int], str],
    resources: Mapping[str, Resource],
) -> Iterator[Problem]:
    """Yield item names that don't fit or have a record already, and resources that nothing is."""
    for code in record.codes:
        owner = owners.get((record.header.name, code))
        if code > record.header.top_code:
            yield one.problem(f"item name {code:X}h is too large")
        elif owner is not None:
            yield one.problem(f"item name {code:X}h belongs to {owner} too")
    if record.requires is not None and record.requires.kind not in resources:
        yield one.problem(f"no resource is called {record.requires.kind}", "", "requires", "kind")


def _codes(raw: Mapping[str, Any]) -> Iterator[int]:
    """Yield the item names that a record has: 5, or those of "0x07-0x7F"."""
    for code in raw.get("codes", [raw["code"]] if "code" in raw else []):
        if isinstance(code, str):
            first, _, last = code.partition("-")
            yield from range(parse_number(first), parse_number(last) + 1)
        else:
            yield code


def _register_block_faults(
    one: Table,
    block: RegisterBlock,
    others: Iterable[RegisterBlock],
    resources: Mapping[str, Resource],
) -> Iterator[Problem]:
    """Yield what is not one block for each item in effect at once, or shares a register."""
    resource = resources.get(block.resource)
    if resource is None:
        yield one.problem(f"no resource is called {block.resource}", "", "resource")
    elif len(block.at) != resource.max_per_device:
        message = f"{len(block.at)} register blocks for {resource.max_per_device} items"
        yield one.problem(message, "a device has one for each item in effect", "at")
    used = {number for other in others for number in other.numbers()}
    numbers = list(block.numbers())
    if len(set(numbers) - used) < len(numbers):
        yield one.problem("a register belongs to two blocks")
