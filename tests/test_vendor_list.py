"""Vendor letters compared with the registered list (Debian's hwdata, pnp.ids)."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from romtool.files.schemas import load_catalog
from romtool.schema.field_types import CompressedAscii

LIST = Path("/usr/share/hwdata/pnp.ids")


def vendors() -> list[str]:
    """Return the registered three-letter IDs, or skip; in CI the list must be there."""
    if not LIST.exists():
        reason = "pnp.ids (Debian hwdata) is not installed"
        if os.environ.get("ROMTOOL_CI") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    lines = LIST.read_text(encoding="utf-8", errors="replace").splitlines()
    return [line.split("\t")[0] for line in lines if "\t" in line and len(line.split("\t")[0]) == 3]


def test_registered_ids_are_spelt_and_read_back() -> None:
    """Every registered vendor packs into four bytes and comes back (Spec 6.1)."""
    kind = load_catalog().identifier.id_field.kind
    assert isinstance(kind, CompressedAscii)
    found = vendors()
    assert len(found) > 1000
    for vendor in found:
        stored = kind.to_stored(f"{vendor}1A2F")
        # Five bits a letter from bit 14 of the first two bytes down, A = 1 (Spec 6.1).
        letters = [stored >> shift & 31 for shift in (26, 21, 16)]
        assert "".join(chr(ord("@") + letter) for letter in letters) == vendor.upper()
        assert stored & 0xFFFF == 0x1A2F
        assert kind.to_value(stored) == f"{vendor.upper()}1A2F"


def test_the_vendor_of_the_samples_is_invented() -> None:
    assert "QRL" not in vendors()
