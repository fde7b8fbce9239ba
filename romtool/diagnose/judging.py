"""Tests of single causes, where no other command tells them: by what devices ask for in a PC."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from romtool.diagnose.evidence import Evidence
from romtool.image.card import card_of
from romtool.image.model import Image
from romtool.requirements.collide import Placed, memory_collides, ports_collide
from romtool.requirements.model import (
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.requirements.read import pins_of, wired
from romtool.rules.expect import ABSENT, functions_found
from romtool.schema.numbers import address

FOUND, OPEN, OUT = "found", "open", "ruled-out"
"""The states of a cause."""


class Verdict(NamedTuple):
    """What a test says: a state, and why, in words; none where the cause's own words do."""

    state: str
    because: str = ""


def readback(evidence: Evidence) -> Verdict:
    """Tell whether the part holds another image."""
    found = evidence.differences
    if found is None:
        return Verdict(OPEN)
    if not found:
        return Verdict(OUT)
    named = " and ".join(title for _, title in evidence.read_faults)
    first = found[0]
    words = f"{len(found)} bytes of the readback differ, the first at {address(first.offset)}"
    return Verdict(FOUND, f"{words}: {named or first.field}")


def boot_flag(evidence: Evidence) -> Verdict:
    """Tell whether a BIOS activates each device: by its boot flag."""
    if not evidence.are_all_readable:
        return Verdict(OPEN)
    without = [id_ for id_, has in _boot_flags(evidence) if not has]
    if not without:
        return Verdict(OUT)
    have = "has" if len(without) == 1 else "have"
    return Verdict(OPEN, f"{_some(without)} {have} no boot flag: only PnP software activates that")


def boot_flag_set(evidence: Evidence) -> Verdict:
    """Tell whether a device is active from the start on."""
    if not evidence.are_all_readable:
        return Verdict(OPEN)
    having = [id_ for id_, has in _boot_flags(evidence) if has]
    if not having:
        return Verdict(OUT)
    verb = "has" if len(having) == 1 else "have"
    return Verdict(OPEN, f"{_some(having)} {verb} the boot flag: right only if the PC starts by it")


def _boot_flags(evidence: Evidence) -> Iterator[tuple[str, bool]]:
    for one in evidence.readable:
        for device in card_of(one.image).devices:
            yield device.id, bool(device.values.get("boot"))


def given(evidence: Evidence) -> Verdict:
    """Tell whether each device gets what it asks for."""
    rehearsal = evidence.rehearsal
    if rehearsal is None:
        return Verdict(OPEN)
    conflict = rehearsal.assignment.conflict
    if conflict is not None:
        return Verdict(FOUND, f"can't be together: {', '.join(conflict.names())}")
    return Verdict(OUT if evidence.host is not None and rehearsal.seen else OPEN)


def functions(evidence: Evidence) -> Verdict:
    """Tell whether the card has each function that software looks for, and gets it its place."""
    if not evidence.are_all_readable:
        return Verdict(OPEN)
    off = set()
    if evidence.rehearsal is not None:
        devices = (device for seen in evidence.rehearsal.seen for device in seen.card.devices)
        off = {device.requirements.id for device in devices if not device.is_on}
    absent, silent = [], []
    for expectation in evidence.catalog.expectations.values():
        for one in evidence.readable:
            for function in functions_found(one.image, expectation):
                if function.state == ABSENT:
                    absent.append(function.name)
                elif function.device in off:
                    silent.append(f"{function.name} ({function.device})")
    if silent:
        return Verdict(FOUND, f"gets nothing in that PC: {_some(silent)}")
    if absent:
        verb = "isn't" if len(absent) == 1 else "aren't"
        return Verdict(OPEN, f"{_some(absent)} {verb} announced: right if the board has none")
    return Verdict(OUT if evidence.host is not None else OPEN)


# --- lines and channels ---------------------------------------------------------------------------


def _unwired(kind: str) -> Callable[[Evidence], Verdict]:
    def test(evidence: Evidence) -> Verdict:
        """Tell whether each line that a device may be given has a pin of the chip."""
        if not evidence.are_all_readable:
            return Verdict(OPEN)
        resource = evidence.catalog.resources[kind]
        missing: dict[str, None] = {}
        is_known = True
        for image, device, need in _needs(evidence, kind):
            assert isinstance(need, LineRequirement)
            pins = wired(image, resource)
            is_known &= pins is not None
            for line in need.lines:
                if pins is not None and line not in pins:
                    missing[f"{resource.short} {line} of {device.id}"] = None
        if missing:
            return Verdict(FOUND, f"no pin of the chip is wired to {_some([*missing])}")
        return Verdict(OUT if is_known else OPEN)

    return test


def _taken(kind: str) -> Callable[[Evidence], Verdict]:
    def test(evidence: Evidence) -> Verdict:
        """Tell whether a line that a device may be given has an owner in the PC already."""
        if not evidence.are_all_readable or evidence.host is None:
            return Verdict(OPEN)
        resource = evidence.catalog.resources[kind]
        taken = evidence.host.lines(kind)
        may: dict[str, None] = {}
        for image, device, need in _needs(evidence, kind):
            assert isinstance(need, LineRequirement)
            pins = pins_of(image, resource) or {}
            lines = [line for line in need.lines if resource.on_bus(line) in taken]
            named = (
                f"{resource.short} {line}" + (f", {pins[line]}" if line in pins else "")
                for line in lines
            )
            words = " or ".join(named)
            if lines and len(lines) == len(need.lines) and _is_only_way(device, need):
                return Verdict(FOUND, f"{device.id} can have only {words}, which the PC has taken")
            if lines:
                may[f"{words}, of {device.id}"] = None
        if may:
            return Verdict(OPEN, f"may be given though the PC has taken it: {_some([*may])}")
        return Verdict(OUT)

    return test


def irq_level(evidence: Evidence) -> Verdict:
    """Tell whether an interrupt can only be a level, or a falling edge."""
    if not evidence.are_all_readable:
        return Verdict(OPEN)
    for _, device, need in _needs(evidence, "irq"):
        triggers = need.item.values.get("trigger") if need.item is not None else None
        if isinstance(triggers, list) and triggers and "high-edge" not in triggers:
            return Verdict(FOUND, f"{device.id} asks for {' or '.join(map(str, triggers))}")
    return Verdict(OUT)


# --- ports and memory -----------------------------------------------------------------------------


def ports_taken(evidence: Evidence) -> Verdict:
    """Tell whether a range of ports can lie over ports of the PC."""
    return _ranges(evidence, "io", lambda _: True)


def aliases_taken(evidence: Evidence) -> Verdict:
    """Tell whether an alias of a range with a short decode can lie over ports of the PC."""
    bus = evidence.catalog.bus
    short = [
        need
        for _, _, need in _needs(evidence, "io")
        if isinstance(need, RangeRequirement) and need.length and bus.aliases(need.bits)
    ]
    if evidence.are_all_readable and not short:
        return Verdict(OUT)
    return _ranges(evidence, "io", lambda need: bus.aliases(need.bits))


def memory_taken(evidence: Evidence) -> Verdict:
    """Tell whether a memory window can lie over memory of the PC."""
    asked = [need for _, _, need in _needs(evidence, "memory") if not need.is_empty]
    if evidence.are_all_readable and not asked:
        return Verdict(OUT)
    return _ranges(evidence, "memory", lambda _: True)


def _ranges(
    evidence: Evidence, kind: str, is_wanted: Callable[[RangeRequirement], bool]
) -> Verdict:
    """Tell whether a range has to lie over what the PC has taken, wherever it is placed."""
    if not evidence.are_all_readable or evidence.host is None:
        return Verdict(OPEN)
    taken = evidence.host.ranges(kind)
    for _, device, need in _needs(evidence, kind):
        assert isinstance(need, RangeRequirement)
        if need.is_empty or not is_wanted(need) or not _is_only_way(device, need):
            continue
        placed = [Placed(base, need.length, need.bits) for base in need.bases]
        hits = [
            next((other for other in taken if _collide(evidence, kind, one, other)), None)
            for one in placed
        ]
        if hits and hits[0] is not None and None not in hits:
            words = f"{placed[0].in_words()} of {device.id} on {hits[0].in_words()}"
            return Verdict(FOUND, f"lies over what the PC has taken: {words}")
    return Verdict(OUT)


def _collide(evidence: Evidence, kind: str, one: Placed, other: Placed) -> bool:
    if evidence.catalog.resources[kind].is_io:
        return ports_collide(evidence.catalog.bus, one, other)
    return memory_collides(one, other)


def _needs(
    evidence: Evidence, kind: str
) -> Iterator[tuple[Image, DeviceRequirements, Requirement]]:
    """Yield everything of a kind that devices may be given, in whichever choice."""
    for image, device in evidence.devices():
        seen = set()
        for alternative in device.alternatives:
            for need in alternative.of_kind(kind):
                if need not in seen:
                    seen.add(need)
                    yield image, device, need


def _is_only_way(device: DeviceRequirements, need: Requirement) -> bool:
    """Whether a device asks for this in each of its choices."""
    return all(need in alternative.needs for alternative in device.alternatives)


MOST_NAMED = 4
"""At most this many are named in one sentence."""


def _some(words: list[str]) -> str:
    if len(words) > MOST_NAMED:
        return f"{', '.join(words[:MOST_NAMED])} and {len(words) - MOST_NAMED} more"
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


TESTS: dict[str, Callable[[Evidence], Verdict]] = {
    "readback": readback,
    "boot-flag": boot_flag,
    "boot-flag-set": boot_flag_set,
    "given": given,
    "functions": functions,
    "irq-unwired": _unwired("irq"),
    "dma-unwired": _unwired("dma"),
    "irq-taken": _taken("irq"),
    "dma-taken": _taken("dma"),
    "irq-level": irq_level,
    "ports-taken": ports_taken,
    "aliases-taken": aliases_taken,
    "memory-taken": memory_taken,
}
"""The tests by the names that causes have for them in the schema."""
