"""The commands that a capture shows, whatever the bus."""

from __future__ import annotations

from typing import NamedTuple


class Command(NamedTuple):
    """One command: when (in units of the recording), what, to which part and address.

    `part`: 7-bit address, None on a three-wire bus; `address`: of a byte, None where there is none
    or a read's start is not known; `answered`: the part acknowledged all that it should, None where
    a bus has no answers; `took`: it was carried out, None where the capture can't tell; `whole`:
    it was not broken off.
    """

    time: float
    end: float
    kind: str
    part: int | None
    address: int | None
    data: bytes
    answered: bool | None
    took: bool | None
    whole: bool = True
    locked: bool = False
    """The line that protects the part from writing was at its locking level."""
    bits: int = 8
    """Bits of a word."""
    enabled: bool | None = None
    """Writing was enabled before, as far as the capture shows; None where it doesn't."""
    is_cut: bool = False
    """The capture ends in it."""
    called: bool = True
    """The part acknowledged its own address, whatever came of the rest."""
