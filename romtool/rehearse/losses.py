"""Why the software never saw a card: told by whoever knows what stands in each slot."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from romtool.image.model import Image
from romtool.rehearse.card import Card
from romtool.rehearse.chip import Loaded
from romtool.rehearse.isolation import Heard, Isolated, checksum_of
from romtool.rehearse.remarks import Said, say
from romtool.rehearse.resources import identity
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Check


@dataclass(frozen=True)
class Slot:
    """A card in its slot: the name of its image, what its chip loaded, the card on the bus.

    `card` is None where the chip loaded nothing.
    """

    name: str
    image: Image
    loaded: Loaded
    card: Card | None

    @property
    def id(self) -> str | None:
        """The card's ID; None where none can be spelt."""
        return self.image.card_id if self.image.layout else None


@dataclass(frozen=True)
class Lost:
    """A card that the software never saw: its slot, and why."""

    slot: int
    id: str | None
    why: tuple[Said, ...]


def losses(catalog: Catalog, slots: Sequence[Slot], isolated: Isolated) -> Iterator[Lost]:
    """Yield every card that got no number of its own, with the reason."""
    for place, slot in enumerate(slots):
        why = tuple(_why(catalog, slots, place, isolated))
        if why:
            yield Lost(place, slot.id, why)


def _why(catalog: Catalog, slots: Sequence[Slot], place: int, isolated: Isolated) -> Iterator[Said]:
    slot = slots[place]
    for said in (slot.loaded.ignored, slot.loaded.deaf):
        if said is not None:
            yield said
            return
    if slot.card is None:
        return
    if slot.card.csn:
        yield from _twin(catalog, slots, place, slot.card.csn)
    elif isolated.read_port is None:
        yield say(catalog, "no-read-port")
    else:
        yield from _unnumbered(catalog, slots, slot.card, isolated.last)


def _twin(catalog: Catalog, slots: Sequence[Slot], place: int, csn: int) -> Iterator[Said]:
    for other in slots[:place]:
        if other.card is not None and other.card.csn == csn:
            _, serial = identity(catalog, other.card.identifier)
            name = "twin-reason-none" if serial is None else "twin-reason-same"
            reason = say(catalog, name, serial=serial).text
            yield say(catalog, "twin", name=other.name, reason=reason, csn=csn)
            return


def _unnumbered(
    catalog: Catalog, slots: Sequence[Slot], card: Card, last: Heard | None
) -> Iterator[Said]:
    """Yield why a card that heeds the key got no number."""
    field, sent = catalog.identifier.check_field, card.identifier
    computed = checksum_of(catalog, sent)
    if sent[field.at] != computed:
        yield say(catalog, "identifier-wrong", stored=sent[field.at], computed=computed)
        assert isinstance(field.kind, Check)
        if sent[field.at] == field.kind.left_out:
            yield say(catalog, "identifier-left-out", stored=sent[field.at])
    elif computed == catalog.consumer.refused_checksum:
        yield say(catalog, "identifier-refused", computed=computed)
    elif last is None:
        yield say(catalog, "no-number", most=catalog.protocol.software.last_csn)
    else:
        for slot in slots:
            if slot.card is not None and slot.card.heeds_key and slot.card.identifier == last.raw:
                yield say(catalog, "after", id=slot.id, name=slot.name)
                return
