"""Checks of lines and channels: do they reach the bus, have they a pin, can they do the width?"""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.walk import Descriptor
from romtool.requirements.model import LineRequirement
from romtool.requirements.read import wired
from romtool.rules.findings import Finding, finding
from romtool.rules.view import Trouble, View, trouble
from romtool.schema.bus import Resource
from romtool.schema.field_types import Flags, Pins
from romtool.schema.fields import FieldOf
from romtool.schema.numbers import all_of, one_of


def line_findings(view: View) -> Iterator[Finding]:
    """Yield what is wrong with the lines and channels that items offer, and with the pins."""
    yield from view.told_once(_troubles(view))
    for kind in view.catalog.resources:
        yield from _not_wired(view, kind)
    if view.image.end_item is not None:  # else items may be missing that offer the rest
        yield from _idle_pins(view)


def _troubles(view: View) -> Iterator[Trouble]:
    for item, need in view.needs:
        if isinstance(need, LineRequirement):
            resource = view.catalog.resources[need.kind]
            yield from _lines(resource, item, need)
            yield from _width(resource, item, need)
            if not need.is_empty:
                yield from _trigger(item)


def _lines(resource: Resource, item: Descriptor, need: LineRequirement) -> Iterator[Trouble]:
    record = item.record.title
    for line in need.lines:
        if line in resource.not_on_slot:
            yield trouble("line-off-bus", item, record=record, line=line)
        elif line in resource.renamed:
            name = resource.renamed[line]
            yield trouble("line-renamed", item, record=record, line=line, name=name)


def _not_wired(view: View, kind: str) -> Iterator[Finding]:
    """All lines of a kind that are offered and have no pin: one wiring is behind them all."""
    resource = view.catalog.resources[kind]
    connected = wired(view.image, resource)
    if connected is None:
        return
    lines, items = set[int](), list[Descriptor]()
    for item, need in view.needs:
        if isinstance(need, LineRequirement) and need.kind == kind:
            missing = set(need.lines) - connected - resource.not_on_slot - set(resource.renamed)
            lines |= missing
            items += [item] if missing else []
    if lines:
        field = _wiring(view, kind)[0]
        one = len(lines) == 1
        words = {"where": view.where(items), "record": items[0].record.title, "key": field.key}
        words |= {
            "line": all_of([str(line) for line in sorted(lines)]),
            "is": "is" if one else "are",
        }
        words |= {"it": "it" if one else "them", "source": field.source}
        yield finding(view.catalog, "not-wired", items[0].offset, **words)


def _trigger(item: Descriptor) -> Iterator[Trouble]:
    """What a byte that is left out means has to be among what it states where it is there."""
    for field in item.record.field_layout.of_type(Flags):
        stated = item.values.get(field.key)
        if field.absent is not None and stated is not None and field.absent not in stated:
            words = {"title": field.title, "absent": field.absent, "key": field.key}
            shown = field.kind.show(stated)
            yield trouble("high-edge", item, record=item.record.title, stated=shown, **words)


def _width(resource: Resource, item: Descriptor, need: LineRequirement) -> Iterator[Trouble]:
    lines = [line for line in need.lines if line not in resource.not_on_slot]
    able = resource.widths.get(need.width or "")
    if lines and able is not None and not able.intersection(lines):
        words = {"lines": one_of(list(map(str, lines))), "able": one_of(list(map(str, able)))}
        record = item.record.title
        yield trouble("channel-width", item, record=record, width=need.width, **words)


def _wiring(view: View, kind: str) -> list[FieldOf[Pins]]:
    """Return the frame's fields that say which lines have a pin; none in a frame without."""
    return view.image.layout.wiring(kind) if view.image.layout else []


def _pins(view: View, field: FieldOf[Pins]) -> dict[int, str]:
    """Return the pin on each line that has one; the first where there are several."""
    kind = field.kind
    on_bus = view.catalog.resources[kind.bus].on_bus
    wires = view.image.layout_values[field.key]
    lines = [on_bus(line) if line in kind.connected(wires) else None for line in wires]
    found = sorted(line for line in set(lines) if line is not None)
    return {line: kind.pin_name(lines.index(line)) for line in found}


def _idle_pins(view: View) -> Iterator[Finding]:
    for kind in view.catalog.resources:
        on_bus = view.catalog.resources[kind].on_bus
        offered = {
            on_bus(line)
            for _, need in view.needs
            if isinstance(need, LineRequirement) and need.kind == kind
            for line in need.lines
        }
        for field in _wiring(view, kind):
            idle = [
                f"{line} (pin {pin})"
                for line, pin in _pins(view, field).items()
                if line not in offered
            ]
            if idle:
                words = {"title": field.title, "lines": one_of(idle), "source": field.source}
                path = ("config", field.key)
                yield finding(view.catalog, "pin-idle", field.at, path, **words)
