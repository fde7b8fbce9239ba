"""Dumps of an unknown chip to the schema of the layout that they share, as text."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence

from romtool.errors import InputError, Problem
from romtool.infer.claims import claims_of
from romtool.infer.sample import Claim, Sample, sample_of, unconnected_of
from romtool.profile.toml_text import comment, scalar
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


MOST_NAMES = 4
"""The most dumps that are named in the source of a draft."""


def layout_name(wanted: str, known: Sequence[str]) -> str:
    """Return a name for the layout, made of what is wanted, that no other layout has."""
    word = re.sub(r"[^a-z0-9]+", "-", wanted.lower()).strip("-") or "chip"
    if not word[0].isalpha():
        word = f"chip-{word}"
    number, name = 1, word
    while name in known:
        number += 1
        name = f"{word}-{number}"
    return name


def schema_text(name: str, samples: Sequence[Sample], claims: Sequence[Claim]) -> str:
    """Return the schema file of a layout that these dumps have."""
    size = len(samples[0].front)
    fill, _ = Counter(sample.fill for sample in samples).most_common(1)[0]
    title = f"{size} bytes before the PnP data"
    lines = [
        *_heading(samples, claims),
        f"title = {scalar(f'Drafted from dumps: {title}')}",
        f"source = {scalar(_source(samples))}",
        "",
        "[[frame]]",
        f"name = {scalar(name)}",
        f"title = {scalar(title)}",
        f"size = {size}",
        f"fill = 0x{fill:02X}",
    ]
    if any(sample.patched for sample in samples):
        lines += [*comment("other bytes than fill stand right after the PnP data"), "patch = true"]
    lines.append("field = [")
    for claim in claims:
        for text in claim.why:
            lines += [f"  {line}" for line in comment(text)]
        for spec in claim.fields:
            pairs = ", ".join(f"{key} = {scalar(value)}" for key, value in spec.items())
            lines.append(f"  {{ {pairs} }},")
    return "\n".join([*lines, "]", ""])


def _heading(samples: Sequence[Sample], claims: Sequence[Claim]) -> Iterator[str]:
    yield from comment(
        "A draft, worked out from dumps alone: compare every field with the chip's data sheet "
        "before you burn what it builds."
    )
    keys = {str(spec["type"]) for claim in claims for spec in claim.fields}
    if not keys & {"constant", "count"}:
        yield from comment(
            "Nothing in these bytes marks the layout, so no dump is known by it: name it with "
            "--layout. A dump of another card with this chip may show a signature."
        )
    cards = len({sample.card for sample in samples})
    if cards == 1:
        yield from comment(
            "All is from one card. A dump of another card with this chip tells what is always "
            "the same, and makes the rest surer."
        )
    yield ""


def _source(samples: Sequence[Sample]) -> str:
    names = [sample.name.rpartition("/")[2] for sample in samples]
    more = len(names) - MOST_NAMES
    words = ", ".join(names[:MOST_NAMES]) + (f" and {more} more" if more > 0 else "")
    return f"drafted from {words}; no data sheet"
