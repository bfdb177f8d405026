"""What there is to read at a unit: each drive's counters that a person reads, and the positions as they are written."""

from __future__ import annotations

from datetime import UTC, date, datetime

from tapwear.store.engine import Store
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit
from tapwear.store.rounds import round_units
from tapwear.store.visiting import record_visit
from tapwear.visits.visit import CounterSeen, Visit

STAMP = Stamp("Robin", datetime(2026, 7, 1, 8, tzinfo=UTC))
DAY = date(2026, 6, 3)


def test_counters_by_drive_the_controllers_last_and_never_those_of_sample_sheets(empty_store: Store) -> None:
    with empty_store.rows(writing=True) as connection:
        given = {"unit": "T1", "station": "NORTH", "counter_digits": 6, "drives": ("A", "B"), "positions": "1-3"}
        key = add_unit(connection, given, STAMP)
        seen = (CounterSeen(5, "A", "controller"), CounterSeen(6, "A", "sample"))
        record_visit(connection, Visit("a" * 32, "T1", DAY, counters=seen), STAMP)
        (found,) = round_units(connection, [key], DAY)
    assert [(past.drive, past.source) for past in found.counters] == [
        ("A", "mechanical"),
        ("A", "controller"),
        ("B", "mechanical"),
    ]
    assert found.positions == ("1", "2", "3")
