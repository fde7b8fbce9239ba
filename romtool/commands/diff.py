"""`romtool diff`: what differs between two images, in the card's terms and in bytes."""

from __future__ import annotations

import click

from romtool.commands import completing
from romtool.commands.call import DONE, NO, Call, declare
from romtool.commands.options import IMAGE, JSON
from romtool.commands.printing import echo, echo_json, echo_lines
from romtool.diff.changes import ByteCounts
from romtool.diff.compare import compare
from romtool.text.diff import counted, differences_lines


@declare("diff", *IMAGE, JSON, example="romtool diff donor.bin hollow-lane.toml")
@click.argument("first", metavar="A", shell_complete=completing.files)
@click.argument("second", metavar="B", shell_complete=completing.files)
def command(call: Call, first: str, second: str) -> int:
    """Tell what differs between A and B, each an image or a profile, faults or not.

    First in the card's terms: layout, part, configuration, devices, choices, resources; then what
    follows from that: checksums, counts, places; then the bytes that no term explains. Exit code
    0 only if every byte is the same. The options hold for both;
    with standard input (-) for one of the two, --input is for that one.
    """
    a, b = call.load_pair(first, second)
    found = compare(a.image, b.image, (a.part, b.part))
    if call.as_json:
        echo_json(found.as_json())
    elif found.same and not found.changes:
        is_whole = bool(a.image.identifier_size) == bool(b.image.identifier_size)
        what = f"all {len(a.image.data)} bytes" if is_whole else "the items"
        echo(f"same: {what} of {a.title} are as {b.title} has them")
    else:
        counts = ByteCounts.of(a.image.data, b.image.data)
        echo_lines(differences_lines(found, [a.title, b.title], counted(counts)))
    return DONE if found.same else NO
