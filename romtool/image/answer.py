"""An image as the JSON answer that scripts read: every byte in exactly one place."""

from __future__ import annotations

from typing import Any

from romtool.image.card import Device, card_of, entry_of, id_in
from romtool.image.model import Compared, Image
from romtool.schema.numbers import hex_text


def image_json(image: Image, part: str | None) -> dict[str, Any]:
    """Return the answer of `inspect --json` for one image, without its findings."""
    parts = [found.name for found in image.catalog.parts_of(len(image.data))]
    return {
        "layout": image.layout_name,
        "lead": None if image.lead is None else hex_text(image.lead),
        "source": image.layout.source if image.layout_name and image.layout else None,
        "part": part or (parts[0] if len(parts) == 1 else None),
        "parts": parts,
        "size": len(image.data),
        "frame": _frame(image),
        "config": image.config,
        "card": _card(image),
        "devices": _devices(image),
        "end": _end(image),
        "items": [
            {
                "offset": item.offset,
                "raw": hex_text(item.raw),
                "record": item.record.name,
                "fields": item.values,
            }
            for item in image.items
        ],
        "tail": [
            {"offset": run.offset, "raw": hex_text(run.raw), "kind": run.kind} for run in image.tail
        ],
    }


def _compared(found: Compared | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {"stored": found.stored, "computed": found.computed, "ok": found.ok}


def _frame(image: Image) -> list[dict[str, Any]]:
    rows = []
    for unit, raw in image.layout_units():
        row: dict[str, Any] = {"offset": unit.at, "raw": hex_text(raw), "fields": {}}
        for field in unit.fields:
            row["fields"][field.key] = image.layout_values[field.key]
            found = image.computed.get(field.key)
            if found is not None:
                row["ok"] = found.ok
        rows.append(row)
    return rows


def _card(image: Image) -> dict[str, Any] | None:
    if image.layout is None or not image.identifier_size:
        return None
    card = card_of(image)
    values = {
        field.key: image.identifier_values[0][field.key]
        for field in image.catalog.identifier.field_layout.fields
        if not field.kind.is_computed
    }
    values[image.catalog.identifier.id_field.key] = image.card_id
    version = card.version.values if card.version else {}
    return {
        **values,
        "name": card.name.key_value if card.name else None,
        "checksum": _compared(image.id_checksum),
        **{f.key: version.get(f.key) for f in image.catalog.by_role["version"].profile_fields},
        "offset": image.identifier_at,
        "raw": hex_text(image.identifier_raw),
        "resources": [entry_of(image, item) for item in card.items],
    }


def _devices(image: Image) -> list[dict[str, Any]]:
    if image.layout is None:
        return []
    return [_device(image, device) for device in card_of(image).devices]


def _device(image: Image, device: Device) -> dict[str, Any]:
    return {
        **{f.key: device.values.get(f.key) for f in device.start.record.profile_fields},
        device.start.record.key_field.key: device.id,
        "name": device.name.key_value if device.name else None,
        "compatible": [id_in(item) for item in device.compatible],
        "resources": [entry_of(image, item) for item in device.items],
        "choices": [
            {
                "priority": choice.priority,
                "resources": [entry_of(image, item) for item in choice.items],
            }
            for choice in device.choices
        ],
        "resources_after": [entry_of(image, item) for item in device.after],
    }


def _end(image: Image) -> dict[str, Any] | None:
    end = image.end_item
    if end is None:
        return None
    return {"offset": end.offset, "checksum": _compared(image.end_checksum)}
