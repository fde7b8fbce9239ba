"""romtool as a library: bytes and texts in, values out; it reads no file but the schemas.

A profile to the bytes of an image, and back:

>>> from romtool import api
>>> catalog = api.load_catalog()
>>> data = api.build(catalog, '''
... [image]
... part = "24C02"
... [card]
... id = "QRL0301"
... serial = 7
... name = "Hollow Lane audio card"
... [[device]]
... id = "QRL0001"
... resources = [ { irq = [5] }, { io = 0x220, length = 16 } ]
... ''')
>>> len(data), data[:4].hex(" ")
(256, '46 4c 03 01')

What stands in an image, every byte in one place:

>>> image = api.decode(catalog, data)
>>> image.layout.name, image.card_id, image.id_checksum.ok, image.end_checksum.ok
('plain', 'QRL0301', True, True)
>>> [(item.offset, item.record.name) for item in image.items][-2:]
[(46, 'io'), (54, 'end')]
>>> api.build(catalog, api.profile_text(catalog, data)) == data
True

What is wrong with it, as data; and what differs from another one:

>>> broken = bytes([*data[:48], data[48] ^ 1, *data[49:]])
>>> [(found.rule, found.severity) for found in api.check(api.decode(catalog, broken))][-1]
('end-checksum', 'error')
>>> [byte.field for byte in api.differences(broken, image)]
['device QRL0001: I/O port, base']

What the card asks for, and what a PC can give it:

>>> requirements = api.requirements_of(image)
>>> [need.kind for need in requirements.devices[0].alternatives[0].needs]
['irq', 'io']
>>> api.assign(catalog, [requirements], api.Host(irq=[5])).conflict.names()
['QRL0001', 'host irq 5']

What the PC sees at power-up, if its BIOS leaves the card to others; and the page about it:

>>> played = api.rehearse(catalog, [("card", image)], configured_by="boot")
>>> [(seen.slot, seen.card.csn) for seen in played.seen]
[(0, 1)]
>>> api.report(catalog, data, "card.bin").count("<title>")
1
>>> print(api.report(catalog, data, "card.bin", form="markdown").splitlines()[0])
# Hollow Lane audio card

A board in several assemblies, from one profile:

>>> board = '''
... [card]
... id = "QRL0301"
... name = "Hollow Lane audio card"
... [[device]]
... id = "QRL0001"
... [[device]]
... id = "QRL0403"
... [variant.no-game-port]
... without = ["QRL0403"]
... '''
>>> [api.decode(catalog, api.build(catalog, board, name)).items[-1].offset
...  for name in (None, *api.variants(board))]
[49, 43]

What an analyser saw on the EEPROM's bus, from the lines of its capture:

>>> import io
>>> capture = api.read_capture(catalog, io.StringIO(VCD))
>>> capture.bus.name, [command.kind for command in capture.commands]
('two-wire', ['address'])

An input that can't be used raises `InputError`, with every fault in it and its place:

>>> try:
...     api.build(catalog, '[card]\\nid = "QRL03"')
... except api.InputError as refused:
...     print(refused.problems[0].path, refused.problems[0].message)
('card', 'id') card ID: "QRL03" is not three letters and four hex digits, such as QRL0301
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

from romtool.assign.assign import assign
from romtool.assign.host import EMPTY_PC, Host
from romtool.capture.model import DecodedCapture
from romtool.diff.compare import compare
from romtool.errors import InputError
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.image.model import Image
from romtool.profile.build import built
from romtool.profile.variants import variant_names
from romtool.profile.write import profile_text
from romtool.recover.recover import recover
from romtool.rehearse.rehearsal import Rehearsal
from romtool.requirements.read import requirements_of
from romtool.rules.check import check
from romtool.schema.catalog import Catalog
from romtool.toml.parse import parse_toml
from romtool.verify import differences

__all__ = [
    "Catalog",
    "Host",
    "Image",
    "InputError",
    "assign",
    "build",
    "check",
    "compare",
    "decode",
    "differences",
    "load_catalog",
    "profile_text",
    "read_capture",
    "recover",
    "rehearse",
    "report",
    "requirements_of",
    "variants",
]


def build(catalog: Catalog, profile: str, variant: str | None = None) -> bytes:
    """Return the image of a card profile (TOML text) or of a variant, exactly its part's size.

    Raises InputError with every fault of the profile. The rules are not asked: see `check`.
    """
    return built(catalog, parse_toml(profile), variant).data


def variants(profile: str) -> list[str]:
    """Return the names of a profile's variants, in order; raises InputError where it is no TOML."""
    return variant_names(parse_toml(profile))


def rehearse(
    catalog: Catalog,
    images: Sequence[tuple[str, Image]],
    host: Host = EMPTY_PC,
    configured_by: str = "all",
) -> Rehearsal:
    """Play the power-up of a PC with these images, each with its name, in its cards' EEPROMs.

    `configured_by`: `all` (PnP software configures every device), `boot` (a BIOS, only those with
    the boot flag) or `none` (plain DOS).
    """
    from romtool.rehearse.rehearsal import rehearse

    return rehearse(catalog, images, assign, host, configured_by)


def report(
    catalog: Catalog,
    data: bytes,
    name: str,
    host: Host | None = None,
    layout: str | None = None,
    *,
    form: Literal["html", "markdown"] = "html",
) -> str:
    """Return the page (HTML, or Markdown) about an image; with a PC also what the card gets there.

    `name` heads it; `layout` settles what the bytes don't tell.
    """
    from romtool.report.markdown import markdown
    from romtool.report.model import report_of
    from romtool.report.page import page
    from romtool.report.pc import InThatPC
    from romtool.report.subject import Subject

    image = decode(catalog, data, layout)
    pc = None if host is None else InThatPC(host, assign(catalog, [requirements_of(image)], host))
    found = report_of(Subject(name, "raw", image, None, check(image)), pc)
    return markdown(found) if form == "markdown" else page(found)


def read_capture(
    catalog: Catalog,
    lines: Iterable[str],
    channels: Mapping[str, str] | None = None,
    part: str | None = None,
) -> DecodedCapture:
    """Return what the lines of a capture (VCD or CSV; an open file) show of an EEPROM's bus.

    `channels` names the channel of each line of the bus (`scl`, `sda` or `cs`, `clk`, `di`, `do`),
    where that isn't plain from the names. Raises InputError where it can't be told what is what.
    """
    from romtool.capture.decode import decode
    from romtool.capture.formats import read_recording

    chosen = catalog.part(part) if part else None
    return decode(catalog, read_recording(lines), channels, chosen)
