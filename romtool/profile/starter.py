"""The starter's card on a chip of one layout: wired as usual, offering no line without a pin."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from romtool.schema.expect import RESOURCES, Starter, StarterTable
from romtool.schema.field_types import Pins
from romtool.schema.fields import Field
from romtool.schema.image_layouts import ImageLayout

Wiring = dict[str, list[int]]
"""The line on each pin, by the key of the field that says so."""


def fitted(starter: Starter, layout: ImageLayout) -> tuple[Starter, Wiring]:
    """Return the starter with nothing that the layout's wiring can't do, and that wiring.

    It is the typical wiring; but where a device would keep no more than its last choice, the
    buses without the line that is wanted most are wired as the starter says.
    """
    typical = {field.key: list(field.default) for field, _ in _pins(layout, starter.wiring)}
    connected = _connected(layout, starter.wiring, typical)
    if all(_is_whole(device, connected) for device in starter.devices):
        return _on(starter, connected), typical
    lacking = [bus for bus, lines in connected.items() if starter.wiring[bus][0] not in lines]
    wiring = typical | {
        key: line
        for bus in lacking
        for key, line in _own_wiring(layout, bus, starter.wiring[bus]).items()
    }
    return _on(starter, _connected(layout, starter.wiring, wiring)), wiring


def _pins(layout: ImageLayout, buses: Iterable[str]) -> Iterator[tuple[Field, Pins]]:
    for bus in buses:
        for field in layout.wiring(bus):
            assert isinstance(field.kind, Pins)
            yield field, field.kind


def _connected(layout: ImageLayout, buses: Iterable[str], wiring: Wiring) -> dict[str, set[int]]:
    """Return the lines with a pin, for each bus of which the layout tells the wiring."""
    found: dict[str, set[int]] = {}
    for field, kind in _pins(layout, buses):
        found.setdefault(kind.bus, set()).update(kind.connected(wiring[field.key]))
    return found


def _own_wiring(layout: ImageLayout, bus: str, lines: Iterable[int]) -> Wiring:
    """Return lines on pins in order, those that a pin can't say left out."""
    left, wiring = list(lines), {}
    for field, kind in _pins(layout, [bus]):
        can = [n for n in left if n != kind.unconnected and n < 1 << kind.pin_bits][: kind.pins]
        wiring[field.key] = can + [kind.unconnected] * (kind.pins - len(can))
        left = [n for n in left if n not in can]
    return wiring


def _is_whole(device: StarterTable, connected: Mapping[str, set[int]]) -> bool:
    """Whether a device keeps one of the choices before its last."""
    return len(device.choices) < 2 or bool(_choices(device.choices[:-1], connected))


def _on(starter: Starter, connected: Mapping[str, set[int]]) -> Starter:
    """Return the starter on a board that connects these lines, without devices that can't be."""
    devices = [
        device.altered(choices=_choices(device.choices, connected)) for device in starter.devices
    ]
    kept = zip(devices, starter.devices, strict=True)
    return starter.altered(
        devices=tuple(one for one, was in kept if one.choices or not was.choices)
    )


def _choices(
    choices: Iterable[StarterTable], connected: Mapping[str, set[int]]
) -> tuple[StarterTable, ...]:
    """Return the choices that say something new, with the lines that are connected."""
    kept: list[StarterTable] = []
    for choice in choices:
        entries = [_entry(entry, connected) for entry in choice.keys[RESOURCES]]
        known = [one.keys[RESOURCES] for one in kept]
        if None not in entries and entries not in known:
            kept.append(choice.altered(keys={**choice.keys, RESOURCES: entries}))
    return tuple(kept)


def _entry(entry: Mapping[str, Any], connected: Mapping[str, set[int]]) -> dict[str, Any] | None:
    """Return an entry with the lines that are connected; None where it had some, and has none."""
    found = dict(entry)
    for bus in connected.keys() & entry.keys():
        found[bus] = [line for line in entry[bus] if line in connected[bus]]
        if entry[bus] and not found[bus]:
            return None
    return found
