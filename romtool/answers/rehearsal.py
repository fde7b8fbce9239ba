"""What a rehearsal answers: the cards that a PC sees, the devices that are on, what is lost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

from romtool.assign.answer import Conflict
from romtool.assign.outcome import DeviceOutcome


class Remark(NamedTuple):
    """What is to be said of a card or a device: which remark, and its sentence."""

    name: str
    text: str


class Step(NamedTuple):
    """One step of the power-up: its name, its facts, and what is said of it, a label before it."""

    name: str
    facts: dict[str, Any]
    label: str
    text: str


class PlayedDevice(NamedTuple):
    """A device: what it got, whether it is on, its registers as [number, byte], remarks on it."""

    outcome: DeviceOutcome
    is_on: bool
    registers: list[list[int]]
    remarks: tuple[Remark, ...]


class PlayedCard(NamedTuple):
    """A card, `slot` from 0, `file` its image, with its devices.

    `csn`: None where nobody gave it one. `resource_bytes`: from the identifier to the end item;
    `has_end`: whether one was read; `checksum`: what its end checksum is: right, wrong, not checked
    or missing.
    """

    slot: int
    file: str
    csn: int | None
    id: str | None
    serial: int | None
    resource_bytes: int
    has_end: bool
    checksum: str
    remarks: tuple[Remark, ...]
    devices: tuple[PlayedDevice, ...]


class LostCard(NamedTuple):
    """A card that the software never saw: its slot from 0, its image, its ID, and why."""

    slot: int
    file: str
    id: str | None
    why: tuple[Remark, ...]


@dataclass(frozen=True)
class RehearsalAnswer:
    """What a power-up brings.

    `cards`: those that got a number; `unconfigured`: those that nobody looks for, where nobody
    configures the PC. `read_port`: where READ_DATA is, None where no port is free for it.
    `conflict`: why not all devices can be given something; its cards are those in `cards`.
    """

    host: str
    configured_by: str
    slots: int
    read_port: int | None
    milliseconds: float
    cards: tuple[PlayedCard, ...]
    unconfigured: tuple[PlayedCard, ...]
    lost: tuple[LostCard, ...]
    conflict: Conflict | None
    steps: tuple[Step, ...]

    @property
    def is_well(self) -> bool:
        """Whether every card is seen and every device is on."""
        every = [device for card in (*self.cards, *self.unconfigured) for device in card.devices]
        return not self.lost and all(device.is_on for device in every)

    def as_json(self, *, trace: bool = False) -> dict[str, Any]:
        """Return the answer as the contract has it; `card` is the place of an image in the call."""
        every = (*self.cards, *self.unconfigured)
        answer: dict[str, Any] = {
            "host": self.host,
            "configured_by": self.configured_by,
            "milliseconds": self.milliseconds,
            "read_data": self.read_port if self.cards else None,
            "cards": [_card(card) for card in self.cards],
            "active": [one for card in self.unconfigured for one in _devices(card)],
            "lost": [
                {"card": one.slot, "id": one.id, "why": ". ".join(said.text for said in one.why)}
                for one in self.lost
            ],
            "left_out": [
                {"card": card.slot, **_named(device)}
                for card in every
                for device in card.devices
                if not device.is_on
            ],
            "conflict": self.conflict.names() if self.conflict is not None else [],
            "warnings": [one for card in every for one in _warnings(card)],
        }
        if trace:
            answer["steps"] = [{"step": step.name, "words": step.text} for step in self.steps]
        return answer


def _card(card: PlayedCard) -> dict[str, Any]:
    right = {"right": True, "not checked": True, "wrong": False}
    return {
        "card": card.slot,
        "csn": card.csn,
        "id": card.id,
        "serial": card.serial,
        "checksum_ok": right.get(card.checksum),
        "resource_bytes": card.resource_bytes,
        "devices": _devices(card),
    }


def _devices(card: PlayedCard) -> list[dict[str, Any]]:
    return [
        device.outcome.given.as_json() | {"card": card.slot, "registers": device.registers}
        for device in card.devices
        if device.is_on and device.outcome.given is not None
    ]


def _named(device: PlayedDevice) -> dict[str, Any]:
    asked = device.outcome.device
    return {"device": asked.id, "number": asked.number}


def _warnings(card: PlayedCard) -> list[dict[str, Any]]:
    nobody: dict[str, Any] = {"device": None, "number": None}
    said = [(nobody, remark) for remark in card.remarks]
    said += [(_named(device), remark) for device in card.devices for remark in device.remarks]
    return [
        {"card": card.slot, **who, "remark": remark.name, "message": remark.text}
        for who, remark in said
    ]
