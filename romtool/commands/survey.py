"""`romtool survey`: what a pile of dumps holds, and what belongs together."""

from __future__ import annotations

import click

from romtool.commands import completing
from romtool.commands.call import DONE, Call, declare
from romtool.commands.options import IMAGE, JSON
from romtool.commands.printing import echo_json, echo_lines, echo_utf8, problem_lines, warn
from romtool.commands.progress import Progress
from romtool.commands.spread import in_order
from romtool.errors import InputError, Problem, refuse
from romtool.files.inputs import expand
from romtool.survey.dump import Dump, dump_of
from romtool.survey.groups import groups_of
from romtool.text.survey import survey_csv, survey_lines

Found = tuple[str, Dump | None, list[str]]
"""A file, what it holds (None: it can't be used), and what is to be told of it."""


@declare("survey", *IMAGE, JSON, example="romtool survey dumps/ --csv")
@click.argument(
    "dumps", nargs=-1, required=True, metavar="DUMP...", shell_complete=completing.files
)
@click.option("--csv", "as_csv", is_flag=True, help="Answer as a table, for a spreadsheet.")
def command(call: Call, dumps: tuple[str, ...], as_csv: bool) -> int:
    """Tell what a pile of dumps holds: a line for each, then what belongs together.

    Together are dumps of the same bytes; the same but for fill; the same but for the serial
    number; and the same card configured differently, with what differs. A folder stands for the
    images in it. The exit code is 0 whatever they hold.
    """
    if as_csv and call.as_json:
        raise refuse("--csv and --json at once", "choose one")

    def work(name: str) -> Found:
        notes: list[str] = []
        try:
            one = call.load(name, notes.append)
        except InputError as refused:
            return name, None, list(problem_lines(refused))
        return name, dump_of(one.name, one.image, one.findings()), notes

    files, refusals = expand(dumps)
    found: list[Found] = [("", None, list(problem_lines(refused))) for refused in refusals]
    with Progress("looking", len(files)) as progress:
        for one in in_order(work, files, _lost):
            found.append(one)
            progress.step()
    held = [dump for _, dump, _ in found if dump is not None]
    call.has_unusable = len(held) < len(found)
    for _, _, notes in found:
        for note in notes:
            warn(note)
    if not held and not call.as_json:
        return DONE
    groups = list(groups_of(call.catalog, held))
    if call.as_json:
        files_json = [
            dump.as_json() if dump is not None else {"file": name, "error": "; ".join(notes)}
            for name, dump, notes in found
            if name
        ]
        echo_json({"files": files_json, "groups": [group.as_json() for group in groups]})
    elif as_csv:
        echo_utf8(survey_csv(held, groups))
    else:
        echo_lines(survey_lines(held, groups))
    return DONE


def _lost(name: str) -> Found:
    message = "the process that worked on it was killed"
    problem = Problem(message, "try it by itself", file=name)
    return name, None, list(problem_lines(InputError([problem])))
