"""What a capture shows, as data: findings in the builder's words."""

from __future__ import annotations

from typing import Any, NamedTuple

from romtool.schema.catalog import Catalog


class BusFinding(NamedTuple):
    """A finding: `time` in seconds, `offset` in the part, where it has one."""

    rule: str
    severity: str
    time: float | None
    offset: int | None
    message: str
    hint: str
    source: str

    def as_json(self) -> dict[str, Any]:
        """Return the finding as in the JSON answers."""
        return self._asdict()


def bus_finding(
    catalog: Catalog,
    name: str,
    time: float | None = None,
    offset: int | None = None,
    /,
    **words: object,
) -> BusFinding:
    """Return what the schema says of this observation, with these words filled in."""
    found = catalog.observations[name]
    return BusFinding(
        name,
        found.severity,
        time,
        offset,
        found.message.format_map(words),
        found.hint.format_map(words),
        found.source,
    )
