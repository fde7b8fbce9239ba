"""Tables gathered from all schema files, with the faults that are found in them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from romtool.errors import Problem, Path


class SchemaFile(NamedTuple):
    """One schema file: its name for messages, and its text."""

    name: str
    text: str
    own: bool = True


class Tables:
    """The tables of all files; what a table refuses is collected, and the next one is looked at."""

    def __init__(self, parsed: list[tuple[SchemaFile, dict[str, Any]]]) -> None:
        self.parsed = parsed
        self.problems: list[Problem] = []

    def _all(self, name: str) -> Iterator[tuple[SchemaFile, Path, dict[str, Any], str]]:
        """Yield every table of this name with its file, its path and its source."""
        for file, data in self.parsed:
            found = data.get(name, [])
            single = isinstance(found, dict)
            for index, raw in enumerate([found] if single else found):
                path: Path = (name,) if single else (name, index)
                self.file = file.name
                yield file, path, raw, raw.get("source", data["source"])

    def _new(self, known: Mapping[str, object], name: str, path: Path) -> None:
        if name in known:
            hint = "give it a name of its own"
            self._fault(f"{path[0]} {name} is described twice", (*path, "name"), hint)

    def _fault(self, message: str, path: Path, hint: str = "") -> None:
        self.problems.append(Problem(message, hint, path, file=self.file))
