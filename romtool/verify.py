"""A readback compared with what should have been burnt: each differing byte with its field."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from romtool.image.decode import decode
from romtool.image.model import Image


class Difference(NamedTuple):
    """A byte that differs; `expected` or `found` is None past the end of one of the two."""

    offset: int
    expected: int | None
    found: int | None
    field: str

    def as_json(self) -> dict[str, Any]:
        """Return the difference as in the JSON answers."""
        return self._asdict()


def differences(readback: bytes, expected: Image) -> list[Difference]:
    """Return the bytes in which a readback is not what `expected` should have put there.

    Where one of the two is resource data alone, only the PnP data is compared.
    """
    if readback == expected.data:
        return []
    from romtool.image.explain import explain, rows_by_byte

    stop = len(expected.data)
    read = decode(expected.catalog, readback)
    if bool(read.identifier_size) != bool(expected.identifier_size):
        # One of them is resource data alone: the PnP data is all that they can share.
        readback, stop = expected.data[: expected.items_at] + read.items_raw, expected.items_end
    rows = rows_by_byte(explain(expected))
    found = []
    for offset in range(max(len(readback), stop)):
        want = expected.data[offset] if offset < stop else None
        have = readback[offset] if offset < len(readback) else None
        if want != have:
            row = rows[offset] if want is not None else None
            changed = 0xFF if want is None or have is None else want ^ have
            field = row.field_at(offset, changed) if row is not None else "after the image"
            found.append(Difference(offset, want, have, field))
    return found


def together(found: Sequence[Difference]) -> list[list[Difference]]:
    """Return differences in runs: bytes side by side that belong to one field."""
    runs: list[list[Difference]] = []
    for one in found:
        if runs and _continues(runs[-1][-1], one):
            runs[-1].append(one)
        else:
            runs.append([one])
    return runs


def _continues(before: Difference, one: Difference) -> bool:
    """Whether a byte goes on where the one before it was, in both images or in the same one."""
    return (
        before.offset + 1 == one.offset
        and before.field == one.field
        and (before.expected is None) == (one.expected is None)
        and (before.found is None) == (one.found is None)
    )
