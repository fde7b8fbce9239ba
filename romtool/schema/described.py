"""What a schema describes, as values that never change."""

from __future__ import annotations

from typing import Any, NoReturn, Self, dataclass_transform


@dataclass_transform(frozen_default=True, kw_only_default=True, eq_default=False)
class Described:
    """The base of what the schemas describe: annotated attributes, all given by name, for good.

    For readers and type checkers it makes frozen dataclasses that are equal only to themselves.
    `dataclasses` itself writes and compiles code for each class at every start of the program:
    for the thirty classes here that takes longer than decoding an image.
    """

    def __init__(self, **given: Any) -> None:
        self.__dict__.update(given)

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise AttributeError(f"{type(self).__name__}.{name} is as the schema says")

    def altered(self, **changes: Any) -> Self:
        """Return the same with other values under these names."""
        return type(self)(**{**self.__dict__, **changes})

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.__dict__})"
