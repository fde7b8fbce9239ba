"""The steps of a power-up in words, a line a step."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from romtool.assign.answer import Assignment
from romtool.rehearse.chip import Loaded
from romtool.rehearse.isolation import Heard
from romtool.rehearse.reading import Read
from romtool.rehearse.registers import Registers, in_use
from romtool.rehearse.resources import identity
from romtool.rehearse.steps import Step
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import address, hex_text, sizes
from romtool.text.page import line

Words = tuple[str, str]
"""What stands in the column of labels, and what beside it."""


def trace_lines(catalog: Catalog, steps: tuple[Step, ...]) -> Iterator[str]:
    """Yield the steps, a line each where that is wide enough."""
    for step in steps:
        label, words = in_words(catalog, step)
        yield from line(label, words, indent=2, column=15)


def in_words(catalog: Catalog, step: Step) -> Words:
    """Return a step as a label and what there is to say."""
    return WORDS[step.name](catalog, **step.facts)


def card_words(id: str | None, serial: int | None) -> str:
    """Return what tells a card from others."""
    number = "no serial number" if serial is None else f"serial {serial}"
    return f"{id or 'an ID that spells nothing'}, {number}"


def _load(catalog: Catalog, slot: int, name: str, loaded: Loaded) -> Words:
    if loaded.data is None:
        return "load", f"slot {slot + 1}, {name}: EEPROM ignored"
    deaf = ", heeds no key" if loaded.deaf else ""
    return "load", f"slot {slot + 1}, {name}: {sizes(len(loaded.data))}{deaf}"


def _key(catalog: Catalog, lead: int, length: int) -> Words:
    lead_in = hex_text(catalog.protocol.key_lead)
    return "key", f"{lead_in}, then the {length} bytes of the initiation key"


def _control(catalog: Catalog) -> Words:
    return "control", "all devices reset, all numbers forgotten"


def _wake(catalog: Catalog, csn: int) -> Words:
    return "wake", f"card {csn}" if csn else "0: all cards without a number"


def _read_port(catalog: Catalog, port: int) -> Words:
    return "READ_DATA", address(port)


def _port_taken(catalog: Catalog, port: int) -> Words:
    return "READ_DATA", f"not at {address(port)}: the host has a device there"


def _asleep(catalog: Catalog, slot: int, pair: int) -> Words:
    reply = hex_text(catalog.protocol.isolation_reply)
    return "", f"pair {pair}: slot {slot + 1} is silent, hears {reply}, goes to sleep"


def _round(catalog: Catalog, number: int, heard: Heard, taken: bool) -> Words:
    if heard.is_silent:
        return f"round {number}", "nobody answers"
    bits = f"{hex_text(heard.raw[:-1])} + {heard.raw[-1]:02X}"
    if taken:
        return f"round {number}", f"{bits}: {card_words(*identity(catalog, heard.raw))}"
    makes = f"sum {heard.computed:02X}h"
    return f"round {number}", f"{bits}: {makes}, not taken"


def _csn(catalog: Catalog, csn: int) -> Words:
    return "number", f"{csn}, for the card that is left"


def _numbered(catalog: Catalog, slot: int, csn: int) -> Words:
    return "", f"slot {slot + 1} is card {csn} now"


def _data(catalog: Catalog, csn: int, read: Read) -> Words:
    words = read.problem.text if read.problem else "to the end item"
    return "data", f"{sizes(len(read.data))}, {words}"


def _assign(catalog: Catalog, assignment: Assignment, devices: int) -> Words:
    return "assign", f"{len(assignment.devices)} of {devices} devices get what they need"


def _device(catalog: Catalog, number: int, id: str) -> Words:
    return "device", f"{number}, {id}"


def _registers(catalog: Catalog, registers: Registers) -> Words:
    runs = in_use(catalog.protocol, registers)
    words = ", ".join(f"{address(first)}: {hex_text(raw)}" for first, raw in runs)
    return "registers", words or "all cleared"


def _range_check(catalog: Catalog, count: int, wrong: list[int]) -> Words:
    if wrong:
        return "range check", f"{len(wrong)} of {count} ports answer otherwise"
    return "range check", f"{count} ports, nobody else answers"


def _activate(catalog: Catalog, id: str) -> Words:
    return "activate", id


def _wait(catalog: Catalog) -> Words:
    return "wait", "all cards wait for the key again"


WORDS: Mapping[str, Callable[..., Words]] = {
    "load": _load,
    "key": _key,
    "control": _control,
    "wake": _wake,
    "read-port": _read_port,
    "port-taken": _port_taken,
    "asleep": _asleep,
    "round": _round,
    "csn": _csn,
    "numbered": _numbered,
    "data": _data,
    "assign": _assign,
    "device": _device,
    "registers": _registers,
    "range-check": _range_check,
    "activate": _activate,
    "wait": _wait,
}
