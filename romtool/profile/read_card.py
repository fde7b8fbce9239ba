"""The tables of a profile that become PnP data: [card], [[device]] and their choices."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from romtool.errors import InputError, InvalidValue, Path
from romtool.formats import MAX_IMAGE
from romtool.profile.entries import item_bytes, written
from romtool.profile.plan import Piece, Reader
from romtool.schema.catalog import RAW_ID
from romtool.schema.field_types import whole_number
from romtool.schema.field_types.texts import bytes_of
from romtool.schema.fields import Field
from romtool.schema.numbers import describe
from romtool.schema.records import DescriptorType
from romtool.schema.tables import unknown_keys


class CardReader(Reader):
    """Reads the card and its devices, in the order in which their items stand.

    `entries`: how many were met in lists of resources so far.
    """

    entries = 0

    def read(self) -> None:
        """Fill the plan from [card] and each [[device]]."""
        self._card()
        variant = self.result.variant
        for index, device in enumerate(self.data.get("device", [])):
            if variant is None or index not in variant.without:
                self._device(device, ("device", index))

    def _card(self) -> None:
        if "card" not in self.data:
            hint = 'write [card] with id = "QRL0301" or the like'
            self.problem("the profile has no [card]", hint, ())
            return
        card, path = self.data["card"], ("card",)
        self.problems += unknown_keys(card, self.tables["card"], path)
        self.result.owners[path] = "the card itself"
        self._identifier(card, path)
        self._version(card, path)
        self._named(card, path)
        self._entries(card.get("resources", []), (*path, "resources"), path)

    def _identifier(self, card: Mapping[str, Any], path: Path) -> None:
        fields = [f for f in self.catalog.identifier.field_layout.fields if not f.kind.is_computed]
        if not self.result.layout.identifier:
            for own in (*(field_.key for field_ in fields), RAW_ID):
                if own in card:
                    message = f"{own} can't stand in layout {self.result.layout.name}"
                    hint = "it holds items alone, without an identifier: leave it out"
                    self.problem(message, hint, (*path, own), on_key=True)
            return
        if self.result.whole_identifier is not None:
            for field_ in fields:
                if field_.key in card:
                    message = f"{field_.key} can't stand beside the overridden identifier"
                    place = (*path, field_.key)
                    self.problem(message, "leave one of them out", place, on_key=True)
            return
        raw = self._raw_id(card, self.catalog.identifier.id_field, path)
        for key in self.tables["card"].keys.values():
            if key.required and key.name not in card and RAW_ID not in card:
                self.problem(f"[card] has no {key.name}", key.text, path)
        for field_ in fields:
            if field_ is self.catalog.identifier.id_field and raw is not None:
                self.result.identifier[field_.key] = self.stored(field_, raw, (*path, RAW_ID))
            elif field_.key in card or field_.may_be_left_out:
                value = card.get(field_.key, field_.default)
                stored = self.stored(field_, value, (*path, field_.key))
                self.result.identifier[field_.key] = stored

    def _raw_id(self, table: Mapping[str, Any], field_: Field, path: Path) -> bytes | None:
        """Return the bytes that stand for the ID of a table, None where it has no such key."""
        if RAW_ID not in table:
            return None
        place = (*path, RAW_ID)
        if field_.key in table:
            message = f"{RAW_ID} can't stand beside {field_.key}"
            self.problem(message, "leave one of them out", place, on_key=True)
        try:
            return bytes_of(table[RAW_ID], field_.kind.bits)
        except InvalidValue as wrong:
            hint = wrong.hint or "write all bytes of the ID"
            self.problem(f"{RAW_ID}: {wrong.message}", hint, place)
            return bytes(field_.size or 0)

    def _named(self, table: Mapping[str, Any], path: Path) -> None:
        """Add the name of a card or a device, if it has one."""
        record = self.catalog.by_role["name"]
        key = record.key_field.key
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
                        self.problem(message, "leave it out", (*path, other))
                return
        self._item(record, values, path, path)

    def _item(
        self,
        record: DescriptorType,
        values: dict[str, Any],
        path: Path,
        owner: Path,
        key: str | None = None,
        length: int | None = None,
    ) -> None:
        try:
            raw = written(record, values, path, length)
        except InputError as refused:
            self.problems += refused.problems
            return
        place = path if key is None else (*path, key)
        self.result.pieces.append(Piece(raw, place, owner))

    def _entries(self, entries: Any, path: Path, owner: Path) -> None:
        if not isinstance(entries, list):
            hint = "write [ { irq = [5, 7] }, … ]"
            self.problem(f"{path[-1]} is not a list", hint, path)
            return
        self.entries += len(entries)
        if self.entries > MAX_IMAGE:
            message = f"{self.entries} entries: an image has at most {MAX_IMAGE} bytes for them"
            self.problem(message, "each takes one or more; is this the right file?", path)
            return
        for index, entry in enumerate(entries):
            place = (*path, index)
            try:
                raw = item_bytes(self.catalog, entry, place)
            except InputError as refused:
                self.problems += refused.problems
                continue
            self.result.pieces.append(Piece(raw, place, owner))

    def _device(self, device: Mapping[str, Any], path: Path) -> None:
        spec = self.tables["device"]
        self.problems += unknown_keys(device, spec, path)
        record = self.catalog.by_role["device"]
        length = self._length(device, record, path)
        values = {f.key: device[f.key] for f in record.profile_fields if f.key in device}
        raw = self._raw_id(device, record.key_field, path)
        if raw is not None:
            values[record.key_field.key] = raw
        key = record.key_field.key
        name = device.get(self.catalog.by_role["name"].key_field.key)
        self.result.owners[path] = f"device {describe(device.get(key, '?')).strip(chr(34))}"
        if isinstance(name, str):
            self.result.owners[path] += f" ({name})"
        self._item(record, values, path, path, key if key in device else None, length)
        also = self.catalog.by_role["compatible"]
        for place, id_ in self._list(device, also.key_field.key, path):
            try:
                raw = written(also, {also.key_field.key: id_}, place)
                self.result.pieces.append(Piece(raw, place, path))
            except InputError as refused:
                problem = refused.problems[0]
                self.problem(problem.message, problem.hint, place)
        self._named(device, path)
        self._entries(device.get("resources", []), (*path, "resources"), path)
        choices = self._list(device, "choice", path)
        for place, choice in choices:
            self._choice(choice, place, path)
        if choices:
            self._item(self.catalog.by_role["choices-end"], {}, (*path, "choice"), path)
        self._entries(device.get("resources_after", []), (*path, "resources_after"), path)

    def _length(self, device: Mapping[str, Any], record: DescriptorType, path: Path) -> int | None:
        """Return the length that is asked for the ID item, None for the shortest."""
        key = record.length_key
        if key is None or key not in device:
            return None
        try:
            length = whole_number(device[key])
        except InvalidValue as wrong:
            self.problem(f"{key}: {wrong.message}", wrong.hint, (*path, key))
            return None
        if length not in record.field_layout.lengths():
            message = f"{key}: {describe(device[key])} is no length of this item"
            self.problem(message, f"write {record.lengths_in_words()}", (*path, key))
            return None
        return length

    def _list(self, table: Mapping[str, Any], key: str, path: Path) -> list[tuple[Path, Any]]:
        value = table.get(key, [])
        if not isinstance(value, list):
            tables = self.tables["device"].keys[key].type == "tables"
            hint = f"write it as [[device.{key}]]" if tables else "put it in [ ]"
            self.problem(f"{key} is not a list", hint, (*path, key))
            return []
        return [((*path, key, index), item) for index, item in enumerate(value)]

    def _choice(self, choice: Any, path: Path, owner: Path) -> None:
        if not isinstance(choice, dict):
            hint = "write it as [[device.choice]]"
            self.problem("a choice is not a table", hint, path)
            return
        self.problems += unknown_keys(choice, self.tables["choice"], path)
        record = self.catalog.by_role["choice"]
        values = {f.key: choice[f.key] for f in record.profile_fields if f.key in choice}
        stated = record.key_field.key if record.key_field.key in values else None
        self._item(record, values, path, owner, stated)
        self._entries(choice.get("resources", []), (*path, "resources"), owner)
