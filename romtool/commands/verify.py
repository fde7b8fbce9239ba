"""`romtool verify`: is this readback what should have been burnt?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import click

from romtool.commands import completing
from romtool.commands.call import DONE, NO, Call, declare
from romtool.commands.many import Answer, answer_each, is_single, summary
from romtool.commands.options import IMAGE, JSON
from romtool.commands.printing import echo
from romtool.errors import refuse
from romtool.files.reading import shown
from romtool.image.model import Image
from romtool.image.spoiling import swapped_pairs
from romtool.readback.diagnosis import diagnose
from romtool.text.page import title
from romtool.text.problems import visible
from romtool.text.verify import verify_lines
from romtool.verify import Difference, differences

MATCHING, DIFFERENT = "as expected", "different"


@declare("verify", *IMAGE, JSON, example="romtool verify readback.bin hollow-lane.toml")
@click.argument(
    "readbacks", nargs=-1, required=True, metavar="READBACK...", shell_complete=completing.files
)
@click.argument("expected", shell_complete=completing.files)
@click.option("--swap-pairs", is_flag=True, help="The readback has its byte pairs swapped.")
def command(call: Call, readbacks: tuple[str, ...], expected: str, swap_pairs: bool) -> int:
    """Tell whether READBACK is what EXPECTED (an image or a profile) should have put there.

    Names the field of each byte that differs, and the fault where one explains them all: byte
    pairs swapped, one bit late and so on. Several readbacks, or a folder of them, are answered one
    by one. Exit code 1 where a byte differs. --input says what READBACK is.
    """
    if [*readbacks, expected].count("-") > 1:
        raise refuse("standard input can be read only once", "name a file for one of the two")
    single = is_single(readbacks)

    want = call.load(expected, by_content=True).image

    def work(name: str, note: Callable[[str], None]) -> Answer:
        input_file = call.read(name)
        for words in input_file.notes:
            note(words)
        read = swapped_pairs(input_file.data) if swap_pairs else input_file.data
        found = differences(read, want)
        kind = DIFFERENT if found else MATCHING
        if call.as_json:
            data = _data(read, want, found)
            return Answer(kind, data=data if single else {"file": input_file.name, **data})
        if found:
            heading = "no match" if single else input_file.name
            return Answer(kind, _lines(heading, read, want, found, swapped=swap_pairs))
        if not single:
            return Answer(kind, title(input_file.name, "match"))
        words = (
            f"match: all {len(read)} bytes of {input_file.name} are as {shown(expected)} has them"
        )
        return Answer(kind, [visible(words)])

    counts = answer_each(call, readbacks, work, doing="comparing")
    if not call.as_json and counts.total() > 1:
        echo(summary(counts, (MATCHING, DIFFERENT)))
    return NO if counts[DIFFERENT] else DONE


def _data(read: bytes, want: Image, found: list[Difference]) -> dict[str, Any]:
    answer = {"match": not found, "differences": [one.as_json() for one in found]}
    if not found:
        return answer
    like = diagnose(read, want)
    return answer | (like.as_json() if like else {"mishaps": []})


def _lines(
    name: str, read: bytes, want: Image, found: list[Difference], *, swapped: bool
) -> Iterator[str]:
    """Yield what people read; `swapped`: --swap-pairs was given, and has been done to `read`."""
    option = ""
    if swapped_pairs(read) == want.data:
        option = ", or leave --swap-pairs out" if swapped else ", or --swap-pairs"
    return verify_lines(found, len(want.data), diagnose(read, want), option, name)
