"""Checks of what stands before the items: the frame and the serial identifier."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.decode import usual_id
from romtool.image.model import Compared, Image
from romtool.rules.findings import Finding, finding
from romtool.schema.fields import Field
from romtool.schema.kinds import Constant, Count, Pins, Spelled
from romtool.schema.numbers import address, hex_text


def frame_findings(image: Image) -> Iterator[Finding]:
    """Yield what is wrong with signature, count, the frame's checksums and its limits."""
    if image.frame is None:
        yield finding(image.catalog, "no-frame", None)
        return
    for field in image.frame.computed_fields:
        found = image.computed[field.key]
        if isinstance(field.kind, Constant):
            rule = "signature"
        elif isinstance(field.kind, Count):
            rule = "count"
        else:
            rule = "frame-checksum"
        if not found.ok:
            yield finding(image.catalog, rule, field.at, **_words(field, found))
        elif found.way is not None:
            words = _words(field, found)
            way = found.way.replace("-", " ")
            yield finding(image.catalog, "count-way", field.at, way=way, **words)
    for field in image.frame.config_fields:
        if field.warn and image.config[field.key]:
            words = {"title": field.title, "text": field.text, "key": field.key}
            yield finding(image.catalog, "setting", field.at, ("config", field.key), **words)
    yield from _wiring(image)
    limit = image.frame.max_pnp_bytes
    length = image.items_end - image.identifier_at
    if limit is not None and length > limit:
        at = image.identifier_at
        yield finding(image.catalog, "too-long", at, length=length, limit=limit)


def _wiring(image: Image) -> Iterator[Finding]:
    for field in image.frame.config_fields if image.frame else ():
        kind = field.kind
        if not isinstance(kind, Pins):
            continue
        lines = image.config[field.key]
        for line in sorted(kind.connected(lines)):
            pins = [kind.pin_name(pin) for pin, on in enumerate(lines) if on == line]
            if len(pins) > 1:
                words = {"title": field.title, "pins": " and ".join(pins), "line": line}
                words["unconnected"] = kind.unconnected
                path = ("config", field.key)
                yield finding(image.catalog, "wired-twice", field.at, path, **words)


def _words(field: Field, found: Compared) -> dict[str, str]:
    def show(value: object) -> str:
        if isinstance(value, bytes):
            return hex_text(value)
        if isinstance(field.kind, Count):
            return str(value)
        return address(int(str(value)))

    stored, computed = show(found.stored), show(found.computed)
    return {"title": field.title, "stored": stored, "computed": computed}


def identifier_findings(image: Image) -> Iterator[Finding]:
    """Yield what is wrong with the serial identifier."""
    found = image.id_checksum
    if image.frame is None or found is None:
        return
    at = image.items_at - 1
    if not found.ok:
        yield finding(
            image.catalog,
            "id-checksum",
            at,
            stored=f"{found.stored:02X}h",
            computed=f"{found.computed:02X}h",
        )
    elif found.computed == 0:
        yield finding(image.catalog, "id-checksum-zero", at)
    field = image.catalog.identifier.id_field
    assert isinstance(field.kind, Spelled)
    at, words = image.identifier_at, {"what": field.title, "id": image.card_id}
    if image.card_id is None:
        raw = hex_text(image.identifier_raw[field.at :][: field.size])
        yield finding(image.catalog, "id-unspelt", at, what=field.title, raw=raw)
    elif not usual_id(image):
        yield finding(image.catalog, "id-letters", at, **words)
    elif field.kind.spelling.is_generic(image.card_id):
        yield finding(image.catalog, "id-generic", at, **words)
