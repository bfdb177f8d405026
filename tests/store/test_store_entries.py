"""Entries by hand: what is stored, what is there already, what is in conflict, and what a correction leaves."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
import sqlalchemy as sa

from tapwear.errors import UsageError
from tapwear.store.engine import Store
from tapwear.store.entries import Outcome, add_event, add_reading, add_sample, add_service, withdraw
from tapwear.store.find import find_unit
from tapwear.store.history import CounterPast, counter_past
from tapwear.store.lean import lean
from tapwear.store.loading import load_book
from tapwear.store.recording import Stamp, insert, record
from tapwear.store.register import add_unit, move_unit
from tapwear.visits.types import Below

STAMP = Stamp("Robin", datetime(2026, 11, 1, 8, tzinfo=UTC))
ADD = {"reading": add_reading, "event": add_event, "sample": add_sample, "service": add_service}
DAY = date(2026, 6, 3)


@pytest.fixture
def store(empty_store: Store) -> Store:
    store = empty_store
    with store.rows(writing=True) as connection:
        for tag, more in (("T1", {"serial": "S-1042"}), ("T3", {"drives": ("A", "B"), "compartments": ("A", "B")})):
            add_unit(connection, {"unit": tag, "station": "NORTH", "counter_digits": 5, **more}, STAMP)
    return store


def enter(store: Store, table: str, unit: str = "T1", stamp: Stamp = STAMP, **values: Any) -> Outcome:
    options = {name: values.pop(name) for name in ("replace", "doubt", "digits") if name in values}
    with store.rows(writing=True) as connection:
        return ADD[table](connection, find_unit(connection, unit), values, stamp, **options)


def past(store: Store, unit: str = "T1", drive: str = "", source: str = "mechanical", on: date = DAY) -> CounterPast:
    with store.rows() as connection:
        return counter_past(connection, find_unit(connection, unit), drive, source, on)


def test_a_reading_comes_back_as_it_was_entered(store: Store) -> None:
    enter(store, "reading", value=123, read_on=DAY, reader="Kim", remark="hot", doubt="odd; kept: sure")
    row = load_book(store).readings.iloc[0]
    assert (row["unit"], row["drive"], row["source"], row["value"], row["digits"]) == ("T1", "1", "mechanical", 123, 5)
    assert (row["read_on"].date(), row["reader"], row["remark"], row["doubt"]) == (DAY, "Kim", "hot", "odd; kept: sure")


def test_the_same_number_again_adds_nothing_and_another_is_a_conflict(store: Store) -> None:
    first = enter(store, "reading", value=123, read_on=DAY)
    assert enter(store, "reading", value=123, read_on=DAY) == Outcome("already there", first.row_id, {})
    conflict = enter(store, "reading", value=124, read_on=DAY)
    assert (conflict.kind, conflict.row_id, conflict.differs) == ("conflict", first.row_id, {"value": (123, 124)})
    assert load_book(store).readings["value"].tolist() == [123]


def test_a_correction_supersedes_and_keeps_what_was_there_with_who_and_why(store: Store) -> None:
    first = enter(store, "reading", value=123, read_on=DAY)
    why = Stamp("Ann", STAMP.at, "misread")
    corrected = enter(store, "reading", value=124, read_on=DAY, replace=True, stamp=why)
    assert corrected.kind == "replaced"
    assert load_book(store).readings["value"].tolist() == [124]
    rows = lean("reading", "id", "value", "supersedes_id", "recorded_by", "reason")
    with store.rows() as connection:
        stored = [tuple(row) for row in connection.execute(sa.select(rows).order_by(rows.c.id))]
    assert stored == [(first.row_id, 123, None, "Robin", ""), (corrected.row_id, 124, first.row_id, "Ann", "misread")]
    again = enter(store, "reading", value=125, read_on=DAY, replace=True, stamp=why)
    assert again.kind == "replaced"
    assert load_book(store).readings["value"].tolist() == [125]


def test_a_reading_taken_back_is_gone_from_the_book_and_can_be_entered_anew(store: Store) -> None:
    first = enter(store, "reading", value=123, read_on=DAY)
    with store.rows(writing=True) as connection:
        withdraw(connection, "reading", first.row_id, STAMP)
        with pytest.raises(UsageError, match="no current reading"):
            withdraw(connection, "reading", first.row_id, STAMP)
    assert load_book(store).readings.empty
    assert enter(store, "reading", value=130, read_on=DAY).kind == "stored"
    assert load_book(store).readings["value"].tolist() == [130]


@pytest.mark.parametrize(
    ("unit", "values", "words"),
    [
        ("T1", {"value": 100_000}, "more digits than the counter"),
        ("T1", {"value": -1}, "is negative"),
        ("T1", {"value": 5, "source": "guess"}, "none of the known words"),
        ("T1", {"value": 5, "drive": "B"}, "has no drive B"),
        ("T3", {"value": 5}, "several drives: say which one, --drive A or B"),
        ("T1", {"value": True}, "not a number"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(store: Store, unit: str, values: dict[str, Any], words: str) -> None:
    with pytest.raises(UsageError, match=words):
        enter(store, "reading", unit, read_on=DAY, **values)
    assert load_book(store).readings.empty


def test_a_counter_of_another_length_takes_readings_from_its_day_on(store: Store) -> None:
    enter(store, "reading", value=99_000, read_on=date(2026, 1, 1))
    enter(
        store,
        "event",
        kind="counter_replaced",
        happened_on=date(2026, 3, 1),
        old_reading=99_500,
        new_reading=0,
        digits=7,
    )
    enter(store, "reading", value=1_000, read_on=date(2026, 4, 1))
    enter(store, "reading", value=99_400, read_on=date(2026, 2, 1))
    readings = load_book(store).readings
    assert readings[["value", "digits"]].to_numpy().tolist() == [[99_000, 5], [99_400, 5], [1_000, 7]]
    assert load_book(store).units["digits"].tolist() == [7, 5]


def test_a_counter_of_the_length_of_one_before_is_refused_with_what_to_do(store: Store) -> None:
    exchange = {"kind": "counter_replaced", "new_reading": 0}
    enter(store, "event", **exchange, happened_on=date(2026, 3, 1), old_reading=99_500, digits=7)
    with pytest.raises(UsageError, match=r"had a counter of 5 digits before the present one of 7.*without --digits"):
        enter(store, "event", **exchange, happened_on=date(2026, 5, 1), old_reading=1_500, digits=5)
    assert len(load_book(store).events) == 1


def test_sources_have_counters_of_their_own(store: Store) -> None:
    enter(store, "reading", value=10, read_on=DAY)
    enter(store, "reading", value=12, read_on=DAY, source="sample")
    enter(store, "reading", value=123_456_789, read_on=DAY, source="controller")
    readings = load_book(store).readings.set_index("source")
    assert readings["digits"].to_dict() == {"mechanical": 5, "sample": 5, "controller": 9}


def test_a_sample_keeps_below_limit_as_such(store: Store) -> None:
    enter(store, "sample", sampled_on=DAY, acetylene_ul_per_l=120.0, hydrogen_ul_per_l=Below(5.0), laboratory="East")
    row = load_book(store).samples.iloc[0]
    assert (row["acetylene"], row["acetylene_below"], row["hydrogen"], row["hydrogen_below"]) == (
        120.0,
        False,
        5.0,
        True,
    )
    assert row["ethylene"] != row["ethylene"]  # not reported
    assert (row["taken_from"], row["laboratory"]) == ("compartment", "East")


@pytest.mark.parametrize(
    ("unit", "values", "words"),
    [
        ("T1", {}, "at least one result"),
        ("T1", {"acetylene_ul_per_l": float("nan")}, "not a number"),
        ("T1", {"acetylene_ul_per_l": 5.0, "compartment": "Z"}, "has no compartment Z"),
        ("T3", {"acetylene_ul_per_l": 5.0}, "say which one was sampled"),
        ("T1", {"acetylene_ul_per_l": 5.0, "received_on": date(2026, 6, 1)}, "lies before sampled on"),
        ("T1", {"oil_temp_c": 40.0}, "at least one result"),
    ],
)
def test_a_sample_that_cannot_be_is_refused(store: Store, unit: str, values: dict[str, Any], words: str) -> None:
    with pytest.raises(UsageError, match=words):
        enter(store, "sample", unit, sampled_on=DAY, **values)


def test_two_results_of_one_day_differ_by_reference_else_they_are_a_conflict(store: Store) -> None:
    enter(store, "sample", sampled_on=DAY, acetylene_ul_per_l=120.0)
    assert enter(store, "sample", sampled_on=DAY, acetylene_ul_per_l=130.0).kind == "conflict"
    assert enter(store, "sample", sampled_on=DAY, acetylene_ul_per_l=Below(120.0)).kind == "conflict"
    assert enter(store, "sample", sampled_on=DAY, acetylene_ul_per_l=130.0, reference="b").kind == "stored"
    assert enter(store, "sample", sampled_on=DAY, acetylene_ul_per_l=1.0, taken_from="main_tank").kind == "stored"


def test_a_correction_takes_over_what_it_does_not_state(store: Store) -> None:
    enter(store, "sample", sampled_on=DAY, acetylene_ul_per_l=120.0, hydrogen_ul_per_l=Below(5.0), laboratory="East")
    why = Stamp("Ann", STAMP.at, "typing error")
    outcome = enter(store, "sample", sampled_on=DAY, acetylene_ul_per_l=130.0, replace=True, stamp=why)
    assert dict(outcome.differs) == {"acetylene_ul_per_l": (120.0, 130.0)}
    row = load_book(store).samples.iloc[0]
    assert (row["acetylene"], row["hydrogen"], row["hydrogen_below"], row["laboratory"]) == (130.0, 5.0, True, "East")


def test_a_remark_beside_the_same_number_is_not_taken_and_said_so(store: Store) -> None:
    enter(store, "reading", value=123, read_on=DAY)
    again = enter(store, "reading", value=123, read_on=DAY, remark="hot")
    assert (again.kind, dict(again.differs)) == ("already there", {"remark": ("", "hot")})
    assert enter(store, "reading", value=123, read_on=DAY, remark="hot", replace=True).kind == "replaced"
    assert load_book(store).readings["remark"].tolist() == ["hot"]


def test_a_service_names_its_clocks_and_tells_the_oil(store: Store) -> None:
    enter(store, "service", done_on=DAY, work="overhaul", as_found_counter=84_210, contact_left_mm=3.2)
    enter(store, "service", done_on=DAY, work="breather change")
    enter(store, "service", done_on=DAY, work="oil change", resets=("none",))
    book = load_book(store)
    services = book.services.set_index("work")
    assert services.loc["overhaul", "resets"] == ("contact service", "oil change")
    assert services.loc["oil change", "resets"] == ()
    assert services.loc["overhaul", "contact_left_mm"] == 3.2
    assert book.oil_events["kind"].tolist() == ["breather_changed", "oil_changed", "overhaul"]


def test_a_serial_number_that_is_not_the_registers_stops_a_service(store: Store) -> None:
    with pytest.raises(UsageError, match="are you at the right unit"):
        enter(store, "service", done_on=DAY, work="overhaul", serial_seen="S-1024")
    assert enter(store, "service", done_on=DAY, work="overhaul", serial_seen="s 1042").kind == "stored"


def test_moves_and_swaps_are_no_plain_events(store: Store) -> None:
    with pytest.raises(UsageError, match="tapwear unit swap T1"):
        enter(store, "event", happened_on=DAY, kind="swapped")
    enter(store, "event", happened_on=DAY, kind="laboratory_changed")
    book = load_book(store)
    assert book.events.empty
    assert book.oil_events["kind"].tolist() == ["laboratory_changed"]


def test_another_drive_from_a_day_on_is_a_replaced_counter_and_readings_follow_the_drive(store: Store) -> None:
    enter(store, "reading", value=500, read_on=date(2026, 1, 1))
    with store.rows(writing=True) as connection:
        unit = find_unit(connection, "T1").id
        fitting = lean("fitting", "drive_id", "tap_changer_id")
        old = connection.execute(sa.select(fitting.c.drive_id).where(fitting.c.tap_changer_id == unit)).scalar_one()
        new = insert(connection, "drive")
        counter = insert(connection, "counter", drive_id=new, digits=6)
        day = date(2026, 3, 1)
        record(connection, "fitting", STAMP, drive_id=old, tap_changer_id=None, from_on=day, counter_then=700)
        record(connection, "fitting", STAMP, drive_id=new, tap_changer_id=unit, from_on=day, counter_then=40)
        record(connection, "reading", STAMP, counter_id=counter, read_on=date(2026, 4, 1), value=90)
    book = load_book(store, unit="T1")
    assert book.readings[["value", "digits", "drive"]].to_numpy().tolist() == [[500, 5, "1"], [90, 6, "1"]]
    event = book.events.iloc[0]
    assert (event["kind"], event["old_reading"], event["new_reading"]) == ("counter_replaced", 700.0, 40.0)
    assert load_book(store, as_of=date(2026, 2, 1)).events.empty
    assert enter(store, "reading", value=95, read_on=date(2026, 5, 1)).kind == "stored"
    assert load_book(store, unit="T1").readings["digits"].tolist() == [5, 6, 6]


def test_the_past_of_a_counter_holds_what_a_check_needs(store: Store) -> None:
    enter(store, "reading", value=100, read_on=date(2026, 1, 1), reader="Kim")
    enter(store, "reading", value=200, read_on=date(2026, 5, 1))
    enter(store, "reading", value=205, read_on=date(2026, 5, 9), source="sample")
    enter(store, "reading", "T3", value=777, read_on=date(2026, 5, 1), drive="A")
    enter(store, "event", happened_on=date(2026, 2, 1), kind="out_of_service")
    enter(store, "event", happened_on=date(2026, 2, 9), kind="back_in_service")
    enter(store, "event", happened_on=date(2026, 3, 1), kind="inspection")
    found = past(store)
    assert [(one.on.day, one.value, one.source) for one in found.readings] == [
        (1, 100, "mechanical"),
        (1, 200, "mechanical"),
        (9, 205, "sample"),
    ]
    assert found.last_before(DAY).value == 205  # type: ignore[union-attr]
    assert found.same_day(date(2026, 5, 9)) is None
    assert found.out_of_service == ((date(2026, 2, 1), date(2026, 2, 9)),)
    assert found.inspections == (date(2026, 3, 1),)
    assert found.neighbours == {"T3, drive A": [(date(2026, 5, 1), 777)]}
    assert (found.serial, found.where.station, found.digits) == ("S-1042", "NORTH", 5)


def test_the_other_drives_of_a_unit_are_neighbours_and_a_spell_in_the_workshop_is_out_of_service(store: Store) -> None:
    enter(store, "reading", "T3", value=50, read_on=date(2026, 5, 1), drive="B")
    with store.rows(writing=True) as connection:
        move_unit(connection, "T3", date(2025, 1, 1), STAMP, state="workshop")
        move_unit(connection, "T3", date(2025, 6, 1), STAMP, state="in service")
    found = past(store, "T3", "A")
    assert found.neighbours == {"drive B": [(date(2026, 5, 1), 50)]}
    assert found.out_of_service == ((date(2025, 1, 1), date(2025, 6, 1)),)


def test_loading_as_of_a_day_leaves_out_what_came_later(store: Store) -> None:
    for month in (1, 5):
        enter(store, "reading", value=100 * month, read_on=date(2026, month, 1))
        enter(store, "sample", sampled_on=date(2026, month, 1), acetylene_ul_per_l=5.0)
        enter(store, "service", done_on=date(2026, month, 1), work="oil change")
    book = load_book(store, as_of=date(2026, 4, 30))
    assert (len(book.readings), len(book.samples), len(book.services), len(book.oil_events)) == (1, 1, 1, 1)


def test_what_services_noted_is_part_of_the_past_of_a_units_only_counter(store: Store) -> None:
    enter(store, "reading", value=500, read_on=date(2025, 3, 1))
    for on, found, left in (
        (date(2025, 1, 1), 100, 106),  # kept: what was left counts
        (date(2025, 2, 1), 300, None),
        (date(2025, 3, 1), 499, 499),  # the day has a reading
        (date(2025, 4, 1), 700, 2),  # another counter since
        (date(2025, 5, 1), None, None),
    ):
        enter(
            *(store, "service"),
            **{"done_on": on, "work": "inspection", "as_found_counter": found, "as_left_counter": left},
        )
    told = [(one.on.month, one.value, one.source) for one in past(store).readings]
    assert told == [(1, 106, "service"), (2, 300, "service"), (3, 500, "mechanical")]
    assert past(store, on=date(2025, 3, 1)).same_day(date(2025, 2, 1)) is None
    last = past(store).last_before(date(2025, 3, 1))
    assert last is not None
    assert (last.on, last.value) == (date(2025, 2, 1), 300)


def test_a_services_number_counts_for_no_drive_among_several_and_for_no_counter_of_another_length(store: Store) -> None:
    noted = {"done_on": date(2025, 1, 1), "work": "inspection", "as_found_counter": 100}
    enter(store, "service", "T3", **noted)
    assert past(store, "T3", "A").readings == ()
    enter(store, "service", **noted)
    assert len(past(store).readings) == 1
    values = {"kind": "counter_replaced", "happened_on": date(2025, 6, 1), "old_reading": 900, "new_reading": 0}
    enter(store, "event", digits=6, **values)
    assert past(store).readings == ()
