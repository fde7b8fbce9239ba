"""Keys with too many dots, found before the text is parsed: each dot costs as all before it."""

from __future__ import annotations

import re

MOST_PARTS = 32
"""Parts of a key (`a.b.c` has three) that a text may have: far more than any file here needs."""

_BARE = r"[A-Za-z0-9_-]+"
_QUOTED = r'"(?:[^"\\\n]|\\.)*+"|\'[^\'\n]*\''
_PART = rf"(?:{_BARE}|{_QUOTED})"


def too_deep_at(text: str) -> int | None:
    """Return where a key of more than `MOST_PARTS` parts begins; None where there is none.

    What looks like one inside a string or a comment is none.
    """
    if all(line.count(".") < MOST_PARTS for line in text.splitlines()):
        return None
    for found in _tokens().finditer(text):
        if found.lastgroup == "deep":
            return found.start()
    return None


def _tokens() -> re.Pattern[str]:
    return re.compile(
        r'"""(?:[^"\\]|\\.|"(?!""))*+(?:"""|\Z)'
        r"|'''(?:[^']|'(?!''))*+(?:'''|\Z)"
        rf"|(?P<deep>{_PART}(?:[ \t]*\.[ \t]*{_PART}){{{MOST_PARTS},}}+)"
        rf"|{_QUOTED}|{_BARE}|#[^\n]*",
        re.DOTALL,
    )
