"""The same card with other serial numbers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from romtool.errors import InputError, InvalidValue, Problem, refuse
from romtool.profile.assemble import assemble
from romtool.profile.plan import Plan
from romtool.profile.read import read_profile
from romtool.schema.catalog import Catalog


def with_serials(
    catalog: Catalog,
    profile: Mapping[str, Any],
    serials: Iterable[int],
    variant: str | None = None,
) -> Iterator[bytes]:
    """Yield the image of a profile with each serial number; raises InputError for a raw image.

    The profile is read once, with the first number: no other value of its plan depends on it.
    What follows from the number, checksums that may cover it too, is assembled anew each time.
    """
    if not isinstance(profile.get("card"), dict):
        message = "the profile is raw bytes: it has no serial number to change"
        raise refuse(message, "write a profile with a [card]", path=("image",))
    plan: Plan | None = None
    for serial in serials:
        if plan is None:
            numbered = {**profile["card"], catalog.identifier.serial_field.key: serial}
            plan = read_profile(catalog, {**profile, "card": numbered}, variant)
        _put(plan, serial)
        yield assemble(plan).data


def _put(plan: Plan, serial: int) -> None:
    field = plan.catalog.identifier.serial_field
    try:
        plan.identifier[field.key] = field.stored_of(serial)
    except InvalidValue as wrong:
        raise InputError([Problem(wrong.message, wrong.hint, ("card", field.key))]) from None
