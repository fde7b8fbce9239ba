"""Puts the packed catalogue of the schemas into a wheel, beside the schema files themselves."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class PackedSchemas(BuildHookInterface):  # type: ignore[type-arg]
    """Packs `schemas/` with romtool's own code, which needs no other package for that."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        if version == "editable":
            return
        sys.path.insert(0, self.root)
        from romtool.files.packed import NAME, pack
        from romtool.files.schemas import read_catalog, shipped_folder

        self.folder = tempfile.TemporaryDirectory()
        packed = Path(self.folder.name, NAME)
        packed.write_bytes(pack(read_catalog(), shipped_folder()))
        build_data["force_include"][str(packed)] = f"romtool/schemas/{NAME}"

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        if version != "editable":
            self.folder.cleanup()
