"""What the schemas say of the bench: buses of EEPROMs, what captures show, symptoms and causes."""

from __future__ import annotations

from collections.abc import Mapping

from romtool.schema.described import Described


class SerialDevices(Described):
    """Which of a bus's 7-bit addresses are EEPROMs: their bits, where `mask` has ones."""

    code: int
    mask: int


class SerialLine(Described):
    """A line of an EEPROM's bus: its pin, and the channel names by which it is known.

    `locks`: the level at which nothing is stored.
    """

    name: str
    title: str
    text: str
    pin: int
    names: tuple[str, ...]
    required: bool
    pull_up: bool
    locks: str | None


class SerialCommand(Described):
    """A command with a code: bits after the start bit, upper address bits, data to or from it."""

    kind: str
    code: str
    select: str
    data: str | None
    needs_enable: bool


class SerialBus(Described, lines="line", commands="command"):
    """The bus of an EEPROM, as a logic analyser sees it.

    `write_time`: milliseconds; `samples`: of each clock, at least; `glitch`: a pulse shorter than
    a clock divided by this is none. `file_order`: which byte of a 16-bit word comes first in a file
    and what the programmer must be set to; `swapped_order`: the same with byte pairs swapped.
    """

    name: str
    title: str
    source: str
    write_time: int
    samples: int
    glitch: int
    file_order: str | None
    swapped_order: str | None
    device: SerialDevices | None
    lines: tuple[SerialLine, ...]
    commands: tuple[SerialCommand, ...]

    def line(self, name: str) -> SerialLine:
        """Return the line of this name."""
        return next(line for line in self.lines if line.name == name)

    def is_eeprom(self, address: int) -> bool:
        """Whether an EEPROM has this 7-bit address."""
        return self.device is not None and address & self.device.mask == self.device.code


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
    """What makes a symptom, and how it is told: its logic is in `romtool.diagnose`.

    It is found by `rules` of `check`, `remarks` of `rehearse`, `faults` of `verify`, `observations`
    of `capture`, or by a `test`; left open by `hints`, findings of `check` too; ruled out by what
    `out` names, with words for each.
    """

    name: str
    title: str
    source: str
    rules: tuple[str, ...]
    hints: tuple[str, ...]
    remarks: tuple[str, ...]
    faults: tuple[str, ...]
    observations: tuple[str, ...]
    clears: tuple[str, ...]
    test: str | None
    out: Mapping[str, str]
    open: str
    measure: str
    remedy: str
