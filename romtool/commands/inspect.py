"""`romtool inspect`: what stands in an image, for people and for scripts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from romtool.commands.common import (
    DONE,
    Taken,
    catalog_of,
    echo,
    echo_answers,
    echo_lines,
    guarded,
    image_options,
    json_option,
    leave,
    take_images,
)
from romtool.image.explain import explain
from romtool.schema.numbers import hex_text
from romtool.text.image import byte_lines, image_lines


@click.command("inspect", epilog="Example: romtool inspect donor.bin --bytes")
@click.argument("images", nargs=-1, required=True, metavar="IMAGE...")
@click.option("--bytes", "with_bytes", is_flag=True, help="Add every byte with its meaning.")
@image_options
@json_option
@guarded
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
    taken = take_images(catalog, images, layout=layout, part=part, forced=forced)
    if as_json:
        echo_answers([_answer(one, with_bytes) for one in taken], images)
        leave(DONE)
    for index, one in enumerate(taken):
        if index:
            echo()
        echo_lines(image_lines(one.image, one.name, one.part, one.findings()))
        if with_bytes:
            echo_lines(byte_lines(one.image))
    leave(DONE)


def _answer(one: Taken, with_bytes: bool) -> dict[str, Any]:
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
