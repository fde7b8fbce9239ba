"""Checks of the names that a PC shows."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.walk import Descriptor
from romtool.rules.findings import Finding, finding
from romtool.rules.view import View

FIRST, LAST = " ", "~"
"""The first and the last printable character of ASCII."""


def name_findings(view: View) -> Iterator[Finding]:
    """Yield what is wrong with names: characters that don't print, names that are cut."""
    limit = view.catalog.pnp_software.name_length
    for item in view.image.items:
        if item.record.role != "name":
            continue
        where, length = view.where([item]), len(item.content)
        yield from _characters(view, item, where)
        if length > limit:
            words = {"where": where, "length": length, "limit": limit}
            yield finding(view.catalog, "name-long", item.offset, **words)


def _characters(view: View, item: Descriptor, where: str) -> Iterator[Finding]:
    """Yield the first character of each sort that doesn't belong into a name."""
    at = item.record.header.size
    bad = [(place, code) for place, code in enumerate(item.content) if not _plain(code)]
    control = next(((p, c) for p, c in bad if c < ord(FIRST)), None)
    high = next(((p, c) for p, c in bad if c > ord(LAST)), None)
    for rule, found in (("name-control", control), ("name-bytes", high)):
        if found is not None:
            place, code = found
            words = {"where": where, "code": f"{code:02X}h", "place": place + 1}
            yield finding(view.catalog, rule, item.offset + at + place, **words)


def _plain(code: int) -> bool:
    return ord(FIRST) <= code <= ord(LAST)
