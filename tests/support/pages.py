"""An HTML page as a tree, by a parser of other hands that forgives nothing.

Nothing here comes from the tool's own code.
"""

from __future__ import annotations

from collections.abc import Iterator
from types import ModuleType
from xml.etree.ElementTree import Element

from tests.support.tool import need_module

HTML, SVG = "{http://www.w3.org/1999/xhtml}", "{http://www.w3.org/2000/svg}"


def parsed(page: bytes) -> Element:
    """The page's root; a parse error, as the HTML standard has them, is an error here."""
    html5lib: ModuleType = need_module("html5lib")
    parser = html5lib.HTMLParser(strict=True)
    root = parser.parse(page, transport_encoding="utf-8")
    assert isinstance(root, Element)
    return root


def found(root: Element, name: str, space: str = HTML) -> list[Element]:
    """All elements of a name, in order."""
    return list(root.iter(space + name))


def with_class(root: Element, name: str) -> list[Element]:
    """All elements of a class, in order."""
    return [one for one in root.iter() if name in one.get("class", "").split()]


def by_id(root: Element, name: str) -> Element:
    """The one element that has this id."""
    (one,) = (one for one in root.iter() if one.get("id") == name)
    return one


def text(element: Element) -> str:
    """What stands in an element, with single spaces."""
    return " ".join("".join(element.itertext()).split())


def section(root: Element, heading: str) -> Element:
    """The section that a heading's id names."""
    (one,) = (s for s in found(root, "section") if s.get("aria-labelledby") == heading)
    return one


def rows(table: Element) -> list[list[str]]:
    """The texts of a table's cells, row by row."""
    return [[text(cell) for cell in row] for row in found(table, "tr")]


def visible(element: Element) -> Iterator[str]:
    """The texts of an element and all in it that is meant for eyes."""
    if "unseen" not in element.get("class", "").split():
        yield element.text or ""
        for child in element:
            yield from visible(child)
            yield child.tail or ""
