"""`romtool assign`: what can PnP software give these cards in that PC?"""

from __future__ import annotations

from romtool.commands.call import DONE, NO, Call, declare
from romtool.commands.options import HOST, IMAGE, JSON, images_argument
from romtool.commands.printing import echo_json, echo_lines
from romtool.errors import InputError, Problem
from romtool.requirements.read import requirements_of
from romtool.text.assignment import assignment_lines


@declare(
    "assign",
    HOST,
    *IMAGE,
    JSON,
    example="romtool assign hollow-lane.bin --host workshop",
)
@images_argument
def command(call: Call, images: tuple[str, ...]) -> int:
    """Tell which lines, channels and ports PnP software can give these cards in a PC.

    The best set, proved; or, with exit code 1, a conflict from which nothing can be left out, and
    the best set with the fewest devices left out.
    """
    from romtool.assign.assign import assign
    from romtool.assign.outcome import Card, outcome

    catalog, pc = call.catalog, call.pc
    loaded = call.load_all(images)
    unread = [one.name for one in loaded if one.image.layout is None]
    if unread:
        rule = catalog.rules["no-frame"]
        raise InputError(Problem(rule.message, rule.hint, file=name) for name in unread)
    cards = [Card(one.name, one.image, requirements_of(one.image)) for one in loaded]
    found = assign(catalog, [card.requirements for card in cards], pc)
    if call.as_json:
        echo_json({"host": pc.name, **found.as_json()})
    else:
        echo_lines(assignment_lines(catalog, outcome(catalog, cards, pc, found)))
    return DONE if found.feasible else NO
