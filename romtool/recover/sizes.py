"""How long the part is whose read this was: a read that is cut, or that holds more."""

from __future__ import annotations

from romtool.recover.undo import State
from romtool.schema.catalog import Catalog


def part_sizes(
    catalog: Catalog, state: State, used: int, end_there: bool, part_size: int | None
) -> list[tuple[int, bool]]:
    """Return the sizes (bytes) that the part may have, and whether each is only assumed.

    `used`: bytes up to the end of what isn't fill; `end_there`: the walk comes to the end item.
    Without that, nothing is filled up: what was cut off can't be known.
    """
    length = len(state.reading)
    known = catalog.part_sizes
    if part_size is not None:
        fits = used <= part_size and (length >= part_size or end_there)
        return [(part_size, False)] if fits else [(length, False)]
    if length in known or state.sized or not end_there:
        return [(length, False)]
    if state.did("header-missing") and state.added is not None:
        # A file of the part's size: its fill begins where the frame's bytes should end.
        # Bytes before the image pushed as many off its end.
        for without in (length - state.added.size, length - state.added.size + state.dropped):
            if without in known and used <= without:
                return [(without, False)]
    if state.dropped:
        # Bytes before the image push as many off the end, unless the file grew.
        total = length + state.dropped
        if total in known:
            return [(total, False)]
    above = [size for size in known if size >= length]
    if above:
        return [(above[0], False)]
    if state.dropped or state.added:
        return [(size, True) for size in known if size >= used] or [(length, True)]
    return [(length, False)]
