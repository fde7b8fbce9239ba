"""Where the functions of a card are that software looks for: by its image, or in a PC."""

from __future__ import annotations

from typing import TYPE_CHECKING

from romtool.commands.call import Call
from romtool.commands.loading import LoadedImage
from romtool.rules.findings import Finding

if TYPE_CHECKING:
    from romtool.rules.expect import FunctionFound, InPC

WHO = {
    "all": "",
    "boot": ", configured by a BIOS that leaves the rest to a PnP system,",
    "none": ", with no PnP software,",
}
"""What is said of a PC, by who configures its cards."""


def functions_of(
    call: Call, one: LoadedImage, configured_by: str
) -> tuple[list[FunctionFound], list[Finding]]:
    """Return what became of each function that --expect names, and what is wrong with that.

    With a host it is what the card alone is given in that PC.
    """
    if not call.expectations:
        return [], []
    from romtool.rules.expect import expect_findings, functions_found

    in_pc = None if call.host is None else _in_pc(call, one, configured_by)
    functions: list[FunctionFound] = []
    findings: list[Finding] = []
    for expectation in call.expectations:
        found = functions_found(one.image, expectation, in_pc)
        functions += found
        findings += map(one.with_line, expect_findings(one.image, expectation, found))
    return functions, findings


def _in_pc(call: Call, one: LoadedImage, configured_by: str) -> InPC:
    from romtool.assign.assign import assign
    from romtool.rehearse.rehearsal import rehearse
    from romtool.rules.expect import InPC

    found = rehearse(call.catalog, [(one.name, one.image)], assign, call.pc, configured_by)
    return InPC(f"{call.pc.name}{WHO[configured_by]}", found.given_in(0))
