"""Checks of single ranges of addresses: bases, alignment, length, decode, ports to keep off."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.walk import Descriptor
from romtool.requirements.collide import Placed, answers_at
from romtool.requirements.model import DeviceRequirements, RangeRequirement, Requirement
from romtool.rules.findings import Finding
from romtool.rules.view import Trouble, View, joined, trouble
from romtool.schema.bus import Bus
from romtool.schema.numbers import address, sizes

ALIASES_SHOWN = 3


def range_findings(view: View) -> Iterator[Finding]:
    """Yield what is wrong with the ranges that items ask for."""
    yield from view.told_once(_troubles(view))


def _troubles(view: View) -> Iterator[Trouble]:
    for item, need in view.needs:
        if isinstance(need, RangeRequirement):
            yield from _span(view, item, need)
    for device in view.requirements.devices:
        for need in _for_nothing(device):
            if need.item is not None:
                record = need.item.record.title
                yield trouble("length-zero", need.item, record=record, low=address(need.low))


def _span(view: View, item: Descriptor, need: RangeRequirement) -> Iterator[Trouble]:
    words = {"record": item.record.title, "low": address(need.low), "high": address(need.high)}
    if need.low > need.high:
        yield trouble("range-backwards", item, **words)
        return
    if need.is_empty:
        return
    if need.low % need.step:
        align, below = need.step, need.low - need.low % need.step
        words |= {"align": address(align), "below": address(below), "above": address(below + align)}
        del words["high"]
        yield trouble("base-askew", item, **words)
    elif need.low < need.high and need.step == 1 and need.length > 1:
        things = item.record.key_field.unit_noun
        yield trouble("align-loose", item, length=need.length, things=things, **words)
    elif view.catalog.resources[need.kind].is_io:
        yield from _block(view.catalog.bus, item, need)
    if view.catalog.resources[need.kind].is_io:
        yield from _ports(view, item, need)
    yield from _least(item, need)
    if need.low % need.step == 0:  # else the alignment is at fault already
        yield from _mask(view, item, need)


def _least(item: Descriptor, need: RangeRequirement) -> Iterator[Trouble]:
    """An alignment that the standard doesn't admit."""
    field = item.record.align_field
    if field is not None and field.least is not None and need.step < field.least:
        words = {"title": field.title, "align": address(need.step), "least": address(field.least)}
        yield trouble("align-low", item, record=item.record.title, **words)


def _mask(view: View, item: Descriptor, need: RangeRequirement) -> Iterator[Trouble]:
    """A range that is decoded by its length: it becomes a mask of address bits (Spec A.3.1).

    The alignment of an item may not reach up to the length: then it can't be stated.
    """
    limit = next(view.catalog.protocol.blocks_of(need.kind, need.bits)).field("limit")
    if limit is None or limit.upper is None or item.values.get(limit.upper):
        return
    words = {"record": item.record.title, "length": sizes(need.length), "key": limit.upper}
    if need.length.bit_count() > 1:
        above = sizes(1 << need.length.bit_length())
        yield trouble("mask-length", item, above=above, **words)
        return
    field = item.record.align_field
    if field is not None and need.length > field.kind.highest:
        return
    askew = [base for base in need.stated[:2] if base % need.length]
    if askew:
        yield trouble("mask-align", item, base=address(askew[0]), **words)


def _ports(view: View, item: Descriptor, need: RangeRequirement) -> Iterator[Trouble]:
    bus, record = view.catalog.bus, f"{item.record.title} {_in_words(need)}"
    if need.low < bus.system_ports_below:
        limit = address(bus.system_ports_below)
        title = item.record.title
        yield trouble("system-ports", item, record=title, low=address(need.low), limit=limit)
    if need.low == need.high and _is_in_decimal(view, need.low):
        words = {"base": address(need.low), "decimal": need.low, "meant": f"{need.low}h"}
        yield trouble("base-decimal", item, record=item.record.title, **words)
    if bus.aliases(need.bits):
        yield from _decode(bus, item, need, record)
    # PnP software tries the lowest base first.
    first = Placed(need.low, need.length, need.bits)
    there = f"{item.record.title} {_stretch(first)}"
    watched = (
        ("pnp-port", bus.pnp_ports),
        ("read-scan", view.catalog.pnp_software.read_scan.ports),
    )
    for rule, ports in watched:
        over = [address(port) for port in ports if answers_at(bus, first, port)]
        if over:
            yield trouble(rule, item, record=there, ports=joined(over))


def _is_in_decimal(view: View, base: int) -> bool:
    """Whether a base reads in decimal as one where software looks for a device: 220 for 220h."""
    functions = [one for found in view.catalog.expectations.values() for one in found.functions]
    usual = frozenset[int]().union(*(one.bases for one in functions))
    return base not in usual and int(str(base), 16) in usual


def _decode(bus: Bus, item: Descriptor, need: RangeRequirement, record: str) -> Iterator[Trouble]:
    last, beyond = need.high + need.length - 1, address(bus.alias_step)
    if last >= bus.alias_step:
        words = {"last": address(last), "bits": need.bits, "beyond": beyond}
        yield trouble("decode-short", item, record=item.record.title, **words)
        return
    steps = range(1, ALIASES_SHOWN + 1)
    aliases = ", ".join(address(need.low + step * bus.alias_step) for step in steps)
    words = {"record": record, "bits": need.bits, "aliases": aliases, "step": beyond}
    yield trouble("decode-10", item, **words)


def _block(bus: Bus, item: Descriptor, need: RangeRequirement) -> Iterator[Trouble]:
    """Wide ranges begin at certain multiples; the first base that doesn't is named."""
    if need.length < bus.block.least:
        return
    for base in need.bases[:2]:
        if base % bus.block.step:
            words = {"base": address(base), "length": need.length, "step": address(bus.block.step)}
            yield trouble("block", item, record=item.record.title, **words)
            return


def _in_words(need: RangeRequirement) -> str:
    """Return where a range can be: 220h-22Fh, or 220h to 280h for its base."""
    if need.low < need.high:
        return f"{address(need.low)} to {address(need.high)}"
    return _stretch(Placed(need.low, need.length, need.bits))


def _stretch(place: Placed) -> str:
    if place.length == 1:
        return address(place.base)
    return f"{address(place.base)}-{address(place.base + place.length - 1)}"


def _for_nothing(device: DeviceRequirements) -> Iterator[RangeRequirement]:
    """Yield the ranges of length 0 that keep no place.

    In a choice one does, where another choice has a range at the same place (Spec 7.3).
    """
    kept: set[tuple[str, int]] = set()
    empty: list[tuple[str, int, Requirement]] = []
    for alternative in device.alternatives:
        counts: dict[str, int] = {}
        for need in alternative.own:
            place = counts[need.kind] = counts.get(need.kind, 0) + 1
            if need.is_empty:
                empty.append((need.kind, place, need))
            else:
                kept.add((need.kind, place))
    always = (need for need in (*device.before, *device.after) if need.is_empty)
    useless = (need for kind, place, need in empty if (kind, place) not in kept)
    yield from (need for need in (*always, *useless) if isinstance(need, RangeRequirement))
