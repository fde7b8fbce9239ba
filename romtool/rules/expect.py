"""Checks of what some software expects: where the first choice puts each function of the card."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from romtool.image.card import Device, card_of, id_in
from romtool.image.model import Image
from romtool.requirements.model import (
    Alternative,
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.requirements.read import requirements_of
from romtool.rules.findings import Finding, finding
from romtool.schema.expect import Expectation, ExpectedLines, Function
from romtool.schema.numbers import address, one_of


def expect_findings(image: Image, expectation: Expectation) -> Iterator[Finding]:
    """Yield what of the card's functions is elsewhere than this software looks for it.

    Where several devices can be a function, the one that comes nearest counts.
    """
    if image.layout is None:
        return
    devices = list(zip(card_of(image).devices, requirements_of(image).devices, strict=True))
    for function in expectation.functions:
        judge = _Judge(image, expectation, function)
        found = [
            list(judge.device(device, requirements))
            for device, requirements in devices
            if _is_known(device, requirements, function)
        ]
        if found:
            yield from min(found, key=_badness)
        elif function.required:
            yield judge.missing()


def _badness(findings: list[Finding]) -> tuple[int, int]:
    errors = sum(found.severity == "error" for found in findings)
    return errors, len(findings)


def _is_known(device: Device, requirements: DeviceRequirements, function: Function) -> bool:
    """Whether a device has this function: by an ID, or by what any of its choices asks for."""
    if function.compatible.intersection(_ids(device)):
        return True
    return any(_has_shape(alternative, function) for alternative in requirements.alternatives)


def _ids(device: Device) -> Iterator[str]:
    """Yield a device's own ID and those that it is compatible with, wherever they stand."""
    yield device.id
    yield from map(id_in, device.compatible)


def _has_shape(alternative: Alternative, function: Function) -> bool:
    """Whether a choice has the function's ports: at the agreed place, or near with its lines."""
    spans = _spans(alternative, function)
    if any(_settled(span, function) for span in spans):
        return True
    near = any(_stays_near(span, function) for span in spans)
    return near and all(_lines(alternative, wanted) for wanted in function.lines)


def _spans(alternative: Alternative, function: Function) -> list[RangeRequirement]:
    """Return the ranges of ports that can be the function's."""
    fewest, most = function.length
    return [
        need
        for need in alternative.of_kind(function.resource)
        if isinstance(need, RangeRequirement)
        and fewest <= need.length <= most
        and any(_is_near(base, function) for base in need.bases)
    ]


def _is_near(base: int, function: Function) -> bool:
    return base in function.bases or any(base in bases for bases in function.near)


def _stays_near(span: RangeRequirement, function: Function) -> bool:
    """Whether no base of the range is elsewhere: a range over all ports can be anything."""
    return all(_is_near(base, function) for base in span.bases)


def _settled(span: RangeRequirement, function: Function) -> bool:
    """Whether every base of the range is one of the function's."""
    few = 0 < len(span.bases) <= len(function.bases)
    return few and function.bases.issuperset(span.bases)


def _lines(alternative: Alternative, wanted: ExpectedLines) -> list[LineRequirement]:
    """Return what a choice asks for of these lines, in a width that the function moves."""
    return [
        need
        for need in alternative.of_kind(wanted.resource)
        if isinstance(need, LineRequirement)
        and not need.is_empty
        and (not wanted.widths or need.width in wanted.widths)
    ]


class _Look(NamedTuple):
    """Where software looks, in words, and what a first choice has of that kind.

    `needs` can be it; those in `offering` take what is wanted or something else, `settled` says
    that one of them takes nothing else.
    """

    wanted: str
    needs: Sequence[Requirement]
    offering: Sequence[Requirement]
    settled: bool


class _Judge:
    """Holds devices that have a function against what the software looks for."""

    def __init__(self, image: Image, expectation: Expectation, function: Function) -> None:
        self.image = image
        self.function = function
        self.words = {
            "function": function.name,
            "who": expectation.title,
            "text": function.text,
        }

    def missing(self) -> Finding:
        """Return the finding that no device of the card has the function."""
        image = self.image
        return self._sourced(finding(image.catalog, "expect-missing", image.items_at, **self.words))

    def device(self, device: Device, requirements: DeviceRequirements) -> Iterator[Finding]:
        """Yield what is wrong with the first choice of a device."""
        first = requirements.alternatives[0]
        start = device.choices[0].start if device.choices else device.start
        for look in (self._ports(first), *(self._taken(first, one) for one in self.function.lines)):
            if not look.settled:
                yield self._sourced(self._found(look, requirements.id, start.offset))

    def _ports(self, first: Alternative) -> _Look:
        spans, bases = _spans(first, self.function), self.function.bases
        wanted = one_of([address(base) for base in sorted(bases)])
        offering = [span for span in spans if any(base in span.bases for base in bases)]
        # A device that is known to have the function may have more ports than it needs.
        enough = (
            need
            for need in first.of_kind(self.function.resource)
            if isinstance(need, RangeRequirement)
        )
        settled = any(
            span.length >= self.function.length[0] and _settled(span, self.function)
            for span in enough
        )
        return _Look(self._said(self.function.resource, wanted), spans, offering, settled)

    def _taken(self, first: Alternative, wanted: ExpectedLines) -> _Look:
        resource = self.image.catalog.resources[wanted.resource]
        needs = _lines(first, wanted)
        offers = [{resource.renamed.get(n, n) for n in need.lines} for need in needs]
        both = zip(needs, offers, strict=True)
        offering = [need for need, lines in both if lines & wanted.first]
        settled = any(lines <= wanted.first for lines in offers)
        words = one_of([str(line) for line in sorted(wanted.first)])
        return _Look(self._said(wanted.resource, words), needs, offering, settled)

    def _said(self, kind: str, words: str) -> str:
        """Return lines or bases the way an item that asks for them reads."""
        records = self.image.catalog.records.values()
        record = next(
            one for one in records if one.requires is not None and one.requires.kind == kind
        )
        return record.phrase.format_map({record.key_field.key: words})

    def _found(self, look: _Look, device: str, at: int) -> Finding:
        words = {**self.words, "device": device, "wanted": look.wanted}
        for need in (*look.offering, *look.needs)[:1]:
            if need.item is not None:
                at = need.item.offset
                words["found"] = need.item.record.in_words(need.item.values)
        if look.offering:
            return finding(self.image.catalog, "expect-open", at, **words)
        if look.needs:
            return finding(self.image.catalog, "expect-other", at, **words)
        return finding(self.image.catalog, "expect-nothing", at, **words)

    def _sourced(self, found: Finding) -> Finding:
        """Return a finding with the source of the expectation instead of the rule's."""
        return found._replace(source=self.function.source)
