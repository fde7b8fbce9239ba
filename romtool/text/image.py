"""An image for people: frame and wiring, card, devices with their choices, checksums, the rest."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from romtool.image.card import Device, card_of, id_in
from romtool.image.model import Compared, Image
from romtool.image.walk import Descriptor
from romtool.rules.findings import Finding
from romtool.schema.field_types import AnyKind
from romtool.schema.numbers import hex_text, one_of, sizes
from romtool.text import findings as finding_text
from romtool.text.page import SETTING, line, title, width, wrapped

if TYPE_CHECKING:
    from romtool.image.explain import Row

MEANING = 33
"""The column of what bytes mean, after their address and eight of them."""


def image_lines(
    image: Image, name: str, part: str | None, findings: Sequence[Finding]
) -> Iterator[str]:
    """Yield what a person reads of an image."""
    size = len(image.data)
    parts = [part] if part else [found.name for found in image.catalog.parts_of(size)]
    what = one_of(parts) if parts else "no part's length"
    yield from title(name, f"{size} bytes ({what})")
    yield ""
    yield from _frame(image)
    if image.layout is not None:
        yield from _card(image)
    yield from _tail(image)
    yield ""
    yield from line("Findings", finding_text.counted(findings))
    for finding in findings:
        yield from finding_text.block(finding)


def _frame(image: Image) -> Iterator[str]:
    layout = image.layout
    if layout is None:
        yield from line("Layout", "none fits these bytes")
        return
    yield from line("Layout", f"{layout.name}: {layout.title}")
    if layout.source:
        yield from line("source", layout.source, indent=2, column=SETTING)
    for field in layout.computed_fields:
        found = image.computed[field.key]
        words = compared(found, field.kind)
        yield from line(field.title, words, indent=2, column=SETTING)
    typical = 0
    for field in layout.config_fields:
        value = image.config[field.key]
        if field.is_worth_telling(value):
            words = field.kind.show(value)
            usual = field.is_default(value) or field.kind.is_wiring
            if not usual and field.kind.is_on(value) is None:
                words += f" (typical: {field.kind.show(field.default)})"
            yield from line(field.title, words, indent=2, column=SETTING)
        else:
            typical += 1
    if typical:
        yield from line("the rest", f"{typical} settings, all typical", indent=2, column=SETTING)


def compared(found: Compared, kind: AnyKind) -> str:
    """Return a stored value, and whether it is right."""
    words = kind.show(kind.to_value(found.stored))
    if found.verdict == "other way":
        return f"{words}, counted {found.way_words}"
    if found.verdict == "right" and kind.is_constant:
        return f"{words}, as it must be"
    return f"{words}, {found.judgement(kind)}"


def _card(image: Image) -> Iterator[str]:
    card, values = card_of(image), image.identifier_values[0]
    yield ""
    name = f"  {card.name.key_value}" if card.name else ""
    spelt = image.card_id or ("no ID can be spelt" if image.identifier_size else "no identifier")
    yield from line("Card", f"{spelt}{name}")
    for field in image.catalog.identifier.field_layout.fields:
        if field is image.catalog.identifier.id_field or image.id_checksum is None:
            continue
        is_check = field is image.catalog.identifier.check_field
        shown = (
            compared(image.id_checksum, field.kind)
            if is_check
            else field.kind.show(values[field.key])
        )
        yield from line(field.title, shown, indent=2, column=SETTING)
    if card.version is not None:
        yield from line("version", card.version.words, indent=2, column=SETTING)
    for item in card.items:
        yield from line("also", item.words, indent=2)
    for number, device in enumerate(card.devices, 1):
        yield ""
        yield from _device(device, number)
    if image.end_checksum is not None:
        yield ""
        yield from line(
            "End", f"checksum {compared(image.end_checksum, image.catalog.end_field.kind)}"
        )


def _device(device: Device, number: int) -> Iterator[str]:
    record = device.start.record
    name = f"  {device.name.key_value}" if device.name else ""
    yield from line(f"Device {number}", f"{device.id}{name}")
    if device.compatible:
        ids = ", ".join(map(id_in, device.compatible))
        yield from line("compatible with", ids, indent=2)
    for field in record.profile_fields[1:] if device.values else ():
        if not field.is_default(device.values[field.key]):
            yield from line(field.title, field.kind.show(device.values[field.key]), indent=2)
    label = "always" if device.choices or device.after else "needs"
    yield from _listed(label, device.items)
    for index, choice in enumerate(device.choices, 1):
        yield from line(f"choice {index}", choice.words, indent=2)
    if device.groups and device.groups[-1].end is None:
        yield from line("", "(these choices are never closed)", indent=2)
    yield from _listed("and always", device.after)


def _listed(label: str, items: Sequence[Descriptor]) -> Iterator[str]:
    for index, item in enumerate(items):
        yield from line("" if index else label, item.words, indent=2)


def _tail(image: Image) -> Iterator[str]:
    yield ""
    if image.layout is None:
        yield from line("Bytes", f"{sizes(len(image.data))} that no layout explains")
        return
    label = "After the PnP data"
    for run in image.tail:
        if run.kind == "fill":
            continue
        kind = {"patch": "a patch area of ", "data": "other data, "}[run.kind]
        words = f"{kind}{sizes(len(run.raw))} at {run.offset:X}h"
        yield from line(label, words)
        label = ""
    fill = sum(len(run.raw) for run in image.tail if run.kind == "fill")
    yield from line(label, f"{sizes(fill)} unused, filled with {image.fill:02X}h")


def byte_lines(image: Image) -> Iterator[str]:
    """Yield every byte with its meaning, eight a line; of a long run of one byte only one line."""
    from romtool.image.explain import explain

    owner = ""
    for row in explain(image):
        if row.owner != owner:
            owner = row.owner
            yield ""
            yield from title(owner[0].upper() + owner[1:])
        yield from _row(row)


def _row(row: Row) -> Iterator[str]:
    data = [row.raw[at : at + 8] for at in range(0, len(row.raw), 8)]
    if len(data) > 2 and len(set(row.raw)) == 1:
        data = [row.raw[:8]]
    columns = width() - MEANING
    words = [part for meaning in row.meanings or [""] for part in wrapped(meaning, columns, "  ")]
    for index in range(max(len(data), len(words))):
        raw = hex_text(data[index]) if index < len(data) else ""
        address = f"{row.offset + 8 * index:04X}" if index < len(data) else ""
        text = words[index] if index < len(words) else ""
        yield f"  {address:4}  {raw:23}  {text}".rstrip()
