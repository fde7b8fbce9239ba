"""The report as Markdown, read back by another hand (markdown-it-py, from PyPI)."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from tests.support.tool import need_module, romtool, told

ROOT = Path(__file__).resolve().parent.parent
SAMPLE = ROOT / "samples" / "hollow-lane.toml"
BOARD = """
[board]
name = "Hollow | Lane <b>board</b>"
revision = "B"
author = "the *workshop*"
"""


@pytest.fixture
def day(monkeypatch: pytest.MonkeyPatch) -> None:
    """The day of a page is that of SOURCE_DATE_EPOCH, so that it can be made again."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1764201600")


def written(folder: Path, text: str, *options: str) -> str:
    """The report of a profile."""
    (folder / "card.toml").write_text(text, encoding="utf-8")
    run = romtool("report", "card.toml", "-o", "card.md", "--force", *options, cwd=folder)
    assert run.returncode == 0, told(run)
    return (folder / "card.md").read_text(encoding="utf-8")


def tables_in(text: str) -> list[list[list[str]]]:
    """The tables of a Markdown text: rows of cells, each as plain text."""
    parser = need_module("markdown_it").MarkdownIt("commonmark", {"html": True}).enable("table")
    tables: list[list[list[str]]] = []
    inside = False
    for token in parser.parse(text):
        assert not token.type.startswith("html"), token.content
        if token.type == "table_open":
            tables.append([])
        elif token.type == "tr_open":
            tables[-1].append([])
        elif token.type in ("th_open", "td_open"):
            inside = True
        elif token.type == "inline" and inside:
            children = token.children or []
            assert {child.type for child in children} <= {"text"}
            tables[-1][-1].append("".join(child.content for child in children))
            inside = False
    return tables


@pytest.mark.usefixtures("day")
def test_what_a_repository_shows(tmp_path: Path) -> None:
    text = written(tmp_path, SAMPLE.read_text(encoding="utf-8"), "--expect", "dos-games")
    assert text.splitlines()[0] == "# Hollow Lane audio card"
    assert ", 2025-11-27." in text
    assert str(tmp_path) not in text, "only the names of files"
    facts, functions, *rest = tables_in(text)
    assert ["serial number", "1 (00000001h)"] in facts
    assert ["digital audio", "found", "I/O 220h-22Fh; IRQ 5; DMA 1", "QRL0001"] in functions
    assert ["C", "9"] in next(table for table in rest if table[0] == ["Pin", "IRQ line"])
    assert romtool("build", "card.toml", cwd=tmp_path).returncode == 0
    for name, title in (("card.bin", "raw binary"), ("card.hex", "Intel HEX")):
        data = (tmp_path / name).read_bytes()
        assert [title, str(len(data)), hashlib.sha256(data).hexdigest()] in rest[-1]


def test_signs_in_names_are_text(tmp_path: Path) -> None:
    text = written(tmp_path, SAMPLE.read_text(encoding="utf-8") + BOARD)
    facts = tables_in(text)[0]
    assert ["board", "Hollow | Lane <b>board</b>"] in facts
    assert ["board author", "the *workshop*"] in facts


def test_bytes_of_no_layout(tmp_path: Path) -> None:
    (tmp_path / "blank.bin").write_bytes(b"\xff" * 128)
    run = romtool("report", "blank.bin", "-o", "blank.md", cwd=tmp_path)
    assert run.returncode == 0, told(run)
    text = (tmp_path / "blank.md").read_text(encoding="utf-8")
    assert "**Blank, or not read**" in text
    assert tables_in(text)


@pytest.mark.usefixtures("day")
def test_the_same_report_twice_is_the_same(tmp_path: Path) -> None:
    text = SAMPLE.read_text(encoding="utf-8")
    options = ("--host", "workshop", "--expect", "dos-games")
    assert written(tmp_path, text, *options) == written(tmp_path, text, *options)
