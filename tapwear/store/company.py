"""Which units a load must bring along, so that a part of the fleet learns from like units what the whole does."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.peers import LIKE_OIL, PEERS, Roll
from tapwear.store.find import find_units
from tapwear.store.frames import among
from tapwear.store.lean import lean

_GROUPS = (*PEERS, *LIKE_OIL[0])


def all_tags(connection: Connection) -> list[str]:
    """The tags of all units, in the order in which they came into the register."""
    changer = lean("tap_changer", "id", "tag")
    return [row[0] for row in connection.execute(sa.select(changer.c.tag).order_by(changer.c.id))]


def roll_of(connection: Connection) -> Roll:
    """The roll of all units of the store."""
    changer = lean("tap_changer", "id", "tag", *_GROUPS)
    rows = connection.execute(sa.select(changer.c.tag, *(changer.c[name] for name in _GROUPS)))
    frame = pd.DataFrame(rows.cursor.fetchall(), columns=["unit", *_GROUPS])
    return Roll.of(with_homes(frame, connection))


def with_homes(units: pd.DataFrame, connection: Connection, ids: Iterable[int] | None = None) -> pd.DataFrame:
    """The units, with home: the station where the register first had each, "" where that was none of ours.

    ids : their row numbers, where they are not all units.

    That never changes, so that a unit speaks for others or does not, whatever becomes of it.
    """
    stay, place = lean("stay", "id", "tap_changer_id", "place_id"), lean("place", "id", "station_id")
    station, changer = lean("station", "id", "code"), lean("tap_changer", "id", "tag")
    first = sa.select(sa.func.min(stay.c.id)).group_by(stay.c.tap_changer_id)
    if ids is not None:
        first = first.where(among(stay.c.tap_changer_id, ids))
    query = (
        sa.select(changer.c.tag, station.c.code)
        .join_from(stay, place, stay.c.place_id == place.c.id)
        .join(changer, stay.c.tap_changer_id == changer.c.id)
        .join(station, place.c.station_id == station.c.id)
        .where(stay.c.id.in_(first))
    )
    homes = {tag: code for tag, code in connection.execute(query)}
    return units.assign(home=pd.Series([homes.get(tag, "") for tag in units["unit"]], index=units.index, dtype="str"))


def company_of(connection: Connection, roll: Roll, wanted: Iterable[str]) -> list[str]:
    """The units wanted, those that speak for them, and all that ever stood at a station of any of these."""
    tags = roll.company(set(wanted))
    ids = find_units(connection, tags).values()
    stay, place = lean("stay", "tap_changer_id", "place_id"), lean("place", "id", "station_id")
    changer = lean("tap_changer", "id", "tag")
    stood = sa.select(stay.c.place_id).where(among(stay.c.tap_changer_id, ids))
    stations = sa.select(place.c.station_id).where(place.c.id.in_(stood))
    places = sa.select(place.c.id).where(place.c.station_id.in_(stations))
    near = sa.select(stay.c.tap_changer_id).where(stay.c.place_id.in_(places))
    rows = connection.execute(sa.select(changer.c.tag).where(changer.c.id.in_(near)))
    return sorted({*tags, *(row[0] for row in rows)})
