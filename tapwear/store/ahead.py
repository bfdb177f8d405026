"""What lies ahead of a machine's clock: rows dated after its day, as by somebody in another zone, and newer entries."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.lean import is_current, lean
from tapwear.store.places import unit_with

DAYS_OF = {
    "reading": "read_on",
    "sample": "sampled_on",
    "service": "done_on",
    "event": "happened_on",
    "condition": "noted_on",
    "observation": "observed_on",
    "stop": "opened_on",
}
NEWEST = 10_000  # rows of a table that are looked at, since a day's rows are entered on that day: our choice


def newest_entry(connection: Connection) -> datetime | None:
    """When the store's newest entry was recorded, by the clock of whoever did; None where there is none."""
    entry = lean("entry", "id", "recorded_at")
    found: datetime | None = connection.execute(
        sa.select(entry.c.recorded_at).order_by(entry.c.id.desc()).limit(1)
    ).scalar()
    return found


def dated_after(connection: Connection, day: date, tags: Collection[str] | None = None) -> dict[str, list[date]]:
    """The days after `day` of what was done or seen, by table; only about these units (None: about any)."""
    found: dict[str, list[date]] = {}
    for table, name in DAYS_OF.items():
        whose = "counter_id" if table == "reading" else "tap_changer_id"
        rows = lean(table, "id", "supersedes_id", "withdrawn", whose, name)
        last = sa.select(sa.func.max(rows.c.id)).scalar_subquery()
        newest = (rows.c.id > last - NEWEST, rows.c[name] > day, is_current(rows))
        for owner, on in connection.execute(sa.select(rows.c[whose], rows.c[name]).where(*newest)).all():
            if tags is None or _tag(connection, table, owner, on) in tags:
                found.setdefault(table, []).append(on)
    return found


def _tag(connection: Connection, table: str, owner: int, on: date) -> Any:
    if table == "reading":
        counter = lean("counter", "id", "drive_id")
        drive = connection.execute(sa.select(counter.c.drive_id).where(counter.c.id == owner)).scalar_one()
        return unit_with(connection, int(drive), on)[0].tag
    changer = lean("tap_changer", "id", "tag")
    return connection.execute(sa.select(changer.c.tag).where(changer.c.id == owner)).scalar()
