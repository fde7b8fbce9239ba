"""How things stand, in a few words and in a sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from romtool.image.model import Image
from romtool.rules.check import SEVERITIES
from romtool.rules.expect import ELSEWHERE, FOUND, FunctionFound
from romtool.rules.findings import Finding
from romtool.schema.numbers import one_of
from romtool.text.findings import counted

GOOD, DOUBTFUL, BAD, NEUTRAL = "good", "doubtful", "bad", "neutral"


@dataclass(frozen=True)
class Verdict:
    """A judgement: its level (good, doubtful, bad, neutral), a few words, a sentence."""

    level: str
    words: str
    text: str


class Expected(NamedTuple):
    """What became of the functions that some software looks for: who that is, and where."""

    title: str
    functions: tuple[FunctionFound, ...]


def expected_verdict(expected: Expected) -> Verdict:
    """Return whether that software finds the card's functions."""
    by_state = {
        state: [one.name for one in expected.functions if one.state == state]
        for state in (FOUND, ELSEWHERE)
    }
    who = expected.title[0].upper() + expected.title[1:]
    if by_state[ELSEWHERE]:
        words = f"{who} don't find all of it"
        return Verdict(BAD, words, f"Not where they look: {one_of(by_state[ELSEWHERE])}.")
    if not by_state[FOUND]:
        return Verdict(BAD, f"{who} find nothing", "The card has no function that they look for.")
    found = ", ".join(by_state[FOUND])
    return Verdict(GOOD, f"{who} find it", f"Where they look: {found}.")


def verdict_of(image: Image, findings: Sequence[Finding]) -> Verdict:
    """Return what the findings come to."""
    if image.layout is None:
        blank = len(set(image.data)) == 1
        words = "Blank, or not read" if blank else "Unreadable"
        why = f"every byte is {image.data[0]:02X}h" if blank else "no layout fits these bytes"
        return Verdict(BAD, words, f"{why[0].upper()}{why[1:]}: there is no card to be seen.")
    summary = counted(findings)
    worst = {finding.severity for finding in findings}
    if SEVERITIES[0] in worst:
        return Verdict(BAD, "Not fit to burn", f"The checks found {summary}.")
    if SEVERITIES[1] in worst:
        return Verdict(DOUBTFUL, "Look at the warnings", f"No errors; the checks found {summary}.")
    if findings:
        return Verdict(GOOD, "No faults found", f"The checks found {summary}, and no error.")
    return Verdict(GOOD, "No faults found", "All checks passed; no findings.")
