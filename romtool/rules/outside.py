"""Checks of what lies outside the PnP data: the chip's layout before it, its size, what follows."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.model import Compared, Image
from romtool.rules.findings import Finding, finding
from romtool.schema.field_types import number
from romtool.schema.fields import Field
from romtool.schema.image_layouts import ImageLayout
from romtool.schema.numbers import address, one_of, sizes


def unread_findings(image: Image) -> Iterator[Finding]:
    """Yield the one thing to say of bytes that hold no image: blank, zeros, no layout's."""
    for rule in ("blank", "zero"):
        pattern = image.catalog.read_faults[rule].pattern
        if image.data.count(pattern) == len(image.data):
            yield finding(image.catalog, rule, None)
            return
    if image.layout is None:
        yield finding(image.catalog, "no-frame", None)


def size_findings(image: Image) -> Iterator[Finding]:
    """Yield whether the image is of no part's length, with those next to it."""
    size, known = len(image.data), image.catalog.part_sizes
    if size not in known and image.identifier_size:
        near = [
            *[one for one in known if one < size][-1:],
            *[one for one in known if one > size][:1],
        ]
        words = {"size": size, "near": one_of([str(one) for one in near])}
        yield finding(image.catalog, "part-size", None, ("image", "size"), **words)


def outside_findings(image: Image) -> Iterator[Finding]:
    """Yield where bytes after the PnP data are neither fill nor a patch area.

    Without an end item nobody knows where the PnP data ends.
    """
    if image.end_item is None:
        return
    for run in image.runs("data"):
        words = {"size": sizes(len(run.raw)), "first": address(run.offset)}
        yield finding(image.catalog, "tail", run.offset, last=address(run.end - 1), **words)


def frame_findings(image: Image) -> Iterator[Finding]:
    """Yield what is wrong with signature, count, the frame's checksums and its limits."""
    if image.layout is None:
        return
    if image.lead is not None:
        yield finding(image.catalog, "lead-unknown", 0, size=sizes(len(image.lead)))
    for field in image.layout.computed_fields:
        found = image.computed[field.key]
        if field.kind.is_constant:
            rule = "signature"
        else:
            rule = "count" if field in image.layout.counts else "frame-checksum"
        if rule == "count" and _is_cut(image, found):
            continue
        stored, computed = (
            field.kind.show(field.kind.to_value(one)) for one in (found.stored, found.computed)
        )
        words = {"title": field.title, "stored": stored, "computed": computed}
        words["source"] = field.source
        if not found.ok:
            yield finding(image.catalog, rule, field.at, **words)
        elif found.verdict == "other way":
            words["way"] = found.way_words
            yield finding(image.catalog, "count-way", field.at, **words)
    yield from _settings(image, image.layout)
    yield from _wiring(image, image.layout)
    limit = image.layout.max_pnp_bytes
    length = image.items_end - image.identifier_at
    if limit is not None and length > limit:
        source = image.layout.source
        at = image.identifier_at
        yield finding(image.catalog, "too-long", at, length=length, limit=limit, source=source)


def _is_cut(image: Image, count: Compared) -> bool:
    """Whether the image ends before the PnP data does: what it counts is not there to be counted.

    That the end is missing is told by another rule.
    """
    if image.end_item is not None or number(count.stored) <= number(count.computed):
        return False
    return image.cut_item is not None or image.items_end == len(image.data)


def _settings(image: Image, layout: ImageLayout) -> Iterator[Finding]:
    """Yield settings that keep the card silent, and those that are odd, all in one."""
    odd: list[Field] = []
    config = image.config
    for field in layout.config_fields:
        value = config[field.key]
        if field.disables and value:
            words = {"title": field.title, "text": field.text, "key": field.key}
            words["source"] = field.source
            yield finding(image.catalog, "key-off", field.at, ("config", field.key), **words)
        elif field.is_untypical(value):
            odd.append(field)
    if odd:
        shown = [
            f"{field.title} is {field.kind.show(config[field.key])}, "
            f"typical is {field.kind.show(field.default)}"
            for field in odd
        ]
        path = ("config", odd[0].key)
        words = {"settings": "; ".join(shown), "source": odd[0].source}
        yield finding(image.catalog, "untypical", odd[0].at, path, **words)


def _wiring(image: Image, layout: ImageLayout) -> Iterator[Finding]:
    for field in layout.wiring():
        kind = field.kind
        on_bus = image.catalog.resources[kind.bus].on_bus
        lines = image.config[field.key]
        for line in sorted({on_bus(line) for line in kind.connected(lines)}):
            pins = [kind.pin_name(pin) for pin, on in enumerate(lines) if on_bus(on) == line]
            if len(pins) > 1:
                words = {"title": field.title, "pins": " and ".join(pins), "line": line}
                words |= {"unconnected": kind.unconnected, "source": field.source}
                path = ("config", field.key)
                yield finding(image.catalog, "wired-twice", field.at, path, **words)
