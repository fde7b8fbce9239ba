"""A series: which of its cards a readback is of, by the serial number that it carries."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from romtool.image.model import Image
from romtool.readback.diagnosis import Diagnosis, diagnose, of_other_card, read_like, serial_of
from romtool.recover.reading import Reading, State
from romtool.recover.undo import ways
from romtool.schema.catalog import Catalog

MOST_TRIED = 8
"""The most cards that are tried where a readback's serial number can't be right."""


class Series:
    """The images of a series, by serial number; each is made when it is asked for."""

    def __init__(self, cards: Mapping[int, Callable[[], Image]]) -> None:
        self._cards = cards
        self._made: dict[int, Image] = {}

    @property
    def catalog(self) -> Catalog:
        """The catalogue of its images."""
        return self.image(self.serials[0]).catalog

    @property
    def serials(self) -> list[int]:
        """The serial numbers of the series."""
        return list(self._cards)

    def image(self, serial: int) -> Image:
        """Return the image of a card."""
        if serial not in self._made:
            self._made[serial] = self._cards[serial]()
        return self._made[serial]

    def card_of(self, read: bytes) -> int | None:
        """Return the serial number of the card that a readback is of; None if none explains it.

        The one that it carries, also with a fault of the read undone; where its checksum is
        wrong, one near it that explains the readback.
        """
        first = self.image(self.serials[0])
        found = read_like(read, first)
        if found is not None and self._carries(found):
            return int(serial_of(found))
        for state in ways(first.catalog, State(Reading.of(read)), first.layout):
            image = None if state.unaligned else read_like(state.reading.data, first)
            if image is not None and self._carries(image):
                return int(serial_of(image))
        check = None if found is None else found.id_checksum
        if found is None or (check is not None and check.ok):
            return None
        return next(self._explaining(read, serial_of(found)), None)

    def stranger(self, read: bytes) -> Diagnosis | None:
        """Return what a readback is of which no card of the series is the image.

        A card of that kind with a serial number that isn't one of the series.
        """
        return of_other_card(read, self.image(self.serials[0]))

    def _carries(self, found: Image) -> bool:
        """Whether an image carries a serial number of the series, and its checksum is right."""
        check = found.id_checksum
        return check is not None and check.ok and serial_of(found) in self._cards

    def _explaining(self, read: bytes, carried: int | None) -> Iterator[int]:
        """Yield the cards near a serial number of which a known fault makes the readback."""
        near = sorted(self._cards, key=lambda serial: (serial ^ (carried or 0)).bit_count())
        for serial in near[:MOST_TRIED]:
            if diagnose(read, self.image(serial)) is not None:
                yield serial
        if carried is not None and carried in self._cards:
            yield carried
