"""A finding: data first; text, JSON and pages are renderings of it."""

from __future__ import annotations

from typing import Any, NamedTuple

from romtool.errors import Path
from romtool.schema.catalog import Catalog


class Finding(NamedTuple):
    """What a rule found: where (offset in the image), how bad, what, what to do, by which source.

    `path` is the profile's key that decides it, where that is not the key that the byte came from;
    `line` and `column` are the place in the profile, if the image was built from one.
    """

    rule: str
    severity: str
    offset: int | None
    message: str
    hint: str
    source: str
    path: Path | None = None
    line: int | None = None
    column: int | None = None

    def as_json(self) -> dict[str, Any]:
        """Return the finding as in the JSON answers."""
        where = {"offset": self.offset} if self.line is None else {"line": self.line}
        return {
            "rule": self.rule,
            "severity": self.severity,
            **where,
            "message": self.message,
            "hint": self.hint,
            "source": self.source,
        }


def finding(
    catalog: Catalog, rule: str, offset: int | None, path: Path | None = None, /, **words: object
) -> Finding:
    """Return what the rule says with these words filled in.

    `source`, where it is among them, is that of the facts that the finding rests on.
    """
    found = catalog.rules[rule]
    return Finding(
        rule,
        found.severity,
        offset,
        found.message.format_map(words),
        found.hint.format_map(words),
        str(words.get("source", found.source)),
        path,
    )
