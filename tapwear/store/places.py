"""Stations, places, transformers and drives: found by their names, or made."""

from __future__ import annotations

from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.find import UnitKey, near_names, number_of
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import Change, Stamp, insert, note_change, record

OF_TRANSFORMER = ("conservator", "main_tank_volume_l")  # columns of a transformer among the fields of a unit
MISSPELLED = 0.75  # codes as alike as this (difflib) are asked back about: our choice


def find_station(connection: Connection, code: str) -> int | None:
    """The row number of the station with that code, or None."""
    return number_of(connection, "station", "code", code)


def spelled_station(connection: Connection, code: str) -> str:
    """The code as the register has it, where capital letters alone tell it from one station's; else as it is."""
    station = lean("station", "code")
    codes = list(connection.execute(sa.select(station.c.code)).scalars())
    alike = [str(known) for known in codes if known.casefold() == code.strip().casefold()]
    return alike[0] if len(alike) == 1 and code not in codes else code


def add_station(connection: Connection, code: str, stamp: Stamp, *, sure: bool = False, **fields: Any) -> int:
    """The station with that code, made where there is none; `fields`: name, region, neighbourhood, note.

    Raises UsageError when there is none and another code comes near, unless `sure`: a slip of the pen must not
    found a second station.
    """
    number = find_station(connection, code if sure else spelled_station(connection, code))
    if number is not None:
        return number
    if not code:
        raise UsageError("A station needs a code.")
    station = lean("station", "code")
    codes = [] if sure else list(connection.execute(sa.select(station.c.code)).scalars())
    near = [one for one in near_names(code, codes, MISSPELLED) if _figures(one) == _figures(code)]
    if near:
        raise UsageError(
            f"There is no station {code}. Did you mean {' or '.join(near)}? For a new station add --new-station."
        )
    number = insert(connection, "station", code=code, **fields)
    note_change(connection, Change("station", number, "made", None, code), stamp)
    return number


def _figures(code: str) -> str:
    """The digits of a code: S1 and S2 are two stations, not one misspelled."""
    return "".join(char for char in code if char.isdigit())


def place_at(connection: Connection, station_id: int, bank: str, phase: str) -> int:
    """The row number of that place, made where there is none."""
    place = lean("place", "id", "station_id", "bank", "phase")
    number = connection.execute(
        sa.select(place.c.id).where(place.c.station_id == station_id, place.c.bank == bank, place.c.phase == phase)
    ).scalar()
    return insert(connection, "place", station_id=station_id, bank=bank, phase=phase) if number is None else int(number)


def transformer_of(connection: Connection, serial: str) -> int:
    """The row number of the transformer with that serial number, made where there is none."""
    number = number_of(connection, "transformer", "serial", serial)
    return insert(connection, "transformer", serial=serial) if number is None else number


def scheme_of(connection: Connection, name: str) -> int:
    """The row number of the scheme of that name, made where there is none."""
    number = number_of(connection, "scheme", "name", name)
    return insert(connection, "scheme", name=name) if number is None else number


def drives_of(connection: Connection, tap_changer_id: int, on: date | None = None) -> dict[str, int]:
    """The drives on a tap changer on that day (None: now), by slot; drives fitted later count where there were none."""
    fitting = lean("fitting", "id", "drive_id", "tap_changer_id", "slot", "from_on", "supersedes_id", "withdrawn")
    mine = sa.select(fitting.c.drive_id).where(fitting.c.tap_changer_id == tap_changer_id)
    rows = connection.execute(
        sa.select(fitting.c.id, fitting.c.drive_id, fitting.c.tap_changer_id, fitting.c.slot, fitting.c.from_on).where(
            is_current(fitting), fitting.c.drive_id.in_(mine)
        )
    ).all()
    held: dict[str, int] = {}
    where: dict[int, str] = {}
    for row in sorted(rows, key=lambda row: (row.from_on or date.min, row.id)):
        begun = on is None or row.from_on is None or row.from_on <= on
        old = where.pop(row.drive_id, None) if begun else None
        if old is not None and held.get(old) == row.drive_id:
            del held[old]
        if row.tap_changer_id == tap_changer_id and (begun or row.slot not in held):
            held[row.slot] = row.drive_id
            where[row.drive_id] = row.slot
    return held


def unit_with(connection: Connection, drive: int, on: date) -> tuple[UnitKey, str]:
    """The unit and slot in which a drive sat on that day, or sits first where it sat in none then."""
    fitting = lean("fitting", "id", "drive_id", "tap_changer_id", "slot", "from_on", "supersedes_id", "withdrawn")
    changer = lean("tap_changer", "id", "tag")
    rows = connection.execute(
        sa.select(changer.c.id, changer.c.tag, fitting.c.slot, fitting.c.from_on)
        .join_from(fitting, changer, fitting.c.tap_changer_id == changer.c.id)
        .where(fitting.c.drive_id == drive, is_current(fitting))
    ).all()
    fitted = sorted(rows, key=lambda row: row.from_on or date.min)
    begun = [row for row in fitted if row.from_on is None or row.from_on <= on]
    row = begun[-1] if begun else fitted[0]
    return UnitKey(row.id, row.tag), row.slot


def add_drive(connection: Connection, tap_changer_id: int, slot: str, digits: int, stamp: Stamp) -> int:
    """A new drive with a mechanical counter in that slot of the tap changer, since always. Returns its row number."""
    drive = insert(connection, "drive", serial=None)
    insert(connection, "counter", drive_id=drive, source="mechanical", digits=digits)
    record(connection, "fitting", stamp, drive_id=drive, tap_changer_id=tap_changer_id, slot=slot)
    return drive
