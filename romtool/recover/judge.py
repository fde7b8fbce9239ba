"""What speaks for an image that was recovered, and how sure it is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from romtool.image.evidence import evidence as bits_of
from romtool.image.evidence import shows_itself
from romtool.image.model import Compared, Image
from romtool.recover.reading import Reading
from romtool.recover.undo import repeats
from romtool.schema.field_types import Constant, Count, number
from romtool.schema.image_layouts import ImageLayout
from romtool.schema.numbers import address, sizes

PROVEN, LIKELY, GUESS, NONE = "proven", "likely", "guess", "none"
LEAST_BITS = 14
"""Bits of evidence below which a guess isn't worth showing."""
FEW_ITEMS = 3


@dataclass(frozen=True)
class Evidence:
    """What was looked at: each `right`, `wrong` or as its word says; None where there is none."""

    layout: str | None
    signature: str | None
    count: str | None
    id_checksum: str | None
    end_checksum: str | None
    items: int
    representable: int
    end_item: bool
    after: str
    bits: int

    def as_json(self) -> dict[str, object]:
        """Return it as a JSON object, with the word `none` where there is nothing of the kind."""
        words = ("signature", "count", "id_checksum", "end_checksum")
        return vars(self) | {name: getattr(self, name) or "none" for name in words}


@dataclass(frozen=True)
class Judgement:
    """Evidence, and what it comes to: faults (wrong), doubts (not proven), the confidence."""

    evidence: Evidence
    problems: tuple[str, ...]
    doubts: tuple[str, ...]
    confidence: str


def evidence_of(image: Image, added: ImageLayout | None = None) -> Evidence:
    """Return the evidence for an image; `added`: the frame that no read held."""
    kinds = {run.kind for run in image.tail}
    after = "data" if "data" in kinds else "patch" if "patch" in kinds else "fill"
    return Evidence(
        layout=image.layout_name,
        signature=_frame_word(image, Constant, added),
        count=_frame_word(image, Count, added),
        id_checksum=image.id_checksum and image.id_checksum.verdict,
        end_checksum=image.end_checksum and image.end_checksum.verdict,
        items=len(image.items),
        representable=sum(item.representable for item in image.items),
        end_item=image.end_item is not None,
        after=after if image.tail else "nothing",
        bits=bits_of(image),
    )


def _frame_word(
    image: Image, kind: type[Constant | Count], added: ImageLayout | None
) -> str | None:
    fields = image.layout.field_layout.of_type(kind) if image.layout else ()
    found = [image.computed[field.key] for field in fields]
    if not found:
        return None
    if added is not None:
        return "added"
    if not all(compared.ok for compared in found):
        return "wrong"
    return next((compared.way for compared in found if compared.way), "right")


def repeats_smaller(reading: Reading) -> bool:
    """Whether a smaller power-of-two period repeats through the whole of it."""
    size = len(reading)
    powers = (1 << power for power in range(size.bit_length()) if 1 << power < size)
    return any(repeats(reading, power) for power in powers)


def consistent(image: Image) -> bool:
    """Whether nothing in an image asks for recovery.

    Identifier, item walk and end checksum are right, the rest is fill or patch, and no smaller
    power-of-two period repeats. A stored end checksum that says "not checked" is right, and so
    is an identifier checksum that isn't stored where all else is right: some chips compute it.
    """
    found = evidence_of(image)
    return (
        found.id_checksum in ("right", "not stored")
        and found.end_item
        and found.end_checksum in ("right", "not checked")
        and found.after != "data"
        and not repeats_smaller(Reading.of(image.data))
    )


def judge(
    image: Image,
    *,
    undone: int,
    added: ImageLayout | None = None,
    doubts: tuple[str, ...] = (),
    problems: tuple[str, ...] = (),
) -> Judgement:
    """Return the judgement of an image that `undone` steps led to.

    - proven: signature, count, identifier checksum and end checksum are right, the walk comes to
      the end item, and what follows is fill or patch: every bit was read, or is proven by a
      checksum or by its definition, or is fill.
    - likely: nothing is wrong, but something of that is taken on trust (a `doubt`): a checksum
      not stored or not checked, other data after, typical configuration, a size assumed.
    - guess: something is wrong or open (a `fault`), yet more than chance speaks for it.
    - none: chance would do as well.
    """
    found = evidence_of(image, added)
    wrong = [*problems, *_faults(image, found, undone)]
    unsure = [*doubts, *_doubts(image, found, undone, added)]
    if found.bits < LEAST_BITS:
        confidence = NONE
    elif wrong:
        confidence = GUESS
    else:
        confidence = LIKELY if unsure else PROVEN
    return Judgement(found, tuple(wrong), tuple(unsure), confidence)


def _faults(image: Image, found: Evidence, undone: int) -> Iterator[str]:
    """Yield what is wrong with an image."""
    say = image.catalog.judgement
    if image.lead is not None and found.end_checksum != "right":
        yield say("lead-unproven")
    if not found.end_item:
        yield say("no-end-item", at=address(image.items_end))
    if found.end_checksum == "wrong" and image.end_checksum:
        yield say("end-checksum", **_sums(image.end_checksum))
    if found.end_item and found.end_checksum is None:
        yield say("no-end-checksum")
    if found.id_checksum == "wrong" and image.id_checksum:
        yield say("id-checksum", **_sums(image.id_checksum))
    if found.id_checksum == "not stored" and (
        found.end_checksum != "right" or found.signature == "wrong" or found.count == "wrong"
    ):
        yield say("id-checksum-alone")
    if image.layout is not None and not shows_itself(image):
        yield say("layout-unseen", layout=image.layout.name)
    elif undone:
        for name in ("signature", "count"):
            if getattr(found, name) == "wrong":
                yield say("field-wrong", field=name)
    if image.layout is not None:
        for field in image.layout.checks:
            if not image.computed[field.key].ok:
                yield say("field-wrong", field=field.title)
    if not _told(image, found, undone):
        yield say("chance")


def _sums(found: Compared) -> dict[str, str]:
    """Return a checksum as it is stored and as it should be, in words."""
    stored, computed = number(found.stored), number(found.computed)
    return {"stored": address(stored), "computed": address(computed)}


def _told(image: Image, found: Evidence, undone: int) -> bool:
    """Whether the items say more than two checksums, which chance gives once in 65536."""
    if found.signature == "right" or found.count == "right":
        return True
    if image.items and image.items[0].has_role("version"):
        return True
    if not undone:
        return found.end_checksum == "right"
    return found.end_checksum == "right" and FEW_ITEMS <= found.representable == found.items


def _doubts(image: Image, found: Evidence, undone: int, added: ImageLayout | None) -> Iterator[str]:
    """Yield what is taken on trust in an image."""
    say = image.catalog.judgement
    if image.lead is not None:
        yield say("lead-kept", count=sizes(len(image.lead)))
    if added is not None and added.config_fields:
        yield say("typical-settings", layout=added.name)
    if found.id_checksum == "not stored":
        yield say("id-not-stored")
    if found.end_checksum == "not checked":
        yield say("end-not-checked")
    if found.after == "data":
        yield say("data-follows")
    if not undone:
        for name in ("signature", "count"):
            if getattr(found, name) == "wrong":
                yield say("chip-may-ignore", field=name)
