"""Where the functions of a card are that software looks for: by its image, or in a PC."""

from __future__ import annotations

from romtool.commands.call import Call
from romtool.commands.loading import LoadedImage
from romtool.rules.expect import FunctionFound, InPC, functions_found
from romtool.schema.expect import Expectation

WHO = {
    "all": "",
    "boot": ", configured by a BIOS that leaves the rest to a PnP system,",
    "none": ", with no PnP software,",
}
"""What is said of a PC, by who configures its cards."""


def functions_of(
    call: Call, one: LoadedImage, configured_by: str
) -> list[tuple[Expectation, list[FunctionFound]]]:
    """Return what became of each function, for each expectation that the call names.

    With a host it is what the card alone is given in that PC.
    """
    if not call.expectations:
        return []
    in_pc = None if call.host is None else _in_pc(call, one, configured_by)
    return [
        (expectation, functions_found(one.image, expectation, in_pc))
        for expectation in call.expectations
    ]


def _in_pc(call: Call, one: LoadedImage, configured_by: str) -> InPC:
    from romtool.assign.assign import assign
    from romtool.rehearse.rehearsal import rehearse

    found = rehearse(call.catalog, [(one.name, one.image)], assign, call.pc, configured_by)
    return InPC(f"{call.pc.name}{WHO[configured_by]}", found.given_in(0))
