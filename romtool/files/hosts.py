"""Host files: what a PC has taken before the cards come."""

from __future__ import annotations

import os

from romtool.assign.host import Host, host_of
from romtool.errors import InputError, refuse
from romtool.files.reading import read_bytes, shown
from romtool.files.shipped import SUFFIX, shipped_hosts
from romtool.formats.plain_text import plain_text
from romtool.formats.toml import faults_in
from romtool.limits import MAX_TOML
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import clip, did_you_mean, sizes
from romtool.toml.parse import parse_toml

LIMITS = f"{sizes(MAX_TOML)} is the limit of a host file"


def load_host(catalog: Catalog, name: str) -> Host:
    """Return the PC of a host file, or of one that comes with romtool, by its name.

    Raises InputError with the place of every fault.
    """
    hosts = shipped_hosts()
    if name not in hosts and not name.endswith(SUFFIX) and not os.path.exists(name):
        known = f"known are {', '.join(hosts)}; your own: --host FILE{SUFFIX}"
        hint = did_you_mean(name, hosts) or known
        raise refuse(f"--host: nothing called {clip(name)}", hint)
    name = str(hosts.get(name, name))
    data = read_bytes(name, MAX_TOML, LIMITS)
    try:
        text = plain_text(data, "a host file is a plain text (.toml)")
        with faults_in(text):
            return host_of(catalog, parse_toml(text), shown(name))
    except InputError as refused:
        raise refused.in_file(shown(name)) from None


def load_hosts(catalog: Catalog) -> dict[str, Host]:
    """Return the hosts that come with romtool, by their names."""
    return {name: load_host(catalog, name) for name in shipped_hosts()}
