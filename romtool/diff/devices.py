"""The devices of two cards and their choices: which belong together, and what differs in them."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterator, Mapping, Sequence

from romtool.diff.align import align, in_order
from romtool.diff.changes import DriverIDs, Ledger, Renumbered, Side, Where
from romtool.diff.items import as_list, compare_lists, kind_of, span_of
from romtool.image.card import Choice, Device, id_in
from romtool.image.walk import Descriptor
from romtool.schema.numbers import hex_text, sizes

CHOICE = "choice"


def placed(where: Where, number: int, items: Sequence[Descriptor]) -> Side:
    """Return the side of a thing that only stands in another place, counted from 1."""
    return Side(where, f"place {number}", (span_of(items),), "place ")


def compare_start(
    ledger: Ledger, a_where: Where, b_where: Where, a: Descriptor, b: Descriptor
) -> None:
    """Enter what differs in the items that begin two devices or choices, field by field."""
    spans = span_of([a]), span_of([b])
    ledger.keep(a_where, b_where, *spans)
    if a.raw == b.raw:
        return
    told = False
    fields = a.record.profile_fields if a.values and b.values else ()
    for field in fields:
        values = a.values[field.key], b.values[field.key]
        if values[0] != values[1]:
            shown = [field.absent if v is None else field.kind.show(v) for v in values]
            words = [text or "none" for text in shown]
            ledger.change(
                Side(a_where.of(field.title), words[0], (spans[0],)),
                Side(b_where.of(field.title), words[1], (spans[1],)),
            )
            told = True
    if not told:
        title = a.record.title
        ledger.change(
            Side(a_where.of(title), hex_text(a.raw), (spans[0],)),
            Side(b_where.of(title), hex_text(b.raw), (spans[1],)),
        )


def compare_choices(
    ledger: Ledger, a_where: Where, b_where: Where, a: Sequence[Choice], b: Sequence[Choice]
) -> None:
    """Enter which choices were added, taken out or moved, and what differs in the others."""
    for pair in align(a, b, _content, _choice_cost):
        here = a_where.inside(CHOICE, str((pair.a or 0) + 1))
        there = b_where.inside(CHOICE, str((pair.b or 0) + 1))
        one = None if pair.a is None else a[pair.a]
        other = None if pair.b is None else b[pair.b]
        if one is None or other is None:
            ledger.change(_choice_side(here, one), _choice_side(there, other))
            continue
        if pair.moved:
            ledger.change(
                placed(here, (pair.a or 0) + 1, one.all_items),
                placed(there, (pair.b or 0) + 1, other.all_items),
            )
        compare_start(ledger, here, there, one.start, other.start)
        compare_lists(ledger, here, there, one.items, other.items)


def _choice_side(where: Where, choice: Choice | None) -> Side | None:
    if choice is None:
        return None
    return Side(where, choice.words, (span_of(choice.all_items),))


def _choice_cost(one: Choice, other: Choice) -> float:
    """Return how much lies between two choices: 2 where nothing that they ask for is alike.

    What is alike in kind only counts half; another priority makes it more.
    """
    priority = 0.5 if one.start.raw != other.start.raw else 0
    most = max(len(one.items), len(other.items))
    if not most:
        return priority
    same = Counter(i.raw for i in one.items) & Counter(i.raw for i in other.items)
    kinds = Counter(map(kind_of, one.items)) & Counter(map(kind_of, other.items))
    return 2 - (same.total() + kinds.total()) / most + priority


def compare_closed(ledger: Ledger, a_where: Where, b_where: Where, a: Device, b: Device) -> None:
    """Enter whether the choices are closed; where one device has none, that follows from it."""
    found = Ledger()
    last = [
        where.inside(CHOICE, str(len(device.choices))) if device.choices else where
        for where, device in ((a_where, a), (b_where, b))
    ]
    compare_lists(found, last[0], last[1], a.ends, b.ends)
    ledger.kept += found.kept
    told = ledger.changes if a.choices and b.choices else ledger.consequences
    told += found.changes


DEVICE = "device"
CHOICE_ROLES = ("choice", "choices-end")
"""The roles of items that only group others."""


def compare_devices(ledger: Ledger, a: Sequence[Device], b: Sequence[Device]) -> None:
    """Enter what differs between the devices of two cards: added, removed, moved, changed ones.

    A device that is none of these can still have another number, and other drivers.
    """
    pairs = matched(a, b)
    names = _names(a), _names(b)
    kept = sorted((one, to) for one, to in pairs.items())
    still = in_order([to for _, to in kept])
    moved = {one for index, (one, _) in enumerate(kept) if index not in still}
    for at, device in enumerate(a):
        where, to = names[0][at], pairs.get(at)
        if to is None:
            ledger.change(_whole(where, device), None)
            continue
        other = names[1][to]
        ledger.drivers += _drivers(device, b[to])
        if at != to and at not in moved:
            ledger.renumbered.append(Renumbered(device.id, at, to))
        if at in moved:
            ledger.change(
                placed(where, at + 1, device.all_items), placed(other, to + 1, b[to].all_items)
            )
        _compare(ledger, where, other, device, b[to])
    for to in sorted(set(range(len(b))) - set(pairs.values())):
        ledger.change(None, _whole(names[1][to], b[to]))


def _drivers(a: Device, b: Device) -> Iterator[DriverIDs]:
    """Yield the IDs by which drivers find one of two devices only."""
    ids = [dict.fromkeys([one.id, *map(id_in, one.compatible)]) for one in (a, b)]
    only = [tuple(id_ for id_ in mine if id_ not in ids[1 - side]) for side, mine in enumerate(ids)]
    if any(only):
        yield DriverIDs((a.id, b.id), only[0], only[1])


def matched(a: Sequence[Device], b: Sequence[Device]) -> dict[int, int]:
    """Return which device of A is which of B: by ID, else by what it holds and where it stands.

    Of devices that share an ID, those that are equal belong together, then those in order.
    """
    pairs: dict[int, int] = {}
    taken: set[int] = set()
    for content in (_content, lambda device: device.id):
        left: dict[object, deque[int]] = {}
        for to, device in enumerate(b):
            if to not in taken:
                left.setdefault(content(device), deque()).append(to)
        for at, device in enumerate(a):
            places = left.get(content(device)) if at not in pairs else None
            if places:
                pairs[at] = places.popleft()
                taken.add(pairs[at])
    theirs = _unmatched(len(b), {to: to for to in taken})
    for before, ours in _unmatched(len(a), pairs).items():
        others = theirs.get(before, [])
        sides = [_held(a[at]) for at in ours], [_held(b[to]) for to in others]
        for pair in align(*sides, id, _id_cost):
            if pair.a is not None and pair.b is not None:
                pairs[ours[pair.a]] = others[pair.b]
    return pairs


def _unmatched(count: int, pairs: Mapping[int, int]) -> dict[int | None, list[int]]:
    """Return the devices without a match, by the match of the one that they stand after."""
    found: dict[int | None, list[int]] = {}
    before: int | None = None
    for at in range(count):
        if at in pairs:
            before = pairs[at]
        else:
            found.setdefault(before, []).append(at)
    return found


def _held(device: Device) -> list[bytes]:
    """Return what a device holds beside its ID; that choices begin and end says nothing."""
    return [item.raw for item in device.all_items[1:] if item.role not in CHOICE_ROLES]


def _id_cost(one: Sequence[bytes], other: Sequence[bytes]) -> float | None:
    """Return how much lies between what two devices hold; None: they are two, not one.

    At least half of it must be the same, item by item, for one of them to have a new ID.
    """
    least, most = sorted((len(one), len(other)))
    if 2 * least < most:
        return None
    same = (Counter(one) & Counter(other)).total()
    return None if 2 * same < most else 1 - same / max(most, 1)


def _content(one: Device | Choice) -> bytes:
    return b"".join(item.raw for item in one.all_items)


def _names(devices: Sequence[Device]) -> list[Where]:
    """Return what each device is called: its ID, and its number where several share that."""
    counts = Counter(device.id for device in devices)
    names = []
    for number, device in enumerate(devices, 1):
        id_ = device.id
        label = id_ if counts[id_] == 1 else f"{id_} (number {number})"
        names.append(Where(((DEVICE, label),)))
    return names


def _whole(where: Where, device: Device) -> Side:
    """Return a device that only one card has, in a few words."""
    words = [device.name.words] if device.name else []
    words += [item.words for item in device.compatible]
    many = len(device.choices)
    words += [f"{many} choice{'' if many == 1 else 's'}"] if many else []
    first, stop = span_of(device.all_items)
    words.append(sizes(stop - first))
    return Side(where, ", ".join(words), ((first, stop),))


def _compare(ledger: Ledger, a_where: Where, b_where: Where, a: Device, b: Device) -> None:
    compare_start(ledger, a_where, b_where, a.start, b.start)
    for one, other in zip(_before(a), _before(b), strict=True):
        compare_lists(ledger, a_where, b_where, one, other)
    compare_choices(ledger, a_where, b_where, a.choices, b.choices)
    compare_closed(ledger, a_where, b_where, a, b)
    compare_lists(ledger, a_where, b_where, a.after, b.after)


def _before(
    device: Device,
) -> tuple[Sequence[Descriptor], Sequence[Descriptor], Sequence[Descriptor]]:
    """Return what stands before a device's choices: compatible IDs, name, the rest."""
    ids, name, rest = device.leading
    return ids, as_list(name), rest
