"""The table of what the standard asks: every row is checked, and every check has its row.

`python -m tests.test_standard_table --write` puts into schemas/standard.toml which tests carry the
mark `requirement`, for `romtool schema show standard`.
"""

from __future__ import annotations

import ast
import json
import re
import sys
from pathlib import Path

import pytest

from romtool.files.schemas import load_catalog
from romtool.schema.catalog import Rule
from romtool.schema.protocol import Remark
from tests.support.tool import romtool

ROOT = Path(__file__).resolve().parent.parent
TABLE = ROOT / "schemas" / "standard.toml"
CATALOG = load_catalog()
STANDARD = CATALOG.standard
CHECKED = {one.requirement.name: one for one in CATALOG.checked()}
REMARKS = CATALOG.protocol.remarks

ROW = re.compile(r'  \{ name = "(?P<id>[^"]+)".*?(?P<tests>, shown_by = \[[^]]*\])? \},')


def marked() -> dict[str, list[str]]:
    """The tests that carry the mark `requirement`, by what they stand for."""
    found: dict[str, list[str]] = {}
    for path in sorted(ROOT.glob("tests/**/test_*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if not isinstance(node, ast.FunctionDef):
                continue
            name = f"{path.relative_to(ROOT).as_posix()}::{node.name}"
            for one in (inner for mark in node.decorator_list for inner in ast.walk(mark)):
                if isinstance(one, ast.Call) and ast.unparse(one.func).endswith("mark.requirement"):
                    for argument in one.args:
                        found.setdefault(ast.literal_eval(argument), []).append(name)
    return found


def written(tests: dict[str, list[str]]) -> str:
    """The table with these tests in its rows."""

    def row(found: re.Match[str]) -> str:
        text = found[0].removesuffix(" },").removesuffix(found["tests"] or "")
        names = tests.get(found["id"], [])
        return text + (f", shown_by = {json.dumps(names)}" if names else "") + " },"

    return ROW.sub(row, TABLE.read_text(encoding="utf-8"))


def test_rows() -> None:
    """Each row has an id that begins with its section, and what it asks in one line."""
    counts = dict.fromkeys(("image", "rehearsal", "none"), 0)
    for requirement in STANDARD.values():
        counts[requirement.check] += 1
        section = requirement.section.removeprefix("Abstract") or "0"
        assert re.fullmatch(rf"R-{re.escape(section)}-[0-9]+b?", requirement.name) or (
            # Rows about one register have its number instead.
            re.fullmatch(rf"R-{re.escape(section)}-[0-9A-F]{{2}}b?", requirement.name)
        )
        assert len(requirement.text) <= 120 and not requirement.text.endswith(".")
        assert (requirement.reason is not None) == (requirement.check == "none")
    assert counts == {"image": 85, "rehearsal": 144, "none": 12}


def test_the_tests_in_the_table_are_those_with_the_mark() -> None:
    assert TABLE.read_text(encoding="utf-8") == written(marked())


def test_every_row_is_checked() -> None:
    """By a rule, a remark of the rehearsal, by building or a test; or there is a reason why not."""
    odd = [
        name for name, one in CHECKED.items() if one.is_checked == (one.requirement.check == "none")
    ]
    assert odd == []


def test_what_an_image_must_or_should_is_a_rule_or_built() -> None:
    binding = [
        one
        for one in CHECKED.values()
        if one.requirement.check == "image" and one.requirement.level in ("must", "should")
    ]
    odd = [one.requirement.name for one in binding if not (one.rules or one.requirement.build)]
    assert len(binding) == 59 and odd == []


def test_what_building_sees_to_is_shown_by_a_test() -> None:
    assert [one.name for one in STANDARD.values() if one.build and not one.shown_by] == []


SPEAKS = [*CATALOG.rules.values(), *REMARKS.values(), *CATALOG.protocol.steps.values()]


@pytest.mark.parametrize("one", SPEAKS, ids=lambda one: one.name)
def test_what_is_cited_has_a_row(one: Rule | Remark) -> None:
    """Requirements by id, and in the source sections: `Spec 6.2.2.8 and 7.3`.

    Whoever checks a requirement names its section, so that a person can look it up.
    """
    assert set(one.requirements) <= set(STANDARD)
    assert "Spec chapter" not in one.source and "Spec appendix" not in one.source
    sections = {requirement.section for requirement in STANDARD.values()}
    cited = {STANDARD[name].section for name in one.requirements}
    assert cited <= sections_of(one.source) <= sections


def sections_of(source: str) -> set[str]:
    """The sections of the standard that a source names."""
    found: set[str] = set()
    for part in re.findall(r"Spec ((?:(?:, | and )?[A-D0-9][0-9.]*)+)", source):
        found |= {section.rstrip(".") for section in re.split(r", | and ", part)}
    return found


def test_sections_are_found_in_a_source() -> None:
    assert sections_of("Spec 6.2.2.8, A.3.1 and 7.3; from memory") == {"6.2.2.8", "A.3.1", "7.3"}
    assert sections_of("common practice, no source") == set()


@pytest.mark.parametrize("rule", CATALOG.rules.values(), ids=lambda rule: rule.name)
def test_severities_follow_the_word_of_the_standard(rule: Rule) -> None:
    """Must is an error, should a warning; milder only where the rule says that donors work."""
    levels = {STANDARD[name].level for name in rule.requirements}
    if "must" in levels and rule.severity != "error":
        assert rule.severity == "warning" and "donor" in rule.why + rule.hint
    elif "must" not in levels and "should" in levels:
        assert rule.severity == "warning"


def test_show_standard_counts() -> None:
    shown = romtool("schema", "show", "standard")
    found = json.loads(romtool("schema", "show", "standard", "--json").stdout)
    assert shown.returncode == 0
    assert found["checked"] == sum(one.is_checked for one in CHECKED.values())
    assert [one["id"] for one in found["requirements"]] == list(STANDARD)
    first = shown.stdout.decode().splitlines()[0]
    assert first.endswith(f"{found['checked']} of {len(STANDARD)} requirements checked")


if __name__ == "__main__" and sys.argv[1:] == ["--write"]:
    TABLE.write_text(written(marked()), encoding="utf-8")
