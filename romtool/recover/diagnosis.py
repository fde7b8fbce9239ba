"""A readback that isn't what it should be, named: the fault that makes it of what was expected."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from romtool.image.model import Image
from romtool.recover.name import name
from romtool.recover.reading import Reading
from romtool.recover.undo import State, ways
from romtool.schema.catalog import ReadFault

TRUNCATED = "truncated"


@dataclass(frozen=True)
class Diagnosis:
    """What happened to a readback: its faults, in the order in which `recover` undoes them.

    `title`: in words. `undoable`: the expected image comes of it if they are undone; if not,
    nothing of it is left in the readback.
    """

    title: str
    faults: tuple[ReadFault, ...]
    undoable: bool

    def as_json(self) -> list[dict[str, Any]]:
        """Return the faults as in the JSON answers."""
        return [{"name": m.name, "title": m.title, "check": m.check} for m in self.faults]


def diagnose(readback: bytes, expected: Image) -> Diagnosis | None:
    """Return what makes just this readback of the expected image; None where nothing known does.

    One fault or two, as `recover` undoes them; each byte of the readback must then be as
    expected, but for bits that such a fault loses.
    """
    catalog, reading = expected.catalog, Reading.of(readback)
    named = name(catalog, reading)
    if named is not None:
        return Diagnosis(named.title, (named.fault,), undoable=False)
    for state in ways(catalog, State(reading), expected.layout):
        names = _names(state, expected.data)
        if names:
            faults = tuple(catalog.read_faults[one] for one in names)
            title = " and ".join(fault.title for fault in faults)
            return Diagnosis(title, faults, undoable=True)
    return None


def _names(state: State, expected: bytes) -> list[str]:
    """Return the faults that were undone if what came of it is as expected; else none."""
    lost = state.added.size if state.added else 0
    found, want = state.reading.part(lost), expected[lost:]
    common = min(len(found), len(want))
    stop = found.data[common:]
    if state.unaligned or not common or not _agree(found, want[:common]) or len(set(stop)) > 1:
        return []
    if lost and state.dropped:
        # A frame that was misread, not one that is missing.
        return []
    names = [done.name for done in state.steps]
    if len(found) + state.dropped < len(want):
        return [*names, TRUNCATED]
    return names


def _agree(found: Reading, want: bytes) -> bool:
    """Whether all bits that are known, of so many bytes, are as wanted."""
    size = len(want)
    have, unknown = (int.from_bytes(side[:size], "big") for side in (found.data, found.unknown))
    return not (have ^ int.from_bytes(want, "big")) & ~unknown
