"""A dump as an editable profile: the finest form that builds the same bytes, proved by building."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.errors import InputError, refuse
from romtool.formats import MAX_TOML
from romtool.image.decode import decode
from romtool.image.model import Image
from romtool.profile.build import built
from romtool.profile.fitting import Removal, Wiring, fit
from romtool.profile.tables import Table, guessed_part, raw_tables, tables_of
from romtool.profile.toml_text import profile_toml
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout, Part
from romtool.schema.numbers import address
from romtool.toml.parse import parse_toml

LEAST_ENTRY = 18
"""Characters that an item takes in a profile at least: `  { raw = "30" },` and a line end."""


def profile_text(
    catalog: Catalog,
    data: bytes,
    layout: str | ImageLayout | None = None,
    part: str | None = None,
    name: str = "",
) -> str:
    """Return a profile of `data` that builds the same bytes, for every string of bytes.

    `layout` and `part` say what the bytes can't tell; `name` is the dump's, for the heading.
    Raises InputError for a layout or a part that isn't known or doesn't fit.
    """
    image = decode(catalog, data, layout)
    chosen = catalog.part(part, len(data)) if part else None
    for tables in _forms(image, chosen):
        text = profile_toml(catalog, tables, list(_heading(image, tables, name)))
        if len(text.encode()) <= MAX_TOML and builds(catalog, text, data):
            return text
    raise AssertionError("the raw form builds any bytes")


def fitted_text(
    catalog: Catalog,
    image: Image,
    part: str | None,
    name: str,
    wiring: Wiring,
    without: Sequence[str],
) -> tuple[str, list[Removal]]:
    """Return a profile of an image that is made to fit a board, and what was taken out of it.

    Stored counts and checksums that only fit the old bytes are computed anew. Raises InputError
    where the image has no layout, or the board can't be said of it.
    """
    if image.layout is None:
        raise refuse("no layout fits these bytes: there is no card to change", "try `recover`")
    size = len(image.data)
    chosen = catalog.part(part, size) if part else None
    tables, removed = fit(catalog, _computed_anew(tables_of(image, chosen)), wiring, without)
    heading = [f"Profile of {name or 'a dump'}, {size} bytes, made to fit a board."]
    text = profile_toml(catalog, tables, heading)
    built(catalog, parse_toml(text))
    return text, removed


def _computed_anew(tables: Table) -> Table:
    """Return a profile's tables without numbers that were wrong for the old bytes already.

    What keeps its sense is kept: a word, bytes, and a checksum of 0, which is not checked.
    """
    override = tables.get("override", {})
    kept = {key: value for key, value in override.items() if not value or isinstance(value, str)}
    return {**tables, "override": kept}


def builds(catalog: Catalog, text: str, data: bytes) -> bool:
    """Whether a profile's text builds exactly these bytes."""
    try:
        return built(catalog, parse_toml(text)).data == data
    except InputError:
        return False


def _forms(image: Image, part: Part | None) -> Iterator[Table]:
    """Yield the forms that a profile can take, the finest first."""
    if len(image.items) * LEAST_ENTRY <= MAX_TOML:
        yield tables_of(image, part)
    yield tables_of(image, part, item_runs=True)
    yield raw_tables(image)


def _heading(image: Image, tables: Table, name: str) -> Iterator[str]:
    what = f"Profile of {name}" if name else "Profile of a dump"
    yield f"{what}, {len(image.data)} bytes: it builds the same bytes."
    if image.lead is not None:
        yield "No known layout explains its lead: a count or a sum in it doesn't follow an edit."
    if image.layout is None:
        yield "No layout fits these bytes, so they stand as they are."
        return
    if image.end_item is None:
        rest = "; what follows stands as it is" if image.items_end < len(image.data) else ""
        yield f"There is no end item: the items stop at {address(image.items_end)}{rest}."
    parts = [part.name for part in image.catalog.parts_of(len(image.data))]
    guess = guessed_part(image.catalog, len(image.data))
    if guess is not None and tables["image"].get("part") == guess.name and len(parts) > 1:
        others = ", ".join(part for part in parts if part != guess.name)
        yield f"The part is guessed from the size; {others} has it too."
