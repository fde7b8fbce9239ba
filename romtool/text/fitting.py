"""What was taken out of a profile to make it fit a board, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.profile.fitting import Removal
from romtool.schema.catalog import Catalog


def removal_lines(catalog: Catalog, removed: Sequence[Removal]) -> Iterator[str]:
    """Yield a line for each thing that was taken out; of a device counted from 1."""
    for one in removed:
        where = f"device {one.number + 1}, {one.device}"
        if one.lines:
            choice = "" if one.choice is None else f", choice {one.choice + 1}"
            title = catalog.resources[one.kind].short
            lines = ", ".join(str(line) for line in one.lines)
            yield f"  {where}{choice}: {title} {lines} taken out, no pin is wired to it"
        elif one.choice is not None:
            yield f"  {where}, choice {one.choice + 1}: taken out, no line is left for it"
        else:
            yield f"  {where}: taken out"
