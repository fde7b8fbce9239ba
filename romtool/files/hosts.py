"""Host files: what a PC has taken before the cards come."""

from __future__ import annotations

from romtool.assign.host import Host
from romtool.assign.read_host import host_of
from romtool.errors import InputError
from romtool.files.reading import read_bytes, shown
from romtool.formats.plain_text import plain_text
from romtool.formats.toml import faults_in
from romtool.limits import MAX_TOML
from romtool.schema.catalog import Catalog
from romtool.toml.parse import parse_toml

LIMITS = "1 MiB is the limit of a host file"


def load_host(catalog: Catalog, name: str) -> Host:
    """Return the PC that a file describes; raises InputError with the place of every fault."""
    data = read_bytes(name, MAX_TOML, LIMITS)
    try:
        text = plain_text(data, "a host file is a plain text (.toml)")
        with faults_in(text):
            return host_of(catalog, parse_toml(text), shown(name))
    except InputError as refused:
        raise refused.in_file(shown(name)) from None
