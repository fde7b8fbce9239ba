"""The starter's card on a chip of one layout: wired as wanted, offering no line without a pin."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

from romtool.profile.fitting import (
    Connected,
    Wiring,
    connected_lines,
    wiring_config,
    with_lines,
)
from romtool.schema.catalog import Catalog
from romtool.schema.expect import FUNCTION, NAME, RESOURCES, Starter, StarterTable
from romtool.schema.fields import typical_value
from romtool.schema.image_layouts import ImageLayout


def functions_of(starter: Starter) -> list[str]:
    """Return the functions that the starter's card has: of a device, or of an item of one."""
    found = []
    for device in starter.devices:
        found.append(device.keys[FUNCTION])
        for table in (device, *device.choices):
            found += [one[FUNCTION] for one in table.keys.get(RESOURCES, ()) if FUNCTION in one]
    return list(dict.fromkeys(found))


def without_functions(starter: Starter, without: Collection[str]) -> Starter:
    """Return the starter without devices of these functions, and without such items of others."""
    devices = [
        device.altered(
            keys=_keys(starter, device, without),
            choices=tuple(one.altered(keys=_keys(starter, one, without)) for one in device.choices),
        )
        for device in starter.devices
        if device.keys[FUNCTION] not in without
    ]
    return starter.altered(devices=tuple(devices))


def _keys(starter: Starter, table: StarterTable, without: Collection[str]) -> dict[str, Any]:
    """Return a table's keys without items of these functions, and named for what is left."""
    keys = {key: value for key, value in table.keys.items() if key != FUNCTION}
    if RESOURCES in keys:
        kept = [entry for entry in keys[RESOURCES] if entry.get(FUNCTION) not in without]
        keys[RESOURCES] = [{k: v for k, v in one.items() if k != FUNCTION} for one in kept]
    for function in without:
        names = starter.names_without.get(function, {})
        if keys.get(NAME) in names:
            keys[NAME] = names[keys[NAME]]
    return keys


def fitted(
    catalog: Catalog, starter: Starter, layout: ImageLayout, given: Wiring
) -> tuple[Starter, dict[str, list[int]]]:
    """Return the starter with nothing that a board's wiring can't do, and that wiring's settings.

    It is the wiring that is `given`, for other buses the typical one; but where a device would
    keep no more than its last choice, the buses without the line that is wanted most are wired as
    the starter says. Raises InputError where the chip has too few pins for the given wiring.
    """
    typical = {
        bus: [line for field in layout.wiring(bus) for line in typical_value(field)]
        for bus in starter.wiring
        if layout.wiring(bus)
    }
    wiring = typical | dict(given)
    connected = connected_lines(catalog, wiring)
    if not all(_is_whole(device, connected) for device in starter.devices):
        for bus in typical.keys() - given.keys():
            if starter.wiring[bus][0] not in connected[bus]:
                wiring[bus] = _fitting_pins(layout, bus, starter.wiring[bus])
        connected = connected_lines(catalog, wiring)
    return _on(starter, connected), wiring_config(layout, wiring)


def _fitting_pins(layout: ImageLayout, bus: str, lines: Iterable[int]) -> list[int]:
    """Return lines on pins in order, those that a pin can't say left out."""
    left, wired = list(lines), list[int]()
    for kind in (field.kind for field in layout.wiring(bus)):
        can = [n for n in left if n != kind.unconnected and n < 1 << kind.pin_bits][: kind.pins]
        wired += can + [kind.unconnected] * (kind.pins - len(can))
        left = [n for n in left if n not in can]
    return wired


def _is_whole(device: StarterTable, connected: Connected) -> bool:
    """Whether a device keeps one of the choices before its last."""
    return len(device.choices) < 2 or bool(_choices(device.choices[:-1], connected))


def _on(starter: Starter, connected: Connected) -> Starter:
    """Return the starter on a board that connects these lines, without devices that can't be."""
    devices = [
        device.altered(choices=_choices(device.choices, connected)) for device in starter.devices
    ]
    kept = zip(devices, starter.devices, strict=True)
    return starter.altered(
        devices=tuple(one for one, was in kept if one.choices or not was.choices)
    )


def _choices(choices: Iterable[StarterTable], connected: Connected) -> tuple[StarterTable, ...]:
    """Return the choices that say something new, with the lines that are connected."""
    kept: list[StarterTable] = []
    for choice in choices:
        entries = [with_lines(entry, connected) for entry in choice.keys[RESOURCES]]
        known = [one.keys[RESOURCES] for one in kept]
        if None not in entries and entries not in known:
            kept.append(choice.altered(keys={**choice.keys, RESOURCES: entries}))
    return tuple(kept)
