"""Where the functions of a card are that software looks for: by its image, or in a PC."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from romtool.commands.call import Call
from romtool.commands.loading import LoadedImage
from romtool.rules.findings import Finding

if TYPE_CHECKING:
    from romtool.requirements.model import Alternative
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


def functions_given(
    call: Call,
    one: LoadedImage,
    given: Mapping[int, Alternative | None],
    configured_by: str = "all",
) -> list[FunctionFound]:
    """Return what became of each function that --expect names, by what a card is given."""
    from romtool.rules.expect import InPC, functions_found

    in_pc = InPC(f"{call.pc.name}{WHO[configured_by]}", given, configured_by)
    return [
        function
        for expectation in call.expectations
        for function in functions_found(one.image, expectation, in_pc)
    ]


def functions_json(found: Sequence[Sequence[FunctionFound]]) -> list[dict[str, Any]]:
    """Return the functions of several cards as in the JSON answers; `card` is its place."""
    return [
        {"card": card, **function.as_json()}
        for card, functions in enumerate(found)
        for function in functions
    ]


def _in_pc(call: Call, one: LoadedImage, configured_by: str) -> InPC:
    from romtool.assign.assign import assign
    from romtool.rehearse.rehearsal import rehearse
    from romtool.rules.expect import InPC

    found = rehearse(call.catalog, [(one.name, one.image)], assign, call.pc, configured_by)
    given = found.given_in(0)
    return InPC(f"{call.pc.name}{WHO[configured_by]}", given, configured_by)
