"""`romtool recover`: corrupted reads back to the image."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from romtool.commands import completing
from romtool.commands.call import DONE, NO, Call, declare
from romtool.commands.options import FORCE, IMAGE, JSON
from romtool.commands.printing import (
    answer_beside,
    echo_json,
    echo_lines,
    output_name,
    warn,
)
from romtool.errors import InputError, Problem
from romtool.files.reading import name_text
from romtool.recover.reading import Reading
from romtool.recover.recover import Recovery, advice, recover, why
from romtool.recover.search import Answer
from romtool.schema.catalog import Catalog
from romtool.text.recover import recovery_lines
from romtool.text.schema import BEFORE_BURNING


@declare(
    "recover",
    *IMAGE,
    FORCE,
    JSON,
    example="romtool recover read1.bin read2.bin read3.bin -o donor.bin",
)
@click.argument(
    "dumps", nargs=-1, required=True, metavar="DUMP...", shell_complete=completing.files
)
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Where to write the image, as raw binary (-: standard output); left out: nowhere.",
)
@click.option("--pick", type=click.IntRange(min=1), metavar="N", help="Take answer N of several.")
def command(call: Call, dumps: tuple[str, ...], output: Path | None, pick: int | None) -> int:
    """Undo what went wrong in reading a part: byte pairs swapped, bits inverted or reversed, one
    bit late (in all, or in each word), contents that repeat or begin in the middle, bytes before
    the image, a cut, gaps, missing bytes before the PnP data (with --layout), or two of these.

    Several DUMPs are reads of the same part, and are voted over bit by bit. It says what it did,
    what speaks for the result, and how sure it is. Bytes that are no fill are left out only with
    --pick. Exit code 1 where nothing is settled.
    """
    catalog, layout, part = call.catalog, call.layout, call.part
    readings, names = [], []
    for name in dumps:
        input_file = call.read(name, gaps=True)
        for note in input_file.notes:
            warn(note)
        readings.append(Reading.of(input_file.data, input_file.gaps))
        names.append(input_file.name)
    found = recover(catalog, readings, layout, catalog.part(part).size if part else None)
    if part is not None and not found.answers and found.named is None:
        _other_size(catalog, readings, layout, part)
    chosen = _chosen(found, pick)
    written = output if chosen is not None else None
    if chosen is not None and output is not None:
        call.put(output, chosen.data)
    if call.as_json:
        echo_json(_answer(names, found, chosen, written))
    else:
        with answer_beside(output):
            echo_lines(recovery_lines(catalog, _names(names), found, chosen))
            echo_lines(_written(chosen, written))
    if chosen is None:
        # What speaks against an answer that is shown needs no saying again.
        is_told = found.answers and not call.as_json and found.tied < 2
        reason = "" if is_told else f": {why(catalog, found)}"
        warn(f"{names[0]}: not settled{reason}; {advice(catalog, found, len(dumps))}")
        return NO
    return DONE


def _other_size(catalog: Catalog, readings: list[Reading], layout: str | None, part: str) -> None:
    """Tell where it is only the part's size that leaves no answer."""
    free = recover(catalog, readings, layout)
    if free.answers:
        size = len(free.answers[0].data)
        warn(f"--part {part}: there is no answer of its size, but one of {size} bytes without it")


def _chosen(found: Recovery, pick: int | None) -> Answer | None:
    """Return the answer to take: the one picked, or the settled one."""
    if pick is None:
        return found.answers[0] if found.settled else None
    if pick > len(found.answers):
        many = len(found.answers)
        message = f"--pick {pick}: there {'is' if many == 1 else 'are'} {many or 'no'} answer"
        hint = "see them without --pick"
        raise InputError([Problem(message + ("" if many == 1 else "s"), hint)])
    return found.answers[pick - 1]


def _names(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"


def _answer(
    names: list[str], found: Recovery, chosen: Answer | None, written: Path | None
) -> dict[str, Any]:
    best = chosen or (found.answers[0] if found.answers else None)
    named = found.named
    return {
        "files": names,
        "settled": chosen is not None,
        "steps": best.faults if best else [],
        "confidence": best.confidence if best else found.confidence,
        "layout": best.evidence.layout if best else None,
        "evidence": best.evidence.as_json() if best else None,
        "faults": list(best.problems) if best else [],
        "notes": [*found.notes, *([*best.handling, *best.notes] if best else [])],
        "alternatives": [
            _alternative(number, answer)
            for number, answer in enumerate(found.answers, 1)
            if answer is not chosen
        ],
        "named": None
        if named is None
        else {"name": named.fault.name, "title": named.title, "check": named.fault.check},
        "size": len(chosen.data) if chosen else None,
        "sha256": hashlib.sha256(chosen.data).hexdigest() if chosen else None,
        "written": None if written is None else name_text(written),
    }


def _alternative(number: int, answer: Answer) -> dict[str, Any]:
    return {
        "pick": number,
        "steps": answer.faults,
        "confidence": answer.confidence,
        "layout": answer.evidence.layout,
        "size": len(answer.data),
        "sha256": hashlib.sha256(answer.data).hexdigest(),
        "faults": list(answer.problems),
        "notes": [*answer.handling, *answer.notes],
    }


def _written(chosen: Answer | None, written: Path | None) -> Iterator[str]:
    """Yield what was written, and what stands in it."""
    if chosen is None:
        yield "nothing written"
        return
    size = f"{len(chosen.data)} bytes"
    yield f"wrote {output_name(written)}  {size}" if written else "nothing written: give -o FILE"
    yield f"  SHA-256 {hashlib.sha256(chosen.data).hexdigest()}"
    if written:
        yield BEFORE_BURNING
