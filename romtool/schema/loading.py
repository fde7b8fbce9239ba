"""Schema files to the catalogue: each file compared with the schema for the schemas, then made."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from romtool.errors import Problem, Path, InputError
from romtool.schema.bus import RequirementSpec, Bus, PnpSoftware, Resource
from romtool.schema.catalog import Catalog, Identifier, Mishap, Rule
from romtool.schema.checksums import Checksum
from romtool.schema.expect import Expectation, expectation_of, function_faults
from romtool.schema.fields import FieldLayout
from romtool.schema.image_layouts import ImageLayout, Part, is_computed
from romtool.schema.gathering import SchemaFile
from romtool.schema.field_types import Group, Lines, CompressedAsciiCode, whole_number
from romtool.schema.field_layouts import layout_of
from romtool.schema.making import Block, FieldMaker
from romtool.schema.numbers import parse_hex, parse_number
from romtool.schema.protocol_loading import ProtocolTables
from romtool.schema.records import Tag, DescriptorType
from romtool.schema.starter import Starter, starter_of
from romtool.schema.tables import TableSpec, check_table, table_specs
from romtool.toml.parse import parse_toml


def load(files: Sequence[SchemaFile]) -> Catalog:
    """Return the catalogue of these files; raises InputError with file and place of each fault."""
    parsed = [(file, _parse(file)) for file in files]
    meta = _meta(parsed)
    problems = [
        problem
        for file, data in parsed
        for problem in _in(
            file.name, check_table(data, meta["own-file" if file.own else "file"], meta)
        )
    ]
    if problems:
        raise InputError(problems)
    return _Loader(parsed, meta).catalog()


def _parse(file: SchemaFile) -> dict[str, Any]:
    try:
        return parse_toml(file.text)
    except InputError as refused:
        raise refused.in_file(file.name) from None


def _meta(parsed: list[tuple[SchemaFile, dict[str, Any]]]) -> dict[str, TableSpec]:
    for _, data in parsed:
        specs = data.get("table", [])
        if isinstance(specs, list) and any(spec.get("name") == "file" for spec in specs):
            return table_specs(specs)
    raise InputError(
        [Problem("no schema for the schemas was found", "the installation is damaged")]
    )


def _in(file: str, problems: Iterable[Problem]) -> Iterator[Problem]:
    yield from InputError(problems).in_file(file).problems


class _Loader(ProtocolTables):
    """Builds the catalogue; each step refuses what doesn't add up, with its place."""

    def __init__(
        self, parsed: list[tuple[SchemaFile, dict[str, Any]]], meta: Mapping[str, TableSpec]
    ) -> None:
        super().__init__(parsed)
        self.blocks: dict[str, Block] = {}
        self.checksums: dict[str, Checksum] = {}
        self.spellings: dict[str, CompressedAsciiCode] = {}
        tables = [t for _, data in parsed for t in data.get("table", [])]
        self.overrides = set(table_specs(tables)["override"].keys)
        keys = meta["field"].keys
        self.make = FieldMaker(self.blocks, self.checksums, self.spellings, keys)

    def catalog(self) -> Catalog:
        for _file, path, raw, source in self._all("checksum"):
            self._new(self.checksums, raw["name"], path)
            self.checksums[raw["name"]] = Checksum(
                name=raw["name"],
                algorithm=raw["algorithm"],
                seed=raw["seed"],
                taps=tuple(raw.get("taps", ())),
                source=source,
                text=raw.get("text", ""),
            )
        for _file, path, raw, _ in self._all("spelling"):
            self._new(self.spellings, raw["name"], path)
            groups = tuple(Group(**group) for group in raw["group"])
            self.spellings[raw["name"]] = CompressedAsciiCode(
                name=raw["name"],
                title=raw["title"],
                bits=raw["bits"],
                unused=raw["unused"],
                usual=raw["usual"],
                endian=raw["endian"],
                groups=groups,
                generic=raw.get("generic"),
            )
        for file, path, raw, source in self._all("block"):
            self._new(self.blocks, raw["name"], path)
            self.blocks[raw["name"]] = Block(file.name, path, {**raw, "source": source})
        headers: dict[str, Tag] = {}
        for file, path, raw, source in self._all("header"):
            layout = self._layout(file, path, raw, source, raw["size"])
            headers[raw["name"]] = Tag(
                name=raw["name"],
                title=raw["title"],
                source=source,
                size=raw["size"],
                field_layout=layout,
                ends_reading=raw.get("ends_reading"),
            )
        layouts = self._frames()
        identifier = self._identifier()
        resources = self._resources()
        records = self._records(headers, resources)
        parts = self._parts()
        rules: dict[str, Rule] = {}
        for _file, path, raw, _ in self._all("rule"):
            self._new(rules, raw["name"], path)
            rules[raw["name"]] = Rule(**raw)
        mishaps: dict[str, Mishap] = {}
        for _file, path, raw, source in self._all("mishap"):
            self._new(mishaps, raw["name"], path)
            pattern = parse_hex(raw.get("pattern", ""))
            mishaps[raw["name"]] = Mishap(**{**raw, "source": source, "pattern": pattern})
        expectations = self._expectations(identifier, records, resources)
        starter = self._starter()
        tables: dict[str, TableSpec] = {}
        for _, data in self.parsed:
            tables |= table_specs(data.get("table", []))
        protocol = self._protocol(resources, self.checksums)
        if self.problems:
            raise InputError(self.problems)
        return Catalog(
            headers=headers,
            records=records,
            identifier=identifier,
            layouts=layouts,
            parts=parts,
            rules=rules,
            mishaps=mishaps,
            expectations=expectations,
            starter=starter,
            resources=resources,
            bus=self._bus(),
            protocol=protocol,
            consumer=self._consumer(),
            tables=tables,
            checksums=self.checksums,
        )

    def _frames(self) -> dict[str, ImageLayout]:
        layouts: dict[str, ImageLayout] = {}
        for file, path, raw, source in self._all("frame"):
            self._new(layouts, raw["name"], path)
            layout = self._layout(file, path, raw, source, raw["size"])
            self._check_frame(raw, path, layout, layouts)
            for field in layout.fields:
                if not is_computed(field) and not field.may_be_left_out:
                    self._fault(
                        f"{field.key} has no default",
                        field.path,
                        "a profile may leave it out: give its typical value",
                    )
            layouts[raw["name"]] = ImageLayout(
                name=raw["name"],
                title=raw["title"],
                text=raw.get("text", ""),
                source=source,
                size=raw["size"],
                fill=whole_number(raw.get("fill", 0xFF)),
                patch=raw.get("patch", False),
                max_pnp_bytes=raw.get("max_pnp_bytes"),
                default=raw.get("default", False),
                field_layout=layout,
            )
        return layouts

    def _check_frame(
        self,
        raw: Mapping[str, Any],
        path: Path,
        layout: FieldLayout,
        others: Mapping[str, ImageLayout],
    ) -> None:
        """Refuse what would be two things at once in a profile."""
        if raw.get("default") and any(frame.default for frame in others.values()):
            message = "another layout is the default already"
            self._fault(message, (*path, "default"), "leave it out: a profile names the layout")
        for field in layout.fields:
            if is_computed(field) and field.key in self.overrides:
                hint = "give it a key of its own: [override] has this one already"
                self._fault(f"{field.key} is taken", field.path, hint)

    def _identifier(self) -> Identifier:
        for file, path, raw, source in self._all("identifier"):
            layout = self._layout(file, path, raw, source, raw["size"])
            return Identifier(
                name=raw["name"],
                title=raw["title"],
                source=source,
                size=raw["size"],
                field_layout=layout,
            )
        raise InputError([Problem("no schema describes the serial identifier")])

    def _records(
        self, headers: Mapping[str, Tag], resources: Mapping[str, Resource]
    ) -> dict[str, DescriptorType]:
        records: dict[str, DescriptorType] = {}
        owners: dict[tuple[str, int], str] = {}
        for file, path, raw, source in self._all("record"):
            self._new(records, raw["name"], path)
            header = headers.get(raw["header"])
            if header is None:
                self._fault(f"no header is called {raw['header']}", (*path, "header"))
                continue
            codes = frozenset(_codes(raw))
            for code in codes:
                if code > header.top_code:
                    self._fault(f"item name {code:X}h is too large", path)
                elif (header.name, code) in owners:
                    self._fault(
                        f"item name {code:X}h belongs to {owners[header.name, code]} too", path
                    )
                owners[header.name, code] = raw["name"]
            records[raw["name"]] = DescriptorType(
                name=raw["name"],
                title=raw["title"],
                source=source,
                header=header,
                codes=codes,
                role=raw["role"],
                entry=raw.get("entry", False),
                form=raw.get("form"),
                length_key=raw.get("length_key"),
                refuses=tuple(raw.get("refuses", ())),
                phrase=raw["phrase"],
                requires=self._asks(raw, path, resources),
                field_layout=self._layout(file, path, raw, source, None),
            )
        for header in headers.values():
            missing = set(range(header.top_code + 1)) - {c for n, c in owners if n == header.name}
            if missing:
                words = ", ".join(f"{code:X}h" for code in sorted(missing))
                self._fault(f"{header.title}: no record has the name {words}", ())
        return records

    def _asks(
        self, raw: Mapping[str, Any], path: Path, resources: Mapping[str, Resource]
    ) -> RequirementSpec | None:
        if "requires" not in raw:
            return None
        requires = RequirementSpec(**raw["requires"])
        if requires.kind not in resources:
            self._fault(f"no resource is called {requires.kind}", (*path, "requires", "kind"))
        return requires

    def _resources(self) -> dict[str, Resource]:
        resources: dict[str, Resource] = {}
        for _file, path, raw, source in self._all("resource"):
            self._new(resources, raw["name"], path)
            resources[raw["name"]] = Resource(
                name=raw["name"],
                title=raw["title"],
                short=raw["short"],
                source=source,
                max_per_device=raw["max_per_device"],
                not_on_slot=frozenset(raw.get("not_on_slot", ())),
                renamed={int(line): other for line, other in raw.get("renamed", {}).items()},
                widths={width: frozenset(lines) for width, lines in raw.get("widths", {}).items()},
                is_io=raw.get("is_io", False),
                single_width=raw.get("single_width", False),
            )
        return resources

    def _starter(self) -> Starter:
        for _file, _path, raw, source in self._all("starter"):
            return starter_of(raw, source)
        raise InputError([Problem("no schema describes a card to begin with")])

    def _expectations(
        self,
        identifier: Identifier,
        records: Mapping[str, DescriptorType],
        resources: Mapping[str, Resource],
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
        for file, path, raw, source in self._all("expectation"):
            known = own if file.own else shipped
            self._new(known, raw["name"], path)
            for index, function in enumerate(raw["function"]):
                place = (*path, "function", index)
                found = function_faults(function, place, identifier.id_field.kind, lines)
                self.problems += InputError(found).in_file(file.name).problems
            if not self.problems:
                known[raw["name"]] = expectation_of(raw, source, file.name)
        return shipped | own

    def _bus(self) -> Bus:
        for _file, _path, raw, source in self._all("bus"):
            read = raw["read_port"]
            return Bus(
                title=raw["title"],
                source=source,
                address_port=raw["address_port"],
                write_port=raw["write_port"],
                read_ports=range(read["lowest"], read["highest"] + 1, read["step"]),
                system_ports_below=raw["system_ports_below"],
                alias_step=raw["alias_step"],
                block_least=raw["block"]["least"],
                block_step=raw["block"]["step"],
            )
        raise InputError([Problem("no schema describes the bus")])

    def _consumer(self) -> PnpSoftware:
        for _file, _path, raw, source in self._all("consumer"):
            scan = raw["read_scan"]
            first, last = scan["leaves_out"]
            found = range(scan["lowest"], scan["highest"] + 1, scan["step"])
            return PnpSoftware(
                title=raw["title"],
                source=source,
                name_length=raw["name_length"],
                compatible_ids=raw["compatible_ids"],
                devices=raw["devices"],
                refused_checksum=raw["refused_checksum"],
                read_scan=tuple(port for port in found if not first <= port <= last),
            )
        raise InputError([Problem("no schema describes what PnP software makes of PnP data")])

    def _parts(self) -> dict[str, Part]:
        parts: dict[str, Part] = {}
        for _file, path, raw, source in self._all("part"):
            self._new(parts, raw["name"], path)
            parts[raw["name"]] = Part(
                name=raw["name"],
                bus=raw["bus"],
                size=raw["bytes"],
                page=raw.get("page"),
                organisation=tuple(raw.get("organisation", ())),
                source=source,
            )
        return parts

    def _layout(
        self, file: SchemaFile, path: Path, raw: Mapping[str, Any], source: str, size: int | None
    ) -> FieldLayout:
        try:
            fields = list(self.make.fields(raw["field"], (*path, "field"), source))
            return layout_of(fields, size, path)
        except InputError as refused:
            self.problems.extend(refused.in_file(file.name).problems)
            return FieldLayout(fields=(), units=())


def _codes(raw: Mapping[str, Any]) -> Iterator[int]:
    for code in raw.get("codes", [raw["code"]] if "code" in raw else []):
        if isinstance(code, str):
            first, _, last = code.partition("-")
            yield from range(parse_number(first), parse_number(last) + 1)
        else:
            yield code
