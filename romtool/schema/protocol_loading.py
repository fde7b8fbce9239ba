"""The bus protocol's tables to the protocol: checked against what a device can ask for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from romtool.errors import Problem, InputError
from romtool.schema.bus import Resource
from romtool.schema.checksums import Checksum
from romtool.schema.gathering import Tables
from romtool.schema.protocol import (
    RegisterBlock,
    Protocol,
    Register,
    Remark,
    register_block_of,
    protocol_of,
    register_of,
)


class ProtocolTables(Tables):
    """What of a loader is for the bus protocol."""

    def _descriptors(self, resources: Mapping[str, Resource]) -> Iterator[RegisterBlock]:
        """Yield the descriptors: one for each item in effect at once, no register in two."""
        used: set[int] = set()
        for _file, path, raw, source in self._all("descriptor"):
            descriptor = register_block_of(raw, source)
            resource = resources.get(descriptor.resource)
            if resource is None:
                self._fault(f"no resource is called {descriptor.resource}", (*path, "resource"))
            elif len(descriptor.at) != resource.max_per_device:
                message = f"{len(descriptor.at)} descriptors for {resource.max_per_device} items"
                self._fault(message, (*path, "at"), "a device has one for each item in effect")
            numbers = list(descriptor.numbers())
            if len(set(numbers) - used) < len(numbers):
                self._fault("a register belongs to two descriptors", path)
            used.update(numbers)
            yield descriptor

    def _protocol(
        self, resources: Mapping[str, Resource], checksums: Mapping[str, Checksum]
    ) -> Protocol:
        registers: dict[str, Register] = {}
        for _file, path, raw, source in self._all("register"):
            self._new(registers, raw["name"], path)
            registers[raw["name"]] = register_of(raw, source)
        descriptors = tuple(self._descriptors(resources))
        remarks: dict[str, Remark] = {}
        for _file, path, raw, _ in self._all("remark"):
            self._new(remarks, raw["name"], path)
            remarks[raw["name"]] = Remark(**raw)
        for file, path, raw, source in self._all("protocol"):
            key = checksums.get(raw["key_register"])
            if key is None:
                hint = "the key's register is that of a checksum"
                message = f"no checksum is called {raw['key_register']}"
                raise InputError([Problem(message, hint, (*path, "key_register"), file=file.name)])
            return protocol_of(raw, source, key, registers, descriptors, remarks)
        raise InputError([Problem("no schema describes the bus protocol")])
