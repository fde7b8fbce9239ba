"""What to do when reads don't settle what stands in the part."""

from __future__ import annotations

from romtool.recover.recover import Recovery


def why(recovery: Recovery) -> str:
    """Return in one line why nothing is settled."""
    if recovery.named is not None:
        return recovery.named.title
    if not recovery.answers:
        return "no image can be made of it, whatever is undone"
    best = recovery.answers[0]
    if best.problems:
        return best.problems[0]
    return f"{recovery.tied} answers fit equally well, and nothing decides between them"


def advice(recovery: Recovery, reads: int) -> str:
    """Return in one line what helps, for an answer from so many reads."""
    if recovery.named is not None:
        return recovery.named.fault.check
    more = "read the part several times, whole, and give all the reads"
    if reads > 1:
        more = "clean the pins, seat the part again, and give more reads"
    if not recovery.answers:
        return f"check the part's type and its contacts, {more}; --layout if the frame is lost"
    best = recovery.answers[0]
    if not best.problems:
        return "choose with --pick N, or give more reads, --layout or --part"
    if not best.evidence.end_item and best.evidence.items:
        return f"what stood after can't be known: {more}"
    return f"{more}, or take the answer as it is with --pick 1"
