"""Which units a load must bring along, so that a part of the fleet learns from like units what the whole does."""

from __future__ import annotations

from collections.abc import Collection, Iterable

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.find import find_units
from tapwear.store.frames import among
from tapwear.store.lean import lean
from tapwear.store.roll import near_roll


def all_tags(connection: Connection) -> list[str]:
    """The tags of all units, in the order in which they came into the register."""
    changer = lean("tap_changer", "id", "tag")
    return [row[0] for row in connection.execute(sa.select(changer.c.tag).order_by(changer.c.id)).all()]


def company_of(connection: Connection, wanted: Iterable[str]) -> list[str]:
    """The units wanted, those that speak for them, and all that ever stood at a station of any of these."""
    mine = set(wanted)
    tags = near_roll(connection, mine).company(mine)
    ids = find_units(connection, tags).values()
    stay, place = lean("stay", "tap_changer_id", "place_id"), lean("place", "id", "station_id")
    changer = lean("tap_changer", "id", "tag")
    stood = sa.select(stay.c.place_id).where(among(stay.c.tap_changer_id, ids))
    stations = sa.select(place.c.station_id).where(place.c.id.in_(stood))
    places = sa.select(place.c.id).where(place.c.station_id.in_(stations))
    near = sa.select(stay.c.tap_changer_id).where(stay.c.place_id.in_(places))
    rows = connection.execute(sa.select(changer.c.tag).where(changer.c.id.in_(near))).all()
    return sorted({*tags, *(row[0] for row in rows)})


def station_codes(connection: Connection) -> set[str]:
    """The codes of all stations."""
    return set(connection.execute(sa.select(lean("station", "code").c.code)).scalars())


def stood_at(connection: Connection, stations: Collection[str]) -> list[str]:
    """Tags of all units that ever stood at one of these stations. stations : codes, in any capitals"""
    folded = {code.casefold() for code in stations}
    codes = [code for code in station_codes(connection) if code.casefold() in folded]
    stay, place = lean("stay", "tap_changer_id", "place_id"), lean("place", "id", "station_id")
    station, changer = lean("station", "id", "code"), lean("tap_changer", "id", "tag")
    mine = sa.select(place.c.id).join_from(place, station, place.c.station_id == station.c.id)
    near = sa.select(stay.c.tap_changer_id).where(stay.c.place_id.in_(mine.where(station.c.code.in_(codes))))
    return sorted(connection.execute(sa.select(changer.c.tag).where(changer.c.id.in_(near))).scalars())
