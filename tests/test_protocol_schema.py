"""The bus protocol in the schemas: what doesn't add up is refused when it loads."""

from pathlib import Path

import pytest

from romtool.errors import InputError
from romtool.files.schemas import load_catalog, schema_files, shipped_folder
from romtool.schema.loading import SchemaFile, load

CATALOG = load_catalog()


def told(old: str, new: str) -> list[str]:
    """What is said of the shipped schemas with one text in protocol.toml changed."""
    files = []
    for file in schema_files(shipped_folder(), own=False):
        text = file.text
        if Path(file.name).name == "protocol.toml":
            assert old in text
            text = text.replace(old, new, 1)
        files.append(SchemaFile(file.name, text, own=False))
    with pytest.raises(InputError) as refused:
        load(files)
    return [problem.message for problem in refused.value.problems]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("at = [0x70, 0x72]", "at = [0x70]", "1 register blocks for 2 items"),
        ("at = [0x74, 0x75]", "at = [0x74, 0x73]", "a register belongs to two blocks"),
        ('resource = "io"', 'resource = "oi"', "no resource is called oi"),
        ('name = "wake"', 'name = "csn"', "register csn is described twice"),
        ('name = "duplicate"', 'name = "after"', "remark after is described twice"),
        ('key_register = "identifier"', 'key_register = "kye"', "no checksum is called kye"),
    ],
)
def test_what_does_not_add_up_is_refused(old: str, new: str, said: str) -> None:
    assert told(old, new) == [said]


def test_the_registers_are_those_of_appendix_a() -> None:
    # Spec App. A: card control 00h-07h, activate and range check 30h and 31h.
    numbers = {name: register.number for name, register in CATALOG.protocol.registers.items()}
    assert numbers == {
        "read-port": 0x00,
        "isolation": 0x01,
        "control": 0x02,
        "wake": 0x03,
        "data": 0x04,
        "status": 0x05,
        "csn": 0x06,
        "device": 0x07,
        "activate": 0x30,
        "range-check": 0x31,
    }
    # Memory 40h-5Ch, I/O 60h-6Fh, IRQ 70h-73h, DMA 74h and 75h, 32-bit memory 76h-A8h.
    ends = [(min(d.numbers()), max(d.numbers())) for d in CATALOG.protocol.blocks]
    assert ends == [(0x40, 0x5C), (0x60, 0x6F), (0x70, 0x73), (0x74, 0x75), (0x76, 0xA8)]


def test_a_frame_that_turns_the_key_off_says_so() -> None:
    # Bit 5 of the miscellaneous byte (from memory).
    field = CATALOG.layouts["counted-19"].field_layout.by_key["pnp_key_off"]
    assert (field.disables, field.at, field.low) == ("key", 6, 5)
