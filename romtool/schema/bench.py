"""What the schemas say of the bench: buses of EEPROMs, what captures show, symptoms and causes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from romtool.errors import Problem
from romtool.schema.described import Described


class SerialLine(Described):
    """A line of an EEPROM's bus: its pin, and the channel names by which it is known."""

    name: str
    title: str
    text: str
    pin: int
    names: tuple[str, ...]
    required: bool = False
    pull_up: bool = False
    locks: str | None = None


class SerialCommand(Described):
    """A command with a code: bits after the start bit, upper address bits, data to or from it."""

    kind: str
    code: str
    select: str = ""
    data: str | None = None
    needs_enable: bool = False


class SerialBus(Described):
    """The bus of an EEPROM, as a logic analyser sees it.

    `write_time`: milliseconds; `samples`: of each clock, at least; `glitch`: a pulse shorter than
    a clock divided by this is none; `device`: code and mask of the 7-bit addresses of EEPROMs.
    """

    name: str
    title: str
    source: str
    write_time: int
    samples: int
    glitch: int
    device: tuple[int, int] | None
    lines: tuple[SerialLine, ...]
    commands: tuple[SerialCommand, ...]

    def line(self, name: str) -> SerialLine:
        """Return the line of this name."""
        return next(line for line in self.lines if line.name == name)

    def is_eeprom(self, address: int) -> bool:
        """Whether an EEPROM has this 7-bit address."""
        return self.device is not None and address & self.device[1] == self.device[0]


class Observation(Described):
    """What a capture can show, in words; its logic is in `romtool.capture`."""

    name: str
    severity: str
    message: str
    hint: str
    source: str


class Symptom(Described):
    """What is seen at the bench; `causes` are names, the likeliest first."""

    name: str
    title: str
    source: str
    causes: tuple[str, ...]


class Cause(Described):
    """What makes a symptom: which `test` tells it, by which `rules` and `observations`."""

    name: str
    title: str
    source: str
    test: str
    open: str
    out: str
    measure: str
    remedy: str
    rules: tuple[str, ...] = ()
    observations: tuple[str, ...] = ()


class Bench(Described):
    """All of it, by name."""

    buses: Mapping[str, SerialBus]
    observations: Mapping[str, Observation]
    symptoms: Mapping[str, Symptom]
    causes: Mapping[str, Cause]


def bus_of(raw: Mapping[str, Any], source: str) -> SerialBus:
    """Return the bus that a table of the schema describes."""
    device = raw.get("device")
    return SerialBus(
        name=raw["name"],
        title=raw["title"],
        source=source,
        write_time=raw["write_time"],
        samples=raw["samples"],
        glitch=raw["glitch"],
        device=None if device is None else (device["code"], device["mask"]),
        lines=tuple(SerialLine(**{**one, "names": tuple(one["names"])}) for one in raw["line"]),
        commands=tuple(SerialCommand(**one) for one in raw.get("command", ())),
    )


def cause_of(raw: Mapping[str, Any], source: str) -> Cause:
    """Return the cause that a table of the schema describes."""
    names = {key: tuple(raw.get(key, ())) for key in ("rules", "observations")}
    return Cause(**{**raw, "source": source, **names})


def bench_problems(bench: Bench, rules: Mapping[str, object]) -> Iterator[Problem]:
    """Yield what doesn't add up: names that nothing has."""
    for symptom in bench.symptoms.values():
        for name in symptom.causes:
            if name not in bench.causes:
                yield Problem(f"symptom {symptom.name}: no cause is called {name}")
    for cause in bench.causes.values():
        for names, known in ((cause.rules, rules), (cause.observations, bench.observations)):
            for name in names:
                if name not in known:
                    yield Problem(f"cause {cause.name}: nothing is called {name}")
