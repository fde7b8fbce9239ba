"""Checks of what is no PnP data: a read of nothing, bytes after the end."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.model import Image
from romtool.rules.findings import Finding, finding
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
