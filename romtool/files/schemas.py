"""The schema files on disk: those that come with romtool, and a user's own."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from romtool.errors import Refused, refuse
from romtool.schema.catalog import Catalog, SchemaFile, load


def shipped_folder() -> Path:
    """Return the folder of the schemas that come with romtool."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "schemas"
    return inside if inside.is_dir() else package.parent / "schemas"


def schema_files(folder: Path, *, own: bool) -> list[SchemaFile]:
    """Return every .toml file below `folder`, by name; `own`: the user's, shown with its path."""
    if not folder.is_dir():
        raise refuse(
            f"{folder}: no folder with schemas there", "give the folder that holds the .toml files"
        ).in_file("romtool")
    files = []
    for path in sorted(folder.rglob("*.toml")):
        try:
            text = path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise refuse(f"can't be read: {error}", "").in_file(str(path)) from None
        files.append(SchemaFile(str(path), text, own))
    return files


def load_catalog(folders: Sequence[Path] = ()) -> tuple[Catalog, dict[str, str]]:
    """Return the catalogue and the text of each file, for the places of faults.

    Raises Refused, which carries those texts in `texts`.
    """
    files = schema_files(shipped_folder(), own=False)
    for folder in folders:
        files += schema_files(folder, own=True)
    return load(files), {file.name: file.text for file in files}


def load_files(files: Sequence[SchemaFile]) -> Catalog:
    """Return the catalogue of romtool's schemas and these."""
    return load([*schema_files(shipped_folder(), own=False), *files])


__all__ = ["Refused", "load_catalog", "load_files", "schema_files", "shipped_folder"]
