"""Profiles as people get them wrong: one or two changes at random places.

Values of wrong types, numbers at and past all limits in all spellings, words of other keys, keys
left out, misspelt, or put where they don't belong.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from random import Random
from typing import Any

from .independent import NO_SERIAL
from .profiles import Table

Place = tuple[Any, Any]
"""A table or a list, and a key or an index in it."""

# Widths of fields in bits (Spec 6.1, 6.2), and the numbers about their limits.
LIMITS = [0, 1, 2, 3, 5, 8, 10, 15, 16, 40, 0x31, 0x3F, 0x40, 254, 255, 256, 257, 1023, 1024]
LIMITS += [0xFF00, 65535, 65536, 65537, 0xC0000, 0xC0001, 0xFFFF00, 0xFFFFFF, 0x1000000]
LIMITS += [NO_SERIAL - 1, NO_SERIAL, NO_SERIAL + 1, (1 << 64) - 1, 1 << 64]
WORDS = ["good", "best", "acceptable", "high-edge", "byte", "8", "16", "8+16", "32", "A", "small"]
WORDS += [
    "large",
    "none",
    "without-identifier",
    "plain",
    "items",
    "counted-7",
    "marked-8",
    "24C04",
    "24c04",
]
WORDS += [
    "93c46",
    "24C99",
    "1.0",
    "1.A",
    "10",
    "QRL0301",
    "qrl0301",
    "@[_0301",
    "rOS1234",
    "`RL0301",
    "80",
    "C6 4C 03 01",
    "QRL030",
    "QRLX301",
]
WORDS += ["QRL03011", "QRL0301\n", "QRL 0301", "ıRL0301", "", " ", "55 BB", "55BB", "5 5", "555"]
WORDS += ["GG", "55 BB 00 11 22 33 44 55 66", "0x", "h", "0xG", "-5", "5.0", "1_0", " 5h ", "5h\n"]
WORDS += ["0" * 39 + "5", "0" * 40 + "5", "caf\u00e9", "a\tb", "24C04\n", "\uff15"]
OTHERS = [
    True,
    False,
    -1,
    5.5,
    [],
    {},
    [5],
    [5, 5],
    [5, 7, 5],
    [1, 3, 0],
    [0x200, 0x300],
    [1, 2, 3],
]
OTHERS += [
    ["5h"],
    [5] * 6,
    [4, 1, 3, 4],
    [{}],
    [{"irq": [5]}],
    {"irq": [5]},
    ["QRL0001"],
    [["byte"]],
]
KEYS = ["image", "config", "card", "device", "override", "layout", "part", "size", "fill", "patch"]
KEYS += ["tail", "raw", "at", "id", "serial", "name", "pnp_version", "vendor_version", "resources"]
KEYS += ["compatible", "boot", "registers", "id_length", "choice", "resources_after", "priority"]
KEYS += [
    "irq",
    "trigger",
    "dma",
    "width",
    "bus_master",
    "count",
    "speed",
    "io",
    "io_fixed",
    "align",
]
KEYS += ["length", "decode", "vendor", "form", "unicode", "country", "memory24", "memory32"]
KEYS += [
    "memory32_fixed",
    "writeable",
    "rom",
    "irq_wiring",
    "dma_wiring",
    "internal_fm",
    "unknown_a",
]
KEYS += [
    "lead",
    "id_raw",
    "reserved",
    "misc_low",
    "cdrom_decode",
    "signature",
    "identifier",
    "id_checksum",
    "end_checksum",
]


def spelt(rng: Random, number: int) -> str:
    """A number as a text, in one of the ways to spell it."""
    ways = [f"{number:X}h", f"{number:x}H", f"0x{number:X}", f"{number}", f"0{number:X}h"]
    return rng.choice(ways)


def value(rng: Random) -> Any:
    """A value that fits some key, or none."""
    drawn = rng.choice(LIMITS)
    kind = rng.choice(["number", "number", "spelt", "spelt", "word", "word", "other"])
    if kind == "number":
        return drawn
    if kind == "spelt":
        return spelt(rng, drawn)
    return rng.choice(WORDS) if kind == "word" else copy.deepcopy(rng.choice(OTHERS))


def places(inside: Any) -> Iterator[Place]:
    """Every place in a profile, tables and lists first."""
    steps = inside.items() if isinstance(inside, dict) else enumerate(inside)
    for step, found in list(steps):
        yield inside, step
        if isinstance(found, dict | list):
            yield from places(found)


def overridden(rng: Random) -> Table:
    """Some overrides, mostly of things that there are."""
    drawn: Table = {
        "signature": rng.choice(["55 BC", "A6", "55 BB 00"]),
        "count": rng.choice([0, 65535, 65536, "FFh", "without-identifier", "with-identifier"]),
        "id_checksum": rng.choice([0, 255, 256, "FFh", "none"]),
        "end_checksum": rng.choice([0, 255, 256, "100h", "none"]),
        "identifier": rng.choice(["00" * 9, "00" * 8]),
    }
    keys = rng.sample(list(drawn), rng.choice([1, 1, 2]))
    return {key: drawn[key] for key in keys}


def misspelt(rng: Random, profile: Table) -> Table:
    """The profile, itself left alone, with one or two things changed."""
    changed = copy.deepcopy(profile)
    if rng.random() < 0.1:
        changed["override"] = overridden(rng)
    if rng.random() < 0.03:
        changed = {"image": {"raw": rng.choice(["55 BB", "", "5", "55 BB 0A"])}}
    for _ in range(rng.choice([1, 1, 1, 2])):
        inside, step = rng.choice(list(places(changed)))
        deed = rng.choice(
            ["replace", "replace", "replace", "drop", "rename", "add", "add", "again"]
        )
        if deed == "replace":
            inside[step] = value(rng)
        elif deed == "drop":
            del inside[step]
        elif isinstance(inside, list):
            inside.append(copy.deepcopy(inside[step]) if deed == "again" else value(rng))
        elif deed == "rename":
            inside[rng.choice([step + "s", step.upper(), rng.choice(KEYS)])] = inside.pop(step)
        else:
            inside[rng.choice(KEYS)] = value(rng)
        if not changed:
            break
    return changed
