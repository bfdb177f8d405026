"""What later entries rest on: a row that carries others is not taken back under them."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.lean import is_current, lean
from tapwear.store.places import drives_of
from tapwear.store.recording import entry_number
from tapwear.store.trail import TrailRow


def nothing_rests_on(connection: Connection, row: TrailRow, since: int) -> None:
    """Raises UsageError, naming what, when an entry after that of number `since` rests on the row."""
    says = row.says
    if row.kind == "stay":
        _last_stay(connection, row, since)
    elif row.kind == "fitting":
        _refuse_for_readings(connection, row, since, int(says["drive_id"]))
    elif row.kind == "event" and says["kind"] == "counter_replaced":
        for drive in _drives(connection, row):
            _refuse_for_readings(connection, row, since, drive)


def _last_stay(connection: Connection, row: TrailRow, since: int) -> None:
    stay = lean("stay", "id", "tap_changer_id", "import_id", "from_on", "supersedes_id", "withdrawn")
    others = connection.execute(
        sa.select(entry_number("stay", stay).label("entry"), stay.c.from_on).where(
            stay.c.tap_changer_id == row.says["tap_changer_id"], stay.c.id != row.id, is_current(stay)
        )
    ).all()
    if not others:
        raise UsageError(
            "This is the only stay of the unit, recorded when it was added; a unit is not taken back. If it is out "
            "of use: tapwear unit retire TAG; if it was misnamed: tapwear unit change TAG --tag NEW"
        )
    later = [other for other in others if other.entry > since]
    if later:
        raise UsageError(
            f"{row.name} cannot be taken back: a later move from {later[0].from_on} rests on it. Nothing was changed. "
            "Undo that one first, or record where the unit stands with: tapwear unit move"
        )


def _refuse_for_readings(connection: Connection, row: TrailRow, since: int, drive: int) -> None:
    reading = lean("reading", "id", "counter_id", "read_on", "import_id", "supersedes_id", "withdrawn")
    counter = lean("counter", "id", "drive_id")
    days = (
        connection.execute(
            sa.select(reading.c.read_on)
            .join_from(counter, reading, reading.c.counter_id == counter.c.id)
            .where(counter.c.drive_id == drive, entry_number("reading", reading) > since, is_current(reading))
            .order_by(reading.c.read_on)
        )
        .scalars()
        .all()
    )
    resting = [day for day in days if row.day is None or day >= row.day]
    if resting:
        count = f"{len(resting)} readings recorded since rest" if len(resting) > 1 else "a reading recorded since rests"
        raise UsageError(
            f"{row.name} cannot be taken back: {count} on it (first of {resting[0]}). Nothing was changed. Withdraw "
            "what was read on the new counter first: tapwear amend UNIT reading --withdraw"
        )


def former_counter_again(connection: Connection, row: TrailRow) -> None:
    """After an exchange of counters was taken back: a counter of another length that it brought goes, so that the
    former one is in use again. One that was ever read stays, since rows of the book name it."""
    if row.kind != "event" or row.says["kind"] != "counter_replaced":
        return
    counter = lean("counter", "id", "drive_id", "source")
    reading = lean("reading", "counter_id")
    for drive in _drives(connection, row):
        mine = sa.and_(counter.c.drive_id == drive, counter.c.source == "mechanical")
        numbers = connection.execute(sa.select(counter.c.id).where(mine).order_by(counter.c.id)).scalars().all()
        for newest in numbers[1:][-1:]:
            if connection.execute(sa.select(reading).where(reading.c.counter_id == newest)).first() is None:
                connection.execute(sa.delete(counter).where(counter.c.id == newest))


def _drives(connection: Connection, event: TrailRow) -> list[int]:
    held = drives_of(connection, int(event.says["tap_changer_id"]), event.day)
    return [drive for slot, drive in held.items() if event.says["slot"] in ("", slot)]
