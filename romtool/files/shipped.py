"""Files by the names of what they describe: those that come with romtool, and the host files.

Those that come with romtool, to use, to copy, to change, stand beside the code in a wheel, and in
the project's folder otherwise.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from romtool.errors import InputError, refuse
from romtool.files.reading import read_bytes, shown
from romtool.files.schemas import HOSTS, shipped_folder
from romtool.formats import MAX_TOML
from romtool.schema.numbers import clip, did_you_mean, sizes

if TYPE_CHECKING:
    from romtool.assign.host import Host
    from romtool.schema.catalog import Catalog

SUFFIX = ".toml"


def shipped_file(name: str) -> bytes:
    """Return the file that describes this layout, part, host, expectation or sample.

    Of a file that describes several parts only this one is left. Raises InputError where no file
    describes it.
    """
    known = dict(_named())
    wanted = name if name in known else name.upper()
    if wanted not in known:
        hint = did_you_mean(name.lower(), known) or f"known are {', '.join(known)}"
        raise refuse(f"no file describes {clip(name)}", hint)
    data = known[wanted].read_bytes()
    head, *parts = re.split(rb"(?m)^(?=\[\[part\]\])", data)
    return head + _part(parts, wanted) if len(parts) > 1 else data


def _part(parts: list[bytes], name: str) -> bytes:
    """Return the one table of a part that has this name."""
    import tomllib

    own = (one for one in parts if tomllib.loads(one.decode())["part"][0]["name"] == name)
    return next(own).rstrip() + b"\n"


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


def shipped_hosts() -> dict[str, Path]:
    """Return the host files that come with romtool, by the names that `--host` takes."""
    return {path.stem: path for path in sorted((shipped_folder() / HOSTS).glob(f"*{SUFFIX}"))}


def load_host(catalog: Catalog, name: str) -> Host:
    """Return the PC of a host file, or of one that comes with romtool, by its name.

    Raises InputError with the place of every fault.
    """
    from romtool.assign.host import host_of
    from romtool.formats.plain_text import plain_text
    from romtool.formats.toml import faults_in
    from romtool.toml.parse import parse_toml

    hosts = shipped_hosts()
    if name not in hosts and not name.endswith(SUFFIX) and not os.path.exists(name):
        known = f"known are {', '.join(hosts)}; your own: --host FILE{SUFFIX}"
        hint = did_you_mean(name, hosts) or known
        raise refuse(f"--host: nothing called {clip(name)}", hint)
    name = str(hosts.get(name, name))
    data = read_bytes(name, MAX_TOML, f"{sizes(MAX_TOML)} is the limit of a host file")
    try:
        text = plain_text(data, "a host file is a plain text (.toml)")
        with faults_in(text):
            return host_of(catalog, parse_toml(text), shown(name))
    except InputError as refused:
        raise refused.in_file(shown(name)) from None


def load_hosts(catalog: Catalog) -> dict[str, Host]:
    """Return the hosts that come with romtool, by their names."""
    return {name: load_host(catalog, name) for name in shipped_hosts()}
