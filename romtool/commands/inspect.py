"""`romtool inspect`: what stands in an image, for people and for scripts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import click

from romtool.commands.call import DONE, Call, declare
from romtool.commands.loading import LoadedImage
from romtool.commands.many import Answer, answer_each
from romtool.commands.options import IMAGE, JSON, images_argument
from romtool.schema.numbers import hex_text

DECODED = "decoded"


@declare("inspect", *IMAGE, JSON, example="romtool inspect donor.bin --bytes")
@images_argument
@click.option("--bytes", "with_bytes", is_flag=True, help="Add every byte with its meaning.")
def command(call: Call, images: tuple[str, ...], with_bytes: bool) -> int:
    """Decode images: frame, card, devices, choices, resources, checksums, findings.

    IMAGE is raw binary, Intel HEX, S-record, a listing (`xxd`, `hexdump -C`, `od -A x -t x1`, a C
    array, bare hex) or a card profile, told by its content; a folder stands for all of them in it;
    - is standard input.
    """

    def work(name: str, note: Callable[[str], None]) -> Answer:
        one = call.load(name, note)
        if call.as_json:
            return Answer(DECODED, data=_data(one, with_bytes))
        return Answer(DECODED, _lines(one, with_bytes))

    answer_each(call, images, work, doing="inspecting", apart=True)
    return DONE


def _lines(one: LoadedImage, with_bytes: bool) -> Iterator[str]:
    from romtool.text.image import byte_lines, image_lines

    yield from image_lines(one.image, one.name, one.part, one.findings())
    if with_bytes:
        yield from byte_lines(one.image)


def _data(one: LoadedImage, with_bytes: bool) -> dict[str, Any]:
    from romtool.image.answer import image_json

    answer: dict[str, Any] = {"file": one.name, **image_json(one.image, one.part)}
    answer["findings"] = [finding.as_json() for finding in one.findings()]
    if with_bytes:
        from romtool.image.explain import explain

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
