"""Configuration, from the software's side: what a device was given goes into its registers.

Spec chapter 4: choose card and device, write the descriptors, check the I/O range where the
device has that register, activate.
"""

from __future__ import annotations

from romtool.assign.answer import Given
from romtool.rehearse.access import Access
from romtool.rehearse.registers import filled
from romtool.rehearse.remarks import Said, say
from romtool.requirements.model import Alternative, DeviceRequirements
from romtool.schema.numbers import address


def choose(access: Access, csn: int, device: DeviceRequirements) -> None:
    """Make the registers from 30h on those of this device of this card."""
    access.wake(csn)
    access.write("device", device.number)
    access.note("device", number=device.number, id=device.id)


def configure(access: Access, alternative: Alternative, given: Given) -> Said | None:
    """Write a chosen device's registers, and read them back; return what is wrong with them."""
    registers = filled(access.catalog, alternative, given)
    access.write("activate", 0)
    for number, value in registers.items():
        access.write(number, value)
    access.note("registers", registers=registers)
    odd = [number for number, value in registers.items() if access.read(number) != value]
    if odd:
        words = ", ".join(address(number) for number in odd)
        return say(access.catalog, "not-kept", registers=words)
    return None


def check_ranges(access: Access, given: Given) -> Said | None:
    """Let an inactive device answer at its ports with a pattern; return where others answer too.

    READ_DATA itself can't be checked: there the card answers with its registers.
    """
    ports = [
        port
        for placed in given.io
        if placed is not None
        for port in range(placed.base, placed.base + placed.length)
        if port != access.read_port
    ]
    wrong = set()
    for bit, pattern in enumerate(access.protocol.range_patterns):
        bits = ("on", "pattern") if bit else ("on",)
        access.write("range-check", access.mask("range-check", *bits))
        wrong |= {port for port in ports if access.ports.read(port) != pattern}
    access.write("range-check", 0)
    access.note("range-check", count=len(ports), wrong=sorted(wrong))
    if wrong:
        low, high = min(wrong), max(wrong)
        words = address(low) + (f"-{address(high)}" if high != low else "")
        return say(access.catalog, "range-taken", ports=words)
    return None


def activate(access: Access, csn: int, device: DeviceRequirements) -> None:
    """Turn a device on."""
    choose(access, csn, device)
    access.write("activate", access.mask("activate", "active"))
    access.note("activate", id=device.id)
