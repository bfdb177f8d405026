"""Where every tap changer stood and which drive was on it, day by day, from the dated stays and fittings.

Several tap changers may stand at one station, bank and phase (a register without banks puts a whole station
there). Each then has its own position, numbered in order of arrival (of one day, of the tags), and whoever takes over
a position that was just left inherits its rate of operations: `S1/T1/A` is the first position, `S1/T1/A#2` the second.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise, zip_longest
from typing import NamedTuple

IN_SERVICE = "in service"


class StayRow(NamedTuple):
    """One row of the stays: `from_on` None means since always; `place_id` None means at no place of ours."""

    id: int
    unit: str
    place_id: int | None
    transformer_id: int | None
    state: str
    from_on: date | None


class Spell(NamedTuple):
    """A stay with its end (the next stay's first day, None: still there) and the key of its position."""

    stay: StayRow
    to_on: date | None
    place: str


def spells(stays: Iterable[StayRow], place_names: dict[int, str], as_of: date | None = None) -> dict[str, list[Spell]]:
    """Each unit's spells in order, up to `as_of`; a stay that another of the same day replaces is left out.

    `place_names` gives `station/bank/phase` by place id, for the places that matter. A unit whose first stay begins
    after `as_of` keeps that one, so that it is not lost from the fleet.
    """
    by_unit: dict[str, list[StayRow]] = {}
    for stay in sorted(stays, key=lambda stay: (stay.from_on or date.min, stay.id)):
        own = by_unit.setdefault(stay.unit, [])
        if own and as_of is not None and stay.from_on is not None and stay.from_on > as_of:
            continue
        if own and (own[-1].from_on or date.min) == (stay.from_on or date.min):
            own.pop()
        own.append(stay)
    ended = [pair for own in by_unit.values() for pair in zip_longest(own, own[1:])]
    positions = _positions(ended)
    result: dict[str, list[Spell]] = {unit: [] for unit in by_unit}
    for stay, after in ended:
        to_on = after.from_on if after else None
        number = positions.get(stay.id)
        if number is None or stay.place_id is None:
            place = f"{stay.state}: {stay.unit}"
        else:
            place = place_names.get(stay.place_id, "") + (f"#{number}" if number > 1 else "")
        result[stay.unit].append(Spell(stay, to_on, place))
    return result


def _positions(ended: list[tuple[StayRow, StayRow | None]]) -> dict[int, int]:
    """Position number of every stay in service, by stay id; each stay with the next one of its unit.

    The first free position that its unit held until that day, else the one that was left last, else a new one. Of
    several that were left on one day it is that of the unit it was swapped with: a swap records the stay of the unit
    that leaves, and right after it that of the unit that comes.
    """
    # place -> position -> (free from, who left it, by which stay)
    free: dict[int, dict[int, tuple[date, str, int]]] = {}
    taken: dict[int, int] = {}
    for stay, after in sorted(ended, key=lambda one: (one[0].from_on or date.min, one[0].unit, one[0].id)):
        if stay.state != IN_SERVICE or stay.place_id is None:
            continue
        here = free.setdefault(stay.place_id, {})
        arrives = stay.from_on or date.min
        vacant = {number: left for number, left in here.items() if left[0] <= arrives}
        if vacant:
            own, swapped = (arrives, stay.unit), stay.id - 1
            number = max(vacant, key=lambda n: (vacant[n][:2] == own, vacant[n][0], vacant[n][2] == swapped, -n))
        else:
            number = len(here) + 1
        here[number] = (after.from_on or date.min, stay.unit, after.id) if after else (date.max, stay.unit, 0)
        taken[stay.id] = number
    return taken


class FittingRow(NamedTuple):
    """One row of the fittings: from that day the drive is on the unit, in that slot (unit "": on none)."""

    id: int
    drive_id: int
    unit: str
    slot: str
    from_on: date | None
    counter_then: int | None


class CounterRow(NamedTuple):
    """A counter on a drive."""

    id: int
    drive_id: int
    source: str
    digits: int


@dataclass(frozen=True)
class DriveChange:
    """Another drive on a slot that had one: to the count it looks like a replaced counter."""

    unit: str
    slot: str
    on: date
    old_reading: int | None
    new_reading: int | None


def by_drive(fittings: Iterable[FittingRow]) -> dict[int, list[FittingRow]]:
    """Each drive's fittings in order."""
    result: dict[int, list[FittingRow]] = {}
    for fitting in sorted(fittings, key=lambda one: (one.from_on or date.min, one.id)):
        result.setdefault(fitting.drive_id, []).append(fitting)
    return result


def first_days(own: Sequence[FittingRow]) -> list[int]:
    """The first day of each of a drive's fittings, as date.toordinal; rising, 0 for the first.

    Days before the first fitting go to that one. A drive still counts for its unit on the day on which it is taken
    off. Of days on which two of them begin, the later row holds.
    """
    days = [(one.from_on or date.min).toordinal() + (not one.unit) for one in own[1:]]
    for number in range(len(days) - 2, -1, -1):
        days[number] = min(days[number], days[number + 1])
    return [0, *days][: len(own)]


def drive_changes(fittings: Iterable[FittingRow]) -> list[DriveChange]:
    """Every day on which a slot of a unit got another drive, with the old and new counts where written down.

    The old count is what the leaving drive showed when it was fitted elsewhere or taken off (`counter_then` of
    its next fitting), the new one what the arriving drive showed.
    """
    drives = by_drive(fittings)
    after = {
        one.id: own[number + 1] if number + 1 < len(own) else None
        for own in drives.values()
        for number, one in enumerate(own)
    }
    slots: dict[tuple[str, str], list[FittingRow]] = {}
    for own in drives.values():
        for one in own:
            if one.unit:
                slots.setdefault((one.unit, one.slot), []).append(one)
    changes = []
    for (unit, slot), held in slots.items():
        held.sort(key=lambda one: (one.from_on or date.min, one.id))
        for old, new in pairwise(held):
            if old.drive_id == new.drive_id or new.from_on is None:
                continue
            left = after[old.id]
            changes.append(DriveChange(unit, slot, new.from_on, left.counter_then if left else None, new.counter_then))
    return changes
