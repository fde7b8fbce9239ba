"""Findings for people: one block each on a terminal, one line each among messages."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from romtool.rules.findings import Finding
from romtool.text.page import SEVERITY_STYLES, line
from romtool.text.problems import one_line, visible


def block(finding: Finding) -> Iterator[str]:
    """Yield a finding as lines: how bad, where, what; then what to do; then by which rule."""
    where = place(finding)
    words = f"{where}: {finding.message}" if where else finding.message
    style = SEVERITY_STYLES[finding.severity]
    yield from line(finding.severity, words, indent=2, style=style)
    yield from line("", finding.hint, indent=2)
    yield from line("", f"[{finding.rule}] {finding.source}", indent=2)


def place(finding: Finding) -> str:
    """Return where it is: a line of the profile, or an address of the image."""
    if finding.line is not None:
        return f"line {finding.line}"
    return "" if finding.offset is None else f"at {finding.offset:X}h"


def message(finding: Finding, file: str) -> str:
    """Return a finding as one line for stderr."""
    words = f"{finding.message}; {finding.hint}"
    if finding.severity != "error":
        words = f"{finding.severity}: {words}"
    file = visible(file)
    if finding.line is not None:
        return one_line(f"romtool: {file}:{finding.line}:{finding.column}: {words}")
    at = "" if finding.offset is None else f" at {finding.offset:X}h:"
    return one_line(f"romtool: {file}:{at} {words}")


def counted(findings: Sequence[Finding]) -> str:
    """Return how many there are of each severity, in words."""
    words = []
    for severity in SEVERITY_STYLES:
        number = sum(finding.severity == severity for finding in findings)
        if number:
            words.append(f"{number} {severity}{'' if number == 1 else 's'}")
    return ", ".join(words) or "no findings"


if TYPE_CHECKING:
    from romtool.rules.expect import FunctionFound

FUNCTION = 18
"""The column after a function's name."""

STATES = {"found": "found", "elsewhere": "elsewhere", "absent": "not on this card"}


def functions_of_cards(
    files: Sequence[str], found: Sequence[Sequence[FunctionFound]]
) -> Iterator[str]:
    """Yield where each card has the functions that software looks for, and what is wrong there."""
    for file, functions in zip(files, found, strict=True):
        if functions:
            yield ""
            yield from line("Functions", visible(file))
        for function in functions:
            yield from function_line(function)
            for finding in function.findings:
                yield from line("", finding.message, column=FUNCTION)
        hints: dict[str, dict[str, None]] = {}
        for function in functions:
            for one in function.findings:
                hints.setdefault(one.hint, {})[function.device or "the card"] = None
        for index, (hint, devices) in enumerate(hints.items()):
            yield from line("" if index else "Change", f"{', '.join(devices)}: {hint}")


def function_line(function: FunctionFound) -> Iterator[str]:
    """Yield where a function of the card is, of those that software looks for."""
    words = STATES[function.state]
    if function.device is not None:
        words = f"{words} at {function.where}" if function.where else "off"
        words += f" (device {(function.number or 0) + 1}, {function.device})"
    style = SEVERITY_STYLES["error"] if function.state == "elsewhere" else None
    yield from line(function.name, words, indent=2, column=FUNCTION, style=style)
