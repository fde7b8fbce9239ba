"""The whole catalogue of checks over an image."""

from __future__ import annotations

from romtool.image.model import Image
from romtool.rules.findings import Finding
from romtool.rules.frame import frame_findings, identifier_findings
from romtool.rules.items import item_findings
from romtool.rules.order import order_findings

SEVERITIES = ("error", "warning", "note")


def check(image: Image) -> list[Finding]:
    """Return what is wrong with an image, in the order of its bytes, errors first at a place."""
    found = [
        *frame_findings(image),
        *identifier_findings(image),
        *item_findings(image),
        *order_findings(image),
    ]
    return sorted(found, key=lambda f: (f.offset or 0, SEVERITIES.index(f.severity)))
