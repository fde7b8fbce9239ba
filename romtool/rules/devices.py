"""Checks of devices one by one: registers, IDs, memory of one width, the boot flag."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.requirements.model import RangeRequirement
from romtool.rules.findings import Finding, finding
from romtool.rules.view import Trouble, View, trouble

BOOT, ROM = "boot", "rom"
"""Keys of two flags: of a device's ID item, of a memory item."""


def device_findings(view: View) -> Iterator[Finding]:
    """Yield where a device, or a card, has too much of something, or what doesn't go together."""
    yield from view.told_once([*_registers(view), *_mixed(view), *_compatible(view), *_boot(view)])
    limit = view.catalog.pnp_software.devices
    if len(view.card.devices) > limit:
        at = view.card.devices[limit].start.offset
        count = len(view.card.devices)
        yield finding(view.catalog, "devices-many", at, count=count, limit=limit)


def _registers(view: View) -> Iterator[Trouble]:
    for parts, device in view.devices:
        for alternative in device.alternatives:
            for kind, resource in view.catalog.resources.items():
                needs = alternative.of_kind(kind)
                if len(needs) <= resource.max_per_device:
                    continue
                # The choice is named even where what is too many stands outside of it.
                number = alternative.number
                start = parts.start if number is None else parts.choices[number].start
                words = {
                    "count": len(needs),
                    "kind": resource.title,
                    "most": resource.max_per_device,
                }
                yield trouble("too-many", start, **words)


def _mixed(view: View) -> Iterator[Trouble]:
    """Memory of two address widths; told at the first item of the second one."""
    for kind, resource in view.catalog.resources.items():
        if not resource.single_width:
            continue
        found = [
            (i, n) for i, n in view.needs if isinstance(n, RangeRequirement) and n.kind == kind
        ]
        for item, need in found:
            if need.bits != found[0][1].bits:
                other = found[0][0].record.title
                yield trouble("memory-mixed", item, record=item.record.title, other=other)
                break


def _compatible(view: View) -> Iterator[Trouble]:
    limit = view.catalog.pnp_software.compatible_ids
    for device in view.card.devices:
        found = device.compatible
        if len(found) > limit:
            yield trouble("compatible-many", found[limit], count=len(found), limit=limit)


def _boot(view: View) -> Iterator[Trouble]:
    """Yield where the boot flag doesn't go with what a device asks for."""
    for parts, device in view.devices:
        needs = [need for one in device.alternatives for need in one.needs if not need.is_empty]
        if parts.values.get(BOOT):
            if not needs:
                yield trouble("boot-empty", parts.start, key=BOOT)
            continue
        for need in needs:
            if need.item is not None and need.item.values.get(ROM):
                title = need.item.record.field_layout.by_key[ROM].title
                words = {"record": need.item.record.title, "title": title, "key": BOOT}
                yield trouble("rom-not-boot", need.item, **words)
                break
