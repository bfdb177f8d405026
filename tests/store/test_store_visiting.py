"""A visit lands whole and once, later savings take over, and two that differ about a counter are both kept."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
import sqlalchemy as sa

from tapwear.errors import UsageError
from tapwear.store.conditions import add_condition
from tapwear.store.engine import Store
from tapwear.store.entries import add_reading
from tapwear.store.find import find_unit
from tapwear.store.followups import add_followup
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit, change_unit
from tapwear.store.visiting import VisitOutcome, record_visit
from tapwear.visits.visit import Answer, CounterFault, CounterSeen, Visit

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


HAND = Answer("follow-up", "other", date(2026, 5, 1), "lock stiff", "closed", "oiled", origin="hand")
SEEPS = Answer("follow-up", "seepage", date(2026, 4, 1), "flange", "closed", place="flange", origin="observation")
MOTOR = Answer("condition", "motor_current", date(2026, 5, 2), "motor draws more", "closed")


def open_things(store: Store) -> None:
    with store.rows(writing=True) as connection:
        unit = find_unit(connection, "T1")
        add_followup(connection, unit, "other", "lock stiff", date(2026, 5, 1), STAMP)
        for kind, words in (("motor_current", "motor draws more"), ("relay_trip", "tripped twice")):
            add_condition(connection, unit, {"kind": kind, "noted_on": date(2026, 5, 2), "words": words}, STAMP)


def test_what_a_visit_closes_is_closed_by_a_later_row_and_opens_again_when_the_visit_is_corrected(store: Store) -> None:
    open_things(store)
    visit = replace(VISIT, sample_taken=False, answers=(HAND, SEEPS, MOTOR))
    assert keep(store, visit).remarks == ()
    assert current(store, "followup", "kind", "origin", "closed_on", "closed_words") == [
        ("other", "hand", DAY, "closed on a visit by Kim: oiled"),
        ("seepage", "observation", DAY, "closed on a visit by Kim"),
    ]
    closed = current(store, "condition", "kind", "closed_on")
    assert closed == [("motor_current", DAY), ("relay_trip", None)]
    assert keep(store, visit).kind == "known"
    still = tuple(replace(one, answer="still so") for one in visit.answers)
    keep(store, replace(visit, answers=still, revision=2))
    assert current(store, "followup", "kind", "origin", "closed_on") == [("other", "hand", None)]
    assert {day for _, day in current(store, "condition", "kind", "closed_on")} == {None}
    keep(store, replace(visit, revision=3))
    assert current(store, "followup", "closed_on") == [(DAY,), (DAY,)]
    assert current(store, "condition", "kind", "closed_on") == closed


def test_a_severe_condition_is_closed_by_no_visit_and_what_is_closed_already_is_told(store: Store) -> None:
    open_things(store)
    trip = Answer("condition", "relay_trip", date(2026, 5, 2), "tripped twice", "closed")
    (remark,) = keep(store, replace(VISIT, answers=(trip,))).remarks
    assert (remark.severity, "engineer" in remark.remedy) == ("rejected", True)
    assert ("relay_trip", None) in current(store, "condition", "kind", "closed_on")
    assert keep(store, replace(VISIT, id="b" * 32, counters=(), answers=(MOTOR,))).remarks == ()
    (late,) = keep(store, replace(VISIT, id="c" * 32, counters=(), answers=(MOTOR,))).remarks
    assert "not open any more" in late.found


def test_worse_is_put_down_anew_and_still_so_stands_in_the_remark_or_in_what_was_seen(store: Store) -> None:
    answers = (
        replace(HAND, answer="still so", how="no oil at hand"),
        replace(MOTOR, answer="worse", how="12 A now"),
        Answer("follow-up", "oil_level", date(2026, 4, 1), "oil level low", "still so", origin="observation"),
    )
    keep(store, replace(VISIT, answers=answers, photos=("0412",)))
    worse = ("other", "worse: motor draws more: 12 A now", DAY)
    assert current(store, "followup", "kind", "words", "noted_on") == [worse]
    ((words,),) = [row[1:] for row in current(store, "observation", "quantity", "words") if row[0] == "remark"]
    assert words == "still so: lock stiff: no oil at hand; photos: 0412"


def test_a_counter_without_a_number_is_put_down_and_both_drag_hands_go_where_they_cannot_be(store: Store) -> None:
    visit = replace(
        VISIT,
        counters=(),
        counter_faults=(CounterFault("standing still"),),
        observations={"position": "9", "position_low": "12", "position_high": "3"},
    )
    (remark,) = keep(store, visit).remarks
    assert "neither was taken" in remark.remedy
    assert current(store, "observation", "quantity") == [("position",)]
    assert current(store, "followup", "words", "origin") == [("counter standing still", "hand")]


def test_a_unit_that_was_not_on_the_sheet_is_found_by_its_serial_number(store: Store) -> None:
    alone = replace(VISIT, unit="", serial_seen="s2", counters=(CounterSeen(77),))
    assert keep(store, alone).kind == "stored"
    assert keep(store, alone).kind == "known"
    assert numbers(store) == [77]
    with pytest.raises(UsageError, match="unit add"):
        keep(store, replace(alone, id="b" * 32, serial_seen="Y-77", station="NORTH"))


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
    read = "Read there: counter 48213; counter 1200; oil level low; oil temperature 41.5 °C."
    assert words == (f"Another unit stands here: the nameplate says serial number X9. {read}", False)
    (told,) = outcome.remarks
    assert "counter 48213" in told.found
    assert told.severity == "note"


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
