"""The whole catalogue of checks over an image."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from romtool.image.model import Image
from romtool.rules.choices import choice_findings
from romtool.rules.collisions import collision_findings
from romtool.rules.devices import device_findings
from romtool.rules.findings import Finding
from romtool.rules.items import identifier_findings, item_findings
from romtool.rules.lines import line_findings
from romtool.rules.order import order_findings
from romtool.rules.outside import frame_findings, outside_findings, size_findings, unread_findings
from romtool.rules.ranges import range_findings
from romtool.rules.view import View

if TYPE_CHECKING:
    from romtool.schema.expect import Expectation

SEVERITIES = ("error", "warning", "note")


def check(image: Image, expectations: Sequence[Expectation] = ()) -> list[Finding]:
    """Return what is wrong with an image, in the order of its bytes, errors first at a place.

    `expectations`: software whose conventions are checked too.
    """
    found = list(unread_findings(image)) or _read_findings(View(image))
    found += size_findings(image)
    if expectations:
        from romtool.rules.expect import expect_findings, functions_found

        for expectation in expectations:
            functions = functions_found(image, expectation)
            found += expect_findings(image, expectation, functions)
    return in_order(found)


def in_order(found: Iterable[Finding]) -> list[Finding]:
    """Return findings in the order of the bytes, errors first at a place."""
    return sorted(found, key=lambda f: (f.offset or 0, SEVERITIES.index(f.severity)))


def _read_findings(view: View) -> list[Finding]:
    return [
        *frame_findings(view.image),
        *identifier_findings(view.image),
        *item_findings(view),
        *order_findings(view),
        *device_findings(view),
        *line_findings(view),
        *range_findings(view),
        *choice_findings(view),
        *collision_findings(view),
        *outside_findings(view.image),
    ]
