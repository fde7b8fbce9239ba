"""Card profiles for tests: drawn by hypothesis, or a fixed number of them from fixed seeds.

Both ways share one generator. Its profiles are structurally right, and more: every item could take
its first value at the same time as all others of the card, so no rule about collisions, wiring or
registers has a cause to object: `check` finds no error in them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from random import Random
from typing import Any

from hypothesis import strategies as st

from .amount import randoms
from .independent import (
    NO_SERIAL,
    PARTS,
    frame_bytes,
    identifier_checksum,
    number,
    pack_id,
    pnp_bytes,
    spaced,
)

Table = dict[str, Any]

LAYOUTS = ("plain", "counted-19", "counted-7", "marked-8")
LARGEST = max(PARTS.values())
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
PRINTABLE = "".join(chr(code) for code in range(0x20, 0x7F))
BUS_LINES = [3, 4, 5, 6, 7, 9, 10, 11, 12, 14, 15]  # 0, 1, 8 and 13 never reach it, 2 is 9
BUS_CHANNELS = [0, 1, 2, 3, 5, 6, 7]  # 4 is the cascade
REGISTERS = {"io": 8, "irq": 2, "dma": 2, "memory": 4}  # a device has so many (Spec App. A)
PRIORITY_RANK = {"good": 0, "acceptable": 1, None: 1, "sub-optimal": 2}
DEFAULTS: Table = {
    "width": "8",
    "bus_master": False,
    "count": [],
    "speed": "compatible",
    "decode": 16,
    "writeable": False,
    "cacheable": False,
    "high_address": False,
    "shadowable": False,
    "rom": False,
}


def chance(rng: Random, part: float) -> bool:
    """Return True in about this part of the cases."""
    return rng.random() < part


def some(rng: Random, values: list[Any], least: int = 0) -> list[Any]:
    """Return some of the values, in their order."""
    chosen = rng.sample(range(len(values)), rng.randint(min(least, len(values)), len(values)))
    return [values[at] for at in sorted(chosen)]


def spell(rng: Random, value: int) -> int | str:
    """Return a number as a profile may write it: mostly plain, at times as `220h`."""
    return f"{value:X}h" if chance(rng, 0.15) else value


@dataclass
class Pool:
    """What is still free on the card; an item takes the last of a list as its first value."""

    rng: Random
    lines: list[int]  # all that the board connects
    channels: list[int]
    memory_kinds: list[str]
    io: list[int]
    irq: list[int]
    dma: list[int]
    memory: list[int]

    def branch(self) -> Pool:
        """Return a copy to draw one choice from: alternatives may take the same things."""
        return replace(
            self,
            io=list(self.io),
            irq=list(self.irq),
            dma=list(self.dma),
            memory=list(self.memory),
        )

    def settle(self, branches: list[Pool]) -> None:
        """Take what the greediest alternative took."""
        for name in ("io", "irq", "dma", "memory"):
            setattr(self, name, min((getattr(pool, name) for pool in branches), key=len))


def make_pool(rng: Random, config: Table, memory_kinds: list[str]) -> Pool:
    """Return the pool of an empty card with this wiring."""
    lines = [line for line in config.get("irq_wiring", BUS_LINES) if line != 0]
    channels = [channel for channel in config.get("dma_wiring", BUS_CHANNELS) if channel != 4]
    slots = [base for base in range(0x100, 0x400, 16) if base != 0x270]  # 279h is ADDRESS
    if "memory24" in memory_kinds:
        memory = [0xC0000, 0xD0000, *range(0x100000, 0xFF0000, 0x10000)]
    else:
        memory = list(range(0x01000000, 0xFE000000, 0x01000000))
    pool = Pool(rng, sorted(lines), sorted(channels), memory_kinds, slots, lines[:], [], memory)
    pool.dma = list(channels)
    for free in (pool.io, pool.irq, pool.dma, pool.memory):
        rng.shuffle(free)
    return pool


def make_id(rng: Random, taken: set[str]) -> str:
    """Return an ID that the card doesn't hold yet, with a vendor other than the reserved PNP."""
    while True:
        vendor = "QRL" if chance(rng, 0.4) else "".join(rng.choice(LETTERS) for _ in range(3))
        drawn = f"{vendor}{rng.randint(0, 0xFFFF):04X}"
        while drawn in taken:
            drawn = f"{vendor}{(int(drawn[3:], 16) + 1) % 0x10000:04X}"
        if vendor != "PNP":
            taken.add(drawn)
            return drawn


def make_text(rng: Random, longest: int, letters: str = PRINTABLE) -> str:
    """Return a text of 1 to `longest` characters."""
    return "".join(rng.choice(letters) for _ in range(rng.randint(1, longest)))


def make_io(pool: Pool) -> Table:
    """Return an I/O port item whose lowest base has 16 ports for itself, aliases included."""
    rng, slot = pool.rng, pool.io.pop()
    length = rng.choice([1, 2, 4, 8, 16])
    form = rng.choice(["one", "one", "range", "range", "fixed"])
    if form == "fixed":
        return {"io_fixed": spell(rng, slot), "length": spell(rng, length)}
    entry: Table = {"length": spell(rng, length)}
    decode = rng.choice([None, 16, 10])
    if decode is not None:
        entry["decode"] = decode
    if form == "range":
        align = rng.choice([step for step in (1, 2, 4, 8, 16, 32, 64, 128) if slot % step == 0])
        limit = 0x400 if decode == 10 else 0x10000
        steps = (limit - length - slot) // align
        if steps > 0:
            high = slot + align * rng.randint(1, min(steps, rng.choice([2, 8, steps])))
            entry |= {"io": [spell(rng, slot), spell(rng, high)], "align": spell(rng, align)}
            return entry
    base = slot + rng.randrange(0, 17 - length)
    if decode != 10 and chance(rng, 0.2):
        base += 0x400 * rng.randint(1, 0x3F)
    if chance(rng, 0.3):
        entry["align"] = rng.choice([step for step in (1, 2, 4, 8, 16) if base % step == 0])
    return entry | {"io": spell(rng, base)}


def make_irq(pool: Pool) -> Table:
    """Return an IRQ item; one that offers nothing when no line is free."""
    rng = pool.rng
    if not pool.irq or chance(rng, 0.05):
        return {"irq": []}
    others = some(rng, pool.lines) if chance(rng, 0.7) else []
    entry: Table = {"irq": sorted({pool.irq.pop(), *others})}
    if chance(rng, 0.4):
        others = some(rng, ["low-edge", "high-level", "low-level"])
        entry["trigger"] = ["high-edge", *others]  # stated, it is never missing (Spec 6.2.2.4)
    return entry


def make_dma(pool: Pool) -> Table:
    """Return a DMA item whose width suits its channels; one without any when none is free."""
    rng = pool.rng
    channels: list[int] = []
    if pool.dma and not chance(rng, 0.05):
        others = some(rng, pool.channels) if chance(rng, 0.7) else []
        channels = sorted({pool.dma.pop(), *others})
    narrow, wide = any(bit < 4 for bit in channels), any(bit > 4 for bit in channels)
    width = "8+16" if narrow and wide else "16" if wide else "8"
    entry: Table = {"dma": channels}
    if width != "8" or chance(rng, 0.3):
        entry["width"] = width
    if chance(rng, 0.3):
        entry["bus_master"] = chance(rng, 0.7)
    if chance(rng, 0.4):
        entry["count"] = some(rng, ["byte", "word"])
    if chance(rng, 0.5):
        entry["speed"] = rng.choice(["compatible", "A", "B", "F"])
    return entry


def make_memory(pool: Pool) -> Table:
    """Return a memory item whose lowest base has 64 KiB for itself."""
    rng, base = pool.rng, pool.memory.pop()
    kind = rng.choice(pool.memory_kinds)
    align = rng.choice([0x100, 0x1000, 0x4000, 0x10000])
    length = rng.choice([0x100, 0x800, 0x2000, 0x8000, 0x10000])
    limit, widths = 0x1000000, ["8", "16", "8+16"]
    if kind != "memory24":
        limit, widths = 0x100000000, ["8", "16", "8+16", "32"]
        if chance(rng, 0.5):
            align = rng.choice([1, 4, 0x20000, 0x1000000])
            length = rng.randint(1, 0x10000)
    is_upper = chance(rng, 0.3)
    if not is_upper:  # decoded by a mask: a power of two, aligned on itself (Spec A.3.1)
        length = 1 << length.bit_length() - 1
        align = max(align, length)
    entry: Table = {kind: spell(rng, base), "length": spell(rng, length)}
    if kind != "memory32_fixed":
        if base % align:
            align = 0x10000
        steps = rng.choice([0, 1, 4, (limit - length - base) // align])
        steps = min(steps, (limit - length - base) // align)
        entry[kind] = [spell(rng, base), spell(rng, base + align * rng.randint(0, steps))]
        entry["align"] = spell(rng, align)
    for flag in ("writeable", "cacheable", "shadowable", "rom"):
        if chance(rng, 0.3):
            entry[flag] = chance(rng, 0.8)
    if is_upper or chance(rng, 0.1):
        entry["high_address"] = is_upper
    if entry.get("rom"):
        entry.pop("writeable", None)
    if chance(rng, 0.6):
        entry["width"] = rng.choice(widths)
    return entry


def make_vendor(pool: Pool) -> Table:
    """Return a vendor defined item."""
    rng = pool.rng
    size = rng.choice([1, 3, 7, 8, 20])
    data = bytes(rng.randint(0, 255) for _ in range(size))
    entry: Table = {"vendor": spaced(data) if chance(rng, 0.8) else data.hex()}
    if chance(rng, 0.4):
        entry["form"] = rng.choice(["small", "large"]) if size <= 7 else "large"
    return entry


def make_unicode(pool: Pool) -> Table:
    """Return a Unicode identifier."""
    rng = pool.rng
    text = make_text(rng, 12, PRINTABLE + "\u00e4\u00f1\u00df\u03a9\u0416\u6f22")
    return {"unicode": text, "country": spell(rng, rng.randint(0, 0xFFFF))}


MAKERS = {"io": make_io, "irq": make_irq, "dma": make_dma, "memory": make_memory}


def make_kinds(rng: Random, budget: dict[str, int], most: int) -> list[str]:
    """Return kinds of items, as many as the registers allow; the budget is used up by them."""
    kinds: list[str] = []
    for _ in range(rng.randint(1, most)):
        open_kinds = [kind for kind, left in budget.items() if left > 0]
        if open_kinds:
            kind = rng.choice(open_kinds)
            budget[kind] -= 1
            kinds.append(kind)
    return kinds


def make_entries(pool: Pool, kinds: list[str]) -> list[Table]:
    """Return items of these kinds, at times with a vendor defined one among them."""
    entries = [MAKERS[kind](pool) for kind in kinds]
    if chance(pool.rng, 0.15):
        entries.insert(pool.rng.randint(0, len(entries)), make_vendor(pool))
    return entries


def make_nothing(pool: Pool, kind: str) -> Table:
    """Return an item that asks for nothing but keeps its place (as in Spec 7.3)."""
    if kind == "io":
        return {"io": 0, "length": 0}
    if kind == "memory":
        ranged = "memory24" if "memory24" in pool.memory_kinds else "memory32"
        return {ranged: [0, 0], "length": 0, "align": 0x10000}
    return {kind: []}


def make_choices(pool: Pool, budget: dict[str, int], alike: bool) -> list[Table]:
    """Return dependent functions, the best first; `alike` gives all the same kinds of items."""
    rng = pool.rng
    used: list[dict[str, int]] = []
    branches: list[Pool] = []
    choices: list[Table] = []
    first: list[str] = []
    common_budget = dict(budget)
    common = make_kinds(rng, common_budget, 6)
    for _ in range(rng.randint(1, 4)):
        left, branch = dict(budget), pool.branch()
        kinds = common if alike else make_kinds(rng, left, 6)
        used.append(common_budget if alike else left)
        resources = make_entries(branch, kinds)
        # A length of 0 keeps a place only where another choice has something (Spec 7.3).
        places = {"irq", "dma", *(first or kinds)}
        first = first or kinds
        if choices and kinds and kinds[0] in places and chance(rng, 0.2):
            resources = [make_nothing(branch, kinds[0]), *make_entries(branch, kinds[1:])]
        choice: Table = {"resources": resources}
        priority = rng.choice(["good", "acceptable", "sub-optimal", None])
        if priority is not None:
            choice["priority"] = priority
        choices.append(choice)
        branches.append(branch)
    for kind in budget:
        budget[kind] = min(left[kind] for left in used)
    pool.settle(branches)
    return sorted(choices, key=lambda choice: PRIORITY_RANK[choice.get("priority")])


def make_device(pool: Pool, taken: set[str]) -> Table:
    """Return a logical device."""
    rng, budget = pool.rng, dict(REGISTERS)
    device: Table = {"id": make_id(rng, taken)}
    if chance(rng, 0.7):
        device["name"] = make_text(rng, 24)
    if chance(rng, 0.5):
        device["compatible"] = [
            f"PNP{rng.randint(0, 0xFFFF):04X}" for _ in range(rng.randint(1, 3))
        ]
    if chance(rng, 0.3):
        device["boot"] = chance(rng, 0.8)
    if chance(rng, 0.4):
        last = rng.choice([0x37, 0x3F])
        device["registers"] = some(rng, list(range(0x31, last + 1)))
    if chance(rng, 0.2):
        device["id_length"] = 6
    with_choices = chance(rng, 0.6)
    # Items after choices of unequal length have no agreed register.
    alike = chance(rng, 0.5)
    if not with_choices or chance(rng, 0.6):
        resources = make_entries(pool, make_kinds(rng, budget, 4))
        extra = rng.choice(["", "", "", "", "name", "compatible", "unicode"])
        # Directly after the ID these would stand in their usual place.
        if extra == "name":
            resources.append({"name": make_text(rng, 12)})
        elif extra == "compatible":
            resources.append({"compatible": f"PNP{rng.randint(0, 0xFFFF):04X}"})
        elif extra == "unicode":
            resources.append(make_unicode(pool))
        device["resources"] = resources
    if with_choices:
        device["choice"] = make_choices(pool, budget, alike)
        if alike and chance(rng, 0.6):
            device["resources_after"] = make_entries(pool, make_kinds(rng, budget, 2))
    return device


def make_card(rng: Random) -> Table:
    """Return a `[card]` table whose identifier doesn't sum to 0."""
    card: Table = {"id": make_id(rng, set())}
    serial = NO_SERIAL
    if chance(rng, 0.7):
        serial = rng.choice([1, rng.randint(0, 999), rng.randint(0, NO_SERIAL - 1)])
    # Real consumers refuse a checksum of 0 (one ID and serial in 256).
    while not identifier_checksum(pack_id(card["id"]) + serial.to_bytes(4, "little")):
        card["id"] = make_id(rng, {card["id"]})
    if serial != NO_SERIAL:
        card["serial"] = spell(rng, serial)
    card["name"] = make_text(rng, 32)
    if chance(rng, 0.3):
        card["pnp_version"] = "1.0"
    if chance(rng, 0.6):
        card["vendor_version"] = spell(rng, rng.randint(0, 255))
    return card


def make_config(rng: Random, layout: str) -> Table:
    """Return a `[config]` table: wiring where the layout has it, at times left out."""
    config: Table = {}
    if layout == "plain":
        return config
    pins = 4 if layout == "marked-8" else 3
    if chance(rng, 0.8):
        wired = rng.sample(BUS_LINES, rng.randint(1, 6))
        config["irq_wiring"] = wired + [0] * (6 - len(wired))
    if chance(rng, 0.8):
        wired = rng.sample(BUS_CHANNELS, rng.randint(1, pins))
        config["dma_wiring"] = wired + [4] * (pins - len(wired))
    return config


def needed(profile: Table) -> int:
    """Return the bytes that frame, PnP data and patch take."""
    pnp = len(pnp_bytes(profile))
    patch = bytes.fromhex(profile["image"].get("patch", ""))
    return len(frame_bytes(profile, pnp)) + pnp + len(patch)


def make_place(rng: Random, profile: Table) -> None:
    """Choose size or part, fill and tail; the image fits."""
    image, size = profile["image"], needed(profile)
    if chance(rng, 0.15) and size + 16 <= LARGEST:
        at = size + rng.randint(0, 8)
        raw = bytes(rng.randint(0, 255) for _ in range(rng.randint(1, 8)))
        image["tail"] = [{"at": at, "raw": spaced(raw)}]
        size = at + len(raw)
    if chance(rng, 0.5):
        image["part"] = rng.choice([part for part, held in PARTS.items() if held >= size])
    elif chance(rng, 0.2):
        image["size"] = min(size + rng.randint(0, 64), LARGEST)
    if chance(rng, 0.3):
        image["fill"] = spell(rng, rng.choice([0xFF, 0x00, rng.randint(0, 255)]))


def generate(rng: Random, layout: str | None = None) -> Table:
    """Return one valid profile, of the layout if one is given."""
    chosen = rng.choice(LAYOUTS) if layout is None else layout
    config = make_config(rng, chosen)
    image: Table = {}
    if chosen != "plain" or chance(rng, 0.5):
        image["layout"] = chosen
    if chosen.startswith("counted") and chance(rng, 0.2):
        image["patch"] = spaced(bytes(rng.randint(0, 255) for _ in range(rng.randint(1, 24))))
    profile: Table = {"image": image}
    if config:
        profile["config"] = config
    # What is left out of [config] is the typical wiring, and binds as well.
    typical = {
        "plain": {},
        "marked-8": {"irq_wiring": [9, 5, 7, 10, 11, 12], "dma_wiring": [0, 1, 3, 5]},
    }.get(chosen, {"irq_wiring": [5, 7, 9, 11, 12, 15], "dma_wiring": [0, 1, 3]})
    kinds = rng.choice([["memory24"], ["memory32"], ["memory32", "memory32_fixed"]])
    pool = make_pool(rng, typical | config, kinds)
    profile["card"] = make_card(rng)
    if chance(rng, 0.3):
        profile["card"]["resources"] = [
            rng.choice([make_vendor, make_unicode])(pool) for _ in range(rng.randint(1, 2))
        ]
    taken = {profile["card"]["id"]}
    devices = [make_device(pool, taken) for _ in range(rng.choice([1, 1, 2, 2, 3, 4]))]
    profile["device"] = devices
    while needed(profile) > LARGEST and len(devices) > 1:
        devices.pop()
    while needed(profile) > LARGEST:
        devices[0]["choice"].pop()
    make_place(rng, profile)
    return profile


def profiles() -> st.SearchStrategy[Table]:
    """Draw valid profiles over all layouts and all kinds of resources."""
    return randoms().map(generate)


def seeded(n: int) -> list[Table]:
    """Return n profiles, the same each time, spread evenly over the layouts."""
    return [generate(Random(1000 + seed), LAYOUTS[seed % len(LAYOUTS)]) for seed in range(n)]


def minimal_entry(entry: Table) -> Table:
    """Return an entry as a decoder should give it back: numbers as ints, no defaults."""
    texts = {"vendor", "form", "name", "compatible", "unicode", "raw", "width", "speed"}
    out: Table = {}
    for key, value in entry.items():
        said = value
        if key not in texts and isinstance(value, str):
            said = number(value)
        elif key in ("io", "memory24", "memory32") and isinstance(value, list):
            said = [number(base) for base in value]
        if key not in DEFAULTS or said != DEFAULTS[key]:
            out[key] = said
    if "io" in out:
        if isinstance(out["io"], list) and out["io"][0] == out["io"][1]:
            out["io"] = out["io"][0]
        if isinstance(out["io"], int) and out.get("align") == 1:
            del out["align"]
    if "vendor" in out:
        data = bytes.fromhex(out["vendor"])
        out["vendor"] = spaced(data)
        if out.get("form") == ("small" if 1 <= len(data) <= 7 else "large"):
            del out["form"]
    return out


def minimal(profile: Table) -> Table:
    """Return what decoding the profile's image should answer."""
    devices = []
    for device in profile["device"]:
        outside = device.get("resources", []) + device.get("resources_after", [])
        choices = [
            {
                "priority": choice.get("priority"),
                "resources": [minimal_entry(entry) for entry in choice.get("resources", [])],
            }
            for choice in device.get("choice", [])
        ]
        devices.append(
            {
                "id": device["id"],
                "name": device.get("name"),
                "compatible": device.get("compatible", []),
                "resources": [minimal_entry(entry) for entry in outside],
                "choices": choices,
            }
        )
    serial = profile["card"].get("serial")
    return {
        "id": profile["card"]["id"],
        "serial": None if serial is None else number(serial),
        "devices": devices,
    }


def toml_text(text: str) -> str:
    """Return a TOML basic string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + re.sub("[\x00-\x1f\x7f]", lambda m: f"\\u{ord(m[0]):04X}", escaped) + '"'


def toml_value(value: Any) -> str:
    """Return a value in one line; tables are inline tables."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return f"0x{value:X}" if value > 15 else str(value)
    if isinstance(value, str):
        return toml_text(value)
    if isinstance(value, list):
        return "[" + ", ".join(toml_value(member) for member in value) + "]"
    if isinstance(value, dict):
        pairs = (f"{toml_key(key)} = {toml_value(member)}" for key, member in value.items())
        return "{ " + ", ".join(pairs) + " }"
    raise TypeError(f"a profile holds no {type(value).__name__}")


def toml_key(key: str) -> str:
    """Return a key, quoted where it must be."""
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else toml_text(key)


def to_toml(profile: Table) -> str:
    """Return a profile as TOML: a header a table, device and choice, one entry a line."""
    lines: list[str] = []

    def write(header: str, table: Table, nested: str = "") -> None:
        below = table.get(nested) or []
        lines.append(header)
        for key, value in table.items():
            if key == nested and below:
                continue
            if isinstance(value, list) and value and isinstance(value[0], dict):
                rows = "".join(f"    {toml_value(row)},\n" for row in value)
                lines.append(f"{toml_key(key)} = [\n{rows}]")
            else:
                lines.append(f"{toml_key(key)} = {toml_value(value)}")
        for member in below:
            write("[[device.choice]]", member)

    for name, value in profile.items():
        if name == "device" and value:
            for device in value:
                write("[[device]]", device, "choice")
        elif isinstance(value, dict):
            write(f"[{toml_key(name)}]", value)
        else:  # a bare key ends up in the table before it, so it goes on top
            lines.insert(0, f"{toml_key(name)} = {toml_value(value)}")
    return "\n".join(lines) + "\n"
