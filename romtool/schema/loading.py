"""Schema files to the catalogue: each file held against the schema for the schemas, then made."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from romtool.errors import Fault, Path, Refused
from romtool.schema.bus import Asks, Bus, Consumer, Resource
from romtool.schema.catalog import Catalog, Identifier, Mishap, Rule
from romtool.schema.checksums import Checksum
from romtool.schema.expect import Expectation, expectation_of, function_faults
from romtool.schema.fields import Layout
from romtool.schema.frames import Frame, Part, is_computed
from romtool.schema.gathering import SchemaFile
from romtool.schema.kinds import Group, Lines, Spelling, whole_number
from romtool.schema.layouts import layout_of
from romtool.schema.making import Block, FieldMaker
from romtool.schema.numbers import parse_hex, parse_number
from romtool.schema.protocol_loading import ProtocolTables
from romtool.schema.records import Header, Record
from romtool.schema.starter import Starter, starter_of
from romtool.schema.tables import TableSpec, check_table, table_specs
from romtool.toml.parse import parse_toml


def load(files: Sequence[SchemaFile]) -> Catalog:
    """Return the catalogue of these files; raises Refused with file and place of each fault."""
    parsed = [(file, _parse(file)) for file in files]
    meta = _meta(parsed)
    faults = [
        fault
        for file, data in parsed
        for fault in _in(
            file.name, check_table(data, meta["own-file" if file.own else "file"], meta)
        )
    ]
    if faults:
        raise Refused(faults)
    return _Loader(parsed, meta).catalog()


def _parse(file: SchemaFile) -> dict[str, Any]:
    try:
        return parse_toml(file.text)
    except Refused as refused:
        raise refused.in_file(file.name) from None


def _meta(parsed: list[tuple[SchemaFile, dict[str, Any]]]) -> dict[str, TableSpec]:
    for _, data in parsed:
        specs = data.get("table", [])
        if isinstance(specs, list) and any(spec.get("name") == "file" for spec in specs):
            return table_specs(specs)
    raise Refused([Fault("no schema for the schemas was found", "the installation is damaged")])


def _in(file: str, faults: Iterable[Fault]) -> Iterator[Fault]:
    yield from Refused(faults).in_file(file).faults


class _Loader(ProtocolTables):
    """Builds the catalogue; each step refuses what doesn't add up, with its place."""

    def __init__(
        self, parsed: list[tuple[SchemaFile, dict[str, Any]]], meta: Mapping[str, TableSpec]
    ) -> None:
        super().__init__(parsed)
        self.blocks: dict[str, Block] = {}
        self.checksums: dict[str, Checksum] = {}
        self.spellings: dict[str, Spelling] = {}
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
            self.spellings[raw["name"]] = Spelling(
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
        headers: dict[str, Header] = {}
        for file, path, raw, source in self._all("header"):
            layout = self._layout(file, path, raw, source, raw["size"])
            headers[raw["name"]] = Header(
                name=raw["name"],
                title=raw["title"],
                source=source,
                size=raw["size"],
                layout=layout,
                ends_reading=raw.get("ends_reading"),
            )
        frames = self._frames()
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
        if self.faults:
            raise Refused(self.faults)
        return Catalog(
            headers=headers,
            records=records,
            identifier=identifier,
            frames=frames,
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

    def _frames(self) -> dict[str, Frame]:
        frames: dict[str, Frame] = {}
        for file, path, raw, source in self._all("frame"):
            self._new(frames, raw["name"], path)
            layout = self._layout(file, path, raw, source, raw["size"])
            self._check_frame(raw, path, layout, frames)
            for field in layout.fields:
                if not is_computed(field) and not field.may_be_left_out:
                    self._fault(
                        f"{field.key} has no default",
                        field.path,
                        "a profile may leave it out: give its typical value",
                    )
            frames[raw["name"]] = Frame(
                name=raw["name"],
                title=raw["title"],
                text=raw.get("text", ""),
                source=source,
                size=raw["size"],
                fill=whole_number(raw.get("fill", 0xFF)),
                patch=raw.get("patch", False),
                max_pnp_bytes=raw.get("max_pnp_bytes"),
                default=raw.get("default", False),
                layout=layout,
            )
        return frames

    def _check_frame(
        self, raw: Mapping[str, Any], path: Path, layout: Layout, others: Mapping[str, Frame]
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
                layout=layout,
            )
        raise Refused([Fault("no schema describes the serial identifier")])

    def _records(
        self, headers: Mapping[str, Header], resources: Mapping[str, Resource]
    ) -> dict[str, Record]:
        records: dict[str, Record] = {}
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
            records[raw["name"]] = Record(
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
                say=raw["say"],
                asks=self._asks(raw, path, resources),
                layout=self._layout(file, path, raw, source, None),
            )
        for header in headers.values():
            missing = set(range(header.top_code + 1)) - {c for n, c in owners if n == header.name}
            if missing:
                words = ", ".join(f"{code:X}h" for code in sorted(missing))
                self._fault(f"{header.title}: no record has the name {words}", ())
        return records

    def _asks(
        self, raw: Mapping[str, Any], path: Path, resources: Mapping[str, Resource]
    ) -> Asks | None:
        if "asks" not in raw:
            return None
        asks = Asks(**raw["asks"])
        if asks.kind not in resources:
            self._fault(f"no resource is called {asks.kind}", (*path, "asks", "kind"))
        return asks

    def _resources(self) -> dict[str, Resource]:
        resources: dict[str, Resource] = {}
        for _file, path, raw, source in self._all("resource"):
            self._new(resources, raw["name"], path)
            resources[raw["name"]] = Resource(
                name=raw["name"],
                title=raw["title"],
                short=raw["short"],
                source=source,
                most=raw["most"],
                never=frozenset(raw.get("never", ())),
                renamed={int(line): other for line, other in raw.get("renamed", {}).items()},
                widths={width: frozenset(lines) for width, lines in raw.get("widths", {}).items()},
                ports=raw.get("ports", False),
                alike=raw.get("alike", False),
            )
        return resources

    def _starter(self) -> Starter:
        for _file, _path, raw, source in self._all("starter"):
            return starter_of(raw, source)
        raise Refused([Fault("no schema describes a card to begin with")])

    def _expectations(
        self,
        identifier: Identifier,
        records: Mapping[str, Record],
        resources: Mapping[str, Resource],
    ) -> dict[str, Expectation]:
        """Return what software expects; a user's own replaces a shipped one of its name."""
        asked = {r.asks.kind for r in records.values() if r.asks and isinstance(r.head.kind, Lines)}
        lines = {kind: resources[kind].widths for kind in asked if kind in resources}
        shipped: dict[str, Expectation] = {}
        own: dict[str, Expectation] = {}
        for file, path, raw, source in self._all("expectation"):
            known = own if file.own else shipped
            self._new(known, raw["name"], path)
            for index, function in enumerate(raw["function"]):
                place = (*path, "function", index)
                found = function_faults(function, place, identifier.id_field.kind, lines)
                self.faults += Refused(found).in_file(file.name).faults
            if not self.faults:
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
                pnp_mask=(1 << raw["pnp_bits"]) - 1,
                system_ports_below=raw["system_ports_below"],
                alias_step=raw["alias_step"],
                block_least=raw["block"]["least"],
                block_step=raw["block"]["step"],
            )
        raise Refused([Fault("no schema describes the bus")])

    def _consumer(self) -> Consumer:
        for _file, _path, raw, source in self._all("consumer"):
            scan = raw["read_scan"]
            first, last = scan["leaves_out"]
            found = range(scan["lowest"], scan["highest"] + 1, scan["step"])
            return Consumer(
                title=raw["title"],
                source=source,
                name_length=raw["name_length"],
                compatible_ids=raw["compatible_ids"],
                devices=raw["devices"],
                refused_checksum=raw["refused_checksum"],
                read_scan=tuple(port for port in found if not first <= port <= last),
            )
        raise Refused([Fault("no schema describes what PnP software makes of PnP data")])

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
    ) -> Layout:
        try:
            fields = list(self.make.fields(raw["field"], (*path, "field"), source))
            return layout_of(fields, size, path)
        except Refused as refused:
            self.faults.extend(refused.in_file(file.name).faults)
            return Layout(fields=(), units=())


def _codes(raw: Mapping[str, Any]) -> Iterator[int]:
    for code in raw.get("codes", [raw["code"]] if "code" in raw else []):
        if isinstance(code, str):
            first, _, last = code.partition("-")
            yield from range(parse_number(first), parse_number(last) + 1)
        else:
            yield code
