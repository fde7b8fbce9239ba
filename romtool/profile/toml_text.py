"""A profile's tables as TOML text that a person would have written, with the schema's comments."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from romtool.schema.catalog import Catalog
from romtool.schema.field_types import AnyKind
from romtool.schema.image_layouts import ImageLayout
from romtool.schema.numbers import parse_hex

EDITOR_LINE = "#:schema ./profile.schema.json"
"""The comment by which editors that know TOML find a JSON Schema, beside the profile."""

WIDTH = 78
WIDE = 100
"""So far may a comment after a setting reach."""
SETTING = 24
"""So wide are settings that have their comment after them."""
RAW_LINE = 16
"""Bytes a line, where a run of bytes takes several lines."""

_ESCAPES = {"\\": "\\\\", '"': '\\"'}


def comment(text: str) -> Iterator[str]:
    """Yield a text as comment lines."""
    lines = [text.strip()]
    if len(text) > WIDTH - 2 or not text.isprintable() or not text:
        import textwrap  # which few profiles need

        lines = textwrap.wrap(text, WIDTH - 2)
    for line in lines:
        yield f"# {line}"


def string(text: str) -> str:
    """Return a text as a TOML string."""
    return '"' + "".join(_ESCAPES.get(char, char) for char in text) + '"'


def scalar(value: Any, kind: AnyKind | None = None) -> str:
    """Return a TOML value; numbers are written the way the field's kind is shown."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        form = getattr(kind, "form", "decimal")
        if kind is not None and form == "hex":
            return f"0x{value:0{(kind.bits + 3) // 4}X}"
        return f"0x{value:X}" if form != "decimal" else str(value)
    if isinstance(value, list):
        return f"[{', '.join(scalar(item, kind) for item in value)}]"
    return string(str(value))


def raw_value(text: str) -> str:
    """Return bytes as a TOML string, over several lines where they are many."""
    data = parse_hex(text)
    if len(data) <= RAW_LINE:
        return string(text)
    lines = (data[at : at + RAW_LINE].hex(" ").upper() for at in range(0, len(data), RAW_LINE))
    return '"""\n' + "\n".join(lines) + '"""'


def profile_toml(catalog: Catalog, tables: Mapping[str, Any], heading: list[str]) -> str:
    """Return the TOML text of a profile's tables; `heading`: lines of comment at its top."""
    lines = [EDITOR_LINE, ""]
    for text in heading:
        lines += comment(text)
    lines += ["", *_image(catalog, tables["image"])]
    layout = catalog.all_layouts.get(tables["image"].get("layout", catalog.default_layout.name))
    if "card" in tables and layout is not None:
        lines += _config(layout, tables.get("config", {}))
        lines += ["", "[card]", *_card(catalog, tables["card"])]
    for index, device in enumerate(tables.get("device", [])):
        lines += ["", "[[device]]", *_device(catalog, device, first=index == 0)]
    if "override" in tables and layout is not None:
        lines += _override(catalog, layout, tables["override"])
    return "\n".join(lines) + "\n"


def _image(catalog: Catalog, image: Mapping[str, Any]) -> Iterator[str]:
    keys = catalog.tables["image"].keys
    yield "[image]"
    for key, value in image.items():
        if key == "layout":
            layout = catalog.all_layouts[value]
            yield from comment(f"{layout.title} ({layout.source})")
            yield f"layout = {string(value)}"
        elif key == "tail":
            yield from comment(keys[key].text)
            yield "tail = ["
            for run in value:
                yield f"  {{ at = 0x{run['at']:X}, raw = {raw_value(run['raw'])} }},"
            yield "]"
        elif key in ("lead", "patch", "raw"):
            yield from comment(keys[key].text)
            yield f"{key} = {raw_value(value)}"
        elif key == "fill":
            yield f"fill = 0x{value:02X}"
        else:
            yield f"{key} = {scalar(value)}"


def _config(layout: ImageLayout, config: Mapping[str, Any]) -> Iterator[str]:
    """Yield the configuration: what is left out stands as a comment, with its typical value."""
    if not layout.config_fields:
        return
    yield ""
    yield "[config]"
    if len(config) < len(layout.config_fields):
        yield from comment(
            "settings with # before them are left out: the typical values shown then hold"
        )
    for field in layout.config_fields:
        words = f"{field.title}: {field.text}" if field.text else field.title
        if field.key in config:
            setting = f"{field.key} = {scalar(config[field.key], field.kind)}"
        else:
            setting = f"# {field.key} = {scalar(field.default, field.kind)}"
        if len(setting) <= SETTING and SETTING + len(words) + 4 <= WIDE:
            yield f"{setting:{SETTING}}  # {words}"
        else:
            yield from comment(words)
            yield setting


def _card(catalog: Catalog, card: Mapping[str, Any]) -> Iterator[str]:
    fields = {f.key: f for f in catalog.identifier.field_layout.fields}
    fields |= {f.key: f for f in catalog.by_role["version"].profile_fields}
    for key, spec in catalog.tables["card"].keys.items():
        if key == "resources" and key in card:
            yield from comment(spec.text)
            yield from _entries(catalog, key, card[key])
        elif key in card:
            kind = fields[key].kind if key in fields else None
            yield f"{key} = {scalar(card[key], kind)}"
        elif key == catalog.identifier.serial_field.key and catalog.identifier.id_field.key in card:
            yield from comment(f"{key}: {spec.text}")


def _device(catalog: Catalog, device: Mapping[str, Any], *, first: bool) -> Iterator[str]:
    """Yield a device; its choices come last, since no key of its own can follow their tables."""
    kinds = {f.key: f.kind for f in catalog.by_role["device"].profile_fields}
    keys = catalog.tables["device"].keys
    for key in keys:
        if key == "choice" or key not in device:
            continue
        if key == "resources_after":
            yield from comment(keys[key].text)
        if key in ("resources", "resources_after"):
            yield from _entries(catalog, key, device[key])
        else:
            yield f"{key} = {scalar(device[key], kinds.get(key))}"
    for index, choice in enumerate(device.get("choice", [])):
        yield ""
        if first and index == 0:
            yield from comment(keys["choice"].text)
        yield "[[device.choice]]"
        for key, value in choice.items():
            if key != "resources":
                yield f"{key} = {scalar(value)}"
        yield from _entries(catalog, "resources", choice.get("resources", []))


def _entries(catalog: Catalog, key: str, entries: list[Any]) -> Iterator[str]:
    if not entries:
        return
    texts = [entry_text(catalog, entry) for entry in entries]
    if len(texts) == 1 and "\n" not in texts[0] and len(texts[0]) < WIDTH - 16:
        yield f"{key} = [{texts[0]}]"
        return
    yield f"{key} = ["
    for text in texts:
        yield f"  {text},"
    yield "]"


def entry_text(catalog: Catalog, entry: Mapping[str, Any]) -> str:
    """Return one entry as an inline table, its numbers the way the trade writes them."""
    if "raw" in entry:
        return f"{{ raw = {raw_value(entry['raw'])} }}"
    record = catalog.entries[next(key for key in entry if key in catalog.entries)][0]
    words = []
    for field_key, value in entry.items():
        field = record.field_layout.by_key.get(field_key)
        words.append(f"{field_key} = {scalar(value, field.kind if field is not None else None)}")
    return "{ " + ", ".join(words) + " }"


def _override(catalog: Catalog, layout: ImageLayout, override: Mapping[str, Any]) -> Iterator[str]:
    yield ""
    yield from comment(catalog.tables["profile"].keys["override"].text)
    yield "[override]"
    for key, value in override.items():
        if isinstance(value, int):
            yield f"{key} = 0x{value:02X}"
        else:
            yield f"{key} = {scalar(value)}"
