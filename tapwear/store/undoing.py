"""Takes a person's last entry back: whatever one command recorded, as one; the book keeps it and the taking back.

Undoing a new row records its withdrawal; undoing a correction or a withdrawal records once more what stood before.
An undo is an entry that names the one it takes back, so that a second undo goes one entry further back. Which entry is
the last is told by the store's own numbers, never by a clock.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.lean import lean
from tapwear.store.recording import Stamp, record
from tapwear.store.resting import former_counter_again, nothing_rests_on
from tapwear.store.trail import TrailRow, book_tables, row_of, rows_of_entry

UNDONE = "undone: "  # before the reason of an undo, for whoever reads it
NEVER_UNDONE = ("stop",)  # a stop and its release: only an engineer ends the one, and the other stays on record
LOOKED_BACK = 100  # a person's entries among which the last one is looked for; our choice


@dataclass(frozen=True)
class LastEntry:
    """What one person recorded as one: rows of one entry, and of each the row that stands for it now."""

    number: int
    by: str
    at: datetime
    rows: tuple[TrailRow, ...]
    stand: tuple[TrailRow, ...]


_ENTRY = lean("entry", "id", "recorded_at", "recorded_by", "import_id", "undoes_id")


def last_entry(connection: Connection, by: str) -> LastEntry:
    """The last entry of that person that is not undone yet.

    Raises UsageError when there is none, when it came by an import, or when later entries rest on it.
    """
    c = _ENTRY.c
    mine = sa.select(c.id, c.recorded_at, c.import_id).where(c.recorded_by == by, c.undoes_id.is_(None))
    for number, at, import_id in connection.execute(mine.order_by(c.id.desc()).limit(LOOKED_BACK)).all():
        if import_id is not None:
            count = _imported(connection, import_id)
            if not count:
                continue
            raise UsageError(
                f"The last entry of {by} was an import of {count:,} rows (number {import_id}); it is not "
                "undone as a whole. Correct or withdraw single rows with: tapwear amend --help"
            )
        rows = tuple(row for row in rows_of_entry(connection, number) if row.kind not in NEVER_UNDONE)
        if not all(_undone(connection, row) for row in rows):
            return LastEntry(number, by, at, rows, tuple(_standing_for(connection, row) for row in rows))
    raise UsageError(
        f"The book has no entry by {by} that could be undone. Another name is given with --by; who recorded what: "
        "tapwear history UNIT"
    )


def _imported(connection: Connection, import_id: int) -> int:
    """How many rows of the book an import brought."""
    count = 0
    for table in book_tables(connection):
        rows = lean(table, "import_id")
        query = sa.select(sa.func.count()).select_from(rows).where(rows.c.import_id == import_id)
        count += int(connection.execute(query).scalar_one())
    return count


def undone_just_now(connection: Connection, by: str, reason: str) -> LastEntry | None:
    """The entry that this person took back last, for the same reason, and recorded nothing since: the same command
    given again, as after an answer that was lost. None where it is not so."""
    c = _ENTRY.c
    newest = connection.execute(
        sa.select(c.id, c.undoes_id).where(c.recorded_by == by).order_by(c.id.desc()).limit(1)
    ).first()
    if newest is None or newest.undoes_id is None:
        return None
    if any(row.reason != UNDONE + reason for row in rows_of_entry(connection, newest.id)):
        return None
    at = connection.execute(sa.select(c.recorded_at).where(c.id == newest.undoes_id)).scalar_one()
    rows = tuple(rows_of_entry(connection, newest.undoes_id))
    return LastEntry(newest.undoes_id, by, at, rows, ())


def register_changed_since(connection: Connection, entry: LastEntry) -> bool:
    """Whether that person changed the register after the entry: such a change is no entry, and not undone."""
    link = lean("entry_row", "entry_id", "table_name")
    later = (
        sa.select(_ENTRY.c.id)
        .join_from(_ENTRY, link, link.c.entry_id == _ENTRY.c.id)
        .where(_ENTRY.c.recorded_by == entry.by, _ENTRY.c.id > entry.number, link.c.table_name == "register_change")
        .limit(1)
    )
    return connection.execute(later).first() is not None


def undo(connection: Connection, entry: LastEntry, stamp: Stamp) -> None:
    """Takes the entry back, for the reason in the stamp. In the transaction it must still be the person's last.

    Raises UsageError when it is not, or when something rests on it by now.
    """
    if last_entry(connection, entry.by).number != entry.number:
        raise UsageError(f"{entry.by} has recorded something else meanwhile; nothing was changed. Try again.")
    for row in entry.stand:
        nothing_rests_on(connection, row, entry.number)
    told = replace(stamp, reason=UNDONE + stamp.reason, undoes=entry.number)
    for first, now in zip(entry.rows, entry.stand, strict=True):
        if first.supersedes_id is None:
            record(connection, now.kind, told, now.id, **{**now.says, "withdrawn": True})
            former_counter_again(connection, now)
        else:
            before = row_of(connection, first.kind, first.supersedes_id)
            record(connection, now.kind, told, now.id, **{**before.says, "withdrawn": before.withdrawn})


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
        if later.undo:
            return None
        if later.replaced_by is None:
            return row
        copy = row_of(connection, row.kind, later.replaced_by)
        if not copy.undo:
            return row
        row = copy
    return row
