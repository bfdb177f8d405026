"""Which counter a number was read on: the drive on the unit that day, and of its counters the one in use then."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean
from tapwear.store.places import drives_of
from tapwear.store.recording import insert
from tapwear.words import as_typed

USUAL_DIGITS = 6  # of a drive of which no counter is known: our choice
CONTROLLER_DIGITS = 9  # a controller counts in a number that does not roll over in practice: our longest


@dataclass(frozen=True)
class CounterKey:
    """A counter of a drive."""

    id: int
    drive_id: int
    source: str
    digits: int


def drive_in(connection: Connection, unit: UnitKey, name: str, on: date | None) -> str:
    """The name of the unit's drive that is meant; "" means its only one.

    Capital and small letters are taken as the same. Raises UsageError when the unit has no such drive, or several and
    none is named.
    """
    slots = sorted(drives_of(connection, unit.id, on))
    if name:
        alike = [slot for slot in slots if slot.casefold() == name.casefold()]
        if alike:
            return name if name in alike else alike[0]
        raise UsageError(f"{unit.tag} has no drive {name}; it has {', '.join(slots) or 'none'}.")
    if len(slots) == 1:
        return slots[0]
    if not slots:
        raise UsageError(
            f"{unit.tag} has no drive, so no counter; add one with: tapwear unit change {as_typed(unit.tag)} --drives"
        )
    raise UsageError(f"{unit.tag} has several drives: say which one, --drive {' or '.join(slots)}.")


def find_counter(connection: Connection, unit: UnitKey, slot: str, source: str, on: date | None) -> CounterKey | None:
    """The counter of that source on the unit's drive on that day (None: now), or None where it has none yet.

    A drive has several of one source when its counter was replaced by one of another length. Then it is the newest
    one, or for a day before the replacement the one that was read last by then.
    """
    found = [one for one in _counters(connection, drives_of(connection, unit.id, on)[slot]) if one.source == source]
    if len(found) > 1 and on is not None:
        return _in_use(connection, unit, slot, found, on)
    return found[-1] if found else None


def counter_for(connection: Connection, unit: UnitKey, slot: str, source: str, on: date | None) -> CounterKey:
    """Like `find_counter`; a counter of a source that the drive lacks is made, as long as its mechanical one."""
    found = find_counter(connection, unit, slot, source, on)
    if found is not None:
        return found
    drive = drives_of(connection, unit.id, on)[slot]
    digits = digits_of(connection, drive, source)
    number = insert(connection, "counter", drive_id=drive, source=source, digits=digits)
    return CounterKey(number, drive, source, digits)


def digits_of(connection: Connection, drive: int, source: str) -> int:
    """How many digits a counter of that source has on a drive that has none of it yet."""
    if source == "controller":
        return CONTROLLER_DIGITS
    known = [one.digits for one in _counters(connection, drive) if one.source != "controller"]
    return known[-1] if known else USUAL_DIGITS


def digits_ever(connection: Connection, drive: int, source: str) -> set[int]:
    """The numbers of digits that the drive's counters of that source have had."""
    return {one.digits for one in _counters(connection, drive) if one.source == source}


def _counters(connection: Connection, drive: int) -> list[CounterKey]:
    counter = lean("counter", "id", "drive_id", "source", "digits")
    rows = connection.execute(
        sa.select(counter.c.id, counter.c.drive_id, counter.c.source, counter.c.digits)
        .where(counter.c.drive_id == drive)
        .order_by(counter.c.id)
    )
    return [CounterKey(*tuple(row)) for row in rows]


def _in_use(connection: Connection, unit: UnitKey, slot: str, found: list[CounterKey], on: date) -> CounterKey:
    event = lean("event", "id", "tap_changer_id", "slot", "kind", "happened_on", "supersedes_id", "withdrawn")
    exchanges = (
        connection.execute(
            sa.select(event.c.happened_on).where(
                event.c.tap_changer_id == unit.id,
                event.c.kind == "counter_replaced",
                event.c.slot.in_(("", slot)),
                is_current(event),
            )
        )
        .scalars()
        .all()
    )
    later = [day for day in exchanges if day > on]
    if not later:
        return found[-1]
    reading = lean("reading", "id", "counter_id", "read_on", "supersedes_id", "withdrawn")
    last = connection.execute(
        sa.select(reading.c.counter_id)
        .where(reading.c.counter_id.in_([one.id for one in found]), reading.c.read_on < min(later), is_current(reading))
        .order_by(reading.c.read_on.desc(), reading.c.id.desc())
        .limit(1)
    ).scalar()
    return next((one for one in found if one.id == last), found[0])
