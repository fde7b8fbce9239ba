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

An input that can't be used raises `InputError`, with every fault in it and its place:

>>> try:
...     api.build(catalog, '[card]\\nid = "QRL03"')
... except api.InputError as refused:
...     print(refused.problems[0].path, refused.problems[0].message)
('card', 'id') card ID: "QRL03" is not three letters and four hex digits, such as QRL0301
"""

from romtool.assign.assign import assign
from romtool.assign.host import Host
from romtool.diff.compare import compare
from romtool.errors import InputError
from romtool.files.schemas import load_catalog
from romtool.image.decode import decode
from romtool.image.model import Image
from romtool.profile.assemble import assemble
from romtool.profile.read import read_profile
from romtool.profile.write import profile_text
from romtool.recover.recover import recover
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
    "recover",
    "requirements_of",
]


def build(catalog: Catalog, profile: str) -> bytes:
    """Return the image of a card profile (TOML text), exactly its part's size.

    Raises InputError with every fault of the profile. The rules are not asked: see `check`.
    """
    return assemble(read_profile(catalog, parse_toml(profile))).data
