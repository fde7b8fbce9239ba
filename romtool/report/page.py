"""The page itself: the model put into the template, everything escaped; nothing is fetched."""

from __future__ import annotations

import base64
import functools
import hashlib
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from romtool.report.model import Report
from romtool.text import problems

TEMPLATE, STYLE, SCRIPT = "report.html", "report.css", "report.js"


def page(report: Report) -> str:
    """Return the report as one HTML page that needs nothing else; the same for the same report."""
    environment = _environment()
    style, script = (_source(environment, name) for name in (STYLE, SCRIPT))
    return environment.get_template(TEMPLATE).render(
        report=report,
        style=Markup(style),
        script=Markup(script),
        style_hash=_hash(style),
        script_hash=_hash(script),
    )


@functools.cache
def _environment() -> Environment:
    """Return what fills in the template, which is compiled once."""
    environment = Environment(
        loader=PackageLoader("romtool.report"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
        finalize=_finalized,
        keep_trailing_newline=True,
    )
    environment.filters["commands"] = _commands
    return environment


def _source(environment: Environment, name: str) -> str:
    """Return a file that stands beside the template, as it is."""
    assert environment.loader is not None
    return environment.loader.get_source(environment, name)[0]


def _hash(text: str) -> str:
    """Return how a page names the one style and the one script that it admits."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _commands(words: str) -> Markup:
    """Return words in which what stands between backticks is marked as a command."""
    parts = [escape(visible(part)) for part in words.split("`")]
    marked = (Markup("<code>{}</code>").format(p) if at % 2 else p for at, p in enumerate(parts))
    return Markup("").join(marked)


def _finalized(value: Any) -> Any:
    """Return what is put into the page: no character in it steers a browser or a reader."""
    if value is None:
        return ""
    if isinstance(value, str) and not isinstance(value, Markup):
        return visible(value)
    return value


def visible(text: str) -> str:
    """Return a text with what can't be seen in it written out, such as `\\x1b`."""
    return "".join(char if char in "\n\t" else problems.visible(char) for char in text)
