"""Captures of EEPROMs at work, made from what data sheets say: a master, a part, and `pyvcd`.

It knows nothing of the tool. A master plays commands on ideal lines, a part answers; the lines are
then sampled as a logic analyser does, and written by another hand's package. What was meant is
kept beside it, as the tool's contract words commands.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from typing import Any

from vcd import VCDWriter

Level = int | str
"""0, 1, or "z" where nothing drives a line."""

WRITE_TIME = 0.004
"""Seconds that a part takes to store: data sheets say 5 to 10 ms at most."""


def meant(
    time: float,
    kind: str,
    part: int | None = None,
    address: int | None = None,
    data: bytes = b"",
    answered: bool | None = None,
    took: bool | None = None,
) -> dict[str, Any]:
    """A command as the tool should tell it; `time` in seconds."""
    return {
        "time": time,
        "kind": kind,
        "part": part,
        "address": address,
        "bytes": data.hex(),
        "answered": answered,
        "took": took,
    }


class Lines:
    """Levels over time, in quarters of a clock; `now` counts seconds."""

    def __init__(self, clock: float, **levels: Level) -> None:
        self.quarter = 1 / clock / 4
        self.now = 0.0
        self.events: list[tuple[float, str, Level]] = [(0.0, n, v) for n, v in levels.items()]
        self.names = list(levels)
        self.at(20)

    def at(self, quarters: float = 1) -> None:
        """Let time go on."""
        self.now += quarters * self.quarter

    def set(self, name: str, level: Level, after: float = 0) -> None:
        """Put a line to a level, perhaps some quarters later."""
        self.events.append((self.now + after * self.quarter, name, level))

    def wait(self, seconds: float) -> None:
        """Let seconds go by: a whole number of quarters."""
        self.now += max(1, round(seconds / self.quarter)) * self.quarter

    def glitch(self, name: str, level: Level, width: float, back: Level) -> None:
        """A pulse of so many quarters, while time stands still."""
        self.events.append((self.now, name, level))
        self.events.append((self.now + width * self.quarter, name, back))

    def sampled(self, per_clock: int, start: float = 0, stop: float | None = None) -> list[Any]:
        """What an analyser sees that samples each clock so often, as (sample, name, level)."""
        step = self.quarter * 4 / per_clock
        first = round(start / step)
        last = None if stop is None else round(stop / step)
        levels: dict[str, Level] = {}
        found: dict[tuple[int, str], Level] = {}
        for time, name, level in sorted(self.events, key=lambda event: event[0]):
            sample = -int(-(time / step - 1e-6) // 1)  # the first sample that sees it
            found[max(sample, first) - first, name] = level
        seen = []
        for (sample, name), level in sorted(found.items(), key=lambda one: one[0][0]):
            if last is not None and sample > last - first:
                break
            if levels.get(name) != level:
                levels[name] = level
                seen.append((sample, name, level))
        return seen

    def timescale(self, per_clock: int) -> tuple[str, int]:
        """The unit of time of `vcd`, and how many of them a sample lasts."""
        nanoseconds = self.quarter * 4 / per_clock * 1e9
        for unit, size in (("1 us", 1e3), ("1 ns", 1.0)):
            if abs(nanoseconds / size - round(nanoseconds / size)) < 1e-6:
                return unit, round(nanoseconds / size)
        return "1 ps", round(nanoseconds * 1e3)

    def vcd(
        self,
        per_clock: int = 16,
        *,
        start: float = 0,
        stop: float | None = None,
        names: dict[str, str] | None = None,
        quiet: tuple[str, ...] = (),
    ) -> str:
        """The capture as a value change dump; `names`: other names for lines."""
        text = io.StringIO()
        unit, scale = self.timescale(per_clock)
        with VCDWriter(text, timescale=unit, init_timestamp=0, date="made for a test") as writer:
            shown = {name: (names or {}).get(name, name.upper()) for name in self.names}
            first: dict[str, Level] = {}
            seen = self.sampled(per_clock, start, stop)
            for sample, name, level in seen:
                if sample == 0:
                    first[name] = level
            variables = {
                name: writer.register_var(
                    "bus", shown[name], "wire", size=1, init=first.get(name, "x")
                )
                for name in self.names
            }
            for name in quiet:
                writer.register_var("bus", name, "wire", size=1, init=0)
            last = 0
            for sample, name, level in seen:
                last = sample * scale
                writer.change(variables[name], last, level)
            writer.close(last + scale)
        return text.getvalue()


@dataclass
class TwoWirePart:
    """A 24Cxx: `address` is its first 7-bit address; `page` in bytes."""

    size: int
    page: int
    address: int = 0x50
    protected: bool = False
    silent: bool = False
    memory: bytearray = field(default_factory=bytearray)
    pointer: int = 0
    busy_until: float = -1

    def __post_init__(self) -> None:
        self.memory = self.memory or bytearray(
            (7 * n + n // 256 + 1) % 256 for n in range(self.size)
        )
        self.blocks = max(1, self.size // 256)

    def hears(self, call: int, now: float) -> bool:
        """Whether it acknowledges its address."""
        return self.owns(call) and not self.silent and now >= self.busy_until

    def owns(self, call: int) -> bool:
        """Whether a 7-bit address is one of its blocks."""
        return call & ~(self.blocks - 1) == self.address

    def block(self, call: int) -> int:
        return (call & (self.blocks - 1)) * 256

    def store(self, data: bytes, now: float) -> None:
        """A page write: past the page's end it goes on at its start."""
        if self.protected or not data:
            return
        start = self.pointer - self.pointer % self.page
        for place, value in enumerate(data):
            self.memory[start + (self.pointer - start + place) % self.page] = value
        self.pointer = start + (self.pointer - start + len(data)) % self.page
        self.busy_until = now + WRITE_TIME

    def give(self) -> int:
        value = self.memory[self.pointer]
        self.pointer = (self.pointer + 1) % self.size
        return value


class TwoWire:
    """A master on a two-wire bus with some parts; `commands` is what was meant.

    `joined`: several 7-bit addresses belong to one part, as told to the tool.
    """

    def __init__(
        self,
        clock: float,
        part: TwoWirePart,
        more: dict[str, Level] | None = None,
        *,
        joined: bool = True,
    ) -> None:
        self.lines = Lines(clock, scl=1, sda=1, **(more or {}))
        self.parts: tuple[TwoWirePart, ...] = (part,)
        self.joined = joined
        self.commands: list[dict[str, Any]] = []
        self.pointers: dict[int, int] = {}

    # --- on the wires: a step is a quarter of a clock, SCL low in the first and last one

    def start(self) -> float:
        lines = self.lines
        lines.set("sda", 1)
        lines.at()
        lines.set("scl", 1)
        lines.at()
        lines.set("sda", 0)
        began = lines.now
        lines.at()
        lines.set("scl", 0)
        lines.at()
        return began

    def stop(self) -> None:
        lines = self.lines
        lines.set("sda", 0)
        lines.at()
        lines.set("scl", 1)
        lines.at()
        lines.set("sda", 1)
        lines.at(4)

    def bit(self, level: int) -> None:
        lines = self.lines
        lines.set("sda", level)
        lines.at()
        lines.set("scl", 1)
        lines.at(2)
        lines.set("scl", 0)
        lines.at()

    def byte(self, value: int, acknowledged: bool) -> None:
        for place in range(7, -1, -1):
            self.bit(value >> place & 1)
        self.bit(0 if acknowledged else 1)

    # --- commands

    def _heard(self, call: int) -> TwoWirePart | None:
        return next((part for part in self.parts if part.hears(call, self.lines.now)), None)

    def _shown(self, call: int) -> tuple[int, int]:
        """The part that the tool should name, and what its addresses begin with."""
        part = next((part for part in self.parts if part.owns(call)), None)
        if part is None or not self.joined:
            return call, 0
        return part.address, part.block(call)

    def write(
        self, call: int, address: int | None, data: bytes = b"", *, stop: bool = True,
        stubborn: bool = False, answers: int | None = None,
    ) -> bool:  # fmt: skip
        """A write: address byte and data; neither is a poll. Returns whether it was answered.

        `stubborn`: goes on without an answer; `answers`: after so many bytes the part is silent.
        """
        began = self.start()
        part = self._heard(call)
        is_heard = part is not None
        self.byte(call << 1, is_heard)
        sent: list[int] = []
        answered = is_heard
        for value in ([] if address is None else [address & 0xFF]) + list(data):
            if not answered and not stubborn:
                break
            answered = answered and (answers is None or len(sent) < answers)
            self.byte(value, answered)
            sent.append(value)
        name, block = self._shown(call)
        kept = bytes(sent[1:])
        if part is not None and sent:
            part.pointer = (part.block(call) + sent[0]) % part.size
        if stop:
            self.stop()
            if part is not None and answered:
                part.store(kept, self.lines.now)
        where = (block + sent[0]) if sent else None
        if where is not None and part is not None and self.joined:
            where %= part.size
        took: bool | None = answered
        if kept and answered:
            took = None if stop else False
        self.commands.append(
            meant(began, "write" if kept else "address", name, where, kept, answered, took)
        )
        if part is not None:
            self.pointers[name] = part.pointer if self.joined else part.pointer % 256
        return answered

    def read(
        self, call: int, count: int, *, known: bool = True, last_answered: bool = False
    ) -> bytes:
        """A read from the part's pointer; `known`: the capture shows where that stands."""
        began = self.start()
        part = self._heard(call)
        self.byte(call << 1 | 1, part is not None)
        data = bytearray()
        name, _ = self._shown(call)
        where = None
        if part is not None:
            part.pointer = part.pointer % 256 + part.block(call)
            where = part.pointer if self.joined else part.pointer % 256
            for place in range(count):
                value = part.give()
                data.append(value)
                self.byte(value, place < count - 1 or last_answered)
        self.stop()
        if not known:
            where = None
        self.commands.append(
            meant(began, "read", name, where, bytes(data), part is not None, part is not None)
        )
        return bytes(data)

    def random_read(self, call: int, address: int, count: int) -> bytes:
        """An address byte alone, then a read."""
        if not self.write(call, address, stop=False):
            self.stop()
            return b""
        return self.read(call, count)

    def poll(self, call: int, most: int = 400) -> None:
        """Ask until the part answers."""
        for _ in range(most):
            if self.write(call, None):
                return
            self.lines.wait(WRITE_TIME / 10)


@dataclass
class ThreeWirePart:
    """A 93Cxx: `word` bits (its ORG pin), so many address bits, of which some are ignored."""

    size: int
    word: int
    address_bits: int
    enabled: bool = False
    locked: bool = False
    silent: bool = False
    early: bool = False
    """It starts to store at the last clock, not when CS falls."""
    memory: list[int] = field(default_factory=list)
    busy_until: float = -1

    def __post_init__(self) -> None:
        words = self.size * 8 // self.word
        top = (1 << self.word) - 1
        self.memory = self.memory or [(40503 * n + 0x8123) & top for n in range(words)]

    def words(self) -> int:
        return len(self.memory)


class ThreeWire:
    """A master on a three-wire bus with one part; the master may take it for another one."""

    OPCODES = {  # noqa: RUF012
        "read": (0b10, None), "write": (0b01, None), "erase": (0b11, None),
        "write-enable": (0, 0b11), "write-disable": (0, 0b00), "erase-all": (0, 0b10),
        "write-all": (0, 0b01),
    }  # fmt: skip

    def __init__(
        self, clock: float, part: ThreeWirePart, *, idle: Level = "z", extra: int = 0,
        master: tuple[int, int] | None = None, **more: Level,
    ) -> None:  # fmt: skip
        self.lines = Lines(clock, cs=0, clk=0, di=0, do=idle, **more)
        self.part = part
        self.idle = idle
        self.extra = extra
        self.address_bits, self.word = master or (part.address_bits, part.word)
        self.commands: list[dict[str, Any]] = []

    def bit(self, level: int, out: Level | None) -> None:
        """A clock: DI is put before it rises, DO changes after that."""
        lines = self.lines
        lines.set("di", level)
        lines.at()
        lines.set("clk", 1)
        if out is not None:
            lines.set("do", out, after=0.5)
        lines.at(2)
        lines.set("clk", 0)
        lines.at()

    def select(self) -> float:
        lines = self.lines
        lines.set("cs", 1)
        began = lines.now
        lines.at(2)
        return began

    def release(self) -> None:
        lines = self.lines
        lines.set("cs", 0)
        lines.set("do", self.idle, after=0.5)
        lines.at()
        lines.set("di", 0)
        lines.at(3)

    def command(
        self, kind: str, address: int = 0, value: int | None = None, *, words: int = 1,
        clocks: int | None = None, took: bool | str | None = "as meant",
    ) -> bytes:  # fmt: skip
        """Play a command; `address` and `value` are words. Returns what was read.

        `clocks`: break off after so many.
        """
        code, select = self.OPCODES[kind]
        if select is not None:
            address = select << (self.address_bits - 2)
        bits = [1, code >> 1, code & 1]
        bits += [address >> n & 1 for n in range(self.address_bits - 1, -1, -1)]
        if value is not None:
            bits += [value >> n & 1 for n in range(self.word - 1, -1, -1)]
        reads = words * self.word if kind == "read" else 0
        bits += [0] * (reads + self.extra)
        if clocks is not None:
            bits = bits[:clocks]
        began = self.select()
        answer = self._answer(kind, bits)
        for level, out in zip(bits, answer, strict=True):
            self.bit(level, out)
        self.release()
        self._act(bits)
        step = self.word // 8
        data = b""
        if kind == "read":
            got = [1 if out == 1 else 0 for out in answer[3 + self.address_bits :]][:reads]
            number = int("".join(map(str, got)) or "0", 2)
            data = number.to_bytes(len(got) // 8, "big")
        elif value is not None:
            data = value.to_bytes(step, "big")
        where = address * step % self.part.size if select is None else None
        result: Any = took
        if took == "as meant":
            result = True if kind in ("read", "write-enable", "write-disable") else None
        self.commands.append(meant(began, kind, None, where, data, None, result))
        return data

    def _answer(self, kind: str, bits: list[int]) -> list[Level | None]:
        """What DO does at each clock: nothing, or for a read the dummy and the data."""
        part = self.part
        answer: list[Level | None] = [None] * len(bits)
        at = 3 + part.address_bits
        if part.silent or kind != "read" or len(bits) < at:
            return answer
        address = int("".join(map(str, bits[3:at])), 2) % part.words()
        answer[at - 1] = 0
        for place in range(at, len(bits)):
            word = part.memory[(address + (place - at) // part.word) % part.words()]
            answer[place] = word >> (part.word - 1 - (place - at) % part.word) & 1
        return answer

    def _act(self, bits: list[int]) -> None:
        """What the part does once CS has fallen."""
        part = self.part
        at = 3 + part.address_bits
        if len(bits) < at or part.silent:
            return
        code, number = bits[1] << 1 | bits[2], int("".join(map(str, bits[3:at])), 2)
        select = number >> (part.address_bits - 2)
        top = (1 << part.word) - 1
        data = int("".join(map(str, bits[at : at + part.word])) or "0", 2)
        is_whole = len(bits) >= at + part.word
        address = number % part.words()
        if code == 0 and select in (0b11, 0b00):
            part.enabled = select == 0b11
            return
        changes: dict[int, int] = {}
        if code == 0b01 and is_whole:
            changes = {address: data}
        elif code == 0b11:
            changes = {address: top}
        elif code == 0 and select == 0b10:
            changes = dict.fromkeys(range(part.words()), top)
        elif code == 0 and select == 0b01 and is_whole:
            changes = dict.fromkeys(range(part.words()), data)
        if changes and part.enabled and not part.locked:
            for place, word in changes.items():
                part.memory[place] = word
            part.busy_until = self.lines.now + WRITE_TIME

    def poll(self) -> None:
        """CS high until DO is high: busy, then ready."""
        lines, part = self.lines, self.part
        lines.wait(1e-5)
        lines.set("cs", 1)
        if lines.now < part.busy_until:
            lines.set("do", 0, after=0.5)
            lines.wait(part.busy_until - lines.now)
        lines.set("do", 1, after=0.5)
        lines.at(4)
        self.release()
