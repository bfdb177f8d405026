"""What a round sheet asks about a unit: where it stands, and which of its counters are read. Light, as plain values."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.find import UnitKey
from tapwear.store.history import CounterPast, counter_past
from tapwear.store.lean import lean
from tapwear.store.observations import last_pressure, positions_known
from tapwear.store.places import drives_of
from tapwear.visits.positions import all_positions

READ_BY_EYE = ("mechanical", "raise", "lower", "controller")  # sources in the order in which they are asked for


@dataclass(frozen=True)
class RoundUnit:
    """A unit in service at a station: the past of each of its counters, its positions as they are written, and the
    gauge pressure noted last [kPa; None: never]."""

    tag: str
    counters: tuple[CounterPast, ...]
    positions: tuple[str, ...]
    pressure_kpa: float | None = None


def round_units(connection: Connection, keys: list[UnitKey], on: date) -> list[RoundUnit]:
    """What there is to read at each unit on that day; of a drive that has no counter yet, its mechanical one."""
    counter = lean("counter", "drive_id", "source")
    found = []
    for key in keys:
        read = []
        for slot, drive in sorted(drives_of(connection, key.id, on).items()):
            rows = connection.execute(sa.select(counter.c.source).where(counter.c.drive_id == drive)).scalars()
            sources = set(rows)
            mine = [source for source in READ_BY_EYE if source in sources]
            read += [counter_past(connection, key, slot, source, on) for source in mine or READ_BY_EYE[:1]]
        positions = all_positions(positions_known(connection, key))
        pressure = last_pressure(connection, key, on + timedelta(days=1))
        found.append(RoundUnit(key.tag, tuple(read), positions, pressure))
    return found
