"""Takes a person's last entry back: whatever was recorded at one moment, as one; the book keeps it and the taking back.

Undoing a new row records its withdrawal; undoing a correction or a withdrawal records once more what stood before.
Rows recorded by an undo carry `UNDONE` before their reason, so that a second undo goes one entry further back.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.lean import lean
from tapwear.store.recording import Stamp, record
from tapwear.store.resting import former_counter_again, nothing_rests_on
from tapwear.store.trail import TrailRow, book_tables, row_of, rows_at

UNDONE = "undone: "
NEVER_UNDONE = ("stop",)  # a stop and its release: only an engineer ends the one, and the other stays on record
LOOKED_BACK = 100  # a person's entries among which the last one is looked for; our choice


@dataclass(frozen=True)
class LastEntry:
    """What one person recorded at one moment: rows of one entry, and of each the row that stands for it now."""

    by: str
    at: datetime
    rows: tuple[TrailRow, ...]
    stand: tuple[TrailRow, ...]


def last_entry(connection: Connection, by: str) -> LastEntry:
    """The last entry of that person that is not undone yet.

    Raises UsageError when there is none, when it came by an import, or when later entries rest on it.
    """
    for at in _moments(connection, by):
        rows = tuple(row for row in rows_at(connection, by, at) if row.kind not in NEVER_UNDONE)
        if all(_undone(connection, row) for row in rows):
            continue
        if rows[0].import_id is not None:
            raise UsageError(
                f"The last entry of {by} was an import of {len(rows):,} rows (number {rows[0].import_id}); it is not "
                "undone as a whole. Correct or withdraw single rows with: tapwear amend --help"
            )
        return LastEntry(by, at, rows, tuple(_standing_for(connection, row) for row in rows))
    raise UsageError(
        f"The book has no entry by {by} that could be undone. Another name is given with --by; who recorded what: "
        "tapwear history UNIT"
    )


def register_changed_since(connection: Connection, entry: LastEntry) -> bool:
    """Whether that person changed the register after the entry: such a change is no entry, and not undone."""
    change = lean("register_change", "id", "recorded_at", "recorded_by")
    later = sa.select(change.c.id).where(change.c.recorded_by == entry.by, change.c.recorded_at > entry.at).limit(1)
    return connection.execute(later).first() is not None


def undo(connection: Connection, entry: LastEntry, stamp: Stamp) -> None:
    """Takes the entry back, for the reason in the stamp. In the transaction it must still be the person's last.

    Raises UsageError when it is not, or when something rests on it by now.
    """
    if last_entry(connection, entry.by).at != entry.at:
        raise UsageError(f"{entry.by} has recorded something else meanwhile; nothing was changed. Try again.")
    for row in entry.stand:
        nothing_rests_on(connection, row, entry.at)
    told = Stamp(stamp.by, stamp.at, UNDONE + stamp.reason)
    for first, now in zip(entry.rows, entry.stand, strict=True):
        if first.supersedes_id is None:
            record(connection, now.kind, told, now.id, **{**now.says, "withdrawn": True})
            former_counter_again(connection, now)
        else:
            before = row_of(connection, first.kind, first.supersedes_id)
            record(connection, now.kind, told, now.id, **{**before.says, "withdrawn": before.withdrawn})


def _moments(connection: Connection, by: str) -> list[datetime]:
    """When the person recorded something, newest first, without what an undo recorded."""
    found: set[datetime] = set()
    for table in book_tables(connection):
        rows = lean(table, "recorded_at", "recorded_by", "reason")
        query = (
            sa.select(rows.c.recorded_at)
            .where(rows.c.recorded_by == by, ~rows.c.reason.startswith(UNDONE, autoescape=True))
            .distinct()
            .order_by(rows.c.recorded_at.desc())
            .limit(LOOKED_BACK)
        )
        found |= set(connection.execute(query).scalars())
    return sorted(found, reverse=True)[:LOOKED_BACK]


def _undone(connection: Connection, row: TrailRow) -> bool:
    """Whether the row was taken back by an undo, and not put into force again since."""
    return _after_undos(connection, row) is None


def _standing_for(connection: Connection, row: TrailRow) -> TrailRow:
    """The row that stands for this one now: itself, or its copy where what corrected it was undone.

    Raises UsageError when it was corrected or withdrawn by somebody since.
    """
    found = _after_undos(connection, row)
    if found is None or found.replaced_by is None:
        return found or row
    later = row_of(connection, found.kind, found.replaced_by)
    what = "withdrawn" if later.withdrawn else "corrected"
    raise UsageError(
        f"{row.name} was {what} since, by {later.recorded_by} on {later.recorded_at:%Y-%m-%d}; the entry cannot be "
        f"undone under it. Nothing was changed. Correct the row as it stands: tapwear amend --help"
    )


def _after_undos(connection: Connection, row: TrailRow) -> TrailRow | None:
    """The row or its latest copy by an undo; None where the row itself was undone."""
    while row.replaced_by is not None:
        later = row_of(connection, row.kind, row.replaced_by)
        if later.reason.startswith(UNDONE):
            return None
        if later.replaced_by is None:
            return row
        copy = row_of(connection, row.kind, later.replaced_by)
        if not copy.reason.startswith(UNDONE):
            return row
        row = copy
    return row
