"""What became of corrupted reads, for people: the likeliest image, and the others in a line."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.recover.judge import NONE, Evidence
from romtool.recover.recover import Recovery
from romtool.recover.search import Answer
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import sizes
from romtool.text.page import line, title

MOST_PLACES = 3
"""At most this many bytes in which answers differ are shown."""


def recovery_lines(
    catalog: Catalog, name: str, found: Recovery, chosen: Answer | None
) -> Iterator[str]:
    """Yield what was found for the reads called `name`; `chosen`: the answer that is taken."""
    best = chosen or (found.answers[0] if found.answers else None)
    words = "nothing recovered" if found.confidence == NONE else "not settled"
    yield from title(name, chosen.confidence if chosen else words)
    for note in found.notes:
        yield from line("reads", note, indent=2)
    if best is None:
        return
    if chosen is None:
        yield from title("--pick 1", f"{sizes(len(best.data))}, {best.confidence}")
    yield from _whole(catalog, best)
    others = [(number, one) for number, one in enumerate(found.answers, 1) if one is not best]
    if others:
        is_tied = chosen is None and found.tied > 1
        yield from title("As likely, or less" if is_tied else "Less likely")
    for number, other in others:
        yield from line(f"--pick {number}", _short(catalog, best, other), indent=2, column=13)


def _whole(catalog: Catalog, answer: Answer) -> Iterator[str]:
    """Yield an answer: each step, what speaks for it, what speaks against it, what to check."""
    if not answer.steps:
        yield from line("steps", "none: it stays as it is", indent=2)
    for name, words in answer.steps:
        title_of = catalog.read_faults[name].title
        yield from line("step", f"{title_of}: {words}", indent=2, style="cyan")
    yield from line("layout", answer.image.layout.name if answer.image.layout else "none", indent=2)
    yield from line("evidence", evidence_words(answer.evidence), indent=2)
    for problem in dict.fromkeys(answer.problems):
        yield from line("wrong", problem, indent=2, style="red")
    for note in dict.fromkeys(answer.notes):
        yield from line("note", note, indent=2, style="yellow")
    for check in dict.fromkeys(catalog.read_faults[name].check for name, _ in answer.steps):
        yield from line("bench", check, indent=2)


def evidence_words(found: Evidence) -> str:
    """Return what was looked at, in one line."""
    looked_at = {
        "signature": found.signature,
        "count": found.count,
        "identifier checksum": found.id_checksum,
        f"{found.items} items,": f"{'' if found.end_item else 'no '}end item",
        "end checksum": found.end_checksum,
        "only fill" if found.after == "fill" else found.after: "follows",
    }
    return ", ".join(f"{what} {word}" for what, word in looked_at.items() if word is not None)


def _short(catalog: Catalog, best: Answer, other: Answer) -> str:
    """Return another answer in a line: its size, what was done, what speaks against it."""
    done = [catalog.read_faults[name].title for name, _ in other.steps]
    words = f"{sizes(len(other.data))}, {other.confidence}: {' and '.join(done) or 'as it is'}"
    if other.problems:
        return f"{words}; {other.problems[0]}"
    return f"{words}; {_differing(best.data, other.data)}"


def _differing(best: bytes, other: bytes) -> str:
    """Return where the bytes of an answer differ from those of the best one."""
    pairs = enumerate(zip(best, other, strict=False))
    places = [f"{at:X}h ({b:02X}, not {a:02X})" for at, (a, b) in pairs if a != b]
    if not places:
        return "the same as far as it goes"
    more = len(places) - MOST_PLACES
    return f"at {', '.join(places[:MOST_PLACES])}" + (
        f" and {more} more place{'' if more == 1 else 's'}" if more > 0 else ""
    )
