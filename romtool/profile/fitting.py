"""A profile's tables made to fit a board: lines that have a pin, devices that are there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from romtool.errors import refuse
from romtool.profile.variants import device_ids, numbered
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout
from romtool.schema.numbers import clip, did_you_mean

Table = dict[str, Any]
Wiring = Mapping[str, Sequence[int]]
"""The line on each pin of a bus, in pin order."""

Connected = Mapping[str, frozenset[int]]
"""The lines of a bus that have a pin, for each bus of which that is known."""

RESOURCES, AFTER, CHOICE = "resources", "resources_after", "choice"


class Removal(NamedTuple):
    """What was taken out of a profile.

    `lines` of the resource `kind`, from a choice (from 0), or from what always applies (None). No
    lines: the whole choice; no choice either: the whole device. `device` is its ID, `number` its
    place, from 0.
    """

    device: str
    number: int
    choice: int | None = None
    kind: str = ""
    lines: tuple[int, ...] = ()


def connected_lines(catalog: Catalog, wiring: Wiring) -> dict[str, frozenset[int]]:
    """Return the lines that a wiring connects, those under their other number included."""
    found = {}
    for bus, lines in wiring.items():
        resource = catalog.resources[bus]
        renamed = {resource.renamed.get(line, line) for line in lines}
        found[bus] = frozenset(renamed | set(lines)) - resource.not_on_slot
    return found


def wiring_config(layout: ImageLayout, wiring: Wiring) -> dict[str, list[int]]:
    """Return the configuration that a wiring makes; pins that it doesn't name are not connected.

    Raises InputError where the chip has fewer pins. A layout without wiring has no such setting.
    """
    config: dict[str, list[int]] = {}
    for bus, lines in wiring.items():
        fields, left = layout.wiring(bus), list(lines)
        for field in fields:
            kind = field.kind
            given, left = left[: kind.pins], left[kind.pins :]
            config[field.key] = given + [kind.unconnected] * (kind.pins - len(given))
        if fields and left:
            pins = sum(field.kind.pins for field in fields)
            message = f"--{bus}-wiring: the chip has {pins} {bus.upper()} pins, {len(lines)} given"
            raise refuse(message, "one number a pin, in pin order; pins left out: not connected")
    return config


def with_lines(entry: Mapping[str, Any], connected: Connected) -> Table | None:
    """Return an entry with the lines that are connected; None where it had some, and has none."""
    found = dict(entry)
    for bus in connected.keys() & entry.keys():
        found[bus] = [line for line in entry[bus] if line in connected[bus]]
        if entry[bus] and not found[bus]:
            return None
    return found


def fit(
    catalog: Catalog, tables: Table, wiring: Wiring, without: Sequence[str]
) -> tuple[Table, list[Removal]]:
    """Return a profile's tables as they fit a board, and what was taken out of them.

    Lines with no pin leave all choices, a choice left without a line goes, and so does a device
    left without a choice or without a line that it always needs. Raises InputError for a device
    that isn't there, or a wiring that the chip doesn't have.
    """
    removed = _unwanted(catalog, tables.get("device", []), without)
    layout = catalog.layouts[tables["image"].get("layout", catalog.default_layout.name)]
    config = {**tables.get("config", {}), **wiring_config(layout, wiring)}
    connected = connected_lines(catalog, wiring)
    devices, gone = [], {one.number for one in removed}
    for number, device in enumerate(tables.get("device", [])):
        if number in gone:
            continue
        kept, taken = _fitted(catalog, device, number, connected)
        removed += taken
        if kept is not None:
            devices.append(kept)
    fitted = {**tables, "config": config, "device": devices}
    return {key: table for key, table in fitted.items() if table or key == "image"}, removed


def _unwanted(catalog: Catalog, devices: Sequence[Table], without: Iterable[str]) -> list[Removal]:
    """Return the devices that are to be left out; raises InputError for one that isn't there."""
    ids, found = device_ids(catalog, devices), []
    for name in without:
        if numbered(name) not in ids:
            known = [id_ for id_, _ in ids]
            hint = did_you_mean(name, known) or f"its devices are {', '.join(known)}"
            raise refuse(f"--without: no device is called {clip(name)}", hint)
        number = ids.index(numbered(name))
        found.append(Removal(ids[number][0], number))
    return found


def _fitted(
    catalog: Catalog, device: Table, number: int, connected: Connected
) -> tuple[Table | None, list[Removal]]:
    """Return a device as it fits, None where nothing of it can be had; and what was taken out."""
    id_ = str(device.get(catalog.by_role["device"].key_field.key, ""))
    removed: list[Removal] = []

    def entries(found: Sequence[Table], choice: int | None) -> list[Table] | None:
        """Return a list of entries as it fits, None where one has no line left."""
        kept = [with_lines(entry, connected) for entry in found]
        for was, now in zip(found, kept, strict=True):
            for kind in connected.keys() & was.keys() if now is not None else ():
                lines = tuple(line for line in was[kind] if line not in connected[kind])
                if lines:
                    removed.append(Removal(id_, number, choice, kind, lines))
        whole = [entry for entry in kept if entry is not None]
        return whole if len(whole) == len(kept) else None

    fitted = dict(device)
    for key in (RESOURCES, AFTER):
        if key in device:
            fitted[key] = entries(device[key], None)
    choices = []
    for index, choice in enumerate(device.get(CHOICE, [])):
        kept = entries(choice.get(RESOURCES, []), index)
        if kept is None:
            removed.append(Removal(id_, number, index))
        else:
            choices.append({**choice, RESOURCES: kept} if kept else choice)
    lost = any(fitted.get(key, []) is None for key in (RESOURCES, AFTER))
    if lost or (device.get(CHOICE) and not choices):
        return None, [Removal(id_, number)]
    if choices:
        fitted[CHOICE] = choices
    return fitted, removed
