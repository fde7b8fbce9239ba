"""`romtool diagnose`: from what is seen at the bench to its causes."""

from __future__ import annotations

import click

from romtool.commands import completing
from romtool.commands.call import DONE, NO, Call, declare
from romtool.commands.options import HOST, IMAGE, JSON
from romtool.commands.printing import echo_json, echo_lines
from romtool.errors import refuse
from romtool.schema.numbers import did_you_mean
from romtool.text.diagnosis import diagnosis_lines


@declare(
    "diagnose",
    HOST,
    *IMAGE,
    JSON,
    example="romtool diagnose hollow-lane.toml --symptom no-interrupt --host pc.toml",
)
@click.argument("images", nargs=-1, metavar="[IMAGE]...", shell_complete=completing.files)
@click.option(
    "--symptom",
    required=True,
    metavar="S",
    shell_complete=completing.symptoms,
    help="What is seen.",
)
@click.option(
    "--readback", metavar="DUMP", shell_complete=completing.files, help="What the part holds."
)
@click.option(
    "--capture",
    metavar="CAPTURE",
    shell_complete=completing.files,
    help="What a logic analyser saw of the EEPROM's bus.",
)
def command(
    call: Call,
    images: tuple[str, ...],
    symptom: str,
    readback: str | None,
    capture: str | None,
) -> int:
    """Tell what can make a symptom: causes that are found, open ones with what to measure next,
    and those that are ruled out, the likeliest first.

    \b
    Symptoms:
      not-found         the PC doesn't find the card
      function-off      the card is found, one function stays off
      no-interrupt      set up, but no interrupt comes
      no-dma            set up, but no DMA, or noise
      pc-hangs          the PC hangs at start
      one-of-two        one of two cards is seen
      games-silent      games are silent
      will-not-program  the part won't program in circuit

    IMAGEs, a host, a readback of the first image's part and a capture are looked at as far as they
    are named, by what the other commands do. Exit code 1 where a cause is found.
    """
    from romtool.commands.capture import decoded_capture
    from romtool.diagnose.diagnose import diagnose
    from romtool.diagnose.evidence import Evidence, Named
    from romtool.diagnose.judging import FOUND

    known = call.catalog.symptoms
    if symptom not in known:
        hint = did_you_mean(symptom, known) or f"known are {', '.join(known)}"
        raise refuse(f"--symptom: nothing called {symptom}", hint)
    loaded = call.load_all(images) if images else []
    if loaded:
        call.part = call.part or loaded[0].part
    evidence = Evidence(
        call.catalog,
        [Named(one.name, one.image) for one in loaded],
        call.host,
        call.read(readback).data if readback is not None else None,
        decoded_capture(call, capture) if capture is not None else None,
    )
    found = diagnose(evidence, known[symptom])
    if call.as_json:
        causes = [one.as_json() for one in found]
        echo_json({"symptom": symptom, "causes": causes})
    else:
        echo_lines(diagnosis_lines(known[symptom], found))
    return NO if any(one.state == FOUND for one in found) else DONE
