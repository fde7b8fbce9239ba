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
            [Fault(message, "mend the TOML here", line=place.line, column=place.column)]
        ) from None
    except (RecursionError, ValueError):
        fault = Fault("nested too deep, or a number too long", "is this the right file?", line=1)
        raise Refused([fault]) from None
