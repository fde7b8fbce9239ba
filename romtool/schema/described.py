"""What a schema describes, as values that never change; and how its tables become such values."""

from __future__ import annotations

import types
from collections.abc import Mapping
from types import MappingProxyType
from typing import (
    TYPE_CHECKING,
    Any,
    ClassVar,
    NoReturn,
    Self,
    TypeVar,
    Union,
    dataclass_transform,
    get_args,
    get_origin,
    get_type_hints,
)

from romtool.schema.numbers import parse_hex, parse_number

if TYPE_CHECKING:
    from romtool.schema.tables import KeySpec, TableSpec


@dataclass_transform(frozen_default=True, kw_only_default=True, eq_default=False)
class Described:
    """The base of what the schemas describe: annotated attributes, all given by name, for good.

    For readers and type checkers it makes frozen dataclasses that are equal only to themselves.
    `dataclasses` itself writes and compiles code for each class at every start of the program:
    for the thirty classes here that takes longer than decoding an image.

    Where an attribute has another name than its key in the table, the class names the key:
    `class Part(Described, size="bytes")`.
    """

    key_names: ClassVar[Mapping[str, str]] = {}

    def __init_subclass__(cls, **key_names: str) -> None:
        super().__init_subclass__()
        cls.key_names = {**cls.key_names, **key_names}

    def __init__(self, **given: Any) -> None:
        self.__dict__.update(given)

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise AttributeError(f"{type(self).__name__}.{name} is as the schema says")

    def altered(self, **changes: Any) -> Self:
        """Return the same with other values under these names."""
        return type(self)(**{**self.__dict__, **changes})

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.__dict__})"


T = TypeVar("T", bound=Described)
Specs = Mapping[str, "TableSpec"]


class MissingKey(LookupError):
    """A key that a table must have beside the others that it has; its name is the argument."""


def make(
    cls: type[T],
    specs: Specs,
    table: str,
    raw: Mapping[str, Any],
    source: str = "",
    **given: Any,
) -> T:
    """Return the value that a table, found right by `check_table`, stands for.

    Each attribute of the class that is not `given` is the key of its name, or its default as the
    schema for the schemas states it (`specs`, under the name of the `table`), in the shape that the
    class annotates. `source` is that of the table around, for one that states none of its own.
    Raises MissingKey where a key is left out that has no default.
    """
    source = raw.get("source", source)
    keys = specs[table].keys
    for name, shape in shapes(cls).items():
        if name == "source":
            given[name] = source
        elif name not in given:
            key = keys[cls.key_names.get(name, name)]
            value = raw.get(key.name, key.default)
            if value is None and shape is not Any and types.NoneType not in get_args(shape):
                raise MissingKey(key.name)
            given[name] = _shaped(shape, value, key, specs, source)
    return cls(**given)


_SHAPES: dict[type, Mapping[str, Any]] = {}


def shapes(cls: type, known: Mapping[str, Any] = MappingProxyType({})) -> Mapping[str, Any]:
    """Return the attributes of a class of `Described`, with the types that it annotates.

    `known`: those types, by name, that its module has for type checkers alone.
    """
    if cls not in _SHAPES:
        hints = get_type_hints(cls, localns=dict(known)).items()
        _SHAPES[cls] = {name: one for name, one in hints if get_origin(one) is not ClassVar}
    return _SHAPES[cls]


def _shaped(shape: Any, value: Any, key: KeySpec, specs: Specs, source: str) -> Any:
    """Return what stands in a file in the shape that a class wants it in."""
    origin, inner = get_origin(shape), get_args(shape)
    if origin in (Union, types.UnionType):
        shape, *others = (one for one in inner if one is not types.NoneType)
        known = value is not None and not others
        return _shaped(shape, value, key, specs, source) if known else value
    if origin in (tuple, frozenset):
        return origin(_shaped(inner[0], one, key, specs, source) for one in value)
    if origin is Mapping:
        return {
            _shaped(inner[0], name, key, specs, source): _shaped(inner[1], one, key, specs, source)
            for name, one in value.items()
        }
    if shape is int and isinstance(value, str):
        return parse_number(value)
    if shape is bytes:
        return parse_hex(value)
    if shape is range:
        keys = specs[key.table or ""].keys
        lowest, highest, step = (
            _shaped(int, value.get(name, keys[name].default), key, specs, source)
            for name in ("lowest", "highest", "step")
        )
        return range(lowest, highest + 1, step)
    if isinstance(shape, type) and issubclass(shape, Described):
        return make(shape, specs, key.table or "", value, source)
    return value
