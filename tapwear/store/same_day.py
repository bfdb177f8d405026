"""Several readings of one counter on one day: what tells them apart, so that they are no conflict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean


def other_moments(
    connection: Connection, unit: UnitKey, slot: str, columns: Mapping[str, Any], replace: bool
) -> set[int]:
    """The readings of the same counter and day that are about other moments than a reading with these columns.

    A correction that names no time of day is about the only reading of the day, also where that has one.
    """
    rows = lean("reading", "id", "counter_id", "read_on", "read_time", "value", "supersedes_id", "withdrawn")
    same = [rows.c[name] == columns[name] for name in ("counter_id", "read_on")]
    query = sa.select(rows.c.id, rows.c.read_time, rows.c.value).where(is_current(rows), *same)
    others = connection.execute(query).all()
    if not others or (replace and len(others) == 1 and columns["read_time"] in ("", others[0][1])):
        return set()
    swaps = exchanges_on(connection, unit, slot, columns["read_on"])
    mine = (columns["read_time"], columns["value"])
    return {number for number, at, value in others if told_apart(mine, (at, value), swaps)}


def told_apart(
    one: tuple[str, int], other: tuple[str, int], exchanges: Sequence[tuple[int | None, int | None]]
) -> bool:
    """Whether two readings of one counter and day, each (time of day or "", number), are about different moments.

    They are where both have times and these differ, where one has a time and the numbers differ, and where the counter
    was exchanged that day and they lie on either side of that: (last number of the old, first of the new) of each.
    """
    (early, first), (late, second) = one, other
    if early != late:
        return bool(early and late) or first != second
    for old, new in exchanges:
        sides = {old is None or abs(value - old) > abs(value - (new or 0)) for value in (first, second)}
        if len(sides) > 1 or (old is None and first != second):
            return True
    return False


def exchanges_on(
    connection: Connection, unit: UnitKey, slot: str, day: date
) -> list[tuple[int | None, int | None]]:
    """The counter's exchanges recorded for a day: last number of the old one, first of the new one."""
    event = lean(
        *("event", "id", "tap_changer_id", "slot", "kind", "happened_on", "old_reading", "new_reading"),
        *("supersedes_id", "withdrawn"),
    )
    rows = connection.execute(
        sa.select(event.c.old_reading, event.c.new_reading).where(
            event.c.tap_changer_id == unit.id,
            event.c.slot.in_(("", slot)),
            event.c.kind == "counter_replaced",
            event.c.happened_on == day,
            is_current(event),
        )
    )
    return [(row[0], row[1]) for row in rows]
