"""What stations and crews allow and what is decided about single jobs, as rows; numbered, so that one can be dropped.

Light, without the models and without frames: these tables are short.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.clocks import resets_of
from tapwear.store.entries import withdraw
from tapwear.store.importing_planning import drop_row
from tapwear.store.lean import is_current, lean
from tapwear.store.planning_tables import COSTS
from tapwear.store.recording import Stamp, record

# Kind of input, as people name it when they drop one -> (table, what is read from it).
KINDS: dict[str, tuple[str, tuple[str, ...]]] = {
    "closure": ("closure", ("from_on", "to_on", "why")),
    "yearly closure": ("yearly_closure", ("from_week", "to_week", "why")),
    "transfer group": ("transfer_group_member", ("group_name",)),
    "crew": ("crew_week", ("region", "week", "hours")),
    "team": ("team", ("team", "region", "hours_per_week", "skills")),
    "holiday": ("team_holiday", ("team", "from_on", "to_on", "why")),
    "resource": ("resource", ("resource", "number", "from_on", "to_on")),
    "terms": (
        "outage_terms",
        (
            *("permit_weeks", "recall_hours", "resources", "skill", "consequence", "exchanged", "approver"),
            *("conditions", "pcb"),
        ),
    ),
    "other outage": ("other_outage", ("from_on", "to_on", "what", "who")),
    "note": ("job_note", ("kind", "weeks", "status", "happened_on", "person", "words")),
}
_OWNERS = {
    "closure": ("station",),
    "yearly_closure": ("station",),
    "transfer_group_member": ("station", "unit"),
    "outage_terms": ("station", "scheme", "unit"),
    "other_outage": ("station", "unit"),
    "job_note": ("unit",),
}
_LISTS = ("skills", "resources")
_REGISTER = ("closure", "transfer_group_member", "crew_week")  # kept by the register's history


def list_planning(connection: Connection, kind: str) -> list[dict[str, Any]]:
    """The current rows of one kind, in the order in which they were stored.

    Each says its row_id, whom it is for, what it says, and recorded_on and recorded_by where that is kept with the
    row. Lists come as tuples, what is not given as None or "".
    """
    table, names = KINDS[kind]
    stamped = () if table in ("transfer_group_member", "crew_week") else ("recorded_at", "recorded_by")
    owners = {"station": ("station", "code", "station_id"), "scheme": ("scheme", "name", "scheme_id")}
    owners["unit"] = ("tap_changer", "tag", "tap_changer_id")
    mine = [owners[owner] for owner in _OWNERS.get(table, ())]
    entry = () if table in _REGISTER else ("supersedes_id", "withdrawn")
    rows = lean(table, "id", *entry, *names, *stamped, *(key for _, _, key in mine))
    source: Any = rows
    chosen = [rows.c.id.label("row_id")]
    for owner, (other, label, key) in zip(_OWNERS.get(table, ()), mine, strict=True):
        of = lean(other, "id", label).alias(f"of_{owner}")
        source = source.outerjoin(of, rows.c[key] == of.c.id)
        chosen.append(of.c[label].label(owner))
    query = sa.select(*chosen, *(rows.c[name] for name in (*names, *stamped))).select_from(source).order_by(rows.c.id)
    if entry:
        query = query.where(is_current(rows))
    return [_row(dict(found)) for found in connection.execute(query).mappings()]


def _row(row: dict[str, Any]) -> dict[str, Any]:
    at = row.pop("recorded_at", None)
    if at is not None:
        row["recorded_on"] = at.date()
    for name in _LISTS:
        if name in row:
            row[name] = tuple(part for part in str(row[name]).split(";") if part)
    return {("group" if name == "group_name" else name): value for name, value in row.items()}


def load_planning(connection: Connection, as_of: date) -> dict[str, tuple[dict[str, Any], ...]]:
    """All kinds but closures, transfer groups and crews, which the book has. Notes that happened after `as_of` are left
    out; the rest holds whatever the day, like intervals."""
    kinds = [kind for kind, (table, _) in KINDS.items() if table not in _REGISTER]
    found = {kind: tuple(list_planning(connection, kind)) for kind in kinds}
    found["note"] = tuple(row for row in found["note"] if row["happened_on"] is None or row["happened_on"] <= as_of)
    return found


def services_since(connection: Connection, after: date) -> dict[str, list[tuple[date, tuple[str, ...]]]]:
    """Services done after a day, by unit: the day, and the tasks whose clock they started again."""
    service = lean("service", "id", "supersedes_id", "withdrawn", "tap_changer_id", "done_on", "work", "resets")
    changer = lean("tap_changer", "id", "tag")
    query = (
        sa.select(changer.c.tag, service.c.done_on, service.c.resets, service.c.work)
        .join_from(service, changer, service.c.tap_changer_id == changer.c.id)
        .where(is_current(service), service.c.done_on > after)
        .order_by(service.c.done_on, service.c.id)
    )
    found: dict[str, list[tuple[date, tuple[str, ...]]]] = {}
    for tag, day, resets, work in connection.execute(query):
        found.setdefault(tag, []).append((day, resets_of(resets, work)))
    return found


def drop_planning(connection: Connection, kind: str, number: int, stamp: Stamp) -> dict[str, Any]:
    """Takes one row back and returns what it said; it stays in the history. Raises UsageError for none such."""
    if kind not in KINDS:
        raise UsageError(f"There is no kind {kind!r}; one of: {', '.join(KINDS)}.")
    row = next((row for row in list_planning(connection, kind) if row["row_id"] == number), None)
    if row is None:
        raise UsageError(f"There is no {kind} number {number}. All: tapwear plan input list")
    table = KINDS[kind][0]
    if table in _REGISTER:
        drop_row(connection, table, number, stamp)
    else:
        withdraw(connection, table, number, stamp)
    return row


def drop_notes(connection: Connection, tag: str, kind: str, stamp: Stamp, weeks: str | None = None) -> list[str]:
    """Takes back the notes of one kind about a unit (only those of `weeks`, where given); returns their weeks."""
    mine = [
        row
        for row in list_planning(connection, "note")
        if row["unit"] == tag and row["kind"] == kind and weeks in (None, row["weeks"])
    ]
    for row in mine:
        withdraw(connection, "job_note", row["row_id"], stamp)
    return [row["weeks"] for row in mine]


@dataclass(frozen=True)
class CostRow:
    """What a plan costs, as stated by somebody on a day; the first five are those of tapwear.plan.types.Costs."""

    late: float
    early: float
    trip: float
    unplaced: float
    move: float
    stated_on: date
    stated_by: str
    reason: str


def stated_costs(connection: Connection) -> list[CostRow]:
    """All costs that were ever stated, the newest last; that one counts. None: nobody has changed what ships."""
    rows = lean("plan_cost", "id", "supersedes_id", "withdrawn", "recorded_at", "recorded_by", "reason", *COSTS)
    names = (*COSTS, "recorded_at", "recorded_by", "reason")
    query = sa.select(*(rows.c[name] for name in names)).where(rows.c.withdrawn == sa.false()).order_by(rows.c.id)
    return [
        CostRow(late, early, trip, unplaced, move, at.date(), by, reason)
        for late, early, trip, unplaced, move, at, by, reason in connection.execute(query)
    ]


def state_costs(
    connection: Connection, changes: Mapping[str, float], shipped: Mapping[str, float], stamp: Stamp
) -> None:
    """From now on a plan costs this; the former costs are kept.

    changes : of late, early, trip, unplaced, move those that change; the others stay as stated last, else as shipped
    Raises UsageError for what is no cost.
    """
    for name, value in changes.items():
        if not 0 <= value < math.inf:
            raise UsageError(f"The cost of {name} is a number from 0 on, found {value:g}. Nothing was changed.")
    stated = stated_costs(connection)
    present = dict(zip(shipped, dataclasses.astuple(stated[-1]), strict=False)) if stated else dict(shipped)
    values: dict[str, Any] = {f"{name}_cost": float(value) for name, value in (present | dict(changes)).items()}
    if not stated or values != {f"{name}_cost": present[name] for name in shipped}:  # else it is stated already
        record(connection, "plan_cost", stamp, **values)

