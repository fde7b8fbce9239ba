"""Checks of devices that may take part in boot: what they need for it, and which have to."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.rules.findings import Finding
from romtool.rules.view import Trouble, View, trouble

BOOT, ROM = "boot", "rom"
"""Keys of two flags: of a device's ID item, of a memory item."""


def boot_findings(view: View) -> Iterator[Finding]:
    """Yield where the boot flag doesn't go with what a device asks for."""
    yield from view.told_once(_troubles(view))


def _troubles(view: View) -> Iterator[Trouble]:
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
