"""A visit lands whole and once, later savings take over, and two that differ about a counter are both kept."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
import sqlalchemy as sa

from tapwear.errors import UsageError
from tapwear.store.engine import Store
from tapwear.store.entries import add_reading
from tapwear.store.find import find_unit
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit, change_unit
from tapwear.store.visiting import VisitOutcome, record_visit
from tapwear.visits.visit import CounterSeen, Visit

STAMP = Stamp("Robin", datetime(2026, 7, 1, 8, tzinfo=UTC))
DAY = date(2026, 6, 3)
VISIT = Visit(
    id="a" * 32,
    unit="T1",
    visited_on=DAY,
    by="Kim",
    serial_seen="s-1",
    counters=(CounterSeen(48213, doubt="fewer than usual; kept: read twice"), CounterSeen(1200, source="controller")),
    observations={"oil_level": "low", "oil_temp_c": 41.5},
    sample_taken=True,
)


@pytest.fixture
def store(empty_store: Store) -> Store:
    with empty_store.rows(writing=True) as connection:
        for tag, serial in (("T1", "S1"), ("T2", "S2")):
            add_unit(connection, {"unit": tag, "station": "NORTH", "counter_digits": 6, "serial": serial}, STAMP)
    return empty_store


def keep(store: Store, visit: Visit) -> VisitOutcome:
    with store.rows(writing=True) as connection:
        return record_visit(connection, visit, STAMP)


def current(store: Store, table: str, *names: str) -> list[tuple[object, ...]]:
    rows = lean(table, "id", "supersedes_id", "withdrawn", *names)
    with store.rows() as connection:
        found = connection.execute(sa.select(*(rows.c[name] for name in names)).where(is_current(rows)))
        return sorted(map(tuple, found), key=repr)


def readings(store: Store) -> list[tuple[object, ...]]:
    return current(store, "reading", "value", "read_on", "reader", "doubt")


def numbers(store: Store) -> list[object]:
    return [row[0] for row in current(store, "reading", "value")]


def test_a_visit_becomes_readings_of_their_own_counters_and_observations(store: Store) -> None:
    outcome = keep(store, VISIT)
    assert (outcome.kind, outcome.rows, outcome.remarks) == ("stored", 4, ())
    assert readings(store) == [
        (1200, DAY, "Kim", ""),
        (48213, DAY, "Kim", "fewer than usual; kept: read twice"),
    ]
    assert current(store, "observation", "quantity", "value", "words", "visit_id") == [
        ("oil_level", None, "low", "a" * 32),
        ("oil_temp_c", 41.5, "", "a" * 32),
    ]
    assert current(store, "visit", "visit_id", "reader", "serial_seen", "sample_taken") == [
        ("a" * 32, "Kim", "s-1", True)
    ]


def test_a_sample_under_negative_pressure_is_taken_in_only_from_a_de_energised_unit(store: Store) -> None:
    vacuum = replace(VISIT, observations={"pressure_kpa": -5.0})
    outcome = keep(store, vacuum)
    (remark,) = outcome.remarks
    assert (remark.field, remark.severity) == ("sample_taken", "rejected")
    assert "negative pressure" in remark.found
    assert "de_energised" in remark.remedy
    assert current(store, "visit", "sample_taken") == [(False,)]
    assert len(readings(store)) == 2  # the rest of the visit is kept
    assert keep(store, vacuum).kind == "known"
    assert keep(store, replace(vacuum, de_energised=True, revision=2)).remarks == ()
    assert current(store, "visit", "sample_taken") == [(True,)]


def test_the_last_pressure_and_the_register_forbid_a_sample_in_service_too(store: Store) -> None:
    keep(store, replace(VISIT, sample_taken=False, observations={"pressure_kpa": -5.0}))
    later = replace(VISIT, id="b" * 32, visited_on=date(2026, 6, 20), counters=(), observations={}, remark="windy")
    assert [one.field for one in keep(store, later).remarks] == ["sample_taken"]
    risen = replace(later, id="c" * 32, observations={"pressure_kpa": 3.0})
    assert keep(store, risen).remarks == ()
    with store.rows(writing=True) as connection:
        change_unit(connection, "T2", {"sampling_needs_outage": True}, STAMP)
    alone = Visit("d" * 32, "T2", DAY, "Kim", sample_taken=True)
    with pytest.raises(UsageError, match="only when it is out of service"):
        keep(store, alone)
    assert keep(store, replace(alone, de_energised=True)).kind == "stored"


def test_the_same_visit_again_adds_nothing(store: Store) -> None:
    keep(store, VISIT)
    assert keep(store, VISIT) == VisitOutcome("known", 0)
    assert len(numbers(store)) == 2


def test_a_later_saving_takes_over_and_takes_back_what_it_no_longer_says(store: Store) -> None:
    keep(store, VISIT)
    later = replace(
        VISIT, revision=2, counters=(CounterSeen(48231),), observations={"oil_level": "low", "breather": "good"}
    )
    outcome = keep(store, later)
    assert outcome.kind == "replaced"
    assert numbers(store) == [48231]
    assert [row[0] for row in current(store, "observation", "quantity")] == ["breather", "oil_level"]
    assert keep(store, VISIT) == VisitOutcome("older", 0)
    assert numbers(store) == [48231]


def test_the_first_number_again_in_a_third_saving_stands(store: Store) -> None:
    for revision, value in ((1, 48213), (2, 48231), (3, 48213)):
        keep(store, replace(VISIT, revision=revision, counters=(CounterSeen(value),)))
    assert numbers(store) == [48213]


def test_an_earlier_saving_that_arrives_late_changes_nothing(store: Store) -> None:
    later = replace(VISIT, revision=2, counters=(CounterSeen(48231),))
    keep(store, later)
    assert keep(store, VISIT) == VisitOutcome("older", 0)
    assert numbers(store) == [48231]


def test_two_people_who_read_differently_on_one_day_are_both_kept(store: Store) -> None:
    keep(store, replace(VISIT, counters=(CounterSeen(48213),)))
    outcome = keep(store, replace(VISIT, id="b" * 32, by="Robin", counters=(CounterSeen(48231),)))
    assert outcome.kind == "stored"
    (told,) = outcome.remarks
    assert told.severity == "conflict"
    assert "T1 on 2026-06-03: 48231 by Robin, in the book 48213 by Kim; both are kept" in told.found
    assert numbers(store) == [48213, 48231]


def test_the_controllers_count_is_no_conflict_with_the_mechanical_one(store: Store) -> None:
    keep(store, replace(VISIT, counters=(CounterSeen(48213),)))
    outcome = keep(store, replace(VISIT, id="b" * 32, counters=(CounterSeen(1200, source="controller"),)))
    assert outcome.remarks == ()


def test_a_number_too_long_costs_the_number_alone_and_comes_in_once_the_register_is_right(store: Store) -> None:
    visit = replace(VISIT, counters=(CounterSeen(1_048_213),))
    outcome = keep(store, visit)
    (told,) = outcome.remarks
    assert (told.severity, told.field) == ("rejected", "counters")
    assert numbers(store) == []
    assert len(current(store, "observation", "quantity")) == 2
    with store.rows(writing=True) as connection:
        connection.exec_driver_sql("UPDATE counter SET digits = 7")
    assert keep(store, visit).kind == "replaced"
    assert numbers(store) == [1_048_213]


@pytest.mark.parametrize("second", [48213, 48231])
def test_a_counter_named_twice_in_one_visit_counts_once(store: Store, second: int) -> None:
    outcome = keep(store, replace(VISIT, counters=(CounterSeen(48213), CounterSeen(second, "1"))))
    assert [told.severity for told in outcome.remarks] == ["rejected"]
    assert numbers(store) == [48213]


def test_another_serial_number_stops_the_visit_and_names_the_likely_unit(store: Store) -> None:
    with pytest.raises(UsageError, match=r"the visit says S2: that is the serial number of T2: was it there\?"):
        keep(store, replace(VISIT, serial_seen="S2"))
    assert numbers(store) == []
    assert current(store, "visit", "visit_id") == []


def test_another_unit_read_twice_is_noted_and_its_numbers_stay_out_of_this_units_series(store: Store) -> None:
    outcome = keep(store, replace(VISIT, serial_seen="X9", another_unit=True))
    assert outcome.rows == 1
    assert numbers(store) == []
    (words,) = current(store, "condition", "words", "severe")
    assert words == ("Another unit stands here: the nameplate says serial number X9.", False)


def test_a_correction_by_hand_since_is_left_as_it_is(store: Store) -> None:
    keep(store, replace(VISIT, counters=(CounterSeen(48213),)))
    with store.rows(writing=True) as connection:
        unit = find_unit(connection, "T1")
        add_reading(connection, unit, {"value": 48231, "read_on": DAY}, STAMP, replace=True)
    keep(store, replace(VISIT, counters=(CounterSeen(48213),)))
    keep(store, replace(VISIT, revision=2, counters=(CounterSeen(48213),), remark="gate 2 is locked"))
    assert numbers(store) == [48231]


def test_a_visit_in_which_nothing_was_noted_is_refused(store: Store) -> None:
    with pytest.raises(UsageError, match="holds nothing"):
        keep(store, Visit("c" * 32, "T1", DAY))


def test_two_savings_with_one_number_that_differ_give_the_same_whatever_came_first(store: Store) -> None:
    one, other = (replace(VISIT, counters=(CounterSeen(value),)) for value in (48213, 48231))
    keep(store, one)
    told = [told.found for told in keep(store, other).remarks]
    assert [words for words in told if "both with revision 1, differ; this one counts" in words]
    assert numbers(store) == [48231]
    assert keep(store, one).kind == "older"
    assert numbers(store) == [48231]
