"""Stops: opened by whatever is severe, shown to whoever touches the unit, ended by a named engineer only.

A row of the book is one stop; releasing it for work and clearing it are rows that supersede it. `undo`, `amend` and
imports leave these rows alone, so nothing that is recorded later takes a stop away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.entries import STOP_COLUMNS, columns_of
from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import Stamp, record
from tapwear.words import STOP_CAUSES, as_typed


@dataclass(frozen=True)
class StopRow:
    """One stop as the book has it now.

    opened_on : day of what raised it (a sample's, a visit's); words : the evidence, as a sentence
    work_... : release for work on the unit de-energised, from work_from_on; None: not given
    cleared_on : None: it stands
    """

    id: int
    unit: str
    opened_on: date
    cause: str
    words: str
    work_released_on: date | None
    work_from_on: date | None
    work_engineer: str
    work_words: str
    cleared_on: date | None
    cleared_engineer: str
    cleared_words: str
    recorded_at: datetime

    @property
    def sentence(self) -> str:
        """`since 2026-05-26, oil results: ethylene rose ...`."""
        return f"since {self.opened_on}, {STOP_CAUSES[self.cause]}: {self.words}"

    def state(self, on: date) -> str:
        """`stands`, `released for work from 2026-07-02` or `cleared`, as of a day."""
        if self.cleared_on is not None and self.cleared_on <= on:
            return "cleared"
        if self.work_released_on is not None and self.work_released_on <= on:
            return f"released for work from {self.work_from_on}"
        return "stands"


@dataclass(frozen=True)
class Severe:
    """What raises a stop: the day it was seen, why (a key of STOP_CAUSES), in words, and when it was recorded (None:
    now)."""

    unit: str
    on: date
    cause: str
    words: str
    recorded_at: datetime | None = None


def list_stops(connection: Connection, unit: UnitKey | None = None) -> list[StopRow]:
    """The stops of a unit or of all, cleared ones too, by unit and day."""
    stop = lean("stop", "id", "supersedes_id", "withdrawn", "recorded_at", *STOP_COLUMNS)
    changer = lean("tap_changer", "id", "tag")
    query = (
        sa.select(stop.c.id, changer.c.tag, *(stop.c[name] for name in STOP_COLUMNS[1:]), stop.c.recorded_at)
        .join_from(stop, changer, stop.c.tap_changer_id == changer.c.id)
        .where(is_current(stop))
        .order_by(changer.c.tag, stop.c.opened_on, stop.c.id)
    )
    if unit is not None:
        query = query.where(stop.c.tap_changer_id == unit.id)
    return [StopRow(*tuple(row)) for row in connection.execute(query)]


def open_stops(connection: Connection, unit: UnitKey | None = None) -> list[StopRow]:
    """Those that are not cleared, whatever their day."""
    return [row for row in list_stops(connection, unit) if row.cleared_on is None]


def open_stop(connection: Connection, unit: UnitKey, found: Severe, stamp: Stamp) -> int | None:
    """Opens a stop for what was found, and returns its number; None where there is no need to.

    There is none where one of the same cause is open already, or where the engineer who ended the last one of the
    unit had this before him: what was recorded before a clearing raises nothing anew.
    """
    mine = list_stops(connection, unit)
    if any(row.cleared_on is None and row.cause == found.cause for row in mine):
        return None
    cleared = [row.recorded_at for row in mine if row.cleared_on is not None]
    if found.recorded_at is not None and cleared and found.recorded_at <= max(cleared):
        return None
    return record(
        connection,
        "stop",
        stamp,
        tap_changer_id=unit.id,
        opened_on=found.on,
        cause=found.cause,
        words=found.words,
        work_released_on=None,
        work_from_on=None,
        cleared_on=None,
    )


def release_stops(
    connection: Connection, unit: UnitKey, on: date, engineer: str, words: str, stamp: Stamp, work_from: date | None
) -> list[StopRow]:
    """An engineer ends what is open at the unit: clears it, or with `work_from` releases it for work de-energised from
    that day, the stop standing for everything else. Returns the rows as they were.

    Raises UsageError where nothing is open, where name or reason are blank, or for days out of order.
    """
    for what, text in (("engineer's name (--by)", engineer), ("reason (--because)", words)):
        if not text.strip():
            raise UsageError(f"A release needs the {what}; nothing was changed.")
    rows = open_stops(connection, unit)
    if not rows:
        raise UsageError(f"{unit.tag} has no stop that stands. All of them: tapwear stop show {as_typed(unit.tag)}")
    first = max(row.opened_on for row in rows)
    if on < first:
        raise UsageError(f"{unit.tag} was stopped on {first}; it cannot be released on {on}, before that.")
    if work_from is not None and work_from < on:
        raise UsageError(f"Work cannot begin on {work_from}, before the release of {on}.")
    given: dict[str, object] = {"cleared_on": on, "cleared_engineer": engineer.strip(), "cleared_words": words.strip()}
    if work_from is not None:
        given = {
            "work_released_on": on,
            "work_from_on": work_from,
            "work_engineer": engineer.strip(),
            "work_words": words.strip(),
        }
    for row in rows:
        record(connection, "stop", stamp, row.id, **{**columns_of(connection, "stop", row.id), **given})
    return rows


def recorded_when(connection: Connection, unit: UnitKey, table: str, day_column: str, on: date) -> datetime | None:
    """When the newest row of that table about the unit and day was recorded."""
    rows = lean(table, "id", "supersedes_id", "withdrawn", "tap_changer_id", "recorded_at", day_column)
    query = sa.select(sa.func.max(rows.c.recorded_at)).where(
        rows.c.tap_changer_id == unit.id, rows.c[day_column] == on, is_current(rows)
    )
    found: datetime | None = connection.execute(query).scalar()
    return found


def stopped_tags(connection: Connection) -> dict[str, list[StopRow]]:
    """The open stops by unit."""
    found: dict[str, list[StopRow]] = {}
    for row in open_stops(connection):
        found.setdefault(row.unit, []).append(row)
    return found


def tags_of_import(connection: Connection, number: int, tables: Sequence[str]) -> list[str]:
    """The units of which an import brought rows of these tables."""
    changer = lean("tap_changer", "id", "tag")
    found: set[str] = set()
    for table in tables:
        rows = lean(table, "id", "tap_changer_id", "import_id")
        query = (
            sa.select(changer.c.tag)
            .join_from(rows, changer, rows.c.tap_changer_id == changer.c.id)
            .where(rows.c.import_id == number)
            .distinct()
        )
        found |= set(connection.execute(query).scalars())
    return sorted(found)
