"""Fields are read by their places and built by `construct`: both must see the same bits."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romtool.errors import InputError
from romtool.files.schemas import load_catalog
from romtool.schema.field_layouts import layout_of
from romtool.schema.field_types import Hex, Number
from romtool.schema.fields import Field, FieldLayout

CATALOG = load_catalog([Path(__file__).parent.parent / "samples" / "schemas"])


def shipped() -> Iterator[tuple[str, FieldLayout, int | None]]:
    """Every layout of the schemas with its size, None for an item's content."""
    yield "identifier", CATALOG.identifier.field_layout, CATALOG.identifier.size
    for header in CATALOG.headers.values():
        yield f"header {header.name}", header.field_layout, header.size
    for frame in CATALOG.layouts.values():
        yield f"frame {frame.name}", frame.field_layout, frame.size
    for record in CATALOG.records.values():
        yield f"record {record.name}", record.field_layout, None


LAYOUTS = list(shipped())


def agree(layout: FieldLayout, data: bytes) -> None:
    """Hold the two readers and the builder against each other over these bytes."""
    stored = layout.parse(data)
    assert list(stored) == [field.key for field in layout.fields]
    witness = layout.structure(len(data)).parse(data)
    assert {key: stored[key] for key in witness} == witness
    for field in layout.fields:
        if field.key not in witness:
            assert stored[field.key] == (None if field.optional else 0)
    assert layout.build(stored, len(data)) == data


@pytest.mark.parametrize(
    ("layout", "size"),
    [(layout, size) for _, layout, size in LAYOUTS],
    ids=[name for name, _, _ in LAYOUTS],
)
@given(seed=st.integers(0, 2**32 - 1))
def test_readers_agree_on_the_layouts_of_the_schemas(
    layout: FieldLayout, size: int | None, seed: int
) -> None:
    rng = Random(seed)
    low, high = layout.length_limits
    lengths = [low, 7, 40] if high is None else list(layout.lengths())
    for length in lengths if size is None else [size]:
        agree(layout, rng.randbytes(length))


@st.composite
def layouts(draw: st.DrawFn) -> FieldLayout:
    """Layouts of numbers that share bytes and of bytes that stand alone, in either byte order."""
    fields: list[Field] = []
    at = 0
    for unit in range(draw(st.integers(1, 5))):
        size = draw(st.integers(1, 5))
        endian = draw(st.sampled_from(["little", "big"]))
        cuts = sorted(draw(st.sets(st.integers(1, size * 8 - 1), max_size=4)))
        edges = [0, *cuts, size * 8]
        if draw(st.booleans()):
            kinds: list[tuple[int, Hex | Number]] = [(0, Hex(bits=size * 8))]
        else:
            kinds = [
                (low, Number(bits=high - low, unit=1, form="hex", none=None, zero_means=None))
                for low, high in itertools.pairwise(edges)
            ]
        for low, kind in kinds:
            key = f"f{unit}_{low}"
            fields.append(
                CATALOG.identifier.id_field.altered(
                    key=key, kind=kind, at=at, size=size, low=low, endian=endian
                )
            )
        at += size
    order = draw(st.permutations(fields))
    return layout_of(order, at, ())


@given(layout=layouts(), data=st.data())
def test_readers_agree_on_any_layout(layout: FieldLayout, data: st.DataObject) -> None:
    size = sum(unit.size or 0 for unit in layout.units)
    agree(layout, data.draw(st.binary(min_size=size, max_size=size)))


def test_fields_of_a_layout_never_change() -> None:
    field = CATALOG.identifier.id_field
    with pytest.raises(AttributeError, match="as the schema says"):
        field.at = 3  # type: ignore[misc]
    assert field.altered(at=3).at == 3
    assert field.at == 0


def test_a_layout_with_a_gap_is_refused() -> None:
    field = CATALOG.identifier.serial_field
    with pytest.raises(InputError, match="not accounted for"):
        layout_of([field], 9, ())
