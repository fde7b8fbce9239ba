"""The same card with another serial number."""

from __future__ import annotations

from romtool.errors import Fault, Refused
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.schema.catalog import Catalog
from romtool.toml.parse import parse_toml


def with_serial(catalog: Catalog, text: str, serial: int) -> bytes:
    """Return the image of a profile with this serial number; raises Refused for a raw image."""
    tables = parse_toml(text)
    if not isinstance(tables.get("card"), dict):
        message = "the profile is raw bytes: it has no serial number to change"
        raise Refused([Fault(message, "write a profile with a [card]", ("image",), line=1)])
    tables["card"][catalog.identifier.serial_field.key] = serial
    return assemble(read_profile(catalog, tables)).data
