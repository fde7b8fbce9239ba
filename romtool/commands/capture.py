"""`romtool capture`: what happened on an EEPROM's bus?"""

from __future__ import annotations

from pathlib import Path

import click

from romtool.capture.answer import capture_json
from romtool.capture.decode import decode
from romtool.capture.findings import findings
from romtool.capture.formats import read_recording
from romtool.capture.model import DecodedCapture, part_bytes, the_part
from romtool.commands import completing
from romtool.commands.call import DONE, Call, declare
from romtool.commands.options import FORCE, IMAGE, JSON
from romtool.commands.printing import (
    answer_beside,
    echo,
    echo_json,
    echo_lines,
    output_name,
    warn,
)
from romtool.commands.progress import Progress
from romtool.errors import InputError, InvalidValue
from romtool.files.reading import capture_lines, shown, size_of
from romtool.schema.numbers import parse_number
from romtool.text.capture import capture_lines as text_lines


def _channels(
    _context: click.Context, _option: click.Parameter, value: str | None
) -> dict[str, str] | None:
    """Return the channel of each line, of `scl=D0,sda=D1`."""
    if value is None:
        return None
    found: dict[str, str] = {}
    for one in value.split(","):
        line, _, channel = (part.strip() for part in one.partition("="))
        if not line or not channel:
            raise click.BadParameter(f"{value} is not line=channel,line=channel such as scl=D0")
        if line.lower() in found:
            raise click.BadParameter(f"{value} names {line} twice")
        found[line.lower()] = channel
    return found


def _address(_context: click.Context, _option: click.Parameter, value: str | None) -> int | None:
    """Return a 7-bit address, of 51h, 0x51 or 81."""
    if value is None:
        return None
    try:
        number = parse_number(value)
    except InvalidValue as wrong:
        raise click.BadParameter(f"{wrong.message}; write 51h") from None
    if number > 0x7F:
        message = f"{value} has more than 7 bits; it is 50h where the first byte is A0h or A1h"
        raise click.BadParameter(message)
    return number


@declare(
    "capture",
    *IMAGE,
    FORCE,
    JSON,
    example="romtool capture power-up.vcd --against hollow-lane.toml",
)
@click.argument("capture", shell_complete=completing.files)
@click.option(
    "--channels",
    callback=_channels,
    metavar="LINE=NAME,…",
    help="Which channel is which line: scl=…,sda=… or cs=…,clk=…,di=…,do=…, perhaps org=…,wp=…",
)
@click.option("--address", callback=_address, metavar="51h", help="Which of several parts.")
@click.option(
    "--against", metavar="IMAGE", shell_complete=completing.files, help="What the part should hold."
)
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Where to write the bytes that were seen, as raw binary; -: standard output.",
)
def command(
    call: Call,
    capture: str,
    channels: dict[str, str] | None,
    address: int | None,
    against: str | None,
    output: Path | None,
) -> int:
    """Tell what a logic analyser saw of an EEPROM's bus: CAPTURE is VCD, or CSV with times.

    Which bus it is, every command with its bytes and answer, and what that says of the chip and
    the image: nothing asked, no part answered, where reading stopped, what was not stored and why.
    """
    image = None
    if against is not None:
        loaded = call.load(against)
        image, call.part = loaded.image, call.part or loaded.part
    decoded = decoded_capture(call, capture, channels)
    if output is not None or address is not None:
        try:
            the_part(decoded, address)
        except InputError as refused:
            raise refused.in_file(shown(capture)) from None
    found = findings(call.catalog, decoded, image, address)
    if output is not None:
        size = len(image.data) if image is not None and call.part is None else None
        written = part_bytes(call.catalog, decoded, the_part(decoded, address), size)
        call.put(output, written.data)
        if written.unseen:
            name = output_name(output)
            warn(f"{name}: {written.unseen} bytes were not seen: they are FFh in it")
    if call.as_json:
        echo_json(capture_json(decoded, found))
        return DONE
    with answer_beside(output):
        echo_lines(text_lines(shown(capture), decoded, found))
        if output is not None:
            echo(f"wrote {output_name(output)}  {len(written.data)} bytes")
    return DONE


def decoded_capture(
    call: Call, name: str, channels: dict[str, str] | None = None
) -> DecodedCapture:
    """Return what stands in a capture; raises InputError, with the file's name."""
    part = call.catalog.part(call.part) if call.part else None
    try:
        with Progress("reading", size_of(name) or 0) as progress:
            lines = capture_lines(name, progress.step if size_of(name) else None)
            return decode(call.catalog, read_recording(lines), channels, part)
    except InputError as refused:
        raise refused.in_file(shown(name)) from None
