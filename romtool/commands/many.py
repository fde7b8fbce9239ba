"""Answers for many files: each told as soon as it is its turn, then one line for all of them."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple

from romtool.commands.call import Call
from romtool.commands.printing import (
    echo,
    echo_utf8,
    json_text,
    problem_lines,
    warn,
)
from romtool.commands.progress import Progress
from romtool.commands.spread import in_order
from romtool.errors import InputError
from romtool.files.inputs import expand
from romtool.files.reading import name_text, shown
from romtool.text.problems import visible

NOT_USED = "unusable"
"""The kind of a file that can't be used."""


class Answer(NamedTuple):
    """What there is to say about one file: its kind, for the count; lines, or data for JSON.

    `mark`: what is to be known of it when all are done.
    """

    kind: str
    lines: Iterable[str] = ()
    data: Any = None
    mark: Any = None


class PrintedAnswer(NamedTuple):
    """An answer in words, as it travels between processes."""

    kind: str
    text: str
    messages: Sequence[str]
    mark: Any = None


class Unusable(NamedTuple):
    """A file that can't be used, and why: messages before, then the problems, a line each."""

    file: str
    messages: Sequence[str]
    problems: Sequence[str]

    @property
    def kind(self) -> str:
        """What it is called in the count."""
        return NOT_USED

    @classmethod
    def of(cls, file: str, refused: InputError, messages: Sequence[str] = ()) -> Unusable:
        """Return what is told of a refusal."""
        return cls(file, messages, list(problem_lines(refused)))


def is_single(names: Sequence[str]) -> bool:
    """Whether the names stand for one file only, whose answer is no list."""
    return len(names) == 1 and not os.path.isdir(names[0])


def answer_each(
    call: Call,
    names: Sequence[str],
    work: Callable[[str, Callable[[str], None]], Answer],
    *,
    doing: str,
    apart: bool = False,
    marks: list[Any] | None = None,
) -> Counter[str]:
    """Tell the answer for each file that the names stand for; return how many there are of a kind.

    `work` gets a file's name, and whom to give messages about it; a refusal by it is told, and
    hides no other file. `doing` says in a word what lasts; `apart` leaves a line free between;
    `marks` takes the mark of each answer that has one.
    """

    def answer_to(name: str) -> PrintedAnswer | Unusable:
        messages: list[str] = []
        try:
            answer = work(name, messages.append)
        except InputError as refused:
            return Unusable.of(shown(name), refused, messages)
        text = json_text(answer.data) if call.as_json else "\n".join(answer.lines)
        return PrintedAnswer(answer.kind, text, messages, answer.mark)

    files, refusals = expand(names)
    out = _Json(single=is_single(names)) if call.as_json else _Lines(apart=apart)
    _print_all([Unusable.of(str(refused.problems[0].file), refused) for refused in refusals], out)
    counts = Counter({NOT_USED: len(refusals)})
    here = any(name == "-" or name.startswith("/dev/") for name in files)
    found = map(answer_to, files) if here else in_order(answer_to, files, _lost)
    with Progress(doing, len(files)) as progress:
        waiting: list[PrintedAnswer | Unusable] = []
        for one in found:
            counts[one.kind] += 1
            waiting.append(one)
            if marks is not None and isinstance(one, PrintedAnswer) and one.mark is not None:
                marks.append(one.mark)
            if progress.is_due or not progress.is_wanted:
                progress.hide()
                _print_all(waiting, out)
            progress.step()
    _print_all(waiting, out)
    out.end()
    call.has_unusable = call.has_unusable or counts[NOT_USED] > 0
    return counts


def summary(counts: Counter[str], order: Sequence[str]) -> str:
    """Return how many files there were, and how many of each kind, in this order."""
    words = [f"{counts[kind]} {kind}" for kind in (*order, NOT_USED) if counts[kind]]
    return f"{counts.total()} files: {', '.join(words)}"


class _Lines:
    """Answers as lines for people."""

    def __init__(self, *, apart: bool) -> None:
        self._between = apart
        self._is_first = True

    def add(self, text: str) -> None:
        if self._between and not self._is_first:
            echo()
        self._is_first = False
        echo(text)

    def refuse(self, one: Unusable) -> None:
        """There is nothing more to it than the messages."""

    def end(self) -> None:
        """Lines need no end."""


class _Json:
    """Answers as one JSON document: the answer for a file, or a list, written piece by piece."""

    def __init__(self, *, single: bool) -> None:
        self._single = single
        self._is_first = True

    def add(self, text: str) -> None:
        if self._single:
            echo_utf8(f"{text}\n")
            return
        before = ",\n    "
        if self._is_first:
            before = '{\n  "files": [\n    '
            self._is_first = False
        echo_utf8(before + text.replace("\n", "\n    "))

    def refuse(self, one: Unusable) -> None:
        """Answer with what is wrong instead."""
        self.add(json_text({"file": one.file, "error": "\n".join(one.problems)}))

    def end(self) -> None:
        if not self._is_first:
            echo_utf8("\n  ]\n}\n")


def _print_all(waiting: list[PrintedAnswer | Unusable], out: _Lines | _Json) -> None:
    """Tell these answers, and forget them."""
    for one in waiting:
        for message in one.messages:
            warn(message)
        if isinstance(one, PrintedAnswer):
            out.add(one.text)
            continue
        for problem in one.problems:
            warn(problem)
        out.refuse(one)
    waiting.clear()


def _lost(name: str) -> Unusable:
    hint = "try it by itself; the others go on"
    words = f"{visible(name)}: the process that worked on it was killed; {hint}"
    return Unusable(name_text(name), (), [words])
