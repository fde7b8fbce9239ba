"""The captures in samples/tour, which the README shows: `python -m tests.support.tour_captures`."""

from __future__ import annotations

import tempfile
from pathlib import Path

from tests.support.bus_capture import ThreeWire, ThreeWirePart, TwoWire, TwoWirePart
from tests.support.tool import built

TOUR = Path(__file__).resolve().parents[2] / "samples" / "tour"
CLOCK = 125_000
"""Eight samples a clock: one every microsecond."""


def power_up(image: bytes) -> str:
    """A chip reads an image from a 24C04 at reset: signature and count, then all that it counts."""
    bus = TwoWire(CLOCK, TwoWirePart(len(image), 16, memory=bytearray(image)))
    bus.lines.wait(0.0065)
    bus.random_read(0x50, 0, 4)
    bus.lines.wait(0.0005)
    bus.read(0x50, 19 + int.from_bytes(image[2:4], "big"))
    return bus.lines.vcd(8, quiet=("WP",))


def programming() -> str:
    """A programmer writes two words to a 93C66 and reads them back, without a write enable."""
    bus = ThreeWire(CLOCK, ThreeWirePart(512, 16, 8, memory=[0xFFFF] * 256))
    for address, word in enumerate((0x55BB, 0x00FA)):
        bus.command("write", address, word)
        bus.poll()
    bus.command("read", 0, words=2)
    return bus.lines.vcd(8)


def captures() -> dict[str, str]:
    """Each capture's text, by the name of its file."""
    sample = (TOUR.parent / "hollow-lane.toml").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        image = built(sample, Path(folder), "--format", "bin")
    return {"power-up.vcd": power_up(image), "programming.vcd": programming()}


if __name__ == "__main__":
    for name, text in captures().items():
        (TOUR / name).write_text(text, encoding="utf-8", newline="\n")
