"""A rehearsal as the JSON answer."""

from __future__ import annotations

from typing import Any

from romtool.rehearse.device import LogicalDevice
from romtool.rehearse.rehearsal import Rehearsal, Seen
from romtool.rehearse.software import identity
from romtool.schema.catalog import Catalog


def rehearsal_json(catalog: Catalog, found: Rehearsal) -> dict[str, Any]:
    """Return what the PC sees; `card` is the place of a card's image in the call, from 0."""
    return {
        "host": found.host.name,
        "configured_by": found.configured_by,
        "milliseconds": found.microseconds / 1000,
        "read_data": found.read_port if found.seen else None,
        "cards": [_card(catalog, found, seen) for seen in found.seen],
        "active": [
            one.given.as_json() | {"card": one.slot, "registers": _registers(catalog, one.device)}
            for one in found.unconfigured
            if one.given is not None
        ],
        "lost": [
            {"card": lost.slot, "id": lost.id, "why": ". ".join(said.text for said in lost.why)}
            for lost in found.lost
        ],
        "left_out": [
            {
                "card": seen.slot,
                "device": device.requirements.id,
                "number": device.requirements.number,
            }
            for seen in found.seen
            for device in seen.card.devices
            if not device.is_on
        ]
        + [
            {
                "card": one.slot,
                "device": one.device.requirements.id,
                "number": one.device.requirements.number,
            }
            for one in found.unconfigured
            if one.given is None
        ],
        "conflict": found.assignment.conflict.names() if found.assignment.conflict else [],
        "warnings": [
            {
                "card": warned.slot,
                "device": warned.device.id if warned.device else None,
                "number": warned.device.number if warned.device else None,
                "remark": warned.remark.name,
                "message": warned.remark.text,
            }
            for warned in found.warnings
        ],
    }


def _card(catalog: Catalog, found: Rehearsal, seen: Seen) -> dict[str, Any]:
    card_id, serial = identity(catalog, seen.card.heard.raw)
    return {
        "card": seen.slot,
        "csn": seen.card.csn,
        "id": card_id,
        "serial": serial,
        "checksum_ok": seen.card.sums_right,
        "resource_bytes": len(seen.card.read.data),
        "devices": [
            device.given.as_json()
            | {
                "card": seen.slot,
                "registers": _registers(catalog, found.logical(seen.slot, device)),
            }
            for device in seen.card.devices
            if device.given is not None and device.is_on
        ],
    }


def _registers(catalog: Catalog, device: LogicalDevice | None) -> list[list[int]]:
    """Return the registers that the standard gives a device: number, and what stands there."""
    if device is None:
        return []
    protocol = catalog.protocol
    numbers = (n for n in protocol.device_registers if n not in protocol.vendor_registers)
    return [[number, device.read(number)] for number in numbers]
