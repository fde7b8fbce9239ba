"""A rehearsal as the JSON answer."""

from __future__ import annotations

from typing import Any

from romtool.rehearse.rehearsal import Rehearsal
from romtool.rehearse.resources import identity
from romtool.rehearse.warned import Seen
from romtool.schema.catalog import Catalog


def rehearsal_json(catalog: Catalog, found: Rehearsal) -> dict[str, Any]:
    """Return what the PC sees; `card` is the place of a card's image in the call, from 0."""
    return {
        "host": found.host.name,
        "read_data": found.read_port if found.seen else None,
        "cards": [_card(catalog, seen) for seen in found.seen],
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
        ],
        "conflict": found.assignment.conflict.names() if found.assignment.conflict else [],
        "warnings": [
            {
                "card": warned.slot,
                "device": warned.device.id if warned.device else None,
                "number": warned.device.number if warned.device else None,
                "remark": warned.said.name,
                "message": warned.said.text,
            }
            for warned in found.warnings
        ],
    }


def _card(catalog: Catalog, seen: Seen) -> dict[str, Any]:
    card_id, serial = identity(catalog, seen.card.heard.raw)
    return {
        "card": seen.slot,
        "csn": seen.card.csn,
        "id": card_id,
        "serial": serial,
        "checksum_ok": seen.card.sums_right,
        "resource_bytes": len(seen.card.read.data),
        "devices": [
            device.given.as_json() | {"card": seen.slot}
            for device in seen.card.devices
            if device.given is not None and device.is_on
        ],
    }
