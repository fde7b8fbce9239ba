"""The causes of a symptom, each judged by what is there."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from romtool.diagnose.evidence import Evidence
from romtool.diagnose.judging import FOUND, OPEN, OUT, TESTS, Verdict
from romtool.schema.bench import Cause, Symptom

STATES = (FOUND, OPEN, OUT)
"""The states of a cause, in the order in which they are told."""

ANSWERED = "answered"
"""What `clears` of a cause says for a capture in which the part answered."""

MOST_REASONS = 3
"""At most this many reasons of a cause are told."""


class JudgedCause(NamedTuple):
    """A cause of a symptom: its state, why, and what to do next; nothing if it is ruled out."""

    cause: Cause
    state: str
    because: str
    next: str | None

    def as_json(self) -> dict[str, Any]:
        """Return the cause as in the JSON answer."""
        return {
            "name": self.cause.name,
            "state": self.state,
            "because": self.because,
            "next": self.next,
        }


def diagnose(evidence: Evidence, symptom: Symptom) -> list[JudgedCause]:
    """Return the causes of a symptom: found, open, ruled out; each in the schema's order."""
    causes = evidence.catalog.causes
    judged = [judge(evidence, causes[name]) for name in symptom.causes]
    return sorted(judged, key=lambda one: STATES.index(one.state))


def judge(evidence: Evidence, cause: Cause) -> JudgedCause:
    """Return what is known of one cause."""
    found, hints = list[str](), list[str]()
    for is_certain, words in _reasons(evidence, cause):
        (found if is_certain else hints).append(words)
    verdict = TESTS[cause.test](evidence) if cause.test else Verdict(OPEN)
    if verdict.state == FOUND:
        found.append(verdict.because)
    if found:
        return JudgedCause(cause, FOUND, _joined(found), _filled(evidence, cause.remedy))
    out = list(_ruled_out(evidence, cause, verdict))
    if out and not hints:
        return JudgedCause(cause, OUT, _joined(out), None)
    if verdict.because:
        hints.append(verdict.because)
    because = _joined(hints) or cause.open
    return JudgedCause(cause, OPEN, because, _filled(evidence, cause.measure))


def _reasons(evidence: Evidence, cause: Cause) -> Iterator[tuple[bool, str]]:
    """Yield what speaks for a cause: whether it settles it, and in words.

    A note says only that a thing is so; what is wrong or doubtful is an error or a warning.
    """
    several = len(evidence.images) > 1
    is_known = False
    for name, finding in evidence.findings if cause.rules else ():
        where = f"{name}: " if several else ""
        if finding.rule in cause.rules:
            is_known |= finding.severity != "note"
            yield finding.severity != "note", f"{where}{finding.message}"
        elif finding.rule in cause.hints:
            yield False, f"{where}{finding.message}"
    # What a rule says, a rehearsal would only say again.
    for remark, words in evidence.remarks if cause.remarks and not is_known else ():
        if remark in cause.remarks:
            yield True, words
    for fault, title in evidence.read_faults if cause.faults else ():
        if fault in cause.faults:
            yield True, f"the readback: {title}"
    for shown in evidence.observations if cause.observations else ():
        if shown.rule in cause.observations:
            yield shown.severity == "error", f"the capture: {shown.message}"


def _ruled_out(evidence: Evidence, cause: Cause, verdict: Verdict) -> Iterator[str]:
    """Yield what rules a cause out, in words; nothing has spoken for it."""
    seen = {shown.rule for shown in evidence.observations}
    if evidence.capture is not None and evidence.capture.is_answered:
        seen.add(ANSWERED)
    is_there = {
        "image": evidence.are_all_readable,
        "cards": evidence.are_all_readable and len(evidence.images) > 1,
        "host": evidence.are_all_readable and evidence.host is not None,
        "readback": evidence.differences is not None,
        "capture": evidence.capture is not None and not seen.isdisjoint(cause.clears),
        "test": verdict.state == OUT,
    }
    if cause.test and verdict.state != OUT:
        # Its own test looks further than the rules do.
        is_there = {"capture": is_there["capture"]}
    for what, words in cause.out.items():
        if is_there.get(what):
            yield words


def _filled(evidence: Evidence, words: str) -> str:
    return words.format(irq_pins=evidence.pins("irq"), dma_pins=evidence.pins("dma"))


def _joined(words: list[str]) -> str:
    different = list(dict.fromkeys(words))
    more = len(different) - MOST_REASONS
    return "; ".join(different[:MOST_REASONS]) + (f"; and {more} more" if more > 0 else "")
