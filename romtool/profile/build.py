"""A profile's tables to the bytes of its image; the same card with other serial numbers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from romtool.errors import InputError, InvalidValue, Problem, refuse
from romtool.profile.assemble import Assembly, assemble
from romtool.profile.plan import Plan
from romtool.profile.read import read_profile
from romtool.schema.catalog import Catalog


def built(catalog: Catalog, profile: Mapping[str, Any], variant: str | None = None) -> Assembly:
    """Return the image of a profile's tables, or of one of its variants.

    Raises InputError with every fault of the profile, or where the image doesn't fit its part.
    """
    return assemble(read_profile(catalog, profile, variant))


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
    field = catalog.identifier.serial_field
    for serial in serials:
        if plan is None:
            numbered = {**profile["card"], field.key: serial}
            plan = read_profile(catalog, {**profile, "card": numbered}, variant)
        try:
            plan.identifier[field.key] = field.stored_of(serial)
        except InvalidValue as wrong:
            raise InputError([Problem(wrong.message, wrong.hint, ("card", field.key))]) from None
        yield assemble(plan).data
