"""Loads the book: the current rows of the store as frames, of the whole fleet or of some units."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date
from typing import TYPE_CHECKING

import pandas as pd
import sqlalchemy as sa

from tapwear.store.book import Book, Sites
from tapwear.store.find import find_units
from tapwear.store.frames import Scope, typed
from tapwear.store.load_register import (
    counters_of,
    fittings_of,
    places_of,
    rules_frame,
    spells_of,
    stays_frame,
    units_frame,
    visit_rules_frame,
)
from tapwear.store.load_visits import (
    conditions_frame,
    deferrals_frame,
    events_frames,
    followups_frame,
    limits_frame,
    observations_frame,
    rate_settings_frame,
    readings_frame,
    samples_frame,
    services_frame,
    stops_frame,
)
from tapwear.store.roll import with_homes
from tapwear.store.whereabouts import by_drive

if TYPE_CHECKING:
    from tapwear.store.engine import Store

# SQLite keeps 2 MiB of a file in memory if nothing is said; rows found by index lie all over it. 32 MiB (our choice)
# take a third off the time where readings were recorded day by day.
_CACHE_KIB = 32 * 1024


def load_book(
    store: Store, unit: str | None = None, as_of: date | None = None, *, units: Sequence[str] | None = None
) -> Book:
    """The current rows of the store as frames, as described in tapwear.store.book.

    Parameters
    ----------
    store : an opened store
    unit : tag of one unit; only its rows are read then, however large the fleet is. None: those of `units`
    units : tags of some units, of which alone the rows are read. None: the whole fleet
    as_of : rows dated after this day are left out, and every unit stands where it stood then. None: all rows

    Raises UsageError when there is no unit of a tag, StoreError when the store cannot be read.
    """
    with store.rows() as connection:
        if not store.on_server:
            connection.exec_driver_sql(f"PRAGMA cache_size=-{_CACHE_KIB}")
        wanted = units if unit is None else [unit]
        found = None if wanted is None else find_units(connection, wanted)
        ids = None if found is None else tuple(found.values())
        scope = Scope(connection, ids, as_of)
        places = places_of(scope)
        where = spells_of(scope, places)
        fittings = fittings_of(scope)
        drives = by_drive(fittings)
        counters = counters_of(scope, drives)
        standing = units_frame(scope, places, where, drives, counters)
        standing = with_homes(standing, connection, ids)
        services = services_frame(scope)
        events, oil_events = events_frames(scope, fittings, services)
        stations = set(standing["station"]) if ids is not None else None
        regions = set(standing["region"]) if ids is not None else None
        return Book(
            units=standing,
            rules=rules_frame(scope),
            readings=readings_frame(scope, drives, counters),
            events=events,
            stays=stays_frame(where),
            samples=samples_frame(scope),
            oil_events=oil_events,
            services=services,
            closures=_closures(scope, stations),
            transfer_groups=_transfer_groups(scope, stations),
            crews=_crews(scope, regions),
            conditions=conditions_frame(scope),
            stops=stops_frame(scope),
            limits=limits_frame(scope),
            deferrals=deferrals_frame(scope),
            observations=observations_frame(scope),
            followups=followups_frame(scope),
            visit_rules=visit_rules_frame(scope),
            rate_settings=rate_settings_frame(scope),
        )


def load_sites(store: Store, as_of: date) -> Sites:
    """The part of the book that a plan needs beside the dates, as of a day; nothing of readings and samples."""
    with store.rows() as connection:
        scope = Scope(connection, None, as_of)
        return Sites(_standing(scope), _closures(scope, None), _transfer_groups(scope, None), _crews(scope, None))


def load_units(store: Store, as_of: date, tags: Collection[str] | None = None) -> pd.DataFrame:
    """The units, or some of them, each where it stands on a day, as in Book.units but without home.

    Raises UsageError when there is no unit of a tag.
    """
    with store.rows() as connection:
        ids = None if tags is None else tuple(find_units(connection, tags).values())
        return _standing(Scope(connection, ids, as_of))


def _standing(scope: Scope) -> pd.DataFrame:
    places = places_of(scope)
    drives = by_drive(fittings_of(scope))
    return units_frame(scope, places, spells_of(scope, places), drives, counters_of(scope, drives))


def _closures(scope: Scope, stations: set[str] | None) -> pd.DataFrame:
    closure, station = scope.table("closure"), scope.table("station")
    query = (
        sa.select(station.c.code.label("station"), closure.c.from_on, closure.c.to_on, closure.c.why)
        .join_from(closure, station, closure.c.station_id == station.c.id)
        .order_by(station.c.code, closure.c.from_on, closure.c.id)
    )
    if stations is not None:
        query = query.where(station.c.code.in_(sorted(stations)))
    return typed(scope.frame(query), dates=["from_on", "to_on"], texts=["station", "why"])


def _transfer_groups(scope: Scope, stations: set[str] | None) -> pd.DataFrame:
    member, station, changer = scope.table("transfer_group_member"), scope.table("station"), scope.table("tap_changer")
    query = (
        sa.select(member.c.group_name.label("group"), station.c.code.label("station"), changer.c.tag.label("unit"))
        .join_from(member, station, member.c.station_id == station.c.id, isouter=True)
        .join(changer, member.c.tap_changer_id == changer.c.id, isouter=True)
        .order_by(member.c.group_name, sa.func.coalesce(station.c.code, ""), sa.func.coalesce(changer.c.tag, ""))
    )
    if stations is not None:
        query = query.where(sa.or_(station.c.code.in_(sorted(stations)), *scope.of_units(member.c.tap_changer_id)))
    return typed(scope.frame(query), texts=["group", "station", "unit"])


def _crews(scope: Scope, regions: set[str] | None) -> pd.DataFrame:
    crew = scope.table("crew_week")
    query = sa.select(crew.c.region, crew.c.week, crew.c.hours).order_by(crew.c.region, crew.c.week)
    if regions is not None:
        query = query.where(crew.c.region.in_(sorted(regions)))
    return typed(scope.frame(query), floats=["hours"], texts=["region", "week"])
