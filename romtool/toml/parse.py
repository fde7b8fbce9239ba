"""A TOML text to its tables; `tomllib` gives the values, a fault gets its place."""

from __future__ import annotations

import tomllib
from typing import Any

from romtool.errors import Fault, Refused
from romtool.toml.places import syntax_fault


def parse_toml(text: str) -> dict[str, Any]:
    """Return the tables of a TOML text; raises Refused with line and column."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message, place = syntax_fault(error, text)
        raise Refused(
            [Fault(message, _hint(message), line=place.line, column=place.column)]
        ) from None
    except (RecursionError, ValueError):
        fault = Fault("nested too deep, or a number too long", "is this the right file?", line=1)
        raise Refused([fault]) from None


def _hint(message: str) -> str:
    """Return what to do about a fault of syntax: what people usually meant."""
    for part, hint in _HINTS:
        if part in message:
            return hint
    return "mend the TOML here"


_HINTS = (
    ("Cannot declare", "a table stands once; of several, write [[device]] for each"),
    ("Cannot overwrite", "a key stands once; a list of tables is written [[device]]"),
    ("inline table", 'write { key = value, … } on one line; addresses as 0x330 or "330h"'),
    ("Invalid value", 'write texts in quotes, addresses as 0x330 or "330h"'),
    ("Expected newline", 'one key a line; write texts in quotes, addresses as 0x330 or "330h"'),
)
