"""What is known of a unit when somebody stands before it: nameplate, place, drives, what was noted last. Light."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.entries import squeezed
from tapwear.store.find import UnitKey, near_names
from tapwear.store.lean import is_current, lean
from tapwear.store.observations import Seen, list_observations, positions_known
from tapwear.store.places import drives_of
from tapwear.store.stays import StandingRow, standing_now
from tapwear.store.stops import StopRow, open_stops
from tapwear.visits.positions import Positions

NEAR_SERIAL = 0.8  # serial numbers as alike as this (difflib) may be one misread: our choice


@dataclass(frozen=True)
class Ground:
    """What the register and the book say of a unit before a visit.

    last : the newest observation of each quantity before that day
    stops : what stands at the unit; samples : how many oil samples the book holds
    compartments : (name, serial number), "" for what is not known
    """

    unit: UnitKey
    on: date
    serial: str
    where: StandingRow
    station_name: str
    breathing: str
    sampling_needs_outage: bool
    drives: tuple[str, ...]
    compartments: tuple[tuple[str, str], ...]
    positions: Positions | None
    positions_style: str
    last: Mapping[str, Seen]
    stops: tuple[StopRow, ...]
    samples: int


def visit_ground(connection: Connection, unit: UnitKey, on: date) -> Ground:
    """What is known of the unit for a visit on that day."""
    changer = lean("tap_changer", "id", "serial", "breathing", "positions", "sampling_needs_outage")
    row = connection.execute(sa.select(changer).where(changer.c.id == unit.id)).one()
    station = lean("station", "code", "name")
    where = standing_now(connection, unit.id)
    name = connection.execute(sa.select(station.c.name).where(station.c.code == where.station)).scalar()
    part = lean("compartment", "id", "tap_changer_id", "name", "serial")
    parts = connection.execute(
        sa.select(part.c.name, part.c.serial).where(part.c.tap_changer_id == unit.id).order_by(part.c.id)
    )
    sample = lean("sample", "id", "tap_changer_id", "supersedes_id", "withdrawn")
    samples = sa.select(sa.func.count()).where(sample.c.tap_changer_id == unit.id, is_current(sample))
    return Ground(
        unit=unit,
        on=on,
        serial=row.serial or "",
        where=where,
        station_name=name or "",
        breathing=row.breathing,
        sampling_needs_outage=bool(row.sampling_needs_outage),
        drives=tuple(sorted(drives_of(connection, unit.id, on))),
        compartments=tuple((str(one[0]), str(one[1] or "")) for one in parts),
        positions=positions_known(connection, unit),
        positions_style=row.positions or "",
        last={seen.quantity: seen for seen in list_observations(connection, unit) if seen.observed_on < on},
        stops=tuple(open_stops(connection, unit)),
        samples=int(connection.execute(samples).scalar_one()),
    )


def whose_serial(connection: Connection, seen: str) -> tuple[list[str], list[str]]:
    """The tags of the units with that serial number; and, where there is none, of those whose number comes near."""
    changer = lean("tap_changer", "tag", "serial")
    rows = connection.execute(sa.select(changer.c.tag, changer.c.serial).where(changer.c.serial.is_not(None)))
    tags: dict[str, list[str]] = {}
    for tag, serial in rows:
        tags.setdefault(squeezed(serial), []).append(str(tag))
    exact = sorted(tags.get(squeezed(seen), []))
    near = [] if exact else near_names(squeezed(seen), sorted(tags), NEAR_SERIAL)
    return exact, sorted(tag for serial in near for tag in tags[serial])
