"""The files that come with romtool, by the names of what they describe: to use, to copy, to change.

They stand beside the code in a wheel, and in the project's folder otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from romtool.errors import refuse
from romtool.files.schemas import HOSTS, shipped_folder
from romtool.schema.numbers import clip, did_you_mean

SUFFIX = ".toml"


def shipped_hosts() -> dict[str, Path]:
    """Return the host files, by the names that `--host` takes."""
    return {path.stem: path for path in sorted((shipped_folder() / HOSTS).glob(f"*{SUFFIX}"))}


def shipped_file(name: str) -> bytes:
    """Return the file that describes this layout, part, host, expectation or sample.

    Raises InputError where none does.
    """
    known = dict(_named())
    path = known.get(name) or known.get(name.upper())
    if path is None:
        hint = did_you_mean(name.lower(), known) or f"known are {', '.join(known)}"
        raise refuse(f"no file describes {clip(name)}", hint)
    return path.read_bytes()


def exported_names() -> list[str]:
    """Return the names that `shipped_file` knows."""
    return list(dict(_named()))


def _named() -> Iterator[tuple[str, Path]]:
    """Yield names of layouts, parts, expectations, hosts and samples, each with its file."""
    import tomllib

    for folder, table in (("frames", "frame"), ("parts", "part"), ("expect", "expectation")):
        for path in sorted((shipped_folder() / folder).glob(f"*{SUFFIX}")):
            for one in tomllib.loads(path.read_text(encoding="utf-8"))[table]:
                yield one["name"], path
    yield from shipped_hosts().items()
    for path in sorted(shipped_folder("samples").glob(f"*{SUFFIX}")):
        yield path.stem, path
    for path in sorted(shipped_folder("samples/schemas").glob(f"*{SUFFIX}")):
        yield path.stem, path
