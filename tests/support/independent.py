"""An independent witness of the card image format.

Written by hand from the published standard and from the profile contract, with nothing of the
program under test in it: where the two disagree, one of them has misread the format. It is meant
to be checked by eye, so it favours literal first bytes and plain arithmetic over cleverness.

"Spec" is the *Plug and Play ISA Specification, Version 1.0a* (5 May 1994). The frames around the
Plug and Play (PnP) data and the sizes of the parts have no published source: they are from memory.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

Table = dict[str, Any]

TRIGGERS = ("high-edge", "low-edge", "high-level", "low-level")  # Spec 6.2.2.4, bits 0 to 3
DMA_WIDTHS = ("8", "8+16", "16")  # Spec 6.2.2.5, bits 1:0
DMA_COUNTS = ("byte", "word")  # Spec 6.2.2.5, bits 3 and 4
DMA_SPEEDS = ("compatible", "A", "B", "F")  # Spec 6.2.2.5, bits 6:5
PRIORITIES = ("good", "acceptable", "sub-optimal")  # Spec 6.2.2.6
MEMORY_WIDTHS = ("8", "16", "8+16", "32")  # Spec 6.2.3.1, bits 4:3
MEMORY_FLAGS = {  # Spec 6.2.3.1, information byte
    "writeable": 0x01,
    "cacheable": 0x02,
    "high_address": 0x04,
    "shadowable": 0x20,
    "rom": 0x40,
}
NO_SERIAL = 0xFFFFFFFF  # Spec 6.1


class ImageLayout(NamedTuple):
    """What stands before the PnP data (from memory; see the module's docstring)."""

    signature: bytes
    counted: bool
    config: bytes  # typical values
    wiring_at: int  # of the three IRQ bytes in `config`; the two DMA bytes follow
    dma_pins: int


FRAMES = {
    "plain": ImageLayout(b"", False, b"", 0, 0),
    "counted-19": ImageLayout(
        bytes.fromhex("55BB"),
        True,
        bytes.fromhex("0003 80 80 0B 20040810800000 00 48 75B9FC 1003"),
        14,
        3,
    ),
    "counted-7": ImageLayout(bytes.fromhex("55BB"), True, bytes.fromhex("00 48 75B9FC 1003"), 2, 3),
    "marked-8": ImageLayout(bytes.fromhex("A5"), False, bytes.fromhex("59A7CB 1053 020C"), 0, 4),
}

# Sizes of the two-wire and three-wire parts: industry numbers.
PARTS = {
    "24C01": 128, "24C02": 256, "24C04": 512, "24C08": 1024, "24C16": 2048,
    "93C46": 128, "93C56": 256, "93C66": 512, "93C76": 1024, "93C86": 2048,
}  # fmt: skip


def number(value: int | str) -> int:
    """Return a profile's number, which may be written as the text `220h`."""
    if isinstance(value, int):
        return value
    return int(value[:-1], 16) if value[-1] in "hH" else int(value, 0)


def spaced(data: bytes) -> str:
    """Return bytes as the contract's spaced upper-case hex."""
    return data.hex(" ").upper()


def mask(bits: Iterable[int | str]) -> int:
    """Return a number with just these bits set."""
    total = 0
    for bit in bits:
        total |= 1 << number(bit)
    return total


def lfsr_step(register: int, data: int) -> int:
    """Shift the 8-bit register once, with one bit of data (Spec App. B.2)."""
    incoming = (register & 1) ^ (register >> 1 & 1) ^ data
    return register >> 1 | incoming << 7


def identifier_checksum(header: bytes) -> int:
    """Return the checksum over the identifier's first eight bytes (Spec 6.1, App. B.2)."""
    register = 0x6A
    for byte in header:
        for position in range(8):
            register = lfsr_step(register, byte >> position & 1)
    return register


def pack_id(text: str) -> bytes:
    """Pack an ID such as `QRL0301` into four bytes (Spec 6.1): three 5-bit letters, A = 1."""
    letters = [ord(letter) - ord("@") for letter in text[:3]]
    if len(text) != 7 or not all(0 <= value <= 31 for value in letters):
        raise ValueError(f"not an ID: {text!r}")
    packed = letters[0] << 10 | letters[1] << 5 | letters[2]
    return struct.pack(">H", packed) + bytes.fromhex(text[3:])


def unpack_id(data: bytes) -> str:
    """Return the text of four packed bytes (Spec 6.1)."""
    (packed,) = struct.unpack(">H", data[:2])
    letters = "".join(chr((packed >> shift & 31) + ord("@")) for shift in (10, 5, 0))
    return letters + data[2:4].hex().upper()


def small(first: int, content: bytes) -> bytes:
    """Build a small item (Spec 6.2.2); `first` is its first byte with the length at 0."""
    if len(content) > 7:
        raise ValueError("a small item holds at most 7 bytes")
    return bytes([first | len(content)]) + content


def large(first: int, content: bytes) -> bytes:
    """Build a large item (Spec 6.2.3): first byte, 16-bit length, content."""
    return struct.pack("<BH", first, len(content)) + content


def memory_info(entry: Table) -> int:
    """Return the information byte of a memory item (Spec 6.2.3.1)."""
    info = MEMORY_WIDTHS.index(entry.get("width", "8")) << 3
    for flag, bit in MEMORY_FLAGS.items():
        if entry.get(flag, False):
            info |= bit
    return info


def pages(value: int) -> int:
    """Return bytes as the 256-byte units of a 24-bit memory item (Spec 6.2.3.1)."""
    if value % 256:
        raise ValueError(f"{value:X}h is not a multiple of 100h")
    return value // 256


def entry_bytes(entry: Table) -> bytes:
    """Return the item, or for `raw` the items, of one entry of a profile's `resources`."""
    length = number(entry.get("length", 0))
    align = number(entry.get("align", 1))
    if "irq" in entry:  # Spec 6.2.2.4
        content = struct.pack("<H", mask(entry["irq"]))
        if "trigger" in entry:
            content += bytes([mask(TRIGGERS.index(name) for name in entry["trigger"])])
        return small(0x20, content)
    if "dma" in entry:  # Spec 6.2.2.5
        info = DMA_WIDTHS.index(entry.get("width", "8"))
        info |= 0x04 if entry.get("bus_master", False) else 0
        info |= mask(DMA_COUNTS.index(name) for name in entry.get("count", [])) << 3
        info |= DMA_SPEEDS.index(entry.get("speed", "compatible")) << 5
        return small(0x28, bytes([mask(entry["dma"]), info]))
    if "io" in entry:  # Spec 6.2.2.8
        bases = entry["io"] if isinstance(entry["io"], list) else [entry["io"], entry["io"]]
        decode16 = {16: 1, 10: 0}[number(entry.get("decode", 16))]
        low, high = number(bases[0]), number(bases[1])
        return small(0x40, struct.pack("<BHHBB", decode16, low, high, align, length))
    if "io_fixed" in entry:  # Spec 6.2.2.9
        return small(0x48, struct.pack("<HB", number(entry["io_fixed"]), length))
    if "memory24" in entry:  # Spec 6.2.3.1; a stored alignment of 0 means 64 KiB
        low, high = (pages(number(base)) for base in entry["memory24"])
        stored_align = 0 if align == 0x10000 else align
        content = struct.pack("<BHHHH", memory_info(entry), low, high, stored_align, pages(length))
        return large(0x81, content)
    if "memory32" in entry:  # Spec 6.2.3.5
        low, high = (number(base) for base in entry["memory32"])
        return large(0x85, struct.pack("<BIIII", memory_info(entry), low, high, align, length))
    if "memory32_fixed" in entry:  # Spec 6.2.3.6
        base = number(entry["memory32_fixed"])
        return large(0x86, struct.pack("<BII", memory_info(entry), base, length))
    if "vendor" in entry:  # Spec 6.2.2.10 (small), 6.2.3.4 (large)
        content = bytes.fromhex(entry["vendor"])
        form = entry.get("form", "small" if 1 <= len(content) <= 7 else "large")
        return small(0x70, content) if form == "small" else large(0x84, content)
    if "name" in entry:  # Spec 6.2.3.2
        return large(0x82, entry["name"].encode("ascii"))
    if "unicode" in entry:  # Spec 6.2.3.3; 16-bit characters, little-endian as all of 6.2 is
        country = struct.pack("<H", number(entry["country"]))
        return large(0x83, country + entry["unicode"].encode("utf-16-le"))
    if "compatible" in entry:  # Spec 6.2.2.3
        return small(0x18, pack_id(entry["compatible"]))
    if "raw" in entry:
        return bytes.fromhex(entry["raw"])
    raise ValueError(f"no known kind of entry: {entry}")


def device_bytes(device: Table) -> bytes:
    """Return a logical device's items in the usual order (Spec 6.2.2.2, 6.2.2.6, 6.2.2.7)."""
    support = 0x01 if device.get("boot", False) else 0
    for register in device.get("registers", []):
        support |= 1 << number(register) - 0x30  # 31h is bit 1; 38h is bit 0 of the second byte
    long = support > 0xFF or number(device.get("id_length", 5)) == 6
    flags = struct.pack("<H", support) if long else bytes([support])
    out = small(0x10, pack_id(device["id"]) + flags)
    for compatible in device.get("compatible", []):
        out += entry_bytes({"compatible": compatible})
    if "name" in device:
        out += entry_bytes({"name": device["name"]})
    for entry in device.get("resources", []):
        out += entry_bytes(entry)
    for choice in device.get("choice", []):
        priority = choice.get("priority")
        if priority is None:
            out += small(0x30, b"")
        else:
            named = priority in PRIORITIES
            out += small(0x30, bytes([PRIORITIES.index(priority) if named else number(priority)]))
        for entry in choice.get("resources", []):
            out += entry_bytes(entry)
    if device.get("choice"):
        out += small(0x38, b"")  # one end item closes them all
    for entry in device.get("resources_after", []):
        out += entry_bytes(entry)
    return out


def pnp_bytes(profile: Table) -> bytes:
    """Return the PnP data: identifier, items, end item with its checksum (Spec 6.1, 6.2)."""
    card, override = profile["card"], profile.get("override", {})
    header = pack_id(card["id"]) + struct.pack("<I", number(card.get("serial", NO_SERIAL)))
    checksum = number(override.get("id_checksum", identifier_checksum(header)))
    major, minor = card.get("pnp_version", "1.0").split(".")
    version = [int(major) << 4 | int(minor), number(card.get("vendor_version", 0))]
    items = small(0x08, bytes(version))  # Spec 6.2.2.1
    if "name" in card:
        items += entry_bytes({"name": card["name"]})
    for entry in card.get("resources", []):
        items += entry_bytes(entry)
    for device in profile.get("device", []):
        items += device_bytes(device)
    items += b"\x79"  # Spec 6.2.2.11: with its checksum, all after the identifier sums to 0
    end = number(override.get("end_checksum", -sum(items) % 256))
    return header + bytes([checksum]) + items + bytes([end])


def nibbles(pins: Sequence[int | str], expected: int) -> bytes:
    """Pack one bus line a pin, low nibble first; a nibble without a pin is 0 (from memory)."""
    lines = [number(pin) for pin in pins]
    if len(lines) != expected or not all(0 <= line <= 15 for line in lines):
        raise ValueError(f"{expected} pins expected: {pins}")
    lines += [0] * (len(lines) % 2)
    return bytes(lines[at] | lines[at + 1] << 4 for at in range(0, len(lines), 2))


def frame_bytes(profile: Table, pnp_length: int) -> bytes:
    """Return what stands before the PnP data (from memory)."""
    frame = FRAMES[profile.get("image", {}).get("layout", "plain")]
    override, wanted = profile.get("override", {}), profile.get("config", {})
    out = bytes.fromhex(override["signature"]) if "signature" in override else frame.signature
    if frame.counted:  # big-endian, unlike the items; the identifier counts too
        out += struct.pack(">H", number(override.get("count", pnp_length)))
    config, at = bytearray(frame.config), frame.wiring_at
    if "irq_wiring" in wanted:
        config[at : at + 3] = nibbles(wanted["irq_wiring"], 6)
    if "dma_wiring" in wanted:
        config[at + 3 : at + 5] = nibbles(wanted["dma_wiring"], frame.dma_pins)
    return out + bytes(config)


def encode(profile: Table) -> bytes:
    """Return the exact image of a profile: frame, PnP data, patch, fill and tail."""
    image = profile.get("image", {})
    if "raw" in image:
        return bytes.fromhex(image["raw"])
    pnp = pnp_bytes(profile)
    body = frame_bytes(profile, len(pnp)) + pnp + bytes.fromhex(image.get("patch", ""))
    tail = [(number(run["at"]), bytes.fromhex(run["raw"])) for run in image.get("tail", [])]
    needed = max([len(body)] + [at + len(raw) for at, raw in tail])
    if "part" in image:
        size = PARTS[image["part"]]
    elif "size" in image:
        size = number(image["size"])
    else:
        size = min((held for held in PARTS.values() if held >= needed), default=0)
    if needed > size:
        raise ValueError(f"{needed} bytes needed, {size} there")
    out = bytearray([number(image.get("fill", 0xFF))]) * size
    out[: len(body)] = body
    for at, raw in tail:
        if at < len(body):
            raise ValueError(f"tail at {at:X}h lies in the data")
        out[at : at + len(raw)] = raw
    return bytes(out)


def set_bits(value: int) -> list[int]:
    """Return the positions of the set bits, lowest first."""
    return [bit for bit in range(value.bit_length()) if value >> bit & 1]


def read_memory_info(info: int) -> Table:
    """Return the keys of a memory information byte that aren't at their default."""
    entry: Table = {flag: True for flag, bit in MEMORY_FLAGS.items() if info & bit}
    if info >> 3 & 3:
        entry["width"] = MEMORY_WIDTHS[info >> 3 & 3]
    return entry


def read_item(item: bytes) -> Table:
    """Return the entry that seems to say an item; ValueError or the like if none does."""
    first, content = item[0], item[3:] if item[0] & 0x80 else item[1:]
    if first in (0x22, 0x23):
        entry: Table = {"irq": set_bits(content[0] | content[1] << 8)}
        if first == 0x23:
            entry["trigger"] = [TRIGGERS[bit] for bit in set_bits(content[2])]
        return entry
    if first == 0x2A:
        channels, info = content
        entry = {"dma": set_bits(channels)}
        if info & 3:
            entry["width"] = DMA_WIDTHS[info & 3]
        if info & 4:
            entry["bus_master"] = True
        if info >> 3 & 3:
            entry["count"] = [DMA_COUNTS[bit] for bit in set_bits(info >> 3 & 3)]
        if info >> 5 & 3:
            entry["speed"] = DMA_SPEEDS[info >> 5 & 3]
        return entry
    if first == 0x47:
        info, low, high, align, length = struct.unpack("<BHHBB", content)
        entry = {"io": low if low == high else [low, high], "length": length}
        if low != high or align != 1:
            entry["align"] = align
        if not info & 1:
            entry["decode"] = 10
        return entry
    if first == 0x4B:
        base, length = struct.unpack("<HB", content)
        return {"io_fixed": base, "length": length}
    if first == 0x81:
        info, low, high, align, length = struct.unpack("<BHHHH", content)
        entry = {"memory24": [low * 256, high * 256], "length": length * 256}
        return entry | {"align": align or 0x10000} | read_memory_info(info)
    if first == 0x85:
        info, low, high, align, length = struct.unpack("<BIIII", content)
        entry = {"memory32": [low, high], "length": length, "align": align}
        return entry | read_memory_info(info)
    if first == 0x86:
        info, base, length = struct.unpack("<BII", content)
        return {"memory32_fixed": base, "length": length} | read_memory_info(info)
    if 0x71 <= first <= 0x77:
        return {"vendor": spaced(content)}
    if first == 0x84:
        entry = {"vendor": spaced(content)}
        return entry | ({"form": "large"} if 1 <= len(content) <= 7 else {})
    if first == 0x82 and all(0x20 <= byte <= 0x7E for byte in content):
        return {"name": content.decode("ascii")}
    if first == 0x83:
        (country,) = struct.unpack("<H", content[:2])
        return {"unicode": content[2:].decode("utf-16-le"), "country": country}
    if first == 0x1C:
        return {"compatible": unpack_id(content)}
    raise ValueError(f"no entry says {item.hex()}")


def read_entry(item: bytes) -> Table:
    """Return the entry that builds just this item; `raw` where no other does."""
    try:
        entry = read_item(item)
        if entry_bytes(entry) == item:
            return entry
    except (ValueError, LookupError, struct.error):
        pass
    return {"raw": spaced(item)}


def item_at(image: bytes, at: int) -> bytes:
    """Return the whole item that starts at an offset (Spec 6.2.2, 6.2.3)."""
    if image[at] & 0x80:
        length = 3 + int.from_bytes(image[at + 1 : at + 3], "little")
    else:
        length = 1 + (image[at] & 7)
    if at + length > len(image):
        raise ValueError(f"the item at {at:X}h is cut short")
    return image[at : at + length]


def decode(image: bytes, layout: str) -> Table:
    """Return identifier and devices of an image in the JSON shapes of the contract.

    The contract's devices have one list for what stands outside the choices: entries after them
    follow those before them in `resources`.
    """
    frame = FRAMES[layout]
    at = len(frame.signature) + (2 if frame.counted else 0) + len(frame.config)
    (serial,) = struct.unpack("<I", image[at + 4 : at + 8])
    devices: list[Table] = []
    answer: Table = {
        "id": unpack_id(image[at : at + 4]),
        "serial": None if serial == NO_SERIAL else serial,
        "devices": devices,
    }
    at += 9
    target: list[Table] = []  # before the first device: the card's own items, not asked for
    usual = False  # may a compatible ID or name still stand in its usual place?
    while (item := item_at(image, at))[0] != 0x79:
        at += len(item)
        if item[0] in (0x15, 0x16):
            device: Table = {"id": unpack_id(item[1:5]), "name": None, "compatible": []}
            device |= {"resources": [], "choices": []}
            devices.append(device)
            target, usual = device["resources"], True
        elif item[0] in (0x30, 0x31):
            stored = item[1] if len(item) == 2 else None
            priority = PRIORITIES[stored] if stored is not None and stored < 3 else stored
            target, usual = [], False
            devices[-1]["choices"].append({"priority": priority, "resources": target})
        elif item[0] == 0x38:
            target = devices[-1]["resources"]
        else:
            entry = read_entry(item)
            if usual and "compatible" in entry:
                devices[-1]["compatible"].append(entry["compatible"])
                continue
            if usual and "name" in entry:
                devices[-1]["name"] = entry["name"]
            else:
                target.append(entry)
            usual = False
    return answer


def all_compatible(device: Table) -> Table:
    """A device as decoded, with all its compatible IDs: each counts, wherever it stands.

    Software of the field takes an item by its name (the PnP code of an operating system kernel,
    read and run).
    """
    lists = [device["resources"], *(choice["resources"] for choice in device["choices"])]
    late = [one["compatible"] for entries in lists for one in entries if "compatible" in one]
    return {**device, "compatible": device["compatible"] + late}
