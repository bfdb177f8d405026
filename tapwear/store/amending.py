"""Corrects or withdraws one row of the book: a new row supersedes it and says who, when and why; nothing is deleted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.clocks import resets_of
from tapwear.store.conditions import condition_columns
from tapwear.store.entries import SAME, event_columns, sample_columns, service_columns
from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean
from tapwear.store.observations import observation_rows
from tapwear.store.recording import Stamp, record
from tapwear.store.resting import former_counter_again, nothing_rests_on
from tapwear.store.trail import TrailRow, row_of
from tapwear.store.validate import checked
from tapwear.visits.fields import CONDITIONS, EVENTS, GASES, READINGS, SAMPLES, SERVICES, TASKS
from tapwear.visits.observations import BY_NAME, OBSERVATIONS
from tapwear.visits.resets import NO_RESETS
from tapwear.visits.specs import FieldSpec, TableSpec
from tapwear.visits.types import Below
from tapwear.words import as_typed

_DEFERRALS = TableSpec(
    "deferrals",
    "tasks put off past their limit",
    (
        FieldSpec("decided_on", "date", "day of the decision", required=True),
        FieldSpec("expires_on", "date", "last day of the deferral", required=True),
        FieldSpec("engineer", "text", "who decided", required=True),
        FieldSpec("reason_given", "text", "why it can wait", required=True),
        FieldSpec("extra_checks", "text", "what is looked at meanwhile", required=True),
    ),
    (),
)
_STAYS = TableSpec("stays", "where it stands", (FieldSpec("from_on", "date", "day on which it came"),), ())
_SPECS = {
    "reading": READINGS,
    "event": EVENTS,
    "sample": SAMPLES,
    "service": SERVICES,
    "condition": CONDITIONS,
    "deferral": _DEFERRALS,
    "stay": _STAYS,
}
# Fields of a table that say whose row it is, or belong to other rows: the row is withdrawn and entered anew instead.
_FIXED = ("unit", "drive", "source", "counter_reading")
_ELSEWHERE = ("to_station", "to_bank", "to_phase", "to_state", "other_unit")


def fields_of(row: TrailRow) -> dict[str, FieldSpec]:
    """What can be corrected in a row, by name; nothing for a kind that can only be withdrawn."""
    if row.kind == "observation":
        specs = [OBSERVATIONS.field("observed_on"), BY_NAME[row.says["quantity"]]]
    else:
        specs = list(_SPECS[row.kind].fields) if row.kind in _SPECS else []
    return {spec.name: spec for spec in specs if spec.name not in (*_FIXED, *_ELSEWHERE)}


def given_of(row: TrailRow) -> dict[str, Any]:
    """What a row says, in the fields in which it is corrected; blank ones are absent."""
    given = {name: row.says[name] for name in fields_of(row) if row.says.get(name) not in (None, "")}
    if row.kind == "observation":
        value = row.says["value"]
        given[row.says["quantity"]] = row.says["words"] if value is None else value
    if row.kind == "sample":
        for gas in GASES:
            if row.says[f"{gas}_below"]:
                given[f"{gas}_ul_per_l"] = Below(row.says[f"{gas}_ul_per_l"])
    if row.kind == "service":
        given["resets"] = resets_of(row.says["resets"], row.says["work"]) or (NO_RESETS,)
    return given


def amend_entry(
    connection: Connection, unit: UnitKey, row: TrailRow, given: Mapping[str, Any], stamp: Stamp, doubt: str = ""
) -> int:
    """Records a corrected copy of a row that stands, and returns its number.

    given : all fields of the corrected row, as `given_of` gives them with the changes in; doubt : of a reading
    Raises UsageError when the row stands no more, when a field does not hold what it should, or when another row of
    the book is about the same thing.
    """
    before = _standing(connection, row)
    columns = _columns(connection, unit, before, given)
    if row.kind == "reading":
        columns["doubt"] = doubt
    _nothing_the_same(connection, before, {**before.says, **columns})
    return record(connection, row.kind, stamp, row.id, **{**before.says, **columns})


def withdraw_entry(connection: Connection, row: TrailRow, stamp: Stamp) -> int:
    """Withdraws a row that stands; returns the number of the row that says so.

    Raises UsageError when the row stands no more, or when later entries rest on it.
    """
    if row.kind == "stop":
        raise UsageError("A stop is not withdrawn: the responsible engineer releases it with tapwear stop release.")
    before = _standing(connection, row)
    nothing_rests_on(connection, before, before.entry)
    number = record(connection, row.kind, stamp, row.id, **{**before.says, "withdrawn": True})
    former_counter_again(connection, before)
    return number


def _standing(connection: Connection, row: TrailRow) -> TrailRow:
    """The row with the columns of its table. Raises UsageError when it was replaced or withdrawn meanwhile."""
    before = row_of(connection, row.kind, row.id)
    if not before.stands:
        raise UsageError(f"{row.name} does not stand any more. What does: tapwear history UNIT")
    return before


def _columns(connection: Connection, unit: UnitKey, before: TrailRow, given: Mapping[str, Any]) -> dict[str, Any]:
    kind = before.kind
    if kind == "observation":
        whose = (str(before.says["compartment"]), str(before.says["visit_id"]))
        rows = observation_rows(connection, unit, given["observed_on"], given, *whose)
        if not rows:
            raise UsageError(f"{before.name} would be empty; to take it back: --withdraw.")
        return rows[0]
    spec = _SPECS[kind]
    checked(spec, {**given, **({"unit": unit.tag} if spec.fields[0].name == "unit" else {})})
    if kind == "sample":
        return sample_columns(unit.id, given)
    if kind == "condition":
        return condition_columns(unit.id, given)
    if kind == "event":
        if given["kind"] in ("moved", "swapped"):
            raise UsageError("A move or swap is recorded with: tapwear unit move, tapwear unit swap.")
        return event_columns(unit.id, given, str(before.says["slot"]))
    if kind == "service":
        unknown = [task for task in given.get("resets", ()) if task not in (*TASKS, NO_RESETS)]
        if unknown:
            raise UsageError(f"resets: there is no task {unknown[0]}; tasks are {', '.join(TASKS)}, or {NO_RESETS}.")
        return service_columns(unit.id, given)
    if kind == "reading":
        _short_enough(connection, unit, int(before.says["counter_id"]), int(given["value"]))
        blank = {"reader": "", "remark": "", "current_a": None, "read_time": ""}
        return {**blank, **given}
    if kind == "deferral" and given["expires_on"] <= given["decided_on"]:
        raise UsageError(f"A deferral decided on {given['decided_on']} cannot end on {given['expires_on']}.")
    if kind == "stay":
        _between_its_neighbours(connection, before, given)
    return {name: given.get(name) for name in fields_of(before)}


def _short_enough(connection: Connection, unit: UnitKey, counter_id: int, value: int) -> None:
    counter = lean("counter", "id", "digits")
    digits = int(connection.execute(sa.select(counter.c.digits).where(counter.c.id == counter_id)).scalar_one())
    if value >= 10**digits:
        raise UsageError(
            f"{unit.tag}: {value} has more digits than the counter, which has {digits}. Check it again; if it has "
            f"more digits: tapwear unit change {as_typed(unit.tag)} --digits N"
        )


def _between_its_neighbours(connection: Connection, row: TrailRow, given: Mapping[str, Any]) -> None:
    """Raises UsageError when a stay would change its place in the order of the unit's stays."""
    from tapwear.store.stays import standing

    own = standing(connection, int(row.says["tap_changer_id"]))
    place = next(number for number, stay in enumerate(own) if stay.id == row.id)
    day = given.get("from_on")
    if place == 0 and day is None:
        return
    before = own[place - 1].from_on if place else None
    after = own[place + 1].from_on if place + 1 < len(own) else None
    if day is None or (before is not None and day <= before) or (after is not None and day >= after):
        raise UsageError(
            f"This stay lies between {before or 'the beginning'} and {after or 'now'}; {day or 'nothing'} is not "
            "between them. Nothing was changed."
        )


def _nothing_the_same(connection: Connection, row: TrailRow, columns: Mapping[str, Any]) -> None:
    """Raises UsageError when another row that stands is about the same thing as the corrected one."""
    same = SAME.get(row.kind, ())
    if not same or all(columns[name] == row.says[name] for name in same):
        return
    rows = lean(row.kind, *dict.fromkeys(("id", "supersedes_id", "withdrawn", *same)))
    other = connection.execute(
        sa.select(rows.c.id).where(is_current(rows), rows.c.id != row.id, *(rows.c[n] == columns[n] for n in same))
    ).scalar()
    if other is not None:
        raise UsageError(
            f"The book has {row_of(connection, row.kind, other).name} about the same thing. Nothing was changed; "
            "correct or withdraw that one first."
        )
