"""One read to images: each way of undoing faults is tried, and what comes of it judged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from romtool.image.decode import read_as
from romtool.image.evidence import SUM, first_lead, holds, identifiers, items_bits, signature_bits
from romtool.image.model import Image
from romtool.image.walk import walk
from romtool.recover.judge import (
    GUESS,
    LIKELY,
    NONE,
    PROVEN,
    Evidence,
    consistent,
    judge,
)
from romtool.recover.reading import Reading, State, Step, step
from romtool.recover.settle import MOST_ANSWERS, Settled, settle
from romtool.recover.undo import doubled, is_fill, repeating, ways
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout, lead_of
from romtool.schema.numbers import address, sizes

MOST_OPEN = 4
"""The most places that are named of those that nothing proves."""
RANKS = {PROVEN: 3, LIKELY: 2, GUESS: 1, NONE: 0}


@dataclass(frozen=True)
class Answer:
    """One image that the reads may stand for.

    `steps`: name and words of what was done, in order; `undone`: how many of them undo a fault;
    `tidy`: after the PnP data is nothing but fill or patch, and it doesn't repeat;
    `problems`: what is wrong with it; `notes`: what is taken on trust; `is_parts_length`: it is
    not a file of another length than parts have, left as it is; `is_explained`: it doesn't keep
    bytes before the PnP data of which a known layout, or fill, explains more.
    """

    image: Image
    steps: tuple[tuple[str, str], ...]
    undone: int
    tidy: bool
    evidence: Evidence
    confidence: str
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    is_parts_length: bool = True
    is_explained: bool = True

    @property
    def data(self) -> bytes:
        """The bytes of the image."""
        return self.image.data

    @property
    def faults(self) -> list[str]:
        """The names of the faults that were undone."""
        return [name for name, _ in self.steps if self.image.catalog.read_faults[name].is_fault]

    @property
    def handling(self) -> list[str]:
        """What was done with the reads beside that, in words: a vote, bits filled in."""
        return [words for name, words in self.steps if name not in self.faults]

    @property
    def rank(self) -> tuple[int, ...]:
        """How good it is beside others: proven first, then as these are, then in few steps."""
        also = int(self.is_explained), int(self.tidy), int(self.is_parts_length)
        return RANKS[self.confidence], *also, -self.undone


class Search:
    """The ways of undoing, for one catalogue, layout and part."""

    def __init__(self, catalog: Catalog, layout: ImageLayout | None, part_size: int | None) -> None:
        self.catalog = catalog
        self.layout = layout
        self.part_size = part_size
        self.layouts = list(catalog.layouts.values()) if layout is None else [layout]

    def states(self, first: State) -> list[State]:
        """Return a read with up to two faults undone, in every order; equal results once."""
        return ways(self.catalog, first, self.layout)

    def answers(self, first: State) -> list[Answer]:
        """Return what a read may stand for, best first; equal images once.

        A consistent image stays as it is: nothing else is looked for.
        """
        as_it_is = [
            answer
            for answer in self.judged(first)
            if len(answer.data) == len(first.reading)
            and answer.tidy
            and not answer.problems
            and consistent(answer.image)
        ]
        if as_it_is:
            return sorted(as_it_is, key=_order, reverse=True)
        found: dict[bytes, Answer] = {}
        for state in self.further(first):
            for answer in self.judged(state):
                other = found.get(answer.data)
                if other is None or answer.rank > other.rank:
                    found[answer.data] = answer
        return sorted(found.values(), key=_order, reverse=True)[:MOST_ANSWERS]

    def further(self, first: State) -> list[State]:
        """Return the states after one: none where faults are undone already."""
        return [first] if _count(first.steps) else self.states(first)

    def judged(self, state: State) -> list[Answer]:
        """Return the images that a state may be, without those that nothing speaks for."""
        if state.unaligned:
            return []
        answers: list[Answer] = []
        for frame in self._layouts(state):
            if not worth_reading(
                self.catalog, state.reading, frame, always=not _count(state.steps)
            ):
                continue
            answers += self._read(state, frame)
        return [answer for answer in answers if answer.confidence != NONE]

    def _layouts(self, state: State) -> list[ImageLayout]:
        """Return the layouts that a state may be read with, bytes that none explains included."""
        if state.added is not None:
            return [state.added] if state.added in self.layouts else []
        if self.layout is not None:
            return self.layouts
        lead = first_lead(self.catalog, state.reading.data)
        if not lead or any(
            layout.size == lead and self._holds(state, layout) for layout in self.layouts
        ):
            return self.layouts
        return [*self.layouts, lead_of(lead)]

    def _holds(self, state: State, layout: ImageLayout) -> bool:
        image = read_as(self.catalog, state.reading.data, layout)
        return image is not None and holds(image)

    def _read(self, state: State, frame: ImageLayout) -> list[Answer]:
        answers = []
        told = list(lead_doubts(self.catalog, state.reading.data, frame)) if frame.is_lead else []
        state = replace(state, doubts=(*state.doubts, *told))
        kept = state.reading.part(state.added.size if state.added else 0)
        is_one = state.did("mirrored")
        repeats = not is_one and repeating(self.catalog, kept)
        if not is_one and doubled(self.catalog, kept)[1]:
            state = replace(state, doubts=(*state.doubts, "doubled"))
        for rough in settle(self.catalog, state.reading, frame):
            end_there = rough.image.end_item is not None and not rough.open
            used = _used(rough)
            held = part_sizes(self.catalog, state, used, end_there, self.part_size)
            for size, assumed in held:
                answers.append(self._answer(state, rough, size, assumed, repeats))
                if size > len(state.reading) and not _count(state.steps) and not self.part_size:
                    # A file of this length all the same: shown, but never preferred.
                    as_it_is = self._answer(state, rough, len(state.reading), False, repeats)
                    answers.append(
                        replace(
                            as_it_is,
                            tidy=False,
                            notes=(*as_it_is.notes, self.catalog.judgement("no-part")),
                            confidence=min(as_it_is.confidence, LIKELY, key=RANKS.__getitem__),
                            is_parts_length=False,
                        )
                    )
        return [replace(answer, is_explained=not told) for answer in answers]

    def _answer(
        self, state: State, rough: Settled, size: int, assumed: bool, repeats: bool
    ) -> Answer:
        image, length, say = rough.image, len(state.reading), self.catalog.judgement
        doubts = [*map(say, rough.doubts), *([say("size-assumed")] if assumed else [])]
        steps = list(state.steps)
        fill = image.fill if rough.fill is None else rough.fill
        if rough.filled and not state.added and not state.did("bit-shifted"):
            steps += _gap_steps(rough)
        if size != length:
            data = image.data[:size].ljust(size, bytes([fill]))
            image = image.with_rest(data)
            if size > length:
                steps.append(step("truncated", length=length, size=size, fill=address(fill)))
                doubts.append(say("cut"))
        problems = [say("open", where=_few(rough.open))] if rough.open else []
        problems += map(say, state.doubts)
        if state.left_out:
            problems.append(say("left-out", count=sizes(state.left_out)))
        if assumed and size not in self.catalog.part_sizes:
            problems.append(say("no-part"))
        if repeats:
            doubts.append(say("repeats"))
        if self.part_size is not None and size != self.part_size:
            problems.append(say("part-too-small", size=sizes(self.part_size)))
        elif size < length and not state.added:
            doubts.append(say("fill-goes-on", count=sizes(length - size)))
        count = _count(state.steps)
        found = judge(
            image,
            undone=count,
            added=state.added,
            doubts=tuple(doubts),
            problems=tuple(problems),
        )
        bare = not image.items_at - self.catalog.identifier.size and self.layout is None
        notes = (*found.doubts, say("no-layout")) if bare else found.doubts
        return Answer(
            image=image,
            steps=tuple((done.name, self.words(done)) for done in steps),
            undone=count,
            tidy=found.evidence.after != "data" and not repeats,
            evidence=found.evidence,
            confidence=found.confidence,
            problems=found.problems,
            notes=notes,
        )

    def words(self, done: Step) -> str:
        """Return a step in words, as the schema says it."""
        return self.catalog.read_faults[done.name].done.format_map(dict(done.words))


def _order(answer: Answer) -> tuple[int, ...]:
    """Return what answers are sorted by: among equals, the one that more speaks for."""
    return *answer.rank, answer.evidence.bits


def _gap_steps(rough: Settled) -> list[Step]:
    """Return a step for each way in which unknown bits were settled."""
    ways: dict[str, list[str]] = {}
    for where, how in rough.filled:
        ways.setdefault(how, []).append(where)
    return [
        step("gap", count="what was not read", where=", ".join(places), how=how)
        for how, places in ways.items()
    ]


def _few(places: Sequence[str]) -> str:
    """Return places in words; of many the first."""
    more = len(places) - MOST_OPEN
    told = f" and {more} more place{'' if more == 1 else 's'}" if more > 0 else ""
    return ", ".join(places[:MOST_OPEN]) + told


def _used(rough: Settled) -> int:
    """Return the bytes up to the end of what isn't fill."""
    image = rough.image
    last = [run.end for run in image.tail if run.kind != "fill"]
    return max([image.items_end, *last])


def _count(steps: Sequence[Step]) -> int:
    """Return how many steps undo a fault of a read; a vote doesn't."""
    return sum(done.name != "vote" for done in steps)


# --- whether it may be read so


SIGNATURE = 16
"""Bits of a signature that chance doesn't give."""


def lead_doubts(catalog: Catalog, data: bytes, lead: ImageLayout) -> Iterator[str]:
    """Yield the judgements that speak against the bytes before the PnP data as its lead.

    They are fill, or a known layout stands in the last of them whose signature shows it.
    """
    size = lead.size
    if is_fill(data[:size]):
        yield "lead-of-fill"
        return
    for layout in catalog.layouts.values():
        start = size - layout.size
        if not layout.size or start <= 0:
            continue
        image = read_as(catalog, data[start:], layout)
        is_signed = signature_bits(layout, data, start) >= SIGNATURE or is_fill(data[:start])
        if image is not None and is_signed and holds(image):
            yield "layout-in-lead"
            return


LEAST = 14
"""Bits that an image shows at a glance: more than one right checksum."""
LEAST_OPEN = 6
"""The same where bits in its head or in its items aren't known."""


def worth_reading(catalog: Catalog, reading: Reading, layout: ImageLayout, *, always: bool) -> bool:
    """Whether a read may be an image of this frame, which begins with the first byte.

    `always`: so few reads of this kind are looked at that the glance isn't needed, if the read
    has unknown bits that hide what it looks for.
    """
    id_at = layout.size
    items_at = id_at + catalog.identifier.size
    if len(reading) < items_at:
        return False
    items = list(walk(catalog, reading.data, items_at))
    end = items[-1].end if items else items_at
    bits = signature_bits(layout, reading.data, 0) + items_bits(items)
    head = reading.data[id_at:items_at]
    bits += SUM if 0 in identifiers(catalog, head) else 0
    # The byte after the walk is where it stopped, perhaps for want of that byte.
    if reading.known(0, end + 1):
        return bits >= LEAST
    return always or bits >= LEAST_OPEN


def part_sizes(
    catalog: Catalog, state: State, used: int, end_there: bool, part_size: int | None
) -> list[tuple[int, bool]]:
    """Return the sizes (bytes) that the part may have, and whether each is only assumed.

    `used`: bytes up to the end of what isn't fill; `end_there`: the walk comes to the end item.
    Without that, nothing is filled up: what was cut off can't be known.
    """
    length = len(state.reading)
    known = catalog.part_sizes
    if part_size is not None:
        fits = used <= part_size and (length >= part_size or end_there)
        return [(part_size, False)] if fits else [(length, False)]
    if length in known or state.sized or not end_there:
        return [(length, False)]
    if state.added is not None:
        # A file of the part's size: its fill begins where the frame's bytes should end.
        # Bytes before the image pushed as many off its end.
        for without in (length - state.added.size, length - state.added.size + state.dropped):
            if without in known and used <= without:
                return [(without, False)]
    if state.dropped:
        # Bytes before the image push as many off the end, unless the file grew.
        total = length + state.dropped
        if total in known:
            return [(total, False)]
    above = [size for size in known if size >= length]
    if above:
        return [(above[0], False)]
    if state.dropped or state.added:
        return [(size, True) for size in known if size >= used] or [(length, True)]
    return [(length, False)]
