"""The whole catalogue of checks over an image."""

from __future__ import annotations

from collections.abc import Sequence

from romtool.image.model import Image
from romtool.rules.findings import Finding
from romtool.rules.frame import frame_findings, identifier_findings
from romtool.rules.items import item_findings
from romtool.rules.order import order_findings
from romtool.schema.expect import Expectation

SEVERITIES = ("error", "warning", "note")


def check(image: Image, expectations: Sequence[Expectation] = ()) -> list[Finding]:
    """Return what is wrong with an image, in the order of its bytes, errors first at a place.

    `expectations`: software whose conventions are checked too.
    """
    found = [
        *frame_findings(image),
        *identifier_findings(image),
        *item_findings(image),
        *order_findings(image),
    ]
    if expectations:
        from romtool.rules.expect import expect_findings

        for expectation in expectations:
            found += expect_findings(image, expectation)
    return sorted(found, key=lambda f: (f.offset or 0, SEVERITIES.index(f.severity)))
