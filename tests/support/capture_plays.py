"""Conversations on an EEPROM's bus, many and different: played by `bus_capture`, told by number."""

from __future__ import annotations

import random
from typing import Any, NamedTuple

from tests.support.bus_capture import Level, ThreeWire, ThreeWirePart, TwoWire, TwoWirePart

# Sizes and pages in bytes; generic part numbers, as data sheets have them (pages from memory).
TWO_WIRE = {
    "24C01": (128, 8),
    "24C02": (256, 8),
    "24C04": (512, 16),
    "24C08": (1024, 16),
    "24C16": (2048, 16),
}
# Bytes, and address bits with words of 8 and of 16 bits, as data sheets have them (from memory).
THREE_WIRE = {
    "93C46": (128, 7, 6),
    "93C56": (256, 9, 8),
    "93C66": (512, 9, 8),
    "93C76": (1024, 11, 10),
    "93C86": (2048, 11, 10),
}
CLOCKS = (1_000, 10_000, 31_250, 100_000, 250_000, 400_000, 1_000_000)
SAMPLES = (4, 5, 8, 13, 16, 25, 50, 100)


class Play(NamedTuple):
    """A made capture: its text, what was meant, and the part that was played.

    `step`: units of time to a sample.
    """

    text: str
    commands: list[dict[str, Any]]
    part: str
    bus: str
    address_bits: int | None
    word: int | None
    step: int


def play(number: int) -> Play:
    """The capture of this number: every part and organisation comes up, and every clock."""
    parts: list[tuple[str, int | None]] = [(name, None) for name in TWO_WIRE]
    parts += [(name, word) for name in THREE_WIRE for word in (8, 16)]
    name, word = parts[number % len(parts)]
    chance = random.Random(number)
    clock, samples = CLOCKS[number % len(CLOCKS)], SAMPLES[number // 3 % len(SAMPLES)]
    if word is None:
        bus = two_wire(chance, name, clock)
        step = bus.lines.timescale(samples)[1]
        return Play(bus.lines.vcd(samples), bus.commands, name, "two-wire", None, None, step)
    three = three_wire(chance, name, word, clock)
    bits, step = three.address_bits, three.lines.timescale(samples)[1]
    return Play(three.lines.vcd(samples), three.commands, name, "three-wire", bits, word, step)


def two_wire(chance: random.Random, name: str, clock: int) -> TwoWire:
    """A master that reads, writes, polls and reads on."""
    size, page = TWO_WIRE[name]
    bus = TwoWire(clock, TwoWirePart(size, page))
    written: list[tuple[dict[str, Any], int, int, bytes]] = []
    for _ in range(chance.randint(4, 8)):
        at = chance.randrange(size)
        call, byte = 0x50 + at // 256, at % 256
        action = chance.choice(["read", "read", "write", "on", "other"])
        if action == "read":
            bus.random_read(call, byte, chance.randint(1, 12))
        elif action == "on" and bus.parts[0].pointer and bus.commands:
            known = any(one["kind"] != "poll" and one["part"] == 0x50 for one in bus.commands)
            bus.read(0x50 + bus.parts[0].pointer // 256, chance.randint(1, 4), known=known)
        elif action == "other":
            bus.write(0x20 + chance.randrange(8), None)
        elif action == "write":
            count = chance.randint(1, page - at % page)
            data = chance.randbytes(count)
            if bus.write(call, byte, data):
                command = bus.commands[-1]
                bus.poll(call)
                command["took"] = True
                written.append((command, call, byte, data))
    return bus


def three_wire(chance: random.Random, name: str, word: int, clock: int) -> ThreeWire:
    """A master that reads words alone and in a row, enables writing, writes and erases."""
    size, narrow, wide = THREE_WIRE[name]
    part = ThreeWirePart(size, word, narrow if word == 8 else wide)
    idle: Level = "z" if chance.random() < 0.5 else 1
    bus = ThreeWire(clock, part, idle=idle)
    words = part.words()
    top = (1 << word) - 1
    bus.command("read", 0, words=chance.randint(2, 6))
    for _ in range(chance.randint(4, 8)):
        at = chance.randrange(words)
        action = chance.choice(["read", "read", "write", "erase", "all", "off"])
        if action == "read":
            bus.command("read", at, words=chance.randint(1, 5))
        elif action == "off":
            bus.command("write-disable")
        else:
            bus.command("write-enable")
            if action == "write":
                bus.command("write", at, chance.randint(0, top), took=True)
            elif action == "erase":
                bus.command("erase", at, took=True)
            elif chance.random() < 0.5:
                bus.command("write-all", 0, chance.randint(0, top), took=True)
            else:
                bus.command("erase-all", took=True)
            bus.poll()
    return bus
