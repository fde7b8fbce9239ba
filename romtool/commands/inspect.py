"""`romtool inspect`: what stands in an image, for people and for scripts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import click

from romtool.commands import completing
from romtool.commands.common import (
    DONE,
    LoadedImage,
    catalog_of,
    handle_refusals,
    image_options,
    json_option,
    exit_with,
    load_image,
)
from romtool.commands.many import Answer, answer_each
from romtool.image.explain import explain
from romtool.schema.numbers import hex_text
from romtool.text.image import byte_lines, image_lines

DECODED = "decoded"


@click.command("inspect", epilog="Example: romtool inspect donor.bin --bytes")
@click.argument(
    "images", nargs=-1, required=True, metavar="IMAGE...", shell_complete=completing.files
)
@click.option("--bytes", "with_bytes", is_flag=True, help="Add every byte with its meaning.")
@image_options
@json_option
@handle_refusals
def command(
    images: tuple[str, ...],
    with_bytes: bool,
    layout: str | None,
    part: str | None,
    forced: str | None,
    schemas: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Decode images: frame, card, devices, choices, resources, checksums, findings.

    IMAGE is a raw binary, Intel HEX, S-record or a card profile; a folder stands for all of them
    in it; - is standard input.
    """
    catalog = catalog_of(schemas)

    def work(name: str, note: Callable[[str], None]) -> Answer:
        one = load_image(catalog, name, layout=layout, part=part, forced=forced, note=note)
        if as_json:
            return Answer(DECODED, data=_data(one, with_bytes))
        return Answer(DECODED, _lines(one, with_bytes))

    answer_each(images, work, as_json=as_json, doing="inspecting", apart=True)
    exit_with(DONE)


def _lines(one: LoadedImage, with_bytes: bool) -> Iterator[str]:
    yield from image_lines(one.image, one.name, one.part, one.findings())
    if with_bytes:
        yield from byte_lines(one.image)


def _data(one: LoadedImage, with_bytes: bool) -> dict[str, Any]:
    from romtool.image.answer import image_json

    answer: dict[str, Any] = {"file": one.name, **image_json(one.image, one.part)}
    answer["findings"] = [finding.as_json() for finding in one.findings()]
    if with_bytes:
        answer["bytes"] = [
            {
                "offset": row.offset,
                "raw": hex_text(row.raw),
                "owner": row.owner,
                "meanings": list(row.meanings),
            }
            for row in explain(one.image)
        ]
    return answer
