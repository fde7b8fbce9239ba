"""All that the schemas say, loaded and checked: the catalogue that everything else asks."""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from romtool.errors import Fault, Path, Refused, Wrong
from romtool.schema.checksums import Checksum
from romtool.schema.fields import MISSING, Field, Layout, layout_of
from romtool.schema.frames import Frame, Part, is_computed
from romtool.schema.kinds import (
    Check,
    Choice,
    Constant,
    Count,
    Flag,
    Flags,
    Group,
    Hex,
    Kind,
    Lines,
    Number,
    Pins,
    Range,
    Reserved,
    Spelled,
    Spelling,
    Text,
)
from romtool.schema.numbers import parse_hex, parse_number
from romtool.schema.records import Header, Record
from romtool.schema.tables import TableSpec, check_table, table_specs
from romtool.text.places import syntax_fault


@dataclass(frozen=True)
class SchemaFile:
    """One schema file: its name for messages, and its text."""

    name: str
    text: str
    own: bool = True


@dataclass(frozen=True)
class Rule:
    """Something that is checked: its words stand in the schema, its logic in `romtool.rules`."""

    name: str
    severity: str
    message: str
    hint: str
    source: str


@dataclass(frozen=True, eq=False)
class Identifier:
    """The serial identifier: its size in bytes and its fields."""

    title: str
    source: str
    size: int
    layout: Layout


@dataclass(frozen=True, eq=False)
class Catalog:
    """Everything that the schemas say."""

    headers: Mapping[str, Header]
    records: Mapping[str, Record]
    identifier: Identifier
    frames: Mapping[str, Frame]
    parts: Mapping[str, Part]
    rules: Mapping[str, Rule]
    tables: Mapping[str, TableSpec]
    checksums: Mapping[str, Checksum]

    @functools.cached_property
    def by_code(self) -> dict[tuple[str, int], Record]:
        """The record for each header and item name."""
        return {(r.header.name, code): r for r in self.records.values() for code in r.codes}

    @functools.cached_property
    def by_role(self) -> dict[str, Record]:
        """The first record of each role."""
        return {record.role: record for record in reversed(self.records.values())}

    @functools.cached_property
    def entries(self) -> dict[str, list[Record]]:
        """The records for each key of a profile's list of resources, the shortest first."""
        found: dict[str, list[Record]] = {}
        for record in sorted(self.records.values(), key=lambda r: r.header.size):
            if record.entry:
                found.setdefault(record.head.key, []).append(record)
        return found

    def shortest(self, head: str, values: Mapping[str, Any]) -> Record:
        """Return the record, of those whose entries begin with this key, that takes least room.

        Raises Wrong where the values fit none of them.
        """
        *others, longest = self.entries[head]
        for record in others:
            try:
                record.write(values)
            except Wrong:
                continue
            return record
        longest.write(values)
        return longest

    @functools.cached_property
    def default_frame(self) -> Frame:
        """The layout of a profile that names none."""
        return next(frame for frame in self.frames.values() if frame.default)

    def parts_of(self, size: int) -> list[Part]:
        """Return the parts of exactly this size in bytes."""
        return [part for part in self.parts.values() if part.size == size]

    @functools.cached_property
    def part_sizes(self) -> list[int]:
        """The sizes that parts come in, in bytes, ascending."""
        return sorted({part.size for part in self.parts.values()})


def load(files: Sequence[SchemaFile]) -> Catalog:
    """Return the catalogue of these files; raises Refused with file and place of each fault."""
    parsed = [(file, _parse(file)) for file in files]
    meta = _meta(parsed)
    faults = [
        fault
        for file, data in parsed
        for fault in _in(file.name, check_table(data, meta["file"], meta))
    ]
    if faults:
        raise Refused(faults)
    return _Loader(parsed).catalog()


def _parse(file: SchemaFile) -> dict[str, Any]:
    try:
        return tomllib.loads(file.text)
    except tomllib.TOMLDecodeError as error:
        message, place = syntax_fault(error, file.text)
        fault = Fault(
            message, "mend the TOML here", line=place.line, column=place.column, file=file.name
        )
        raise Refused([fault]) from None


def _meta(parsed: list[tuple[SchemaFile, dict[str, Any]]]) -> dict[str, TableSpec]:
    for _, data in parsed:
        specs = data.get("table", [])
        if isinstance(specs, list) and any(spec.get("name") == "file" for spec in specs):
            return table_specs(specs)
    raise Refused([Fault("no schema for the schemas was found", "the installation is damaged")])


def _in(file: str, faults: Iterable[Fault]) -> Iterator[Fault]:
    yield from Refused(faults).in_file(file).faults


class _Loader:
    """Builds the catalogue; each step refuses what doesn't add up, with its place."""

    def __init__(self, parsed: list[tuple[SchemaFile, dict[str, Any]]]) -> None:
        self.parsed = parsed
        self.faults: list[Fault] = []
        self.blocks: dict[str, tuple[str, Path, dict[str, Any]]] = {}
        self.checksums: dict[str, Checksum] = {}
        self.spellings: dict[str, Spelling] = {}

    def catalog(self) -> Catalog:
        for _file, path, raw, source in self._all("checksum"):
            self._new(self.checksums, raw["name"], path)
            self.checksums[raw["name"]] = Checksum(
                raw["name"],
                raw["algorithm"],
                raw["seed"],
                tuple(raw.get("taps", ())),
                source,
                raw.get("text", ""),
            )
        for _file, path, raw, _ in self._all("spelling"):
            self._new(self.spellings, raw["name"], path)
            groups = tuple(Group(**group) for group in raw["group"])
            self.spellings[raw["name"]] = Spelling(
                raw["name"],
                raw["title"],
                raw["bits"],
                raw["unused"],
                raw["usual"],
                raw["endian"],
                groups,
            )
        for file, path, raw, source in self._all("block"):
            self._new(self.blocks, raw["name"], path)
            self.blocks[raw["name"]] = (file.name, path, {**raw, "source": source})
        headers: dict[str, Header] = {}
        for file, path, raw, source in self._all("header"):
            layout = self._layout(file, path, raw, source, raw["size"])
            headers[raw["name"]] = Header(
                raw["name"], raw["title"], source, raw["size"], layout
            )
        frames = self._frames()
        identifier = self._identifier()
        records = self._records(headers)
        parts = self._parts()
        rules: dict[str, Rule] = {}
        for _file, path, raw, _ in self._all("rule"):
            self._new(rules, raw["name"], path)
            rules[raw["name"]] = Rule(**raw)
        tables: dict[str, TableSpec] = {}
        for _, data in self.parsed:
            tables |= table_specs(data.get("table", []))
        if self.faults:
            raise Refused(self.faults)
        return Catalog(
            headers, records, identifier, frames, parts, rules, tables, self.checksums
        )

    def _all(self, name: str) -> Iterator[tuple[SchemaFile, Path, dict[str, Any], str]]:
        """Yield every table of this name with its file, its path and its source.

        What a table itself refuses is collected, and the next one is looked at.
        """
        for file, data in self.parsed:
            found = data.get(name, [])
            single = isinstance(found, dict)
            for index, raw in enumerate([found] if single else found):
                path: Path = (name,) if single else (name, index)
                self.file = file.name
                yield file, path, raw, raw.get("source", data["source"])

    def _new(self, known: Mapping[str, object], name: str, path: Path) -> None:
        if name in known:
            self._fault(f"{path[0]} {name} is described twice", (*path, "name"))

    def _fault(self, message: str, path: Path, hint: str = "") -> None:
        self.faults.append(Fault(message, hint, path, file=self.file))

    def _frames(self) -> dict[str, Frame]:
        frames: dict[str, Frame] = {}
        for file, path, raw, source in self._all("frame"):
            self._new(frames, raw["name"], path)
            layout = self._layout(file, path, raw, source, raw["size"])
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
                fill=_number(raw.get("fill", 0xFF)),
                patch=raw.get("patch", False),
                max_pnp_bytes=raw.get("max_pnp_bytes"),
                default=raw.get("default", False),
                layout=layout,
            )
        return frames

    def _identifier(self) -> Identifier:
        for file, path, raw, source in self._all("identifier"):
            layout = self._layout(file, path, raw, source, raw["size"])
            return Identifier(raw["title"], source, raw["size"], layout)
        raise Refused([Fault("no schema describes the serial identifier")])

    def _records(self, headers: Mapping[str, Header]) -> dict[str, Record]:
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
                say=raw["say"],
                layout=self._layout(file, path, raw, source, None),
            )
        for header in headers.values():
            missing = set(range(header.top_code + 1)) - {c for n, c in owners if n == header.name}
            if missing:
                words = ", ".join(f"{code:X}h" for code in sorted(missing))
                self._fault(f"{header.title}: no record has the name {words}", ())
        return records

    def _parts(self) -> dict[str, Part]:
        parts: dict[str, Part] = {}
        for _file, path, raw, source in self._all("part"):
            self._new(parts, raw["name"], path)
            parts[raw["name"]] = Part(
                raw["name"],
                raw["bus"],
                raw["bytes"],
                raw.get("page"),
                tuple(raw.get("organisation", ())),
                source,
            )
        return parts

    def _layout(
        self, file: SchemaFile, path: Path, raw: Mapping[str, Any], source: str, size: int | None
    ) -> Layout:
        try:
            fields = list(self._fields(raw["field"], (*path, "field"), source))
            return layout_of(fields, size, path)
        except Refused as refused:
            self.faults.extend(refused.in_file(file.name).faults)
            return Layout((), ())

    def _fields(self, raws: Sequence[dict[str, Any]], path: Path, source: str) -> Iterator[Field]:
        for index, raw in enumerate(raws):
            place = (*path, index)
            if "use" in raw:
                yield from self._block(raw, place)
            else:
                yield self._field(raw, place, raw.get("source", source))

    def _block(self, raw: Mapping[str, Any], path: Path) -> Iterator[Field]:
        if raw["use"] not in self.blocks:
            raise Refused([Fault(f"no block is called {raw['use']}", "", (*path, "use"))])
        file, block_path, block = self.blocks[raw["use"]]
        if raw.get("bytes", 1) != block["size"]:
            message = f"block {block['name']} has {block['size']} bytes"
            raise Refused([Fault(message, f"write bytes = {block['size']}", path)])
        try:
            inner = list(self._fields(block["field"], (*block_path, "field"), block["source"]))
            layout_of(inner, block["size"], block_path)
        except Refused as refused:
            raise refused.in_file(file) from None
        for field in inner:
            yield _moved(field, raw["at"], path)

    def _field(self, raw: Mapping[str, Any], path: Path, source: str) -> Field:
        if "type" not in raw:
            raise Refused([Fault("the field has no type", "or write use = a block", path)])
        size = raw.get("bytes", 1)
        if size != "rest" and (isinstance(size, bool) or not isinstance(size, int) or size < 1):
            hint = 'a number of bytes, or "rest"'
            raise Refused([Fault(f"bytes: {size} is not a size", hint, (*path, "bytes"))])
        low, bits = 0, 0 if size == "rest" else size * 8
        if "bits" in raw:
            low, bits = _bits(raw["bits"], (*path, "bits"), bits)
        reserved = raw["type"] == "reserved"
        if "key" not in raw and not reserved:
            raise Refused([Fault("the field has no key", "its name in profiles", path)])
        key = raw.get("key", f"reserved_{raw['at']}_{low}")
        try:
            kind = self._kind(raw, bits)
            default = raw.get("default", None if raw.get("none") is not None else MISSING)
            if reserved:
                default = 0
            if default is not MISSING:
                kind.to_stored(default)
        except Wrong as wrong:
            raise Refused([Fault(f"{key}: {wrong.message}", wrong.hint, path)]) from None
        except KeyError as missing:
            message = f"a field of type {raw['type']} needs {missing.args[0]}"
            raise Refused([Fault(f"{key}: {message}", "", path)]) from None
        return Field(
            key=key,
            title=raw.get("title", key.replace("_", " ")),
            text=raw.get("text", ""),
            source=source,
            kind=kind,
            at=raw["at"],
            size=None if size == "rest" else size,
            min_size=raw.get("min_bytes"),
            low=low,
            endian=self._endian(raw),
            default=default,
            optional=raw.get("optional", False),
            absent=raw.get("absent"),
            at_least=raw.get("at_least", 0),
            say=raw.get("say"),
            always=raw.get("always", False),
            stated_with_range=raw.get("stated_with_range", False),
            length=raw.get("length"),
            align=raw.get("align"),
            things=raw.get("things"),
            path=path,
        )

    def _endian(self, raw: Mapping[str, Any]) -> str:
        spelling = self.spellings.get(raw.get("spelling", ""))
        return spelling.endian if spelling else raw.get("endian", "little")

    def _kind(self, raw: Mapping[str, Any], bits: int) -> Kind:
        unit = _number(raw.get("unit", 1))
        form = raw.get("show", "decimal")
        match raw["type"]:
            case "number":
                return Number(
                    bits=bits,
                    unit=unit,
                    form=form,
                    none=_optional_number(raw.get("none")),
                    zero_means=_optional_number(raw.get("zero_means")),
                )
            case "range":
                single = raw.get("single", False)
                return Range(bits=bits, unit=unit, form=form, single=single)
            case "flag":
                return Flag(bits=bits)
            case "choice":
                names = {int(stored): name for stored, name in raw["names"].items()}
                return Choice(bits=bits, names=names, numbers=raw.get("numbers", False))
            case "flags":
                return Flags(bits=bits, names=tuple(raw["names"]))
            case "lines":
                return Lines(bits=bits, first=raw["first"], form=form)
            case "pins":
                pin_bits = raw.get("pin_bits", 4)
                if bits % pin_bits:
                    raise Wrong(f"{bits} bits are no whole number of {pin_bits}-bit pins")
                return Pins(
                    bits=bits,
                    bus=raw["bus"],
                    unconnected=raw["unconnected"],
                    pin_bits=pin_bits,
                )
            case "spelled":
                spelling = self.spellings.get(raw["spelling"])
                if spelling is None or spelling.bits != bits:
                    raise Wrong(f"no spelling of {bits} bits is called {raw['spelling']}")
                return Spelled(bits=bits, spelling=spelling)
            case "text":
                return Text(bits=bits, encoding=raw["encoding"])
            case "hex":
                return Hex(bits=bits)
            case "constant":
                return Constant(bits=bits, value=_constant(raw["value"], bits))
            case "reserved":
                return Reserved(bits=bits)
            case "count":
                accepts = {k: tuple(v) for k, v in raw.get("accepts", {}).items()}
                return Count(bits=bits, counts=tuple(raw["counts"]), accepts=accepts)
            case _:
                return self._check(raw, bits)

    def _check(self, raw: Mapping[str, Any], bits: int) -> Check:
        checksum = self.checksums.get(raw["checksum"])
        if checksum is None:
            raise Wrong(f"no checksum is called {raw['checksum']}")
        if bits != 8:
            raise Wrong("a checksum takes one byte")
        covers = None
        if "covers" in raw:
            first, _, last = raw["covers"].partition("-")
            try:
                covers = int(first), int(last or first)
            except ValueError:
                raise Wrong(f'covers: "{raw["covers"]}" is not like "0-10"') from None
            if not covers[0] <= covers[1] < raw["at"]:
                raise Wrong("a checksum covers bytes that stand before it")
        return Check(
            bits=bits, checksum=checksum, covers=covers, unchecked=raw.get("unchecked")
        )


def _moved(field: Field, by: int, path: Path) -> Field:
    import dataclasses

    return dataclasses.replace(field, at=field.at + by, path=path)


def _number(value: int | str) -> int:
    return parse_number(value) if isinstance(value, str) else value


def _optional_number(value: int | str | None) -> int | None:
    return None if value is None else _number(value)


def _constant(value: Any, bits: int) -> bytes | int:
    if isinstance(value, str):
        data = parse_hex(value)
        if len(data) * 8 != bits:
            raise Wrong(f"value: {len(data)} bytes, but the field has {bits} bits")
        return data
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 1 << bits:
        raise Wrong(f"value: {value} doesn't fit {bits} bits")
    return value


def _bits(text: str, path: Path, width: int) -> tuple[int, int]:
    """Return the lowest bit and the number of bits of `7` or `4:0`."""
    high, _, low = text.partition(":")
    low = low or high
    if not (high.isdigit() and low.isdigit()) or not int(low) <= int(high) < width:
        hint = f'write "7" or "4:0", the highest first, below {width}'
        raise Refused([Fault(f'bits: "{text}" is no range of bits', hint, path)])
    return int(low), int(high) - int(low) + 1


def _codes(raw: Mapping[str, Any]) -> Iterator[int]:
    for code in raw.get("codes", [raw["code"]] if "code" in raw else []):
        if isinstance(code, str):
            first, _, last = code.partition("-")
            yield from range(parse_number(first), parse_number(last) + 1)
        else:
            yield code
