"""Rows of closures, transfer groups and crews: what the plan may use."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.find import find_unit
from tapwear.store.importing_types import Refused, Result, remark
from tapwear.store.lean import lean
from tapwear.store.places import find_station
from tapwear.store.recording import Stamp, insert
from tapwear.visits.types import Row
from tapwear.weeks import monday


def take_planning_row(connection: Connection, row: Row, stamp: Stamp) -> Result:
    """Stores one row of closures, transfer_groups or crews. Raises Refused when it cannot be taken."""
    if row.table == "closures":
        return _closure(connection, row.values, stamp)
    return _member(connection, row.values) if row.table == "transfer_groups" else _crew(connection, row.values)


def _station(connection: Connection, code: str) -> int:
    number = find_station(connection, code)
    if number is None:
        raise Refused("station", f"there is no station {code}", "add it with places or units, or correct the code")
    return number


def _closure(connection: Connection, given: Mapping[str, Any], stamp: Stamp) -> Result:
    station = _station(connection, given["station"])
    spans = _spans(given)
    closure = lean("closure", "station_id", "from_on", "to_on", "why")
    stored = False
    for begin, end in spans:
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
    if bool(weeks) == bool(begin or end):
        raise Refused("weeks", "both dates and weeks" if weeks else "neither dates nor weeks", "give one of them")
    if not weeks:
        if begin is None or end is None or end < begin:
            raise Refused("to_on", f"from {begin or 'nothing'} to {end or 'nothing'}", "give both days, in order")
        return [(begin, end)]
    spans = []
    for part in str(weeks).split():
        first, _, last = part.partition("..")
        try:
            span = monday(first), monday(last or first) + timedelta(days=6)
        except (ValueError, OverflowError) as error:  # OverflowError: the last week of the last year
            raise Refused("weeks", str(error), "write weeks like 2027-W20..2027-W36") from error
        if span[1] < span[0]:
            raise Refused("weeks", f"{part} runs backwards", "write the earlier week first")
        spans.append(span)
    return spans


def _member(connection: Connection, given: Mapping[str, Any]) -> Result:
    code, tag = given.get("station", ""), given.get("unit", "")
    if bool(code) == bool(tag):
        raise Refused("station", "both station and unit" if code else "neither station nor unit", "give one of them")
    owner: dict[str, int | None] = {"station_id": None, "tap_changer_id": None}
    if code:
        owner["station_id"] = _station(connection, code)
    else:
        try:
            owner["tap_changer_id"] = find_unit(connection, tag).id
        except UsageError as error:
            raise Refused("unit", str(error), "add the unit first, or correct the tag") from error
    member = lean("transfer_group_member", "id", "group_name", "station_id", "tap_changer_id")
    same = [member.c[name] == value for name, value in owner.items() if value is not None]
    if connection.execute(sa.select(member.c.id).where(member.c.group_name == given["group"], *same)).first():
        return Result()
    insert(connection, "transfer_group_member", group_name=given["group"], **owner)
    return Result(stored=True)


def _crew(connection: Connection, given: Mapping[str, Any]) -> Result:
    crew = lean("crew_week", "region", "week", "hours")
    here = (crew.c.region == given["region"], crew.c.week == given["week"])
    hours = connection.execute(sa.select(crew.c.hours).where(*here)).scalar()
    if hours is None:
        insert(connection, "crew_week", region=given["region"], week=given["week"], hours=float(given["hours"]))
        return Result(stored=True)
    if hours == given["hours"]:
        return Result()
    found = f"{given['region']} has {hours:g} hours in {given['week']}, this row says {given['hours']:g}"
    return Result((remark("hours", found, "keep what is stored, or import a file with one row per week", "conflict"),))
