"""Rows that say a tap changer was moved or swapped: they become stays, in the order of their days."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from sqlalchemy.engine import Connection

from tapwear.store.find import UnitKey
from tapwear.store.importing_types import Refused, Result, remark
from tapwear.store.places import spelled_station
from tapwear.store.recording import Stamp
from tapwear.store.register import move_unit, swap_units
from tapwear.store.stays import StandingRow, standing

_HOW = "keep the book's, or correct it by hand"


def take_move(
    connection: Connection, unit: UnitKey, other: UnitKey | None, given: Mapping[str, Any], stamp: Stamp
) -> Result:
    """Records where the unit went on that day. Raises Refused or UsageError when it cannot have."""
    if "to_station" in given:
        given = {**given, "to_station": spelled_station(connection, given["to_station"])}
    on, state, kind = given["happened_on"], given.get("to_state"), given["kind"]
    there = _stay_on(connection, unit, on)
    if kind == "swapped":
        if other is None:
            raise Refused("other_unit", "nothing", "name the unit that takes its place")
        if there is not None:
            if _stay_on(connection, other, on) is None:
                return _otherwise(unit, on, "other_unit", "no swap with it", other.tag)
            return Result() if state in (None, there.state) else _otherwise(unit, on, "to_state", there.state, state)
        swap_units(connection, unit.tag, other.tag, on, stamp, state=state)
        now = _stay_on(connection, unit, on)
        if now is not None and given.get("to_station") not in (None, now.station):
            found = f"{given['to_station']} was not noted: {unit.tag} is at {now.where} after the swap"
            return Result((remark("to_station", found, "record a move if it stands elsewhere", "note"),), stored=True)
        return Result(stored=True)
    if "to_station" not in given and state is None:
        raise Refused("to_station", "nothing", "say where it went (to_station), or its new state (to_state)")
    if there is None:
        move_unit(
            connection,
            unit.tag,
            on,
            stamp,
            station=given.get("to_station"),
            bank=given.get("to_bank", ""),
            phase=given.get("to_phase", ""),
            state=state,
            sure=True,
        )
        return Result(stored=True)
    for name, have in (
        ("to_station", there.station),
        ("to_bank", there.bank),
        ("to_phase", there.phase),
        ("to_state", there.state),
    ):
        if given.get(name) not in (None, have):
            return _otherwise(unit, on, name, have, given[name])
    return Result()


def _stay_on(connection: Connection, unit: UnitKey, on: date) -> StandingRow | None:
    return next((stay for stay in standing(connection, unit.id) if stay.from_on == on), None)


def _otherwise(unit: UnitKey, on: date, name: str, have: str, here: str) -> Result:
    found = f"{unit.tag} on {on}: {name} {have or 'nothing'} in the book, {here} here"
    return Result((remark(name, found, _HOW, "conflict"),))
