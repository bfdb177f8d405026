"""Two numbers for one counter and day are listed until a person keeps one; the other is taken back, not deleted."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
import sqlalchemy as sa

from tapwear.errors import UsageError
from tapwear.store.engine import Store
from tapwear.store.entries import add_reading
from tapwear.store.find import find_unit
from tapwear.store.lean import lean
from tapwear.store.loading import load_book
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit
from tapwear.store.resolving import Conflict, open_conflicts, pick_conflict, settle_conflict
from tapwear.store.visiting import record_visit
from tapwear.visits.visit import CounterSeen, Visit

STAMP = Stamp("Robin", datetime(2026, 7, 1, 8, tzinfo=UTC))
WHY = replace(STAMP, reason="asked Kim")
DAY = date(2026, 6, 3)


@pytest.fixture
def store(empty_store: Store) -> Store:
    with empty_store.rows(writing=True) as connection:
        add_unit(connection, {"unit": "T1", "station": "NORTH", "counter_digits": 6}, STAMP)
        for number, (reader, value) in enumerate((("Kim", 48213), ("Robin", 48231), ("Sam", 48213))):
            visit = Visit(f"{number}" * 32, "T1", DAY, reader, counters=(CounterSeen(value),))
            record_visit(connection, visit, STAMP)
    return empty_store


def conflicts(store: Store) -> list[Conflict]:
    with store.rows() as connection:
        return open_conflicts(connection)


def values(store: Store) -> list[int]:
    return list(load_book(store).readings["value"])


def test_a_conflict_names_unit_counter_day_and_who_read_what(store: Store) -> None:
    (one,) = conflicts(store)
    assert (one.unit, one.drive, one.source, one.read_on) == ("T1", "1", "mechanical", DAY)
    assert [(claim.value, claim.reader) for claim in one.claims] == [(48213, "Kim"), (48213, "Sam"), (48231, "Robin")]


def test_the_book_gives_each_number_once_until_it_is_settled(store: Store) -> None:
    assert sorted(values(store)) == [48213, 48231]


def test_keeping_a_number_takes_the_others_back_with_reason_and_name(store: Store) -> None:
    with store.rows(writing=True) as connection:
        (one,) = open_conflicts(connection)
        gone = settle_conflict(connection, one, 48213, WHY)
    assert [claim.reader for claim in gone] == ["Robin"]
    assert conflicts(store) == []
    assert values(store) == [48213]
    rows = lean("reading", "value", "withdrawn", "reason", "recorded_by")
    with store.rows() as connection:
        held = connection.execute(sa.select(rows.c.reason, rows.c.recorded_by).where(rows.c.withdrawn)).all()
        assert [tuple(row) for row in held] == [("asked Kim", "Robin")]
        assert connection.execute(sa.select(sa.func.count(rows.c.value))).scalar() == 4


def test_the_visits_again_do_not_open_it_again(store: Store) -> None:
    with store.rows(writing=True) as connection:
        settle_conflict(connection, open_conflicts(connection)[0], 48231, WHY)
        for number, value in enumerate((48213, 48231)):
            reader = ("Kim", "Robin")[number]
            visit = Visit(f"{number}" * 32, "T1", DAY, reader, counters=(CounterSeen(value),))
            assert record_visit(connection, visit, STAMP).kind == "known"
    assert conflicts(store) == []


def test_a_number_that_nobody_read_is_refused_with_the_way_to_enter_it(store: Store) -> None:
    with store.rows(writing=True) as connection, pytest.raises(UsageError, match=r"48213 and 48231.*tapwear log T1 5"):
        settle_conflict(connection, open_conflicts(connection)[0], 5, WHY)


def test_a_decision_without_a_reason_is_refused(store: Store) -> None:
    with store.rows(writing=True) as connection, pytest.raises(UsageError, match="--because"):
        settle_conflict(connection, open_conflicts(connection)[0], 48213, STAMP)


def test_of_several_conflicts_one_has_to_be_named(store: Store) -> None:
    (one,) = conflicts(store)
    other = replace(one, read_on=date(2026, 6, 4))
    assert pick_conflict([one, other], "T1", other.read_on, None, None) == other
    with pytest.raises(UsageError, match=r"2 open conflicts.*--on 2026-06-03 --drive 1"):
        pick_conflict([one, other], "T1", None, None, None)
    with pytest.raises(UsageError, match="no open conflict that fits"):
        pick_conflict([one], "T1", None, "2", None)
    with pytest.raises(UsageError, match="no open conflict of numbers"):
        pick_conflict([], "T1", None, None, None)


def test_a_correction_by_hand_settles_it_as_well(store: Store) -> None:
    with store.rows(writing=True) as connection:
        unit = find_unit(connection, "T1")
        add_reading(connection, unit, {"value": 48300, "read_on": DAY}, WHY, replace=True)
    assert values(store) == [48300]
    assert conflicts(store) == []


def test_an_entry_that_says_what_one_of_two_visits_said_is_there_already(store: Store) -> None:
    with store.rows(writing=True) as connection:
        unit = find_unit(connection, "T1")
        for value in (48213, 48231):
            assert add_reading(connection, unit, {"value": value, "read_on": DAY}, STAMP).kind == "already there"
        assert add_reading(connection, unit, {"value": 7, "read_on": DAY}, STAMP).kind == "conflict"
        kept = add_reading(connection, unit, {"value": 48231, "read_on": DAY}, WHY, replace=True)
    assert kept.kind == "replaced"
    assert values(store) == [48231]
