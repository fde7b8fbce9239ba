"""Faults for the person at the bench, told in one line."""

from __future__ import annotations

from romtool.errors import Problem


def problem_line(problem: Problem) -> str:
    """Return a fault as one line: file, place, what is wrong, what to do."""
    where = visible(problem.file or "")
    if problem.line is not None:
        where += f":{problem.line}" + (f":{problem.column}" if problem.column is not None else "")
    words = problem.message + (f"; {problem.hint}" if problem.hint else "")
    line = f"{where}: {words}" if where else words
    return one_line(line)


def one_line(text: str) -> str:
    """Return a text on one line, without characters that would steer a terminal."""
    return visible(" ".join(text.split()))


def visible(text: str) -> str:
    """Return a text, such as the name of a file, with what can't be printed spelt out: \\x0a."""
    return text if text.isprintable() else "".join(map(_visible, text))


def _visible(char: str) -> str:
    if char.isprintable():
        return char
    return f"\\x{ord(char):02x}" if ord(char) < 0x100 else f"\\u{ord(char):04x}"
