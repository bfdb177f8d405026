"""What a person at the unit needs to see before a number is written down: light, of one unit, as plain values."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.measures import TESTING_OPERATIONS
from tapwear.store.counters import digits_of, drive_in, find_counter
from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean
from tapwear.store.places import drives_of
from tapwear.store.stays import StandingRow, standing
from tapwear.visits.values import minute_of
from tapwear.weeks import DAYS_PER_YEAR
from tapwear.words import COUNTER_AT_FAULT

NEIGHBOUR_YEARS = 3  # how far back the counters of neighbours are looked at; our choice
_SAME_COUNTER = {"mechanical": ("mechanical", "sample"), "sample": ("mechanical", "sample")}


@dataclass(frozen=True)
class PastReading:
    """A reading in the book, or the number that a service noted: id 0, source service.

    minute : of the day, None where not known
    """

    id: int
    on: date
    value: int
    reader: str
    doubt: str
    source: str
    minute: int | None = None

    @property
    def time(self) -> str:
        """HH:MM, "" where not known."""
        return "" if self.minute is None else f"{self.minute // 60:02}:{self.minute % 60:02}"


@dataclass(frozen=True)
class CounterPast:
    """One counter's past, and what surrounds it.

    readings : of this counter on this unit, by day; a sample sheet's number is one of the mechanical counter, and so is
        that of a service on a unit with one drive
    replacements : (day, last number of the old counter, first of the new one; None where not written down)
    out_of_service : (first day, last day or None: still out)
    neighbours : other counters of the station with their readings as (day, value)
    """

    unit: UnitKey
    serial: str
    where: StandingRow
    drive: str
    several_drives: bool
    source: str
    digits: int
    readings: tuple[PastReading, ...] = ()
    replacements: tuple[tuple[date, int | None, int | None], ...] = ()
    inspections: tuple[date, ...] = ()
    out_of_service: tuple[tuple[date, date | None], ...] = ()
    neighbours: dict[str, list[tuple[date, int]]] = field(default_factory=dict)

    @property
    def counting(self) -> tuple[PastReading, ...]:
        """The readings without those of a counter that was noted as unreadable or standing still."""
        return tuple(one for one in self.readings if not one.doubt.startswith(COUNTER_AT_FAULT))

    def last_before(self, on: date, minute: int | None = None) -> PastReading | None:
        """The last reading before that day, or before a minute of it."""
        earlier = [
            one
            for one in self.readings
            if one.on < on or (one.on == on and None not in (minute, one.minute) and one.minute < minute)  # type: ignore[operator]
        ]
        return earlier[-1] if earlier else None

    def next_after(self, on: date) -> PastReading | None:
        """The first reading after that day."""
        return next((one for one in self.readings if one.on > on), None)

    def same_day(self, on: date, minute: int | None = None) -> PastReading | None:
        """A reading of that day and source that is in the book already, of the same time where one is given."""
        return next(
            (
                one
                for one in self.readings
                if one.on == on and one.source == self.source and (minute is None or one.minute == minute)
            ),
            None,
        )


def counter_past(connection: Connection, unit: UnitKey, drive: str, source: str, on: date) -> CounterPast:
    """The past of the counter on which a number is about to be entered for that day.

    Raises UsageError when the unit has no such drive, or several and none is named.
    """
    slot = drive_in(connection, unit, drive, on)
    drives = drives_of(connection, unit.id, on)
    counter = find_counter(connection, unit, slot, source, on)
    digits = counter.digits if counter else digits_of(connection, drives[slot], source)
    stays = standing(connection, unit.id)
    began = [stay for stay in stays if stay.from_on is None or stay.from_on <= on]
    here = began[-1] if began else stays[0]
    fitted = _fitted_on(connection, unit, drives[slot], on)
    changer = lean("tap_changer", "id", "serial")
    serial = connection.execute(sa.select(changer.c.serial).where(changer.c.id == unit.id)).scalar()
    exchanges, inspections, outages = _events(connection, unit, slot)
    readings = _readings(connection, drives[slot], source, digits, fitted)
    if len(drives) == 1 and source in _SAME_COUNTER:
        readings = _with_services(connection, unit, drives[slot], digits, fitted, readings)
    return CounterPast(
        unit=unit,
        serial=serial or "",
        where=here,
        drive=slot,
        several_drives=len(drives) > 1,
        source=source,
        digits=digits,
        readings=readings,
        replacements=tuple(exchanges),
        inspections=tuple(inspections),
        out_of_service=tuple(outages + _away(stays)),
        neighbours=_neighbours(connection, unit, here, slot, on) if source == "mechanical" else {},
    )


def _fitted_on(connection: Connection, unit: UnitKey, drive: int, on: date) -> date | None:
    """Since when the drive is on the unit (None: always)."""
    fitting = lean("fitting", "drive_id", "tap_changer_id", "from_on", "id", "supersedes_id", "withdrawn")
    days = connection.execute(
        sa.select(fitting.c.from_on).where(
            fitting.c.drive_id == drive, fitting.c.tap_changer_id == unit.id, is_current(fitting)
        )
    ).scalars()
    begun = [day or date.min for day in days if day is None or day <= on]
    return max(begun) if begun and max(begun) > date.min else None


def _readings(
    connection: Connection, drive: int, source: str, digits: int, since: date | None
) -> tuple[PastReading, ...]:
    reading = lean(
        *("reading", "id", "counter_id", "read_on", "read_time", "value", "reader", "doubt"),
        *("supersedes_id", "withdrawn"),
    )
    counter = lean("counter", "id", "drive_id", "source", "digits")
    query = (
        sa.select(
            *(reading.c[name] for name in ("id", "read_on", "value", "reader", "doubt")),
            counter.c.source,
            reading.c.read_time,
        )
        .join_from(counter, reading, reading.c.counter_id == counter.c.id)
        .where(
            counter.c.drive_id == drive,
            counter.c.source.in_(_SAME_COUNTER.get(source, (source,))),
            counter.c.digits == digits,
            is_current(reading),
        )
        .order_by(reading.c.read_on, reading.c.read_time, reading.c.value, reading.c.id)
    )
    if since is not None:
        query = query.where(reading.c.read_on >= since)
    return tuple(
        PastReading(row.id, row.read_on, row.value, row.reader, row.doubt, row.source, minute_of(row.read_time))
        for row in connection.execute(query)
    )


def _with_services(
    connection: Connection,
    unit: UnitKey,
    drive: int,
    digits: int,
    since: date | None,
    readings: tuple[PastReading, ...],
) -> tuple[PastReading, ...]:
    """The readings, and the numbers of services on days that have none, as in tapwear.counts.serviced.

    Without them where the drive has had counters of different length: of which one a number was is not known.
    """
    counter = lean("counter", "drive_id", "source", "digits")
    lengths = sa.select(counter.c.digits).where(counter.c.drive_id == drive, counter.c.source == "mechanical")
    if set(connection.execute(lengths).scalars()) != {digits}:
        return readings
    service = lean(
        *("service", "tap_changer_id", "done_on", "as_found_counter", "as_left_counter", "done_by"),
        *("supersedes_id", "withdrawn", "id"),
    )
    rows = connection.execute(
        sa.select(service.c.done_on, service.c.as_found_counter, service.c.as_left_counter, service.c.done_by)
        .where(service.c.tap_changer_id == unit.id, is_current(service))
        .order_by(service.c.done_on, service.c.id)
    )
    noted: dict[date, PastReading] = {}
    for on, found, left, done_by in rows:
        kept = found is None or left is None or abs(left - found) <= TESTING_OPERATIONS
        if (found is not None or left is not None) and kept and (since is None or on >= since):
            noted[on] = PastReading(0, on, found if left is None else left, done_by or "", "", "service")
    more = [one for on, one in noted.items() if on not in {reading.on for reading in readings}]
    return tuple(sorted((*readings, *more), key=lambda one: one.on))


def _events(
    connection: Connection, unit: UnitKey, slot: str
) -> tuple[list[tuple[date, int | None, int | None]], list[date], list[tuple[date, date | None]]]:
    """Exchanges of the counter, inspections, and spells out of service, all by day."""
    event = lean(
        "event",
        *("id", "tap_changer_id", "slot", "kind", "happened_on", "old_reading", "new_reading"),
        *("supersedes_id", "withdrawn"),
    )
    rows = connection.execute(
        sa.select(event.c.kind, event.c.happened_on, event.c.old_reading, event.c.new_reading)
        .where(event.c.tap_changer_id == unit.id, event.c.slot.in_(("", slot)), is_current(event))
        .order_by(event.c.happened_on, event.c.id)
    ).all()
    exchanges = [(row[1], row[2], row[3]) for row in rows if row[0] == "counter_replaced"]
    inspections = [row[1] for row in rows if row[0] == "inspection"]
    outages: list[tuple[date, date | None]] = []
    for kind, day, _, _ in rows:
        still_out = bool(outages) and outages[-1][1] is None
        if kind == "out_of_service" and not still_out:
            outages.append((day, None))
        elif kind == "back_in_service" and still_out:
            outages[-1] = (outages[-1][0], day)
    return exchanges, inspections, outages


def _away(stays: list[StandingRow]) -> list[tuple[date, date | None]]:
    """Spells in store, in the workshop or retired."""
    ends = [stay.from_on for stay in stays[1:]] + [None]
    return [
        (stay.from_on or date.min, end) for stay, end in zip(stays, ends, strict=True) if stay.state != "in service"
    ]


def _neighbours(
    connection: Connection, unit: UnitKey, here: StandingRow, slot: str, on: date
) -> dict[str, list[tuple[date, int]]]:
    """Mechanical counters that stand or stood at the same station, this unit's other drives among them."""
    if here.station_id is None:
        return {}
    place = lean("place", "id", "station_id")
    stay = lean("stay", "id", "place_id", "tap_changer_id", "supersedes_id", "withdrawn")
    fitting = lean("fitting", "id", "drive_id", "tap_changer_id", "slot", "supersedes_id", "withdrawn")
    counter = lean("counter", "id", "drive_id", "source")
    reading = lean("reading", "id", "counter_id", "read_on", "value", "supersedes_id", "withdrawn")
    changer = lean("tap_changer", "id", "tag")
    rows = connection.execute(
        sa.select(changer.c.id, changer.c.tag, fitting.c.slot, reading.c.read_on, reading.c.value)
        .select_from(
            place.join(stay, sa.and_(stay.c.place_id == place.c.id, is_current(stay)))
            .join(changer, changer.c.id == stay.c.tap_changer_id)
            .join(fitting, sa.and_(fitting.c.tap_changer_id == changer.c.id, is_current(fitting)))
            .join(counter, sa.and_(counter.c.drive_id == fitting.c.drive_id, counter.c.source == "mechanical"))
            .join(reading, reading.c.counter_id == counter.c.id)
        )
        .where(
            place.c.station_id == here.station_id,
            reading.c.read_on >= on - timedelta(days=round(NEIGHBOUR_YEARS * DAYS_PER_YEAR)),
            reading.c.read_on <= on,
            is_current(reading),
        )
        .distinct()
        .order_by(changer.c.tag, fitting.c.slot, reading.c.read_on)
    )
    found: dict[str, list[tuple[date, int]]] = {}
    for number, tag, other, day, value in rows:
        if (number, other) != (unit.id, slot):
            name = f"drive {other}" if number == unit.id else f"{tag}, drive {other}" if other != "1" else str(tag)
            found.setdefault(name, []).append((day, value))
    return found
