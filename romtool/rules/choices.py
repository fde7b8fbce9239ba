"""Checks of choices against each other: their order, what is common, which are ever used."""

from __future__ import annotations

import math
from collections.abc import Iterator

from romtool.image.card import Device
from romtool.requirements.model import (
    Alternative,
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.rules.findings import Finding
from romtool.rules.view import Trouble, View, trouble
from romtool.schema.field_types import Value
from romtool.schema.numbers import one_of

MOST_COMPARED = 40
"""The most choices of a device that are compared with each other; real ones have a handful."""


def choice_findings(view: View) -> Iterator[Finding]:
    """Yield what is wrong between the choices of a device."""
    yield from view.told_once(_troubles(view))


def _troubles(view: View) -> Iterator[Trouble]:
    for parts, device in view.devices:
        yield from _fixed(parts, device)
        if parts.choices:
            yield from _order(view, parts, device)
            yield from _after(device)
            yield from _uneven(view, parts, device)
            yield from _last(parts, device)
            yield from _hidden(parts, device)


def _order(view: View, parts: Device, device: DeviceRequirements) -> Iterator[Trouble]:
    """The first choice that stands after one of a lower priority."""
    worst = device.alternatives[0]
    for number, alternative in enumerate(device.alternatives):
        if alternative.rank < worst.rank:
            words = {"priority": _priority(view, alternative), "lower": _priority(view, worst)}
            other = (worst.number or 0) + 1
            yield trouble("priority-order", parts.choices[number].start, other=other, **words)
            return
        if alternative.rank > worst.rank:
            worst = alternative


def _priority(view: View, alternative: Alternative) -> str:
    head = view.catalog.by_role["choice"].key_field
    value: Value = alternative.priority
    shown = head.kind.show(head.absent_value if value is None else value)
    return f"{head.title} {shown}" if isinstance(value, int) else shown


def _fixed(parts: Device, device: DeviceRequirements) -> Iterator[Trouble]:
    """A device that takes one line and one base, and no other.

    One of the two alone is nothing to tell: software looks for a game port in one place only.
    """
    needs = [need for need in device.alternatives[0].needs if not need.is_empty]
    forms = {type(need) for need in needs}
    if len(device.alternatives) == 1 and len(forms) > 1 and all(_options(n) == 1 for n in needs):
        yield trouble("fixed-only", parts.start)


def _after(device: DeviceRequirements) -> Iterator[Trouble]:
    """Items after the choices; one of each kind is told.

    Where the choices have unequal numbers of the kind, nobody agrees on its register.
    """
    told: set[str] = set()
    for need in device.after:
        if need.kind in told or need.item is None:
            continue
        told.add(need.kind)
        record, counts = need.item.record.title, _counts(device, need.kind)
        if len(counts) > 1:
            yield trouble("behind-choices", need.item, record=record, counts=_in_words(counts))
        else:
            yield trouble("after-choices", need.item, record=record)


def _uneven(view: View, parts: Device, device: DeviceRequirements) -> Iterator[Trouble]:
    """Choices that differ in how many items of a kind they have, where none follows them."""
    if len(parts.groups) > 1:
        return  # an error by itself: what of them goes together, nobody knows
    for kind, resource in view.catalog.resources.items():
        counts = _counts(device, kind)
        if len(counts) > 1 and all(need.kind != kind for need in device.after):
            words = {"kind": resource.title, "counts": _in_words(counts)}
            yield trouble("choices-uneven", parts.start, **words)


def _counts(device: DeviceRequirements, kind: str) -> list[int]:
    """Return how many items of a kind choices have, the different numbers in order."""
    return sorted({sum(need.kind == kind for need in one.own) for one in device.alternatives})


def _in_words(counts: list[int]) -> str:
    return one_of([str(count) for count in counts])


def _last(parts: Device, device: DeviceRequirements) -> Iterator[Trouble]:
    first, last = device.alternatives[0], device.alternatives[-1]
    backwards = any(not _options(n) for n in (*first.own, *last.own) if not n.is_empty)
    if first is not last and not backwards and _room(last) <= _room(first):
        yield trouble("last-narrow", parts.choices[-1].start)


def _room(alternative: Alternative) -> tuple[int, int]:
    """Return how little a choice asks for, then how much it gives the PC to pick from."""
    needs = [need for need in alternative.own if not need.is_empty]
    return -len(needs), math.prod(_options(need) for need in needs)


def _options(need: Requirement) -> int:
    return len(need.lines) if isinstance(need, LineRequirement) else len(need.bases)


def _hidden(parts: Device, device: DeviceRequirements) -> Iterator[Trouble]:
    """Choices that an earlier one, of the same priority or a better one, makes useless.

    Those of a second group are an error by themselves.
    """
    compared = device.alternatives[: min(MOST_COMPARED, len(parts.groups[0].choices))]
    for number, alternative in enumerate(compared):
        for earlier in compared[:number]:
            if earlier.rank <= alternative.rank and _accepts_all(earlier, alternative):
                other = (earlier.number or 0) + 1
                yield trouble("choice-hidden", parts.choices[number].start, other=other)
                break


def _accepts_all(one: Alternative, other: Alternative) -> bool:
    """Whether whatever can be given to `other` can be given to `one`, need by need."""
    left = [need for need in other.own if not need.is_empty]
    for need in one.own:
        if need.is_empty:
            continue
        same = next((n for n in left if n.kind == need.kind), None)
        if same is None or not _covers(need, same):
            return False
        left.remove(same)
    return True


def _covers(need: Requirement, other: Requirement) -> bool:
    if isinstance(need, LineRequirement):
        return isinstance(other, LineRequirement) and set(other.lines) <= set(need.lines)
    if (
        not isinstance(other, RangeRequirement)
        or need.length > other.length
        or need.bits < other.bits
    ):
        return False
    bases, wanted = need.bases, other.bases
    # Both are evenly spaced: two neighbours in step settle it for all.
    return bool(wanted) and all(base in bases for base in (*wanted[:2], wanted[-1]))
