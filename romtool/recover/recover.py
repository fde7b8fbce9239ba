"""Reads to answers: every way of undoing up to two faults is tried, and what comes of it judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from romtool.image.decode import layout_named, read_as
from romtool.image.evidence import first_lead, holds
from romtool.image.model import Image
from romtool.recover.judge import (
    GUESS,
    LIKELY,
    NONE,
    PROVEN,
    Evidence,
    consistent,
    judge,
)
from romtool.recover.lead import lead_doubts
from romtool.recover.name import Named, late_words, name
from romtool.recover.reading import Reading
from romtool.recover.reads import Joined, together
from romtool.recover.screen import worth_reading
from romtool.recover.settle import MOST_ANSWERS, Settled, settle
from romtool.recover.sizes import part_sizes
from romtool.recover.undo import State, Step, doubled, repeating, step, ways
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout, lead_of
from romtool.schema.numbers import address, sizes

TELLING = 4
"""So many bits of evidence more decide between answers that fit equally well."""
MOST_OPEN = 4
"""At most so many places that nothing proves are named."""
RANKS = {PROVEN: 3, LIKELY: 2, GUESS: 1, NONE: 0}


@dataclass(frozen=True)
class Answer:
    """One image that the reads may stand for.

    `steps`: name and words of what was done, in order; `undone`: how many of them undo a fault;
    `tidy`: after the PnP data is nothing but fill or patch, and it doesn't repeat;
    `problems`: what is wrong with it; `notes`: what is taken on trust; `is_parts_length`: it is
    not a file of another length than parts have, left as it is.
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

    @property
    def data(self) -> bytes:
        """The bytes of the image."""
        return self.image.data

    @property
    def rank(self) -> tuple[int, ...]:
        """How good it is beside others: proven first, then tidy, of a part's length, few steps."""
        whole = int(self.is_parts_length)
        return RANKS[self.confidence], int(self.tidy), whole, -self.undone


@dataclass(frozen=True)
class Recovery:
    """What became of the reads.

    `answers`: best first; `settled`: the first is good enough, and no other is as good;
    `confidence`: that of the first ("none" without one); `named`: what a hopeless read is;
    `notes`: what is to be said of the reads themselves; `tied`: how many of the answers are as
    good as the first, itself included.
    """

    answers: tuple[Answer, ...] = ()
    settled: bool = False
    confidence: str = NONE
    named: Named | None = None
    notes: tuple[str, ...] = ()
    tied: int = 1


def recover(
    catalog: Catalog,
    readings: Sequence[Reading],
    layout: str | None = None,
    part_size: int | None = None,
) -> Recovery:
    """Return what the reads, all of one part, stand for.

    `layout` settles the frame, and lets a lost one be put back; `part_size` (bytes) settles the
    size. Raises InputError for a layout that isn't known.
    """
    frame = None if layout is None else layout_named(catalog, layout)
    named = [name(catalog, reading) for reading in readings]
    useful = [reading for reading, what in zip(readings, named, strict=True) if what is None]
    notes: list[str] = []
    if len(useful) < len(readings):
        first = next(what for what in named if what is not None)
        if not useful:
            return Recovery(named=first)
        count = len(readings) - len(useful)
        notes.append(catalog.judgement("reads-left-out", count=count, title=first.title))
    search = _Search(catalog, frame, part_size)
    if len(useful) == 1:
        found = _recovery(search.answers(State(useful[0])), notes)
        return found if found.answers else replace(found, named=late_words(catalog, useful[0]))
    if all(reading == useful[0] for reading in useful):
        notes.append(catalog.judgement("reads-same", count=len(useful)))
        return _recovery(search.answers(State(useful[0])), notes)
    return _of_several(search, useful, notes)


def _recovery(answers: Sequence[Answer], notes: Sequence[str]) -> Recovery:
    """Return the recovery with these answers: settled if one is good and the only best."""
    if not answers:
        return Recovery(notes=tuple(notes))
    found = Recovery(tuple(answers), confidence=answers[0].confidence, notes=tuple(notes))
    good = RANKS[found.confidence] >= RANKS[LIKELY]
    tied = sum(_is_as_good(answer, answers[0]) for answer in answers)
    if tied == 1:
        return replace(found, settled=good)
    # Each fits, but only one can be right: none of them is more than a guess.
    guesses = [
        replace(answer, confidence=GUESS) if _is_as_good(answer, answers[0]) else answer
        for answer in answers
    ]
    return replace(found, answers=tuple(guesses), confidence=GUESS, tied=tied)


def _is_as_good(answer: Answer, best: Answer) -> bool:
    """Whether as much speaks for an answer as for the best one, but for what chance may give."""
    return answer.rank == best.rank and best.evidence.bits - answer.evidence.bits < TELLING


def _of_several(search: _Search, readings: Sequence[Reading], notes: list[str]) -> Recovery:
    """Return what reads that differ stand for: each undone by its own, then voted over."""
    best: list[Answer] = []
    words: list[str] = []
    chosen: Joined | None = None
    for join in together(
        search.catalog, readings, search.states, lambda state: _strength(search, state)
    ):
        for vote in (join.vote.reading, join.vote.doubtful):
            found = search.answers(_voted(join, vote))
            if found and (not best or found[0].rank > best[0].rank):
                best, words, chosen = found, list(join.notes), join
            if best and RANKS[best[0].confidence] >= RANKS[LIKELY]:
                break
            if vote == join.vote.doubtful:
                break
        if best and RANKS[best[0].confidence] == RANKS[PROVEN]:
            break
    if best and chosen is not None:
        others = _other_images(search, [readings[place] for place in chosen.left_out], best[0])
        if len(others) >= chosen.reads:
            told = search.catalog.judgement("contradict")
            return _contradicting([best[0], *others], [*notes, *words, told])
    return _recovery(best, [*notes, *words])


def _other_images(search: _Search, left_out: Sequence[Reading], best: Answer) -> list[Answer]:
    """Return what reads that were left out stand for, each by itself: good images, but others."""
    found = [search.answers(State(reading)) for reading in left_out]
    firsts = [answers[0] for answers in found if answers]
    good = [answer for answer in firsts if RANKS[answer.confidence] >= RANKS[LIKELY]]
    return [answer for answer in good if answer.data != best.data]


def _contradicting(answers: Sequence[Answer], notes: Sequence[str]) -> Recovery:
    """Return the recovery of reads that hold different images, as many of the one as of others."""
    distinct = {answer.data: replace(answer, confidence=GUESS) for answer in answers}
    return Recovery(
        tuple(distinct.values()), confidence=GUESS, notes=tuple(notes), tied=len(distinct)
    )


def _voted(join: Joined, reading: Reading) -> State:
    """Return the state after a vote, which is a step only where the reads differ."""
    steps = join.state.steps
    if join.vote.count:
        bits = f"{join.vote.count} bit{'' if join.vote.count == 1 else 's'}"
        steps = (*steps, step("vote", reads=join.reads, count=bits))
    return replace(join.state, reading=reading, steps=steps)


def _strength(search: _Search, state: State) -> tuple[int, ...]:
    """Return how much a state of one read says, to find the read that others are compared with."""
    found = search.judged(state)
    if not found:
        return (0,)
    best = max(found, key=lambda answer: answer.rank)
    return *best.rank[:2], best.evidence.bits, len(state.reading)


class _Search:
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
        if frame.is_lead:
            told = lead_doubts(self.catalog, state.reading.data, frame.size)
            state = replace(state, doubts=(*state.doubts, *told))
        kept = state.reading.part(state.added.size if state.added else 0)
        is_one = state.did("mirrored")
        repeats = not is_one and repeating(self.catalog, kept, slight=True)
        if not is_one and doubled(self.catalog, kept)[1]:
            state = replace(state, doubts=(*state.doubts, "doubled"))
        for rough in settle(self.catalog, state.reading, frame, len(state.reading)):
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
        return answers

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
    return ", ".join(places[:MOST_OPEN]) + (f" and {more} more places" if more > 0 else "")


def _used(rough: Settled) -> int:
    """Return the bytes up to the end of what isn't fill."""
    image = rough.image
    last = [run.end for run in image.tail if run.kind != "fill"]
    return max([image.items_end, *last])


def _count(steps: Sequence[Step]) -> int:
    """Return how many steps undo a fault of a read; a vote doesn't."""
    return sum(done.name != "vote" for done in steps)
