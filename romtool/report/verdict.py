"""How things stand, in a few words and in a sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from romtool.image.model import Image
from romtool.rules.check import SEVERITIES
from romtool.rules.findings import Finding
from romtool.text.findings import counted

GOOD, DOUBTFUL, BAD, NEUTRAL = "good", "doubtful", "bad", "neutral"


@dataclass(frozen=True)
class Verdict:
    """A judgement: its level (good, doubtful, bad, neutral), a few words, a sentence."""

    level: str
    words: str
    text: str


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
