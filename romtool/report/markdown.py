"""The report as Markdown: what a repository shows of a card, and nothing that changes by itself."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from romtool.report.cards import DeviceTable, Fact
from romtool.report.model import Report
from romtool.text.problems import visible

_SIGNS = re.compile(r"([\\`*_\[\]<>|#~])")
"""Signs that would mean something in Markdown."""


def markdown(report: Report) -> str:
    """Return the report as Markdown (GitHub's tables), one text for one report."""
    return "\n".join(_lines(report)) + "\n"


def _lines(report: Report) -> Iterator[str]:
    yield f"# {_plain(report.title)}"
    yield ""
    for verdict in report.verdicts:
        yield f"- **{_plain(verdict.words)}**: {_plain(verdict.text)}"
    yield ""
    yield from _table(("", ""), [(fact.title, _words(fact)) for fact in report.facts])
    if report.functions:
        yield from _section("Where games look")
        rows = [
            (one.name, one.state, one.where or "", one.device or "") for one in report.functions
        ]
        yield from _table(("Function", "", "At", "Device"), rows)
    if report.card is not None:
        yield from _section("Devices")
        for device in report.card.devices:
            yield from _device(device)
        if report.card.left_out:
            yield f"And {report.card.left_out} more devices."
        if report.card.settings:
            yield from _section("Configuration of the chip")
            settings = [(fact.title, _words(fact)) for fact in report.card.settings]
            yield from _table(("Setting", ""), settings)
    for pins in report.pins:
        yield from _section(pins.title)
        wired = [(pin, "not connected" if line is None else str(line)) for pin, line in pins.rows]
        yield from _table(("Pin", pins.line), wired)
    if report.pc is not None:
        yield from _section(report.pc.name)
        titles = ("Device", "Choice", *report.pc.titles)
        given = [
            (row.id, row.choice, *map(", ".join, row.cells or [("nothing",)]))
            if row.served
            else (row.id, "nothing")
            for row in report.pc.rows
        ]
        yield from _table(titles, given)
    yield from _seen(report)
    if report.other is not None:
        yield from _section(f"Differences from {report.other.origin.name}")
        for table in report.other.tables:
            changes = [(row.where, row.a, row.b) for row in table.rows]
            yield from _table((table.title, "here", report.other.origin.name), changes)
    yield from _section("Checksums")
    yield from _table(
        ("", "Stored", "Computed", ""),
        [(one.title, one.stored, one.computed, one.way or one.verdict) for one in report.sums],
    )
    yield from _section("Files")
    yield from _table(("", "Bytes", "SHA-256"), [(n, str(s), h) for n, s, h in report.hashes])
    yield from _section("How it was built")
    made = f"From {report.origin.name}, {report.origin.format}, by romtool {report.version}"
    yield _plain(f"{made}, {report.dated}." if report.dated else f"{made}.")
    yield from _section("Before you burn it")
    for caution in report.cautions:
        yield f"- {_plain(caution)}"


def _seen(report: Report) -> Iterator[str]:
    """Yield what a capture shows, and what the checks find."""
    talk = report.conversation
    if talk is not None:
        yield from _section("What the chip read")
        yield _plain(f"{talk.name}, {talk.bus} bus, {talk.lasted}.")
        yield ""
        for seen in talk.findings:
            yield f"- {seen.severity}: {_plain(seen.message)}"
        yield ""
        turns = [(one.at, one.kind, one.address, one.size, one.result) for one in talk.turns]
        yield from _table(("ms", "Command", "Address", "Bytes", "Answer"), turns)
    if report.findings:
        yield from _section("Findings")
    for told in report.findings:
        finding = told.finding
        where = f"{told.place}: " if told.place else ""
        yield f"- {finding.severity}: {_plain(where + finding.message)}; {_plain(finding.hint)}"
        yield f"  ({_plain(finding.rule)}, {_plain(finding.source)})"


def _section(title: str) -> Iterator[str]:
    yield ""
    yield f"## {_plain(title)}"
    yield ""


def _device(device: DeviceTable) -> Iterator[str]:
    name = f", {device.name}" if device.name else ""
    yield f"### {device.number}. {_plain(device.id + name)}"
    yield ""
    for fact in device.facts:
        yield f"- {_plain(fact.title)}: {_plain(_words(fact))}"
    if device.facts:
        yield ""
    rows = []
    for row in device.rows:
        choice = f"{row.number} {row.priority}".strip() if row.number else "always"
        rows.append((choice, "; ".join(row.asks) or "nothing"))
    yield from _table(("Choice", "Asks for"), rows)
    if device.left_out:
        yield f"And {device.left_out} more choices."
    yield ""


def _words(fact: Fact) -> str:
    return f"{fact.words} ({fact.remark})" if fact.remark else fact.words


def _table(titles: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Yield a table; a row that has fewer cells than there are titles is filled up."""
    yield "| " + " | ".join(_plain(title) for title in titles) + " |"
    yield "|" + " --- |" * len(titles)
    for row in rows:
        cells = [*row, *[""] * (len(titles) - len(row))]
        yield "| " + " | ".join(_plain(cell) for cell in cells) + " |"


def _plain(text: str) -> str:
    """Return a text that Markdown shows as it is, on one line."""
    return _SIGNS.sub(r"\\\1", visible(text)).replace("\n", " ")
