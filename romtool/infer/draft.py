"""Dumps of an unknown chip to the schema of the layout that they share."""

from __future__ import annotations

from collections.abc import Sequence

from romtool.errors import InputError, Problem
from romtool.infer.claims import claims_of
from romtool.infer.sample import Sample, sample_of, unconnected_of
from romtool.infer.schema_text import layout_name, schema_text
from romtool.schema.catalog import Catalog


def draft_schema(catalog: Catalog, dumps: Sequence[tuple[str, bytes]], wanted: str) -> str:
    """Return the text of a schema file for the layout that these dumps (name, bytes) have.

    `wanted`: what the layout should be called. Raises InputError where a dump holds no sound PnP
    data, or where they don't all begin at the same address.
    """
    samples = [sample_of(catalog, name, data) for name, data in dumps]
    first = samples[0]
    for sample in samples[1:]:
        if len(sample.front) != len(first.front):
            raise _apart(first, sample)
    claims = claims_of(samples, catalog.checksums, catalog.resources, unconnected_of(catalog))
    return schema_text(layout_name(wanted, list(catalog.layouts)), samples, claims)


def _apart(first: Sample, other: Sample) -> InputError:
    message = (
        f"its PnP data begins at {len(other.front):X}h, that of {first.name} "
        f"at {len(first.front):X}h"
    )
    hint = "give dumps of one chip at a time"
    return InputError([Problem(message, hint, file=other.name)])
