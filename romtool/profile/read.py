"""A profile's tables to a plan of the image: every value checked, every fault with its place."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from romtool.errors import Fault, Path, Refused, Wrong
from romtool.image.decode import frame_named
from romtool.profile.entries import item_bytes, written
from romtool.profile.plan import Piece, Plan
from romtool.schema.catalog import Catalog
from romtool.schema.fields import Field
from romtool.schema.frames import is_computed
from romtool.schema.kinds import Constant, Count, Hex, Stored, whole_number
from romtool.schema.numbers import clip, did_you_mean, one_of, parse_hex
from romtool.schema.records import Record
from romtool.schema.tables import check_table, describe, unknown_keys


def read_profile(catalog: Catalog, data: Mapping[str, Any]) -> Plan:
    """Return the plan for a profile's tables; raises Refused with every fault that was found."""
    return _Reader(catalog, data).plan()


class _Reader:
    """Reads table by table and goes on after a fault, so that all of them are told at once."""

    def __init__(self, catalog: Catalog, data: Mapping[str, Any]) -> None:
        self.catalog = catalog
        self.tables = catalog.tables
        self.data = data
        self.faults: list[Fault] = []
        self.result = Plan(catalog, catalog.default_frame)

    def plan(self) -> Plan:
        self._shape()
        image = self.data.get("image", {})
        if "raw" in image:
            self._whole(image)
        else:
            if self._image(image):
                self._config()
                self._override()
            self._card()
            for index, device in enumerate(self.data.get("device", [])):
                self._device(device, ("device", index))
        if self.faults:
            raise Refused(self.faults)
        return self.result

    def _shape(self) -> None:
        """Refuse what isn't a table where one belongs: nothing else can be read then."""
        faults = list(unknown_keys(self.data, self.tables["profile"], (), self.tables))
        for key in self.tables["profile"].keys.values():
            value = self.data.get(key.name, [] if key.type == "tables" else {})
            wanted = list if key.type == "tables" else dict
            rows = value if isinstance(value, list) else []
            if not isinstance(value, wanted) or any(not isinstance(row, dict) for row in rows):
                mark = f"[[{key.name}]]" if key.type == "tables" else f"[{key.name}]"
                message = f"{key.name} is not a table"
                faults.append(Fault(message, f"write it as {mark}", (key.name,)))
        if faults:
            raise Refused(faults)

    def _whole(self, image: Mapping[str, Any]) -> None:
        self.faults += check_table(image, self.tables["image"], self.tables, ("image",))
        for path in [
            *((name,) for name in self.data if name != "image"),
            *(("image", name) for name in image if name != "raw"),
        ]:
            message = f"{path[-1]} can't stand beside the image's raw bytes"
            hint = "raw is the whole image: leave all else out"
            self.faults.append(Fault(message, hint, path, on_key=True))
        if not self.faults:
            self.result.raw = parse_hex(image["raw"])
            if not 1 <= len(self.result.raw) <= 0x10000:
                message = f"raw: {len(self.result.raw)} bytes are no image"
                self.faults.append(Fault(message, "1 byte to 64 KiB", ("image", "raw")))

    def _image(self, image: Mapping[str, Any]) -> bool:
        """Read [image]; return whether the layout is known, so that its own keys can be judged."""
        known = True
        found = list(check_table(image, self.tables["image"], self.tables, ("image",)))
        self.faults += found
        bad = {fault.path[1] for fault in found if fault.path and len(fault.path) > 1}
        good = {key: value for key, value in image.items() if key not in bad}
        plan = self.result
        if "layout" in bad:
            known = False
        if "layout" in good:
            try:
                plan.frame = frame_named(self.catalog, good["layout"])
            except Refused as refused:
                fault = refused.faults[0]
                path = ("image", "layout")
                self.faults.append(Fault(fault.message, fault.hint, path))
                known = False
        plan.fill = whole_number(good["fill"]) if "fill" in good else plan.frame.fill
        if "part" in good:
            try:
                plan.part = self.catalog.part(good["part"])
            except Refused as refused:
                fault = refused.faults[0]
                self.faults.append(Fault(fault.message, fault.hint, ("image", "part")))
            if "size" in good:
                message = "part and size can't both stand"
                hint = "size is for a dump of no part's length"
                self.faults.append(Fault(message, hint, ("image", "size"), on_key=True))
        plan.size = good.get("size")
        plan.patch = parse_hex(good.get("patch", ""))
        for index, run in enumerate(good.get("tail", [])):
            place = ("image", "tail", index)
            plan.tail.append((whole_number(run["at"]), parse_hex(run["raw"]), place))
        return known

    def _config(self) -> None:
        frame, config = self.result.frame, self.data.get("config", {})
        fields = {f.key: f for f in frame.config_fields}
        for key in config:
            if key not in fields:
                hint = did_you_mean(key, fields) or f"its keys are {', '.join(fields)}"
                if not fields:
                    others = [f.name for f in self.catalog.frames.values() if f.config_fields]
                    hint = f"name the chip's layout in [image], such as {one_of(others)}"
                message = f"layout {frame.name} has no configuration {clip(key)}"
                self.faults.append(Fault(message, hint, ("config", key), on_key=True))
        for key, field_ in fields.items():
            value = config.get(key, field_.default)
            stored = self._stored(field_, value, ("config", key))
            self.result.config[key] = stored

    def _stored(self, field_: Field, value: Any, path: Path) -> Stored:
        try:
            return field_.stored_of(value)
        except Wrong as wrong:
            self.faults.append(Fault(wrong.message, wrong.hint, (*path, *wrong.inside)))
            return None

    def _card(self) -> None:
        if "card" not in self.data:
            hint = 'write [card] with id = "QRL0301" or the like'
            self.faults.append(Fault("the profile has no [card]", hint, ()))
            return
        card, path = self.data["card"], ("card",)
        self.faults += unknown_keys(card, self.tables["card"], path)
        self.result.owners[path] = "the card itself"
        self._identifier(card, path)
        self._version(card, path)
        self._named(card, path)
        self._entries(card.get("resources", []), (*path, "resources"), path)

    def _identifier(self, card: Mapping[str, Any], path: Path) -> None:
        fields = [f for f in self.catalog.identifier.layout.fields if not is_computed(f)]
        if self.result.whole_identifier is not None:
            for field_ in fields:
                if field_.key in card:
                    message = f"{field_.key} can't stand beside the overridden identifier"
                    place = (*path, field_.key)
                    self.faults.append(Fault(message, "leave one of them out", place, on_key=True))
            return
        for key in self.tables["card"].keys.values():
            if key.required and key.name not in card:
                self.faults.append(Fault(f"[card] has no {key.name}", key.text, path))
        for field_ in fields:
            if field_.key in card or field_.may_be_left_out:
                value = card.get(field_.key, field_.default)
                stored = self._stored(field_, value, (*path, field_.key))
                self.result.identifier[field_.key] = stored

    def _whole_identifier(self, value: Any, path: Path) -> None:
        """Take the bytes of an identifier that no ID can be spelt from."""
        size = self.catalog.identifier.size
        try:
            data = Hex(bits=8 * size).to_stored(value)
        except Wrong as wrong:
            self.faults.append(Fault(f"{path[-1]}: {wrong.message}", wrong.hint, path))
            return
        self.result.whole_identifier = data

    def _named(self, table: Mapping[str, Any], path: Path) -> None:
        """Add the name of a card or a device, if it has one."""
        record = self.catalog.by_role["name"]
        key = record.head.key
        if key in table:
            self._item(record, {key: table[key]}, path, path, key)

    def _version(self, card: Mapping[str, Any], path: Path) -> None:
        record = self.catalog.by_role["version"]
        values = {f.key: card[f.key] for f in record.profile_fields if f.key in card}
        for key, value in list(values.items()):
            spec = self.tables["card"].keys[key]
            if spec.absent is not None and value == spec.absent:
                for other in values:
                    if other != key:
                        message = f"{other} has no place: {key} is {spec.absent}"
                        self.faults.append(Fault(message, "leave it out", (*path, other)))
                return
        self._item(record, values, path, path)

    def _item(
        self,
        record: Record,
        values: dict[str, Any],
        path: Path,
        owner: Path,
        key: str | None = None,
        length: int | None = None,
    ) -> None:
        try:
            raw = written(record, values, path, length)
        except Refused as refused:
            self.faults += refused.faults
            return
        place = path if key is None else (*path, key)
        self.result.pieces.append(Piece(raw, place, owner))

    def _entries(self, entries: Any, path: Path, owner: Path) -> None:
        if not isinstance(entries, list):
            hint = "write [ { irq = [5, 7] }, … ]"
            self.faults.append(Fault(f"{path[-1]} is not a list", hint, path))
            return
        for index, entry in enumerate(entries):
            place = (*path, index)
            try:
                raw = item_bytes(self.catalog, entry, place)
            except Refused as refused:
                self.faults += refused.faults
                continue
            self.result.pieces.append(Piece(raw, place, owner))

    def _device(self, device: Mapping[str, Any], path: Path) -> None:
        spec = self.tables["device"]
        self.faults += unknown_keys(device, spec, path)
        record = self.catalog.by_role["device"]
        length = device.get(record.length_key) if record.length_key else None
        if length is not None and (
            type(length) is not int or length not in record.layout.lengths()
        ):
            message = f"{record.length_key}: {describe(length)} is no length of this item"
            hint = f"write {record.lengths_in_words()}"
            self.faults.append(Fault(message, hint, (*path, str(record.length_key))))
            length = None
        values = {f.key: device[f.key] for f in record.profile_fields if f.key in device}
        key = record.head.key
        name = device.get(self.catalog.by_role["name"].head.key)
        self.result.owners[path] = f"device {describe(device.get(key, '?')).strip(chr(34))}"
        if isinstance(name, str):
            self.result.owners[path] += f" ({name})"
        self._item(record, values, path, path, key if key in device else None, length)
        also = self.catalog.by_role["compatible"]
        for place, id_ in self._list(device, also.head.key, path):
            try:
                raw = written(also, {also.head.key: id_}, place)
                self.result.pieces.append(Piece(raw, place, path))
            except Refused as refused:
                fault = refused.faults[0]
                self.faults.append(Fault(fault.message, fault.hint, place))
        self._named(device, path)
        self._entries(device.get("resources", []), (*path, "resources"), path)
        choices = self._list(device, "choice", path)
        for place, choice in choices:
            self._choice(choice, place, path)
        if choices:
            self._item(self.catalog.by_role["choices-end"], {}, (*path, "choice"), path)
        self._entries(device.get("resources_after", []), (*path, "resources_after"), path)

    def _list(self, table: Mapping[str, Any], key: str, path: Path) -> list[tuple[Path, Any]]:
        value = table.get(key, [])
        if not isinstance(value, list):
            tables = self.tables["device"].keys[key].type == "tables"
            hint = f"write it as [[device.{key}]]" if tables else "put it in [ ]"
            self.faults.append(Fault(f"{key} is not a list", hint, (*path, key)))
            return []
        return [((*path, key, index), item) for index, item in enumerate(value)]

    def _choice(self, choice: Any, path: Path, owner: Path) -> None:
        if not isinstance(choice, dict):
            hint = "write it as [[device.choice]]"
            self.faults.append(Fault("a choice is not a table", hint, path))
            return
        self.faults += unknown_keys(choice, self.tables["choice"], path)
        record = self.catalog.by_role["choice"]
        values = {f.key: choice[f.key] for f in record.profile_fields if f.key in choice}
        stated = record.head.key if record.head.key in values else None
        self._item(record, values, path, owner, stated)
        self._entries(choice.get("resources", []), (*path, "resources"), owner)

    def _override(self) -> None:
        override = self.data.get("override", {})
        own = {f.key: f for f in self.result.frame.computed_fields}
        specs = self.tables["override"].keys
        fields = own | {n: self.catalog.field(key.field) for n, key in specs.items() if key.field}
        for key, value in override.items():
            path = ("override", key)
            if key == self.catalog.identifier.name:
                self._whole_identifier(value, path)
            elif key not in fields:
                hint = did_you_mean(key, fields)
                hint = hint or f"what can be overridden here: {', '.join(fields)}"
                message = (
                    f"nothing called {clip(key)} is computed in layout {self.result.frame.name}"
                )
                self.faults.append(Fault(message, hint, path, on_key=True))
            elif key in specs and specs[key].absent is not None and value == specs[key].absent:
                self.result.has_end = False
            else:
                self._override_one(fields[key], value, path)

    def _override_one(self, field_: Field, value: Any, path: Path) -> None:
        kind = field_.kind
        if isinstance(kind, Count) and isinstance(value, str) and value in kind.accepts:
            self.result.override[field_.key] = value
        elif isinstance(kind, Count) and isinstance(value, str) and value[:1].isalpha():
            words = one_of([*(f'"{way}"' for way in kind.accepts), "a number"])
            message = f"{field_.title}: {describe(value)} is no way of counting"
            self.faults.append(Fault(message, f"write {words}", path))
        elif isinstance(kind, Constant) and not kind.is_bytes:
            message = f"{field_.title} can't be overridden"
            self.faults.append(Fault(message, "it is part of a byte", path))
        else:
            self.result.override[field_.key] = self._stored(field_, value, path)
