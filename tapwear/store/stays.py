"""The stays of one unit in order, with the names of the places."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.lean import is_current, lean


@dataclass(frozen=True)
class StandingRow:
    """One stay: since when (None: always) the unit stands where, in what state, at which transformer."""

    id: int
    from_on: date | None
    state: str
    place_id: int | None
    station_id: int | None
    station: str
    bank: str
    phase: str
    region: str
    transformer_id: int | None
    transformer_serial: str
    conservator: str
    main_tank_volume_l: float | None

    @property
    def where(self) -> str:
        """`NORTH, bank T1, phase A`, or that it stands at no place."""
        if not self.station:
            return "no place"
        parts = [self.station]
        parts += [f"bank {self.bank}"] if self.bank else []
        parts += [f"phase {self.phase}"] if self.phase else []
        return ", ".join(parts)


def standing(connection: Connection, tap_changer_id: int) -> list[StandingRow]:
    """All current stays of a unit, earliest first; where two begin on one day, the one recorded later comes last."""
    stay = lean(
        "stay",
        *("id", "from_on", "state", "place_id", "transformer_id", "tap_changer_id", "supersedes_id", "withdrawn"),
    )
    place = lean("place", "id", "station_id", "bank", "phase")
    station = lean("station", "id", "code", "region")
    transformer = lean("transformer", "id", "serial", "conservator", "main_tank_volume_l")
    rows = connection.execute(
        sa.select(
            stay.c.id,
            stay.c.from_on,
            stay.c.state,
            stay.c.place_id,
            place.c.station_id,
            sa.func.coalesce(station.c.code, ""),
            sa.func.coalesce(place.c.bank, ""),
            sa.func.coalesce(place.c.phase, ""),
            sa.func.coalesce(station.c.region, ""),
            stay.c.transformer_id,
            sa.func.coalesce(transformer.c.serial, ""),
            sa.func.coalesce(transformer.c.conservator, ""),
            transformer.c.main_tank_volume_l,
        )
        .select_from(
            stay.outerjoin(place, stay.c.place_id == place.c.id)
            .outerjoin(station, place.c.station_id == station.c.id)
            .outerjoin(transformer, stay.c.transformer_id == transformer.c.id)
        )
        .where(stay.c.tap_changer_id == tap_changer_id, is_current(stay))
    )
    return sorted((StandingRow(*tuple(row)) for row in rows), key=lambda row: (row.from_on or date.min, row.id))


def standing_now(connection: Connection, tap_changer_id: int) -> StandingRow:
    """The latest stay of a unit; every unit has one from the day it is added."""
    return standing(connection, tap_changer_id)[-1]
