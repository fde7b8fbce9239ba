"""The same card with other serial numbers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from romtool.errors import refuse
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.schema.catalog import Catalog
from romtool.toml.parse import parse_toml


def with_serials(catalog: Catalog, text: str, serials: Iterable[int]) -> Iterator[bytes]:
    """Yield the image of a profile with each serial number; raises Refused for a raw image."""
    tables = parse_toml(text)
    if not isinstance(tables.get("card"), dict):
        message = "the profile is raw bytes: it has no serial number to change"
        raise refuse(message, "write a profile with a [card]", path=("image",))
    for serial in serials:
        tables["card"][catalog.identifier.serial_field.key] = serial
        yield assemble(read_profile(catalog, tables)).data
