"""Checks of what some software expects: where the first choice puts each function of the card."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

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
from romtool.schema.catalog import Catalog
from romtool.schema.expect import Expectation, ExpectedLines, Function
from romtool.schema.numbers import address, one_of

FOUND, ELSEWHERE, ABSENT = "found", "elsewhere", "absent"
"""Where a function of a card is: where its software looks, or not there, or not on this card."""


class FunctionFound(NamedTuple):
    """What became of a function that software looks for.

    `device` is the ID of the one that has it, `number` its place on the card, from 0; `where` what
    it takes, in words. `findings`: what is wrong with that.
    """

    name: str
    state: str
    device: str | None = None
    number: int | None = None
    where: str | None = None
    findings: tuple[Finding, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Return the function as in the JSON answers."""
        return {
            "name": self.name,
            "state": self.state,
            "device": self.device,
            "number": self.number,
            "where": self.where,
        }


OFF = {"all": "expect-denied", "boot": "expect-off", "none": "expect-inactive"}
"""The rule about a device that stays off in a PC, by who configures it."""


class InPC(NamedTuple):
    """What a PC gives to the devices of a card, by their number; None to one that stays off.

    `pc` is what the PC is called, and who configures the card in it.
    """

    pc: str
    given: Mapping[int, Alternative | None]
    configured_by: str = "all"


def functions_found(
    image: Image, expectation: Expectation, in_pc: InPC | None = None
) -> list[FunctionFound]:
    """Return where a card has each function that this software looks for.

    Judged by the first choices of its devices; with `in_pc`, by what they are given there. Where
    several devices can be a function, the one that comes nearest counts.
    """
    if image.layout is None:
        return []
    devices = list(zip(card_of(image).devices, requirements_of(image).devices, strict=True))
    found = []
    for function in expectation.functions:
        judge = _Judge(image, expectation, function, in_pc)
        having = [
            judge.function_in(device, requirements)
            for device, requirements in devices
            if _is_known(device, requirements, function)
        ]
        absent = FunctionFound(function.name, ABSENT, findings=tuple(judge.missing()))
        found.append(min(having, key=_badness, default=absent))
    return found


def expect_findings(
    image: Image, expectation: Expectation, found: Sequence[FunctionFound]
) -> Iterator[Finding]:
    """Yield what is wrong with the functions of a card; a card with none of them is of no use."""
    findings = [finding for one in found for finding in one.findings]
    yield from findings
    if found and not findings and all(one.state == ABSENT for one in found):
        words = {"who": expectation.title, "functions": one_of([one.name for one in found])}
        none = finding(image.catalog, "expect-none", image.items_at, **words)
        yield none._replace(source=expectation.source)


def _badness(found: FunctionFound) -> tuple[int, int]:
    return sum(one.severity == "error" for one in found.findings), len(found.findings)


def _is_known(device: Device, requirements: DeviceRequirements, function: Function) -> bool:
    """Whether a device has this function: by an ID, or by what any of its choices asks for."""
    if any(id_ in function.compatible for id_ in _ids(device)):
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

    def __init__(
        self, image: Image, expectation: Expectation, function: Function, in_pc: InPC | None
    ) -> None:
        self.image = image
        self.function = function
        self.in_pc = in_pc
        self.words = {
            "function": function.name,
            "who": expectation.title,
            "text": function.text,
        }

    def missing(self) -> Iterator[Finding]:
        """Yield that no device of the card has the function, if the software needs it."""
        if self.function.required:
            at = self.image.items_at
            yield self._sourced(finding(self.image.catalog, "expect-missing", at, **self.words))

    def function_in(self, device: Device, requirements: DeviceRequirements) -> FunctionFound:
        """Return the function as a device has it: in its first choice, or as it is given."""
        start = device.choices[0].start if device.choices else device.start
        taken: Alternative | None = requirements.alternatives[0]
        if self.in_pc is not None:
            taken = self.in_pc.given.get(requirements.number)
        if taken is None:
            assert self.in_pc is not None
            words = {**self.words, "device": requirements.id, "pc": self.in_pc.pc}
            off = finding(
                self.image.catalog, OFF[self.in_pc.configured_by], device.start.offset, **words
            )
            return self._found_in(requirements, None, [self._sourced(off)])
        looks = [self._ports(taken), *(self._taken(taken, one) for one in self.function.lines)]
        findings = [
            self._sourced(self._finding(look, requirements.id, start.offset))
            for look in looks
            if not look.settled
        ]
        where = [words for look in looks for words in self._words_of(look)]
        return self._found_in(requirements, "; ".join(where) or None, findings)

    def _found_in(
        self, requirements: DeviceRequirements, where: str | None, findings: list[Finding]
    ) -> FunctionFound:
        wrong = any(one.severity == "error" for one in findings)
        state = ELSEWHERE if wrong else FOUND
        device, number = requirements.id, requirements.number
        return FunctionFound(self.function.name, state, device, number, where, tuple(findings))

    def _words_of(self, look: _Look) -> Iterator[str]:
        """Yield what of that kind a device takes, the nearest to what is looked for."""
        for need in (*look.offering, *look.needs)[:1]:
            yield need_words(self.image.catalog, need)

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
        # A card may be made for what software can be told of; what a PC gives, nobody tells it.
        right = wanted.assumed if self.in_pc is not None and wanted.assumed else wanted.first
        offering = [need for need, lines in both if lines & right]
        settled = any(lines <= right for lines in offers)
        words = one_of([str(line) for line in sorted(right)])
        return _Look(self._said(wanted.resource, words), needs, offering, settled)

    def _said(self, kind: str, words: str) -> str:
        """Return lines or bases the way an item that asks for them reads."""
        records = self.image.catalog.records.values()
        record = next(
            one for one in records if one.requires is not None and one.requires.kind == kind
        )
        return record.phrase.format_map({record.key_field.key: words})

    def _finding(self, look: _Look, device: str, at: int) -> Finding:
        catalog = self.image.catalog
        words = {**self.words, "device": device, "wanted": look.wanted}
        for need in (*look.offering, *look.needs)[:1]:
            if need.item is not None:
                at = need.item.offset
                words["found"] = need.item.record.in_words(need.item.values)
            if self.in_pc is not None:
                words["found"] = need_words(catalog, need)
        if self.in_pc is not None:
            words = {"found": "nothing like it", **words, "pc": self.in_pc.pc}
            return finding(catalog, "expect-given", at, **words)
        if look.offering:
            return finding(catalog, "expect-open", at, **words)
        if look.needs:
            return finding(catalog, "expect-other", at, **words)
        return finding(catalog, "expect-nothing", at, **words)

    def _sourced(self, found: Finding) -> Finding:
        """Return a finding with the source of the expectation instead of the rule's."""
        return found._replace(source=self.function.source)


def need_words(catalog: Catalog, need: Requirement) -> str:
    """Return what a device takes, the way one says it: `IRQ 5 or 7`, `I/O 220h-22Fh`."""
    short = catalog.resources[need.kind].short
    if isinstance(need, LineRequirement):
        return f"{short} {one_of([str(line) for line in need.lines])}"
    low, high = need.low, need.high
    if low != high:
        return f"{short} {address(low)} to {address(high)}"
    last = low + need.length - 1
    return f"{short} {address(low)}" + (f"-{address(last)}" if last > low else "")
