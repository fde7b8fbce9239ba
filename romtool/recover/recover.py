"""Reads of a part to what stands in it: each undone by its own, voted over, and how sure it is."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from romtool.image.decode import layout_named
from romtool.recover.judge import (
    GUESS,
    LIKELY,
    NONE,
    PROVEN,
)
from romtool.recover.reading import Named, Reading, State, Vote, late_words, name, step, vote
from romtool.recover.search import RANKS, Answer, Search
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import all_of

CLEAR = 2
"""A clear majority: this many times as many reads as all others that hold different images."""
TELLING = 4
"""The lead in bits of evidence that decides between answers which fit equally well."""


@dataclass(frozen=True)
class Recovery:
    """What became of the reads.

    `answers`: best first; `settled`: the first is good enough, and no other is as good;
    `confidence`: that of the first ("none" without one); `named`: what a hopeless read is;
    `notes`: what is to be said of the reads themselves; `tied`: how many of the answers are as
    good as the first, itself included; `parts`: the numbers of the reads that agree, where
    different images make them reads of several parts.
    """

    answers: tuple[Answer, ...] = ()
    settled: bool = False
    confidence: str = NONE
    named: Named | None = None
    notes: tuple[str, ...] = ()
    tied: int = 1
    parts: tuple[tuple[int, ...], ...] = ()


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
    useful = {
        number: reading
        for number, (reading, what) in enumerate(zip(readings, named, strict=True), 1)
        if what is None
    }
    notes: list[str] = []
    if len(useful) < len(readings):
        first = next(what for what in named if what is not None)
        if not useful:
            return Recovery(named=first)
        count = len(readings) - len(useful)
        notes.append(catalog.judgement("reads-left-out", count=count, title=first.title))
    search = Search(catalog, frame, part_size)
    one, *others = useful.values()
    if not others:
        found = _recovery(search.answers(State(one)), notes)
        return found if found.answers else replace(found, named=late_words(catalog, one))
    if all(other == one for other in others):
        notes.append(catalog.judgement("reads-same", count=len(useful)))
        return _recovery(search.answers(State(one)), notes)
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


@dataclass(frozen=True)
class _Group:
    """Reads that agree: their numbers, what they stand for, and what was undone of each."""

    numbers: tuple[int, ...]
    found: Recovery

    @property
    def rank(self) -> tuple[int, ...]:
        """How much a group says beside others: settled first, then by how many reads."""
        best = self.found.answers[0].rank if self.found.answers else ()
        return int(self.found.settled), len(self.numbers), *best


def _of_several(search: Search, readings: Mapping[int, Reading], notes: Sequence[str]) -> Recovery:
    """Return what reads that differ, by number, stand for: those that agree vote, group by group.

    The largest group that settles is the answer, unless others that hold another image are too
    many: then the reads are of several parts.
    """
    groups: list[_Group] = []
    waiting = dict(readings)
    while waiting:
        group = _agreeing(search, waiting)
        groups.append(group)
        waiting = {n: waiting[n] for n in waiting if n not in group.numbers}
    groups.sort(key=lambda group: group.rank, reverse=True)
    best, others = groups[0], groups[1:]
    rivals = [group for group in others if _is_rival(group, best)]
    if sum(len(group.numbers) for group in rivals) * CLEAR > len(best.numbers):
        held = [best, *rivals]
        distinct = {
            group.found.answers[0].data: replace(group.found.answers[0], confidence=GUESS)
            for group in held
        }
        return Recovery(
            tuple(distinct.values()),
            confidence=GUESS,
            notes=(*notes, *(note for group in held for note in group.found.notes)),
            tied=len(distinct),
            parts=tuple(group.numbers for group in held),
        )
    apart = len(readings) - len(best.numbers)
    told = [search.catalog.judgement("reads-apart", count=apart)] if apart else []
    return replace(best.found, notes=(*notes, *best.found.notes, *told))


def _is_rival(group: _Group, best: _Group) -> bool:
    """Whether a group holds another image than the best, as good or in more of the reads."""
    if not group.found.answers or group.found.answers[0].data == best.found.answers[0].data:
        return False
    return group.found.settled or (best.found.settled and len(group.numbers) > len(best.numbers))


def _agreeing(search: Search, readings: Mapping[int, Reading]) -> _Group:
    """Return reads that agree, and what they stand for: each undone by its own, then voted over."""
    best: list[Answer] = []
    chosen: Agreement | None = None
    for join in together(
        search.catalog, readings, search.states, lambda state: _strength(search, state)
    ):
        for reading in (join.vote.reading, join.vote.doubtful):
            found = search.answers(_voted(join, reading))
            if found and (not best or found[0].rank > best[0].rank):
                best, chosen = found, join
            if best and RANKS[best[0].confidence] >= RANKS[LIKELY]:
                break
            if reading == join.vote.doubtful:
                break
        if best and RANKS[best[0].confidence] == RANKS[PROVEN]:
            break
    if chosen is None:
        return _Group(tuple(readings), Recovery())
    return _Group(chosen.numbers, _recovery(best, chosen.notes))


def _voted(join: Agreement, reading: Reading) -> State:
    """Return the state after a vote, which is a step only where the reads differ."""
    steps = join.state.steps
    if join.vote.count:
        bits = f"{join.vote.count} bit{'' if join.vote.count == 1 else 's'}"
        steps = (*steps, step("vote", reads=len(join.numbers), count=bits))
    return replace(join.state, reading=reading, steps=steps)


def _strength(search: Search, state: State) -> tuple[int, ...]:
    """Return how much a state of one read says, to find the read that others are compared with."""
    found = search.judged(state)
    if not found:
        return (0,)
    best = max(found, key=lambda answer: answer.rank)
    return *best.rank[:3], best.evidence.bits, len(state.reading)


# --- several reads


MOST_DIFFERENT = 10
"""Reads agree if at most one byte in this many differs, the commonest byte left out."""


@dataclass(frozen=True)
class Agreement:
    """Reads in agreement, by number: the vote over them, and the state of the one that led them."""

    state: State
    vote: Vote
    numbers: tuple[int, ...]
    notes: tuple[str, ...] = ()


def together(
    catalog: Catalog,
    readings: Mapping[int, Reading],
    states: Callable[[State], list[State]],
    strength: Callable[[State], tuple[int, ...]],
) -> Iterator[Agreement]:
    """Yield the ways of bringing reads together, the plainest first.

    First as they are, if they are of one length and agree; then each as it was before its own
    faults. `states` gives a read with its faults undone, `strength` how much a state says.
    """
    as_they_are: list[Agreement] = []
    first, *others = readings.values()
    if all(len(other) == len(first) for other in others):
        as_they_are = [Agreement(State(first), vote([first, *others]), tuple(readings))]
        if all(agree(first, other) for other in others):
            yield from as_they_are
    ways = {number: states(State(reading)) for number, reading in readings.items()}
    leaders: dict[int, tuple[tuple[int, ...], State]] = {}
    for way in (way for found in ways.values() for way in found):
        value = (*strength(way), -len(way.steps))
        length = len(way.reading)
        if value[0] and (length not in leaders or value > leaders[length][0]):
            leaders[length] = value, way
    # The length that most reads come to is that of the part; a cut read may be shorter.
    found = [(_voted_with(catalog, way, ways), value) for value, way in leaders.values()]
    found.sort(key=lambda pair: (len(pair[0].numbers), pair[1]), reverse=True)
    yield from (join for join, _ in found)
    yield from as_they_are


def _voted_with(catalog: Catalog, leader: State, ways: Mapping[int, Sequence[State]]) -> Agreement:
    """Return the vote over each read as it agrees best with the leader."""
    chosen: dict[int, Reading] = {}
    undone: list[str] = []
    size = len(leader.reading)
    for number, states in ways.items():
        near = [
            (difference(leader.reading, state.reading), len(state.steps), index)
            for index, state in enumerate(states)
            if not state.unaligned and size // 4 <= len(state.reading) <= size
        ]
        near = [found for found in near if agree(leader.reading, states[found[2]].reading)]
        if not near:
            continue
        state = states[min(near)[2]]
        chosen[number] = state.reading.filled(size)
        if [done.name for done in state.steps] != [done.name for done in leader.steps]:
            titles = [catalog.read_faults[done.name].title for done in state.steps]
            told = "read-undone" if titles else "read-kept"
            undone.append(catalog.judgement(told, number=number, steps=" and ".join(titles)))
    return Agreement(leader, vote(list(chosen.values())), tuple(chosen), tuple(undone))


def difference(first: Reading, second: Reading) -> int:
    """Return how many bits, known in both, two readings differ in."""
    size = min(len(first), len(second))
    ignored = _number(first.unknown, size) | _number(second.unknown, size)
    return ((_number(first.data, size) ^ _number(second.data, size)) & ~ignored).bit_count()


def agree(first: Reading, second: Reading) -> bool:
    """Whether two readings differ in so little that they are reads of the same bytes."""
    size = min(len(first), len(second))
    if not size:
        return False
    data = first.data[:size]
    common = max(set(data), key=data.count)
    told = sum(byte != common for byte in data)
    return difference(first, second) * MOST_DIFFERENT <= max(told, MOST_DIFFERENT) * 2


def _number(data: bytes, size: int) -> int:
    return int.from_bytes(data[:size])


# --- what to do where they settle nothing


def why(catalog: Catalog, recovery: Recovery) -> str:
    """Return in one line why nothing is settled."""
    if recovery.named is not None:
        return recovery.named.title
    if not recovery.answers:
        return catalog.judgement("no-image")
    if recovery.parts:
        groups = "; ".join(
            all_of([str(number) for number in numbers]) for numbers in recovery.parts
        )
        return catalog.judgement("contradict", groups=groups)
    best = recovery.answers[0]
    if best.problems:
        return best.problems[0]
    return catalog.judgement("tied", count=recovery.tied)


def advice(catalog: Catalog, recovery: Recovery, reads: int) -> str:
    """Return in one line what helps; `reads`: how many reads the answer comes from."""
    if recovery.named is not None:
        return recovery.named.fault.check
    again = catalog.judgement("clean-pins" if reads > 1 else "read-again")
    if not recovery.answers:
        return catalog.judgement("check-part", again=again)
    if recovery.parts:
        return catalog.judgement("recover-apart")
    best = recovery.answers[0]
    if not best.problems:
        return catalog.judgement("choose")
    if not best.evidence.end_item and best.evidence.items:
        return catalog.judgement("end-unknown", again=again)
    return catalog.judgement("take-it", again=again)
