"""Writing rows: what every row of the book carries, and the register's own history of changed fields."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.lean import lean
from tapwear.visits.fields import GASES


@dataclass(frozen=True)
class Stamp:
    """Who records, when (with a time zone), why, and in which import (None: by hand).

    undoes : number of the entry that is taken back. uid : the identity of the entry that all rows with this stamp
        make; `dataclasses.replace` keeps it
    """

    by: str
    at: datetime
    reason: str = ""
    import_id: int | None = None
    undoes: int | None = None
    uid: str = field(default_factory=lambda: uuid.uuid4().hex, compare=False)


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
    number = insert(
        connection,
        table,
        recorded_at=stamp.at,
        recorded_by=stamp.by,
        import_id=stamp.import_id,
        reason=stamp.reason,
        supersedes_id=supersedes_id,
        **({"uid": uuid.uuid4().hex, "withdrawn": False} | values),
    )
    enter_row(connection, table, number, stamp)
    return number


def enter_row(connection: Connection, table: str, number: int, stamp: Stamp) -> None:
    """Notes that a row belongs to the entry of that stamp, which is made with its first row."""
    entry = entry_of(connection, stamp)
    if stamp.import_id is None:
        connection.execute(_LINK, {"entry_id": entry, "table_name": table, "row_id": number})


def entry_of(connection: Connection, stamp: Stamp) -> int:
    """The number of the stamp's entry. Imports make theirs before any savepoint, since it is remembered here."""
    known: dict[str, int] = connection.info.setdefault("entries", {})
    if stamp.uid not in known:
        mine = _ENTRY.c.uid == stamp.uid if stamp.import_id is None else _ENTRY.c.import_id == stamp.import_id
        found = connection.execute(sa.select(_ENTRY.c.id).where(mine)).scalar()
        known[stamp.uid] = int(found) if found is not None else insert(
            connection, "entry", uid=stamp.uid, recorded_at=stamp.at, recorded_by=stamp.by, database_user="",
            import_id=stamp.import_id, undoes_id=stamp.undoes,
        )  # fmt: skip
    return known[stamp.uid]


_ENTRY = lean("entry", "id", "uid", "recorded_at", "recorded_by", "import_id", "undoes_id")
_LINK = sa.insert(lean("entry_row", "entry_id", "table_name", "row_id"))


def entry_number(table: str, rows: Any) -> sa.ColumnElement[Any]:
    """SQL for the number of the entry that made a row: later entries have higher ones. `rows`: with id, import_id."""
    link, entry = lean("entry_row", "entry_id", "table_name", "row_id"), lean("entry", "id", "import_id")
    by_hand = sa.select(link.c.entry_id).where(link.c.table_name == table, link.c.row_id == rows.c.id)
    by_import = sa.select(entry.c.id).where(entry.c.import_id == rows.c.import_id)
    return sa.func.coalesce(by_hand.correlate(rows).scalar_subquery(), by_import.correlate(rows).scalar_subquery(), 0)


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
    number = insert(
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
    enter_row(connection, "register_change", number, stamp)
