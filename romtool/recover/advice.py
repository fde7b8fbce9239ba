"""What to do when reads don't settle what stands in the part."""

from __future__ import annotations

from romtool.recover.recover import Recovery
from romtool.schema.catalog import Catalog


def why(catalog: Catalog, recovery: Recovery) -> str:
    """Return in one line why nothing is settled."""
    if recovery.named is not None:
        return recovery.named.title
    if not recovery.answers:
        return catalog.judgement("no-image")
    best = recovery.answers[0]
    if best.problems:
        return best.problems[0]
    return catalog.judgement("tied", count=recovery.tied)


def advice(catalog: Catalog, recovery: Recovery, reads: int) -> str:
    """Return in one line what helps, for an answer from so many reads."""
    if recovery.named is not None:
        return recovery.named.fault.check
    again = catalog.judgement("clean-pins" if reads > 1 else "read-again")
    if not recovery.answers:
        return catalog.judgement("check-part", again=again)
    best = recovery.answers[0]
    if not best.problems:
        return catalog.judgement("choose")
    if not best.evidence.end_item and best.evidence.items:
        return catalog.judgement("end-unknown", again=again)
    return catalog.judgement("take-it", again=again)
