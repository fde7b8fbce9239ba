"""Schemas for people: what is known, and a layout or a record as a map of its bytes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from romtool.assign.host import Host
from romtool.schema.catalog import Catalog, Rule
from romtool.schema.expect import Expectation
from romtool.schema.fields import MISSING, Field, FieldLayout, Unit
from romtool.schema.image_layouts import ImageLayout, Part
from romtool.schema.numbers import address, hex_text, one_of, sizes
from romtool.schema.records import DescriptorType
from romtool.text.page import line, title

KEY = 20


def list_lines(catalog: Catalog, hosts: Mapping[str, Host]) -> Iterator[str]:
    """Yield the names of all that the schemas describe."""
    yield from title("Layouts")
    for layout in catalog.all_layouts.values():
        yield from line(layout.name, f"{layout.size} bytes: {layout.title}", indent=2, column=KEY)
    yield ""
    yield from title("Parts")
    for part in catalog.parts.values():
        yield from line(part.name, f"{part.bus}, {sizes(part.size)}", indent=2, column=KEY)
    yield ""
    yield from title("Expectations")
    for expectation in catalog.expectations.values():
        words = ", ".join(function.name for function in expectation.functions)
        yield from line(expectation.name, f"{expectation.title}: {words}", indent=2, column=KEY)
    yield ""
    yield from title("Hosts")
    for name, host in hosts.items():
        yield from line(name, host.name, indent=2, column=KEY)
    yield ""
    yield from title("Records")
    for record in catalog.records.values():
        yield from line(record.name, f"{record.title} ({record.source})", indent=2, column=KEY)
    yield ""
    yield from title("Rules")
    for rule in catalog.rules.values():
        yield from line(rule.name, f"{rule.severity}: {rule.why}", indent=2, column=KEY)


def layout_lines(layout: ImageLayout) -> Iterator[str]:
    """Yield a layout as a byte map."""
    yield from title(layout.name, f"{layout.size} bytes before the PnP data")
    yield from line("", layout.title, indent=2)
    if layout.text:
        yield from line("", layout.text, indent=2)
    yield from line("source", layout.source, indent=2)
    fill = f"{layout.fill:02X}h" + (", after an optional patch area" if layout.patch else "")
    yield from line("fill", fill, indent=2)
    if layout.max_pnp_bytes is not None:
        yield from line("limit", f"{layout.max_pnp_bytes} bytes of PnP data", indent=2)
    yield from _map(layout.field_layout)


def record_lines(record: DescriptorType) -> Iterator[str]:
    """Yield a record as a byte map of its content."""
    codes = ", ".join(f"{code:X}h" for code in sorted(record.codes)[:6])
    more = ", …" if len(record.codes) > 6 else ""
    yield from title(record.name, f"{record.header.title} {codes}{more}")
    yield from line("", record.title, indent=2)
    yield from line("source", record.source, indent=2)
    yield from line("content", record.size_in_words(), indent=2)
    yield from _map(record.field_layout)


def part_lines(part: Part) -> Iterator[str]:
    """Yield what is known of a part."""
    yield from title(part.name, f"{part.bus}, {sizes(part.size)}")
    if part.page is not None:
        yield from line("page", f"{part.page} bytes", indent=2)
    if part.organisation:
        yield from line("read in", " or ".join(f"{n} bits" for n in part.organisation), indent=2)
    yield from line("source", part.source, indent=2)


def expectation_lines(expectation: Expectation) -> Iterator[str]:
    """Yield what some software expects, function by function."""
    yield from title(expectation.name, expectation.title)
    if expectation.text:
        yield from line("", expectation.text, indent=2)
    yield from line("source", expectation.source, indent=2)
    whose = "" if expectation.own else ", comes with romtool"
    yield from line("file", expectation.file + whose, indent=2)
    for function in expectation.functions:
        yield ""
        yield from title(function.name, "required" if function.required else "")
        yield from line("", function.text, indent=2)
        bases = one_of([address(base) for base in sorted(function.bases)])
        fewest, most = function.length
        many = str(most) if fewest == most else f"{fewest} to {most}"
        yield from line("ports", f"{many} at {bases}", indent=2)
        for lines in function.lines:
            words = one_of([str(number) for number in sorted(lines.first)])
            if lines.widths:
                words += f", {one_of(sorted(lines.widths))} bits"
            yield from line(lines.resource, words, indent=2)
        if function.compatible:
            yield from line("IDs", ", ".join(sorted(function.compatible)), indent=2)


def host_lines(catalog: Catalog, name: str, host: Host) -> Iterator[str]:
    """Yield what a PC has taken, kind by kind."""
    yield from title(name, host.name)
    for resource in catalog.resources.values():
        values = [one.value for one in host.entries() if one.kind == resource.name]
        taken = [str(one) if isinstance(one, int) else one.in_words() for one in values]
        if taken:
            yield from line(resource.short, ", ".join(taken), indent=2)


def rule_lines(catalog: Catalog, rule: Rule) -> Iterator[str]:
    """Yield a rule in words, and what of the standard it checks."""
    yield from title(rule.name, rule.severity)
    yield from line("finds", rule.message, indent=2)
    yield from line("why", rule.why, indent=2)
    yield from line("hint", rule.hint, indent=2)
    yield from line("source", rule.source, indent=2)
    for index, name in enumerate(rule.requirements):
        asked = catalog.standard[name]
        words = f"{asked.level}: {asked.text} ({name})"
        yield from line("" if index else "checks", words, indent=2)


BEFORE_BURNING = "before you burn it, read `romtool schema show cautions`"
"""What is said wherever an image is written."""


def caution_lines(catalog: Catalog) -> Iterator[str]:
    """Yield what to heed before anything is burnt."""
    yield from title("Before you burn anything")
    for caution in catalog.cautions.values():
        yield from line("  -", caution.text, column=4)


def standard_lines(catalog: Catalog) -> Iterator[str]:
    """Yield the requirements of the standard by section: what each asks, what checks it."""
    found = catalog.checked()
    count = f"{sum(one.is_checked for one in found)} of {len(found)} requirements checked"
    yield from title("Plug and Play ISA Specification 1.0a", count)
    section = ""
    for one in found:
        asked = one.requirement
        if asked.section != section:
            section = asked.section
            yield ""
            yield from title(section)
        words = f"{asked.level}, {asked.on}: {asked.text}"
        yield from line(asked.name, words, indent=2, column=KEY)
        for what, names in (("rule", one.rules), ("rehearsal", one.remarks)):
            if names:
                yield from line("", f"{what}: {', '.join(names)}", column=KEY)
        if asked.build:
            yield from line("", f"build: {asked.build}", column=KEY)
        if asked.shown_by:
            files = Counter(test.partition("::")[0] for test in asked.shown_by)
            words = ", ".join(f"{count} in {file}" for file, count in files.items())
            yield from line("", f"tests: {words}", column=KEY)
        if asked.reason:
            yield from line("", f"not checked here: {asked.reason}", column=KEY)


def _map(layout: FieldLayout) -> Iterator[str]:
    if not layout.units:
        return
    yield ""
    yield "  byte   bits   key               holds"
    for unit in layout.units:
        for index, field in enumerate(unit.fields):
            where = _bytes(unit) if index == 0 else ""
            bits = field.bit_numbers
            key = "-" if field.kind.is_reserved else field.key
            head = f"  {where:5}  {bits:5}  {key}"
            yield from line(head, _holds(field), column=34)


def _bytes(unit: Unit) -> str:
    if unit.size is None:
        return f"{unit.at:02X}-"
    if unit.size == 1:
        return f"{unit.at:02X}"
    return f"{unit.at:02X}-{unit.at + unit.size - 1:02X}"


def _holds(field: Field) -> str:
    words = field.title
    if field.text:
        words += f": {field.text}"
    kind = field.kind
    if kind.is_constant:
        value = field.expected(b"")
        words += f" [always {hex_text(value) if isinstance(value, bytes) else value}]"
    elif kind.is_computed:
        words += " [computed]"
    elif field.default is not MISSING and not kind.is_reserved:
        shown = "none" if field.default is None else kind.show(field.default)
        words += f" [{shown}]" if not kind.is_computed else ""
    return words
