"""What a capture shows as the JSON answer."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from romtool.capture.commands import runs
from romtool.capture.model import BusFinding, DecodedCapture
from romtool.schema.numbers import hex_text


class _Each(list[Any]):
    """A list whose entries are made while they are written: a long capture has very many."""

    def __init__(self, size: int, entries: Iterable[Any]) -> None:
        super().__init__()
        self._size = size
        self._entries = entries

    def __len__(self) -> int:
        return self._size

    def __iter__(self) -> Iterator[Any]:
        return iter(self._entries)


def capture_json(decoded: DecodedCapture, findings: Sequence[BusFinding]) -> dict[str, Any]:
    """Return the answer; its list of commands is made while it is written out."""
    organisation = decoded.organisation
    return {
        "bus": decoded.bus.name,
        "organisation": organisation.word if organisation else None,
        "commands": _Each(len(decoded.commands), _commands(decoded)),
        "parts": [
            {
                "part": one.part,
                "read": _runs(one.contents.read),
                "written": _runs(one.contents.written),
            }
            for one in decoded.parts
            if one.is_eeprom
        ],
        "findings": [one.as_json() for one in findings],
    }


def _commands(decoded: DecodedCapture) -> Iterator[dict[str, Any]]:
    for command, outcome in zip(decoded.commands, decoded.outcomes, strict=True):
        yield {
            "time": round(command.time * decoded.unit, 12),
            "kind": command.kind,
            "part": None if decoded.is_early else command.part,
            "address": command.address,
            "bytes": hex_text(command.data),
            "answered": command.answered,
            "took": outcome.took,
        }


def _runs(values: dict[int, int]) -> list[dict[str, Any]]:
    return [{"at": at, "bytes": hex_text(data)} for at, data in runs(values)]
