"""Writing rows: what every row of the book carries, and the register's own history of changed fields."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.lean import lean
from tapwear.visits.fields import GASES


@dataclass(frozen=True)
class Stamp:
    """Who records, when (with a time zone), why, and in which import (None: by hand)."""

    by: str
    at: datetime
    reason: str = ""
    import_id: int | None = None


@dataclass(frozen=True)
class Change:
    """One field of one register row, before and after."""

    table: str
    row_id: int
    field: str
    before: Any
    after: Any


# Columns that hold something in every row, with what stands there when nothing is known.
_BLANK: dict[str, dict[str, Any]] = {
    "station": dict.fromkeys(("name", "region", "neighbourhood", "note"), ""),
    "place": {"bank": "", "phase": ""},
    "transformer": {"conservator": "", "note": ""},
    "scheme": {"note": ""},
    "tap_changer": {
        **dict.fromkeys(("technology", "breathing", "peer_group", "oil_group", "visit_cadence", "note"), ""),
        "positions": "",
        "sampling_needs_outage": False,
    },
    "compartment": {"name": ""},
    "drive": {"note": ""},
    "counter": {"source": "mechanical"},
    "service_rule": {"kit": "", "provenance": ""},
    "visit_rule": {"provenance": ""},
    "stay": {"state": "in service"},
    "fitting": {"slot": "1"},
    "reading": {"read_time": "", "reader": "", "doubt": "", "remark": ""},
    "event": {"slot": "", "remark": ""},
    "sample": {
        **dict.fromkeys(("compartment", "compartment_serial", "laboratory", "reference"), ""),
        **dict.fromkeys(("breakdown_method", "remark"), ""),
        "taken_from": "compartment",
        **{f"{gas}_below": False for gas in GASES},
    },
    "service": dict.fromkeys(("resets", "serial_seen", "done_by", "witness", "remark"), ""),
    "followup": {"compartment": "", "place": "", "origin": "hand", "closed_words": ""},
    "observation": dict.fromkeys(("visit_id", "compartment", "words"), ""),
    "condition": {"severe": False, "author": "", "closed_words": ""},
    "stop": dict.fromkeys(("work_engineer", "work_words", "cleared_engineer", "cleared_words"), ""),
    "oil_limit": dict.fromkeys(("group_name", "technology", "breakdown_method"), ""),
    "yearly_closure": {"why": ""},
    "team": {"skills": ""},
    "team_holiday": {"why": ""},
    "outage_terms": dict.fromkeys(("resources", "skill", "approver", "conditions", "pcb"), ""),
    "other_outage": {"who": ""},
    "job_note": dict.fromkeys(("weeks", "status", "person", "words"), ""),
}


def insert(connection: Connection, table: str, **values: Any) -> int:
    """Adds one row and returns its number; columns not given get what stands for "nothing known"."""
    row = _BLANK.get(table, {}) | values
    return int(connection.execute(_insertion(table, tuple(row)), row).scalar_one())


@lru_cache(maxsize=256)
def _insertion(table: str, columns: tuple[str, ...]) -> sa.sql.dml.ReturningInsert[Any]:
    """The statement that adds one row with these columns; building it takes longer than running it."""
    rows = lean(table, "id", *columns)
    return sa.insert(rows).returning(rows.c.id)


def record(connection: Connection, table: str, stamp: Stamp, supersedes_id: int | None = None, **values: Any) -> int:
    """Adds one row of the book; `supersedes_id` names the row that it corrects. Returns its number.

    `values` may hold a `uid`; else the row gets a new one.
    """
    return insert(
        connection,
        table,
        recorded_at=stamp.at,
        recorded_by=stamp.by,
        import_id=stamp.import_id,
        reason=stamp.reason,
        supersedes_id=supersedes_id,
        **({"uid": uuid.uuid4().hex, "withdrawn": False} | values),
    )


def amend(connection: Connection, table: str, row_id: int, values: Mapping[str, Any], stamp: Stamp) -> list[Change]:
    """Writes new values into a register row, and each field that changed into the register's history."""
    if not values:
        return []
    names = list(values)
    rows = lean(table, "id", *names)
    before = connection.execute(sa.select(*(rows.c[name] for name in names)).where(rows.c.id == row_id)).one()
    changes = [
        Change(table, row_id, name, old, values[name])
        for name, old in zip(names, before, strict=True)
        if old != values[name]
    ]
    if changes:
        new = {change.field: change.after for change in changes}
        connection.execute(sa.update(rows).where(rows.c.id == row_id).values(new))
    for change in changes:
        note_change(connection, change, stamp)
    return changes


def note_change(connection: Connection, change: Change, stamp: Stamp) -> None:
    """Writes one change, also the making of a row, into the register's history."""
    insert(
        connection,
        "register_change",
        table_name=change.table,
        row_id=change.row_id,
        field=change.field,
        before=None if change.before is None else str(change.before),
        after=None if change.after is None else str(change.after),
        recorded_at=stamp.at,
        recorded_by=stamp.by,
        reason=stamp.reason,
    )
