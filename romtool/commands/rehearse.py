"""`romtool rehearse`: what would a PC see of these cards at power-up?"""

from __future__ import annotations

import click

from romtool.commands.call import DONE, NO, Call, declare
from romtool.commands.expecting import functions_given, functions_json
from romtool.commands.options import (
    EXPECT,
    HOST,
    IMAGE,
    JSON,
    configured_by_option,
    images_argument,
)
from romtool.commands.printing import echo_json, echo_lines
from romtool.rehearse.answer import answer_of
from romtool.rehearse.rehearsal import rehearse
from romtool.text.findings import functions_of_cards
from romtool.text.rehearsal import rehearsal_lines


@declare("rehearse", HOST, EXPECT, *IMAGE, JSON, example="romtool rehearse hollow-lane.bin --trace")
@images_argument
@configured_by_option
@click.option("--trace", is_flag=True, help="Tell every step, a line each.")
def command(call: Call, images: tuple[str, ...], configured_by: str, trace: bool) -> int:
    """Play the power-up of a PC in which these images are the cards' EEPROMs.

    The chips load, the software sends the key, isolates the cards bit by bit, reads their resource
    data, assigns and activates. Tells what the PC sees, which cards it never sees, and why. Exit
    code 1 where a card is lost or a device gets nothing. With --expect, also what follows for that
    software: which functions are where it looks for them.
    """
    from romtool.assign.assign import assign

    catalog, pc = call.catalog, call.pc
    loaded = call.load_all(images)
    images_of = [(one.name, one.image) for one in loaded]
    played = rehearse(catalog, images_of, assign, pc, configured_by)
    found = answer_of(catalog, played)
    functions = [
        functions_given(call, one, played.given_in(slot), configured_by)
        for slot, one in enumerate(loaded)
    ]
    if call.as_json:
        answer = found.as_json(trace=trace)
        if call.expectations:
            answer["functions"] = functions_json(functions)
        echo_json(call.by_card(answer, loaded))
    else:
        echo_lines(rehearsal_lines(catalog, found, trace=trace))
        echo_lines(functions_of_cards([one.name for one in loaded], functions))
    return DONE if found.is_well else NO
