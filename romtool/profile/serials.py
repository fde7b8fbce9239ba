"""The same card with other serial numbers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from romtool.errors import InputError, InvalidValue, Problem, refuse
from romtool.profile.assemble import assemble
from romtool.profile.plan import Plan
from romtool.profile.read import read_profile
from romtool.schema.catalog import Catalog
from romtool.toml.parse import parse_toml


def with_serials(
    catalog: Catalog, text: str, serials: Iterable[int], variant: str | None = None
) -> Iterator[bytes]:
    """Yield the image of a profile with each serial number; raises InputError for a raw image.

    The profile is read once, with the first number: no other value of its plan depends on it.
    What follows from the number, checksums that may cover it too, is assembled anew each time.
    """
    tables = parse_toml(text)
    if not isinstance(tables.get("card"), dict):
        message = "the profile is raw bytes: it has no serial number to change"
        raise refuse(message, "write a profile with a [card]", path=("image",))
    plan: Plan | None = None
    for serial in serials:
        if plan is None:
            tables["card"][catalog.identifier.serial_field.key] = serial
            plan = read_profile(catalog, tables, variant)
        _put(plan, serial)
        yield assemble(plan).data


def _put(plan: Plan, serial: int) -> None:
    field = plan.catalog.identifier.serial_field
    try:
        plan.identifier[field.key] = field.stored_of(serial)
    except InvalidValue as wrong:
        raise InputError([Problem(wrong.message, wrong.hint, ("card", field.key))]) from None
