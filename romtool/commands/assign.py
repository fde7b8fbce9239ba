"""`romtool assign`: what can PnP software give these cards in that PC?"""

from __future__ import annotations

from romtool.commands.call import DONE, NO, Call, declare
from romtool.commands.expecting import functions_given, functions_json
from romtool.commands.options import EXPECT, HOST, IMAGE, JSON, images_argument
from romtool.commands.printing import echo_json, echo_lines
from romtool.errors import InputError, Problem
from romtool.requirements.read import requirements_of
from romtool.text.assignment import assignment_lines
from romtool.text.findings import functions_of_cards


@declare(
    "assign",
    HOST,
    EXPECT,
    *IMAGE,
    JSON,
    example="romtool assign hollow-lane.bin --host workshop",
)
@images_argument
def command(call: Call, images: tuple[str, ...]) -> int:
    """Tell which lines, channels and ports PnP software can give these cards in a PC.

    The best set, proved; or, with exit code 1, a conflict from which nothing can be left out, and
    the best set with the fewest devices left out. With --expect, also what follows for that
    software: which functions are where it looks for them.
    """
    from romtool.assign.assign import assign
    from romtool.assign.outcome import AssignedCard, outcome

    catalog, pc = call.catalog, call.pc
    loaded = call.load_all(images)
    unread = [one.name for one in loaded if one.image.layout is None]
    if unread:
        rule = catalog.rules["no-frame"]
        raise InputError(Problem(rule.message, rule.hint, file=name) for name in unread)
    cards = [AssignedCard(one.name, one.image, requirements_of(one.image)) for one in loaded]
    found = assign(catalog, [card.requirements for card in cards], pc)
    given = outcome(catalog, cards, pc, found)
    functions = [
        functions_given(call, one, card.given)
        for one, card in zip(loaded, given.cards, strict=True)
    ]
    if call.as_json:
        answer = {"host": pc.name, **found.as_json()}
        if call.expectations:
            answer["functions"] = functions_json(functions)
        echo_json(call.by_card(answer, loaded))
    else:
        echo_lines(assignment_lines(catalog, given))
        echo_lines(functions_of_cards([one.name for one in loaded], functions))
    return DONE if found.feasible else NO
