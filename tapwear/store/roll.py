"""The roll of all units in the order of lots, or as much of it as some units need; see tapwear.peers."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

import numpy as np
import pandas as pd
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear import peers
from tapwear.peers import ALONE, LIKE_OIL, PEERS, Roll, lots
from tapwear.store.find import find_units
from tapwear.store.frames import among
from tapwear.store.lean import lean

HOMES = 250  # looked at first, more if those who speak for the fleet are not among them; our choice
MANY_GROUPS = 8  # each costs a walk over the register, and the whole roll some ten; our choice
_GROUPS = (*PEERS, *LIKE_OIL[0])
_CHANGER = lean("tap_changer", "id", "tag", *_GROUPS)


def roll_of(connection: Connection) -> Roll:
    """The roll of all units of the store."""
    return Roll.of(_units(connection))


def near_roll(connection: Connection, wanted: Collection[str]) -> Roll:
    """As much of the roll as tells the company of the units wanted: the first of all, and rare groups whole.

    Where many groups are rare, all of it.
    """
    first = _first_units(connection)
    mine = _units(connection, among(_CHANGER.c.id, find_units(connection, wanted).values()))
    known = pd.concat([first, mine]).drop_duplicates("unit")
    for likes in (LIKE_OIL, (PEERS,)):  # the counts of those who speak for the oil rest on their own peers
        some = known[known["unit"].isin(wanted if likes is LIKE_OIL else Roll.of(known).company(wanted))]
        for like in likes:
            size = first.value_counts(list(like))
            keys = dict.fromkeys(some[list(like)].itertuples(index=False, name=None))
            rare = [key for key in keys if size.get(key, 0) < peers.OF_A_GROUP]
            if len(rare) > MANY_GROUPS:
                return roll_of(connection)
            for key in rare:
                alike = [_CHANGER.c[name] == value for name, value in zip(like, key, strict=True)]
                known = pd.concat([known, _units(connection, *alike)]).drop_duplicates("unit")
    return Roll.of(known)


def with_homes(units: pd.DataFrame, connection: Connection, ids: Iterable[int] | None = None) -> pd.DataFrame:
    """The units, with home: the station where the register first had each, "" where that was none of ours.

    That never changes, so that a unit speaks for others or does not, whatever becomes of it. ids : row numbers of the
    units, where they are not all.
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
    homes = {tag: code for tag, code in connection.execute(query).all()}
    home = [homes.get(tag, "") for tag in units["unit"].to_numpy(object)]
    return units.assign(home=pd.Series(home, index=units.index, dtype="str"))


def _units(connection: Connection, *conditions: sa.ColumnElement[bool]) -> pd.DataFrame:
    """The units for which the conditions hold: id, unit, the columns that make them like others, and home."""
    query = sa.select(_CHANGER.c.id, _CHANGER.c.tag, *(_CHANGER.c[name] for name in _GROUPS)).where(*conditions)
    rows = [tuple(row) for row in connection.execute(query).all()]
    units = pd.DataFrame(rows, columns=["id", "unit", *_GROUPS])
    return with_homes(units, connection, units["id"].tolist() if conditions else None)


def _first_units(connection: Connection) -> pd.DataFrame:
    """The units of the first homes in the order of lots, until those that speak for the fleet are among them."""
    homes, alone = _homes(connection), _without_home(connection)
    names = [*homes, *alone]
    order = np.argsort(lots(names), kind="stable")
    count = HOMES
    while True:
        first = [names[at] for at in order[:count]]
        found = _at_homes(connection, *([of[name] for name in first if name in of] for of in (homes, alone)))
        if len(found) >= peers.OF_THE_FLEET or count >= len(names):
            return found
        count *= 2


def _at_homes(connection: Connection, stations: Sequence[int], alone: Sequence[int]) -> pd.DataFrame:
    """The units whose home is one of the stations, and those of these row numbers."""
    stay, place = lean("stay", "tap_changer_id", "place_id"), lean("place", "id", "station_id")
    station = lean("station", "id", "code")
    places = sa.select(place.c.id).where(among(place.c.station_id, stations))
    stood = sa.select(stay.c.tap_changer_id).where(stay.c.place_id.in_(places))
    found = _units(connection, sa.or_(_CHANGER.c.id.in_(stood), among(_CHANGER.c.id, alone)))
    codes = connection.execute(sa.select(station.c.code).where(among(station.c.id, stations))).scalars()
    return found[found["home"].isin(set(codes)) | found["id"].isin(alone)]


def _homes(connection: Connection) -> dict[str, int]:
    station = lean("station", "id", "code")
    return {code: number for number, code in connection.execute(sa.select(station.c.id, station.c.code)).all()}


def _without_home(connection: Connection) -> dict[str, int]:
    """Units that the register first had at no station, by the name that their lot is drawn by."""
    changer, stay = lean("tap_changer", "id", "tag"), lean("stay", "id", "tap_changer_id", "place_id")
    sooner = stay.alias()
    before = sa.exists().where(sooner.c.tap_changer_id == stay.c.tap_changer_id, sooner.c.id < stay.c.id)
    nowhere = sa.select(stay.c.tap_changer_id).where(stay.c.place_id.is_(None), ~before)
    never = sa.select(changer.c.id).except_(sa.select(stay.c.tap_changer_id))
    query = sa.select(changer.c.id, changer.c.tag).where(sa.or_(changer.c.id.in_(nowhere), changer.c.id.in_(never)))
    return {f"{ALONE}{tag}": number for number, tag in connection.execute(query).all()}
