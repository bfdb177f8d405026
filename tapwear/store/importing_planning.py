"""Stores rows of closures, transfer groups and crew weeks; adding the same again changes nothing.

These say what is so now: whoever adds, changes or drops one is written to the register's history.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.importing_types import Refused, Result, remark
from tapwear.store.lean import lean
from tapwear.store.planning_entries import owner_columns, take_entry, take_yearly_closure
from tapwear.store.recording import Change, Stamp, amend, insert, note_change
from tapwear.visits.types import Row
from tapwear.weeks import monday, week_runs


def take_planning_row(connection: Connection, row: Row, stamp: Stamp) -> Result:
    """Stores one row of a planning table. Raises Refused when it cannot be taken."""
    return take_planning(connection, row.table, row.values, stamp)


def take_planning(
    connection: Connection, table: str, given: Mapping[str, Any], stamp: Stamp, *, replace: bool = False
) -> Result:
    """Stores checked fields of one planning table (tapwear.visits.planning), or says why they differ from the store.

    replace : what is there about the same thing gives way, and is kept as history
    Raises Refused, naming the field, when they cannot be taken.
    """
    if table == "closures":
        return _closure(connection, given, stamp)
    if table == "transfer_groups":
        return _member(connection, given, stamp)
    if table == "crews":
        return _crew(connection, given, stamp, replace)
    return take_entry(connection, table, given, stamp, replace=replace)


def _closure(connection: Connection, given: Mapping[str, Any], stamp: Stamp) -> Result:
    station = owner_columns(connection, given, ("station",))["station_id"]
    weeks, dated = given.get("weeks", ""), given.get("from_on") or given.get("to_on")
    if bool(weeks) == bool(dated):
        raise Refused("weeks", "both dates and weeks" if weeks else "neither dates nor weeks", "give one of them")
    if weeks.upper().startswith("W"):
        return take_yearly_closure(connection, given, station, stamp)
    closure = lean("closure", "station_id", "from_on", "to_on", "why")
    stored = False
    for begin, end in _spans(given):
        here = (closure.c.station_id == station, closure.c.from_on == begin, closure.c.to_on == end)
        if connection.execute(sa.select(closure.c.why).where(*here)).first() is None:
            insert(
                connection, "closure", station_id=station, from_on=begin, to_on=end, why=given.get("why", ""),
                recorded_at=stamp.at, recorded_by=stamp.by,
            )  # fmt: skip
            stored = True
    return Result(stored=stored)


def _spans(given: Mapping[str, Any]) -> list[tuple[date, date]]:
    """The days of a closure: from_on to to_on, or whole weeks such as `2027-W20..2027-W36 2027-W50`."""
    begin, end, weeks = given.get("from_on"), given.get("to_on"), given.get("weeks", "")
    if not weeks:
        if begin is None or end is None or end < begin:
            raise Refused("to_on", f"from {begin or 'nothing'} to {end or 'nothing'}", "give both days, in order")
        return [(begin, end)]
    try:
        return [(monday(first), monday(last) + timedelta(days=6)) for first, last in week_runs(weeks)]
    except ValueError as error:
        remedy = "write weeks like 2027-W20..2027-W36, the earlier one first, or W24..W35 for every year"
        raise Refused("weeks", str(error), remedy) from error


def _member(connection: Connection, given: Mapping[str, Any], stamp: Stamp) -> Result:
    owner = owner_columns(connection, given, ("station", "unit"))
    member = lean("transfer_group_member", "id", "group_name", "station_id", "tap_changer_id")
    same = [member.c[name] == value for name, value in owner.items() if value is not None]
    if connection.execute(sa.select(member.c.id).where(member.c.group_name == given["group"], *same)).first():
        return Result()
    made = insert(connection, "transfer_group_member", group_name=given["group"], **owner)
    note_change(connection, Change("transfer_group_member", made, "made", None, given["group"]), stamp)
    return Result(stored=True)


def _crew(connection: Connection, given: Mapping[str, Any], stamp: Stamp, replace: bool) -> Result:
    crew = lean("crew_week", "id", "region", "week", "hours")
    here = (crew.c.region == given["region"], crew.c.week == given["week"])
    there = connection.execute(sa.select(crew.c.id, crew.c.hours).where(*here)).first()
    if there is None:
        insert(connection, "crew_week", region=given["region"], week=given["week"], hours=float(given["hours"]))
        return Result(stored=True)
    if there.hours == given["hours"]:
        return Result()
    if replace:
        amend(connection, "crew_week", there.id, {"hours": float(given["hours"])}, stamp)
        return Result(stored=True)
    found = f"{given['region']} has {there.hours:g} hours in {given['week']}, this row says {given['hours']:g}"
    return Result((remark("hours", found, "keep what is stored, or import a file with one row per week", "conflict"),))


def drop_row(connection: Connection, table: str, number: int, stamp: Stamp) -> None:
    """Takes a row of these three tables out; what it said is kept in the register's history."""
    names = {
        "closure": ("station_id", "from_on", "to_on", "why"),
        "transfer_group_member": ("group_name", "station_id", "tap_changer_id"),
        "crew_week": ("region", "week", "hours"),
    }[table]
    rows = lean(table, "id", *names)
    before = connection.execute(sa.select(*(rows.c[name] for name in names)).where(rows.c.id == number)).one()
    for name, value in zip(names, before, strict=True):
        note_change(connection, Change(table, number, name, value, None), stamp)
    connection.execute(sa.delete(rows).where(rows.c.id == number))
