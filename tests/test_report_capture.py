"""The page about an image and a capture of its EEPROM's bus.

The capture is that of the tour, made by tests/support with another hand's writer; what a chip reads
of its EEPROM at power-up is common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.report.bytemap import ACROSS, CELL, LEFT, byte_map
from romtool.report.regions import regions
from tests.support.pages import by_id, parsed, text, with_class
from tests.support.tool import built, romtool, told

ROOT = Path(__file__).resolve().parent.parent
CARD = ROOT / "samples" / "hollow-lane.toml"
CAPTURE = ROOT / "samples" / "tour" / "power-up.vcd"
CATALOG = load_catalog()


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    folder = tmp_path_factory.mktemp("page")
    run = romtool("report", str(CARD), "--capture", str(CAPTURE), "-o", "card.html", cwd=folder)
    assert run.returncode == 0, told(run)
    return (folder / "card.html").read_bytes()


def test_what_the_chip_read_is_told(page: bytes) -> None:
    root = parsed(page)
    assert text(by_id(root, "conversation")) == "What the chip read"
    talk = with_class(root, "talk")[0]
    assert [one for one in talk.iter() if "read" in (one.get("class") or "").split()]
    assert with_class(root, "unread"), "what it didn't read is veiled"
    assert b"power-up.vcd" in page
    assert str(ROOT).encode() not in page, "only the names of files"


def test_what_was_not_read_is_veiled_byte_by_byte(tmp_path: Path) -> None:
    """A chip that read the first 18 bytes: the rest of the second line is veiled."""
    data = built(CARD.read_text(encoding="utf-8"), tmp_path)
    cut = regions(decode(CATALOG, data))
    first = byte_map(data, cut, frozenset(range(18)), 18)[0]
    assert {(box.x, box.width) for box in first.unread} == {
        (LEFT + 2 * CELL, 14 * CELL),
        (LEFT, ACROSS * CELL),
    }
    assert first.stopped is not None
    assert not byte_map(data, cut)[0].unread
