"""A plan to the bytes of an image: counts and checksums computed, the part filled."""

from __future__ import annotations

import bisect
from typing import NamedTuple

from romtool.errors import InputError, Path, Problem
from romtool.profile.plan import Plan
from romtool.schema.field_types import Check, SizeOf, Stored, number
from romtool.schema.fields import Field, FieldLayout
from romtool.schema.image_layouts import ImageLayout


class Assembly(NamedTuple):
    """An image as built: its bytes, and which place of the profile each run came from."""

    data: bytes
    starts: tuple[int, ...] = ()
    paths: tuple[Path, ...] = ()
    layout: str | None = None
    part: str | None = None
    read_as: ImageLayout | None = None
    """What the image is to be read with: the layout, or as many bytes of lead."""

    def path_at(self, offset: int) -> Path:
        """Return the place in the profile that the byte at `offset` came from."""
        index = bisect.bisect_right(self.starts, offset) - 1
        return self.paths[index] if index >= 0 else ()


def assemble(plan: Plan) -> Assembly:
    """Return the image of a plan; raises InputError where it doesn't fit its part."""
    if plan.raw is not None:
        return Assembly(plan.raw, (0,), (("image", "raw"),))
    items = b"".join(piece.raw for piece in plan.pieces)
    if plan.has_end:
        items += _end_item(plan, items)
    identifier = _identifier(plan)
    frame = _frame(plan, {"identifier": len(identifier), "items": len(items)}.__getitem__)
    used = frame + identifier + items + plan.patch
    size = _size(plan, len(used))
    data = bytearray(used.ljust(size, bytes([plan.fill])))
    taken = len(used)
    for at, run, path in sorted(plan.tail, key=lambda entry: entry[0]):
        if at < taken:
            message = f"tail at {at:X}h: what stands before it ends at {taken:X}h"
            raise InputError([Problem(message, "move it, or leave it out", path)])
        taken = at + len(run)
        data[at:taken] = run
    starts, paths = _places(plan, len(frame), len(identifier), len(used))
    part = plan.part.name if plan.part else None
    name = None if plan.layout.is_lead else plan.layout.name
    return Assembly(bytes(data), starts, paths, name, part, plan.layout)


def _end_item(plan: Plan, items: bytes) -> bytes:
    record, field = plan.catalog.by_role["end"], plan.catalog.end_field
    empty = record.write({field.key: 0})
    at = len(items) + record.header.size + field.at
    computed = field.kind.expected(at, items + empty)
    return record.write({field.key: plan.override.get(field.key, computed)})


def _identifier(plan: Plan) -> bytes:
    if not plan.layout.identifier:
        return b""
    if plan.whole_identifier is not None:
        return plan.whole_identifier
    identifier = plan.catalog.identifier
    return _built(plan, dict(plan.identifier), identifier.field_layout, identifier.size)


def _built(plan: Plan, stored: dict[str, Stored], layout: FieldLayout, size: int) -> bytes:
    """Build fields and their checksums, as these stand: a later one may cover an earlier."""
    checks = sorted(layout.of_type(Check), key=lambda field: field.at)
    data = layout.build(stored | {field.key: 0 for field in checks}, size)
    for field in checks:
        stored[field.key] = _stated(plan, field, field.expected(data))
        left = {field.key: 0 for field in checks if field.key not in stored}
        data = layout.build(stored | left, size)
    return data


def _stated(plan: Plan, field: Field, otherwise: Stored) -> Stored:
    """Return what a profile wants stored in a field, or else what should be."""
    stated = plan.override.get(field.key, otherwise)
    assert not isinstance(stated, str), "only a count has ways to count"
    return stated


def _frame(plan: Plan, size_of: SizeOf) -> bytes:
    layout, problems = plan.layout, []
    if layout.is_lead:
        return plan.lead
    stored: dict[str, Stored] = dict(plan.config)
    for constant in layout.constants:
        stored[constant.key] = _stated(plan, constant, constant.kind.value)
    for field in layout.counts:
        override = plan.override.get(field.key)
        if isinstance(override, str):
            given = field.kind.ways(size_of)[override]
        else:
            given = number(field.expected(b"", size_of) if override is None else override)
        if given > field.kind.top:
            message = f"{field.title}: {given} is more than {field.kind.top}"
            hint = "the PnP data is too long for this layout"
            problems.append(Problem(message, hint, ("image",)))
        stored[field.key] = given
    if problems:
        raise InputError(problems)
    return _built(plan, stored, layout.field_layout, layout.size)


def _size(plan: Plan, used: int) -> int:
    """Return the size of the image in bytes; raises InputError where it is too small."""
    needed = max([used, *(at + len(run) for at, run, _ in plan.tail)])
    if plan.part is not None or plan.size is not None:
        size = plan.part.size if plan.part else plan.size or 0
        what = plan.part.name if plan.part else "the image"
        key = "part" if plan.part else "size"
        if needed > size:
            larger = _larger(plan, needed)
            hint = f"{_costs(plan)}; " if plan.pieces else ""
            hint += f"shorten it, or take a {larger[0]}" if larger else "shorten it"
            message = f"{needed} bytes don't fit {what}: {needed - size} too many for its {size}"
            raise InputError([Problem(message, hint, ("image", key))])
        return size
    for size in plan.catalog.part_sizes:
        if needed <= size:
            return size
    largest = plan.catalog.part_sizes[-1]
    message = f"{needed} bytes fit no part: the largest has {largest}"
    raise InputError(
        [Problem(message, f"{_costs(plan)}; shorten it, or write size = …", ("image",))]
    )


def _larger(plan: Plan, needed: int) -> list[str]:
    """Return the parts that hold `needed` bytes: those of the same bus first, then by size."""
    bus = plan.part.bus if plan.part else ""
    parts = [part for part in plan.catalog.parts.values() if part.size >= needed]
    return [p.name for p in sorted(parts, key=lambda p: (p.bus != bus, p.size, p.name))]


def _costs(plan: Plan) -> str:
    """Say what the card and each device cost, and how much of that their names are."""
    costs: dict[Path, list[int]] = {}
    for piece in plan.pieces:
        cost = costs.setdefault(piece.owner, [0, 0])
        cost[0] += len(piece.raw)
        if piece.path[-1] == plan.catalog.by_role["name"].key_field.key:
            cost[1] += len(piece.raw)
    words = []
    for owner, (total, name) in costs.items():
        of_it = f", {name} of them its name" if name else ""
        words.append(f"{plan.owners[owner]} takes {total} bytes{of_it}")
    rest = plan.layout.size + plan.catalog.identifier.size + len(plan.patch)
    rest += len(_end_item(plan, b"")) if plan.has_end else 0
    words.append(f"frame, identifier, end and patch take {rest}")
    return "; ".join(words)


def _places(
    plan: Plan, frame: int, identifier: int, used: int
) -> tuple[tuple[int, ...], tuple[Path, ...]]:
    """Return where each run of bytes begins, and the place in the profile that it came from."""
    starts: list[int] = []
    paths: list[Path] = []

    def place(at: int, path: Path, *overridden: str) -> None:
        starts.append(at)
        found = [key for key in overridden if key in plan.override]
        paths.append(("override", found[0]) if found else plan.place(path))

    if plan.lead:
        place(0, ("image", "lead"))
    for unit in plan.layout.field_layout.units:
        keys = [field.key for field in unit.fields]
        place(unit.at, ("config", keys[0]), *keys)
    fields = plan.catalog.identifier.field_layout.fields if identifier else ()
    for field in fields:
        place(frame + field.at, ("card", plan.catalog.identifier.id_field.key), field.key)
    at = frame + identifier
    for piece in plan.pieces:
        place(at, piece.path)
        at += len(piece.raw)
    place(at, ("card",), plan.catalog.end_field.key)
    place(used - len(plan.patch), ("image", "patch"))
    place(used, ("image",))
    for offset, run, path in sorted(plan.tail, key=lambda entry: entry[0]):
        place(offset, path)
        place(offset + len(run), ("image",))
    return tuple(starts), tuple(paths)
