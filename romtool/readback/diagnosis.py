"""A readback that isn't what it should be, explained: the faults that make it of that image."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from romtool.diff.changes import Change, Differences
from romtool.diff.compare import compare
from romtool.image.decode import decode, read_as
from romtool.image.model import Image
from romtool.readback.burns import Explained, burn_faults
from romtool.recover.judge import consistent
from romtool.recover.reading import Reading, State, name
from romtool.recover.undo import ways
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import sizes

TRUNCATED = "truncated"
OTHER_CARD, OLDER_IMAGE, LARGER_PART = "other-card", "older-image", "larger-part"
SWAPPED_ARGUMENTS = "swapped-arguments"


@dataclass(frozen=True)
class Fault:
    """A fault that explains a readback, in words: its name, what it is, what to check."""

    name: str
    title: str
    check: str

    def as_json(self) -> dict[str, str]:
        """Return the fault as in the JSON answers."""
        return {"name": self.name, "title": self.title, "check": self.check}


@dataclass(frozen=True)
class Diagnosis:
    """What happened to a readback: its faults, in the order in which `recover` undoes them.

    `is_undoable`: the expected image comes of it if they are undone. `serial`: that of the card
    which the readback is of, where it is another one of the series. `changes`: what differs, in
    the card's terms, where it is another version of the image.
    """

    faults: tuple[Fault, ...]
    is_undoable: bool = False
    serial: int | None = None
    changes: tuple[Change, ...] = ()

    @property
    def title(self) -> str:
        """All faults in words."""
        return " and ".join(fault.title for fault in self.faults)

    def as_json(self) -> dict[str, Any]:
        """Return it as in the JSON answers."""
        answer: dict[str, Any] = {"mishaps": [fault.as_json() for fault in self.faults]}
        return answer if self.serial is None else answer | {"is": self.serial}


def diagnose(readback: bytes, expected: Image) -> Diagnosis | None:
    """Return what makes just this readback of the expected image; None where nothing known does.

    Each byte of the readback is explained: it is as expected, or as the faults make it.
    """
    nothing = hopeless(expected.catalog, readback)
    if nothing is not None:
        return nothing
    found = _misread(readback, expected) or _burnt(readback, expected)
    if found is not None:
        return found
    other = of_other_card(readback, expected)
    return other or _other_version(readback, expected)


def hopeless(catalog: Catalog, readback: bytes) -> Diagnosis | None:
    """Return what a readback is that holds nothing but a short pattern; None for any other."""
    named = name(catalog, Reading.of(readback))
    if named is None:
        return None
    return Diagnosis((Fault(named.fault.name, named.title, named.fault.check),))


def swapped_arguments(
    readback: bytes, expected: Image, *, is_certain: bool = False
) -> Diagnosis | None:
    """Return what explains a readback with the two the wrong way round; None if nothing does.

    It does where what was given as the readback is a sound image, the other isn't, and a known
    fault makes the other of it; or if that is certain anyhow.
    """
    image = decode(expected.catalog, readback)
    is_sound = is_whole(image) and not is_whole(expected)
    found = diagnose(expected.data, image) if is_sound or is_certain else None
    if found is None and not is_certain:
        return None
    fault = fault_of(expected.catalog, Explained(SWAPPED_ARGUMENTS, {}))
    return Diagnosis((fault, *(found.faults if found else ())))


def fault_of(catalog: Catalog, found: Explained) -> Fault:
    """Return a fault in the words of the schema."""
    known = catalog.read_faults[found.name]
    title, check = (text.format_map(dict(found.words)) for text in (known.title, known.check))
    return Fault(found.name, title, check)


def _burnt(read: bytes, want: Image) -> Diagnosis | None:
    """Return the fault of the burn that explains a readback."""
    pages = _pages(want.catalog, len(want.data))
    last = [run.end for run in want.tail if run.kind != "fill"]
    used = max([want.items_end, *last])
    whole = is_whole(read_like(read, want))
    found = burn_faults(read, want.data, used, pages, is_whole=whole)
    return None if found is None else Diagnosis((fault_of(want.catalog, found),))


def _pages(catalog: Catalog, size: int) -> list[int]:
    """Return the page sizes that parts have, those of parts of this size first."""
    own = {part.page for part in catalog.parts_of(size)}
    known = {part.page for part in catalog.parts.values() if part.page}
    return sorted(known, key=lambda page: (page not in own, page))


def _misread(read: bytes, want: Image) -> Diagnosis | None:
    """Return the faults of the read, one or two, that explain a readback; or a larger part."""
    catalog = want.catalog
    for state in ways(catalog, State(Reading.of(read)), want.layout):
        names = _names(state, want.data)
        if names:
            faults = tuple(fault_of(catalog, Explained(one, {})) for one in names)
            return Diagnosis(faults, is_undoable=True)
    more = len(read) - len(want.data)
    if more > 0 and read.startswith(want.data):
        words = {"more": sizes(more), "size": sizes(len(want.data))}
        return Diagnosis((fault_of(catalog, Explained(LARGER_PART, words)),))
    return None


def of_other_card(read: bytes, want: Image) -> Diagnosis | None:
    """Return that a readback is another card of the series, right or with a fault of its own."""
    found = read_like(read, want)
    other = None if found is None else with_identifier_of(want, found)
    if found is None or other is None:
        return None
    serial = serial_of(found)
    is_right = read == other.data
    rest = None if is_right else diagnose(read, other)
    if rest is None and not is_right:
        return None
    shown = "without a serial number" if serial is None else serial
    words = {"serial": shown, "rest": ", all else right" if is_right else ""}
    fault = fault_of(want.catalog, Explained(OTHER_CARD, words))
    if rest is None:
        return Diagnosis((fault,), serial=serial)
    return replace(rest, faults=(fault, *rest.faults), serial=serial)


def _other_version(read: bytes, want: Image) -> Diagnosis | None:
    found = read_like(read, want)
    differences = None if found is None else another_version(found, want)
    if differences is None:
        return None
    fault = fault_of(want.catalog, Explained(OLDER_IMAGE, {}))
    return Diagnosis((fault,), changes=differences.changes)


def _names(state: State, expected: bytes) -> list[str]:
    """Return the faults that were undone if what came of it is as expected; else none."""
    lost = state.added.size if state.added else 0
    found, want = state.reading.part(lost), expected[lost:]
    common = min(len(found), len(want))
    stop = found.data[common:]
    if state.unaligned or not common or not _agree(found, want[:common]) or len(set(stop)) > 1:
        return []
    if lost and state.dropped:
        # A layout's bytes that were misread, not missing ones.
        return []
    names = [done.name for done in state.steps]
    if len(found) + state.dropped < len(want):
        return [*names, TRUNCATED]
    return names


def _agree(found: Reading, want: bytes) -> bool:
    """Whether all bits that are known are as wanted, over the length of `want`."""
    size = len(want)
    have, unknown = (int.from_bytes(side[:size], "big") for side in (found.data, found.unknown))
    return not (have ^ int.from_bytes(want, "big")) & ~unknown


# --- another card's image, or another version of it


LEAST_BITS = 2
"""The fewest bits that must differ in bytes that no checksum covers: one may be a bad one."""


def read_like(read: bytes, want: Image) -> Image | None:
    """Return a readback read with the layout of what should be there; None if that can't be."""
    return None if want.layout is None else read_as(want.catalog, read, want.layout)


def is_whole(found: Image | None) -> bool:
    """Whether nothing is wrong with the image in a readback, as far as it can tell."""
    return (
        found is not None
        and consistent(found)
        and all(compared.ok for compared in found.computed.values())
    )


def serial_of(image: Image) -> Any:
    """Return the serial number of an image; None where it has none."""
    return image.identifier_values[0][image.catalog.identifier.serial_field.key]


def with_identifier_of(want: Image, found: Image) -> Image | None:
    """Return the image for the other card of the series that a readback is of.

    None if it is of the same card, of a card with another ID, or its identifier is wrong.
    """
    check = found.id_checksum
    if (
        want.card_id != found.card_id
        or want.identifier_raw == found.identifier_raw
        or serial_of(want) == serial_of(found)
        or check is None
        or not check.ok
    ):
        return None
    data = want.data
    data = data[: want.identifier_at] + found.identifier_raw + data[want.items_at :]
    return Image(want.catalog, data, want.layout)


def another_version(found: Image, want: Image) -> Differences | None:
    """Return what differs if a readback is a sound image of the same card; else None.

    The end checksum proves it where the items differ; where only the configuration does, one
    bit may as well be a bad one.
    """
    if not is_whole(found) or found.card_id != want.card_id:
        return None
    start, end = want.items_at, found.end_checksum
    same_items = found.data[start : found.items_end] == want.data[start : want.items_end]
    if not same_items and (end is None or end.verdict != "right"):
        return None
    if same_items:
        pairs = zip(found.data[:start], want.data[:start], strict=True)
        if sum((a ^ b).bit_count() for a, b in pairs) < LEAST_BITS:
            return None
        if found.data[start:] != want.data[start:]:
            return None
    return compare(want, found)
