"""The tables of a host file to what a PC has taken."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from romtool.assign.host import Host
from romtool.errors import InputError
from romtool.requirements.collide import Placed
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import whole_number
from romtool.schema.tables import check_table

MEMORY_BITS = 32


def host_of(catalog: Catalog, data: Mapping[str, Any], name: str) -> Host:
    """Return the PC that a host file describes; raises InputError with every fault.

    `name` is what it is called where the file doesn't say.
    """
    problems = list(check_table(data, catalog.tables["host"], catalog.tables))
    if problems:
        raise InputError(problems)
    usual = catalog.tables["host-ports"].keys["decode"].default
    return Host(
        name=data.get("name", name),
        irq=frozenset(map(whole_number, data.get("irq", ()))),
        dma=frozenset(map(whole_number, data.get("dma", ()))),
        io=tuple(_ranges(data.get("io", ()), usual)),
        memory=tuple(_ranges(data.get("memory", ()), MEMORY_BITS)),
    )


def _ranges(rows: Iterable[Mapping[str, Any]], bits: int) -> Iterable[Placed]:
    for row in rows:
        base, length = whole_number(row["base"]), whole_number(row["length"])
        yield Placed(base, length, whole_number(row.get("decode", bits)))
