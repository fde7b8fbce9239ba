"""`romtool schema`: what the schemas say, and a check of a user's own."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

from romtool.assign.host import Host
from romtool.cli import Group
from romtool.commands import completing
from romtool.commands.call import DONE, Call, declare
from romtool.commands.options import FORCE, INPUT, JSON, VARIANT
from romtool.commands.printing import (
    echo,
    echo_json,
    echo_lines,
    is_standard_output,
    json_text,
    warn,
)
from romtool.errors import InputError, Problem, refuse
from romtool.files.inputs import expand
from romtool.files.reading import name_text
from romtool.files.schemas import KINDS, SCHEMA, kind_of_file, load_catalog
from romtool.files.shipped import (
    load_host,
    load_hosts,
    shipped_file,
    shipped_hosts,
)
from romtool.infer.draft import draft_schema
from romtool.schema.catalog import Catalog
from romtool.schema.expect import Expectation
from romtool.schema.fields import MISSING, FieldLayout
from romtool.schema.json_schema import profile_schema
from romtool.schema.numbers import did_you_mean
from romtool.text.problems import visible
from romtool.text.profile import profile_lines
from romtool.text.schema import (
    caution_lines,
    expectation_lines,
    host_lines,
    layout_lines,
    list_lines,
    part_lines,
    record_lines,
    rule_lines,
    standard_lines,
)


@click.group(
    "schema",
    cls=Group,
    epilog="Example: romtool schema show counted-19",
)
def command() -> None:
    """Show what the schemas say, check schema files of your own, draft one from dumps."""


@declare(
    "list",
    JSON,
    example="romtool schema list",
    short_help="List all that the schemas describe.",
    group=command,
)
def list_(call: Call) -> int:
    """List the layouts, parts, hosts, expectations, records and rules that are known."""
    catalog, hosts = call.catalog, load_hosts(call.catalog)
    if not call.as_json:
        echo_lines(list_lines(catalog, hosts))
        return DONE
    echo_json(
        {
            "layouts": [{"name": f.name, "title": f.title} for f in catalog.all_layouts.values()],
            "parts": [
                {"name": p.name, "bus": p.bus, "bytes": p.size} for p in catalog.parts.values()
            ],
            "expectations": [
                {"name": e.name, "title": e.title} for e in catalog.expectations.values()
            ],
            "hosts": [{"name": name, "title": h.name} for name, h in hosts.items()],
            "records": [{"name": r.name, "title": r.title} for r in catalog.records.values()],
            "rules": [{"name": r.name, "severity": r.severity} for r in catalog.rules.values()],
        }
    )
    return DONE


@declare(
    "show",
    JSON,
    example="romtool schema show counted-19",
    short_help="Show one of them: a layout as a map of its bytes.",
    group=command,
)
@click.argument("name", shell_complete=completing.names)
def show(call: Call, name: str) -> int:
    """Show a layout as a map of its bytes; or a record, a part, a host, an expectation, a rule.

    The name `profile` stands for all keys of a card profile, `standard` for every requirement of
    the PnP ISA standard with what checks it, `cautions` for what to heed before you burn anything.
    """
    catalog = call.catalog
    answer: dict[str, Any]
    if name == "profile":
        answer = profile_schema(catalog)
        lines = profile_lines(catalog)
    elif name == "cautions":
        answer = {"cautions": [caution.text for caution in catalog.cautions.values()]}
        lines = caution_lines(catalog)
    elif name == "standard":
        answer = _standard(catalog)
        lines = standard_lines(catalog)
    elif name in catalog.all_layouts:
        layout = catalog.all_layouts[name]
        answer = {
            "name": layout.name,
            "title": layout.title,
            "source": layout.source,
            "size": layout.size,
            "fill": layout.fill,
            "fields": _fields(layout.field_layout),
        }
        lines = layout_lines(layout)
    elif name in catalog.records:
        record = catalog.records[name]
        answer = {
            "name": record.name,
            "title": record.title,
            "source": record.source,
            "codes": sorted(record.codes),
            "fields": _fields(record.field_layout),
        }
        lines = record_lines(record)
    elif name in catalog.parts or name.upper() in catalog.parts:
        part = catalog.part(name)
        answer = {"name": part.name, "bus": part.bus, "bytes": part.size, "source": part.source}
        lines = part_lines(part)
    elif name in catalog.expectations:
        expectation = catalog.expectations[name]
        answer = {"name": expectation.name, "title": expectation.title}
        answer |= {"text": expectation.text, "source": expectation.source}
        answer |= {"file": expectation.file, "functions": _functions(expectation)}
        lines = expectation_lines(expectation)
    elif name in shipped_hosts():
        host = load_host(catalog, name)
        answer = {"name": name, "title": host.name, **_taken(host)}
        lines = host_lines(catalog, name, host)
    elif name in catalog.rules:
        rule = catalog.rules[name]
        answer = {"name": rule.name, "severity": rule.severity, "message": rule.message}
        answer |= {"why": rule.why, "hint": rule.hint, "source": rule.source}
        answer["requirements"] = list(rule.requirements)
        lines = rule_lines(catalog, rule)
    else:
        raise _unknown(catalog, name)
    if call.as_json:
        echo_json(answer)
    else:
        echo_lines(lines)
    return DONE


def _fields(layout: FieldLayout) -> list[dict[str, Any]]:
    return [
        {
            "key": field.key,
            "at": field.at,
            "bytes": field.size,
            "bits": [field.low + field.kind.bits - 1, field.low] if field.bit_range else None,
            "title": field.title,
            "text": field.text,
            "source": field.source,
            "default": None if field.default is MISSING else field.default,
        }
        for field in layout.fields
    ]


def _taken(host: Host) -> dict[str, list[Any]]:
    """Return what a PC has taken, as in a host file."""
    found: dict[str, list[Any]] = {}
    for one in host.entries():
        value: Any = one.value
        if not isinstance(value, int):
            value = {"base": value.base, "length": value.length, "decode": value.bits}
        found.setdefault(one.kind, []).append(value)
    return found


def _functions(expectation: Expectation) -> list[dict[str, Any]]:
    return [
        {
            "name": function.name,
            "text": function.text,
            "source": function.source,
            "required": function.required,
            "compatible": sorted(function.compatible),
            "length": list(function.length),
            "bases": sorted(function.bases),
            "lines": [
                {
                    "resource": lines.resource,
                    "first": sorted(lines.first),
                    "widths": sorted(lines.widths),
                }
                for lines in function.lines
            ],
        }
        for function in expectation.functions
    ]


def _standard(catalog: Catalog) -> dict[str, Any]:
    found = catalog.checked()
    return {
        "checked": sum(one.is_checked for one in found),
        "requirements": [
            {
                "id": one.requirement.name,
                "section": one.requirement.section,
                "on": one.requirement.on,
                "level": one.requirement.level,
                "text": one.requirement.text,
                "check": one.requirement.check,
                "reason": one.requirement.reason,
                "rules": one.rules,
                "remarks": one.remarks,
                "build": one.requirement.build,
                "tests": list(one.requirement.shown_by),
            }
            for one in found
        ],
    }


def _unknown(catalog: Catalog, name: str) -> InputError:
    known = [*catalog.all_layouts, *catalog.records, *catalog.parts, *catalog.expectations]
    known += [*shipped_hosts(), *catalog.rules, "profile", "standard", "cautions"]
    hint = did_you_mean(name.lower(), known) or "`romtool schema list` shows the names"
    return InputError([Problem(f"nothing here is called {name}", hint)])


@declare(
    "lint",
    example="romtool schema lint my-chip.toml",
    short_help="Check schema files and host files of your own.",
    group=command,
)
@click.argument(
    "files", nargs=-1, required=True, metavar="FILE...", shell_complete=completing.files
)
def lint(call: Call, files: tuple[str, ...]) -> int:
    """Check schema files of your own: unknown keys, gaps, overlaps, with line and column.

    Host files are checked too; what a file is its content tells. A folder stands for all in it.
    """
    kinds: dict[str, list[Path]] = {kind: [] for kind in KINDS}
    for path in (found for name in files for found in _files(Path(name))):
        kinds[kind_of_file(path) or SCHEMA].append(path)
    schemas, hosts, profiles = kinds.values()
    for path in profiles:
        hint = f"`romtool check {name_text(path)}` checks it"
        raise refuse("is a card profile, no schema", hint).in_file(name_text(path))
    load_catalog(call.schemas, schemas)
    for path in hosts:
        load_host(call.catalog, str(path))
    for name in files:
        echo(f"{visible(name)}: no faults")
    return DONE


def _files(path: Path) -> list[Path]:
    """Return a file, or those of a folder; raises InputError where it has none."""
    if not os.path.isdir(path):
        return [path]
    found = sorted(path.rglob("*.toml"))
    if not found:
        hint = "name a schema file or a host file"
        raise refuse("no .toml file in this folder", hint).in_file(str(path))
    return found


OUTPUT = click.option(
    "-o",
    "--output",
    metavar="FILE",
    type=click.Path(path_type=Path),
    default="-",
    help="The file to write; left out, or -: standard output.",
)


@declare(
    "json",
    FORCE,
    example="romtool schema json -o profile.schema.json",
    short_help="Print the JSON Schema of a card profile.",
    group=command,
)
@OUTPUT
def json_(call: Call, output: Path) -> int:
    """Print the JSON Schema of a card profile, for editors that complete and underline TOML.

    `new` and `profile` write profiles whose first line names the file profile.schema.json beside
    them: -o puts it there. With frames and parts of your own, give --schemas here too.
    """
    call.write(output, f"{json_text(profile_schema(call.catalog))}\n".encode())
    return DONE


@declare(
    "draft",
    INPUT,
    VARIANT,
    FORCE,
    example="romtool schema draft donor1.bin donor2.bin -o my-chip.toml",
    short_help="Work a layout out from dumps of an unknown chip.",
    group=command,
)
@click.argument(
    "dumps", nargs=-1, required=True, metavar="DUMP...", shell_complete=completing.files
)
@OUTPUT
def draft(call: Call, dumps: tuple[str, ...], output: Path) -> int:
    """Work out what stands before the PnP data of an unknown chip, as a schema file.

    A count of the PnP bytes, a checksum over the front, the wiring of IRQ and DMA pins, what is
    always the same; the rest as bytes to keep. Each has its evidence in a comment. Dumps of
    several cards with that chip make it surer. With --schemas, the draft builds every dump.
    """
    files, refusals = expand(dumps)
    for refused in refusals:
        raise refused
    read = [call.read(name) for name in files]
    for one in read:
        for note in one.notes:
            warn(note)
    wanted = "my-chip" if is_standard_output(output) else output.stem
    text = draft_schema(call.catalog, [(one.name, one.data) for one in read], wanted)
    call.write(output, text.encode())
    return DONE


@declare("export", FORCE, example="romtool schema export workshop -o my-pc.toml", group=command)
@click.argument("name", shell_complete=completing.exported)
@OUTPUT
def export(call: Call, name: str, output: Path) -> int:
    """Write a file that comes with romtool, to copy and change.

    NAME is that of a layout, a part, a host, an expectation or a sample. What is yours then needs a
    name of its own; an expectation of the same name replaces the one that comes with romtool.
    """
    call.write(output, shipped_file(name))
    return DONE
