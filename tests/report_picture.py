"""The README's picture: the top of the sample's report, as a browser shows it.

`python -m tests.report_picture` makes samples/tour/report.png anew. The same browser and fonts make
the same bytes.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from tests.support.browser import browser
from tests.support.tool import romtool, told

ROOT = Path(__file__).resolve().parent.parent
PICTURE = ROOT / "samples" / "tour" / "report.png"
WIDTH = 1000
CLIP = {"x": 16, "y": 48, "width": 968, "height": 1046}
"""Pixels: down to the end of the byte map."""

POINTED = "#boxes a[href='#b0012']"
"""The box that explains itself: the IRQ wiring."""


def picture() -> bytes:
    """The picture as PNG."""
    with tempfile.TemporaryDirectory() as name, browser() as opened:
        page = Path(name) / "page.html"
        run = romtool("report", "samples/hollow-lane.toml", "-o", str(page), cwd=ROOT)
        assert run.returncode == 0, told(run)
        opened.view(page, WIDTH, 1200)
        opened.run("document.querySelector(arguments[0]).focus({ preventScroll: true })", POINTED)
        return opened.picture(CLIP)


if __name__ == "__main__":
    PICTURE.write_bytes(picture())
