"""The book of some units is the fleet's book cut down to them, and empty stores give empty frames of the same types."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import sqlalchemy as sa

from tapwear.counts.types import EVENT_KINDS
from tapwear.errors import UsageError
from tapwear.oil.types import GASES
from tapwear.store.engine import Store, open_store
from tapwear.store.entries import add_event, add_reading, add_sample, add_service
from tapwear.store.find import find_unit
from tapwear.store.frames import Scope
from tapwear.store.lean import lean
from tapwear.store.loading import load_book, load_units
from tapwear.store.places import drives_of, find_station
from tapwear.store.recording import Stamp, insert, record
from tapwear.store.register import add_unit, swap_units
from tapwear.store.stops import Severe, open_stop

STAMP = Stamp("Robin", datetime(2026, 11, 1, 8, tzinfo=UTC))
DAY = date(2026, 6, 3)


@pytest.fixture
def store(empty_store: Store) -> Store:
    store = empty_store
    with store.rows(writing=True) as connection:
        for tag, station, state in (
            ("T1", "NORTH", "in service"),
            ("T2", "NORTH", "in service"),
            ("S1", "SOUTH", "spare"),
        ):
            values = {"unit": tag, "station": station, "counter_digits": 6, "state": state, "scheme": "usual"}
            unit = add_unit(connection, {**values, "region": "east", "interval_operations": 60_000}, STAMP)
            for month in (1, 2, 3):
                add_reading(connection, unit, {"value": month * 100, "read_on": date(2026, month, 1)}, STAMP)
            add_sample(connection, unit, {"sampled_on": DAY, "acetylene_ul_per_l": 5.0}, STAMP)
            add_service(connection, unit, {"done_on": DAY, "work": "overhaul"}, STAMP)
            add_event(connection, unit, {"kind": "inspection", "happened_on": DAY}, STAMP)
            open_stop(connection, unit, Severe(tag, DAY, "oil", "ethylene"), STAMP)
        swap_units(connection, "T2", "S1", date(2026, 7, 1), STAMP)
        for station in ("NORTH", "SOUTH"):
            number = find_station(connection, station)
            closure = {"station_id": number, "from_on": DAY, "to_on": DAY, "why": "peak", "recorded_by": "Robin"}
            insert(connection, "closure", recorded_at=STAMP.at, **closure)
            insert(connection, "transfer_group_member", group_name="ring", station_id=number)
        insert(connection, "transfer_group_member", group_name="tie", tap_changer_id=find_unit(connection, "T1").id)
        _drives_change_places(connection)
        _rules_of_schemes(connection)
        crew = lean("crew_week", "region", "week", "hours")
        rows = [{"region": region, "week": "2027-W05", "hours": 80.0} for region in ("east", "west")]
        connection.execute(sa.insert(crew), rows)
    return store


def _drives_change_places(connection: sa.Connection) -> None:
    """T1's drive goes to T2 and T2's to the shelf; both are read before and after."""
    first, second = (find_unit(connection, tag) for tag in ("T1", "T2"))
    (one,), (two,) = (drives_of(connection, unit.id).values() for unit in (first, second))
    for drive, on, then in ((two, None, 310), (one, second.id, 330)):
        record(
            *(connection, "fitting", STAMP),
            **{"drive_id": drive, "tap_changer_id": on, "slot": "1", "from_on": DAY, "counter_then": then},
        )
    add_reading(connection, second, {"value": 350, "read_on": date(2026, 8, 1)}, STAMP)


def _rules_of_schemes(connection: sa.Connection) -> None:
    """The units' scheme and T1 itself each have a rule for the visits and one for the oil."""
    unit = find_unit(connection, "T1").id
    scheme = connection.exec_driver_sql("SELECT id FROM scheme WHERE name = 'usual'").scalar_one()
    for owner, days in (({"scheme_id": scheme}, 90), ({"tap_changer_id": unit}, 30)):
        insert(connection, "visit_rule", **owner, read_every_days=days)
        insert(connection, "service_rule", **owner, task="oil change", interval_years=days / 10)


def _counter(connection: sa.Connection) -> int:
    """The counter of the drive that T1 had at first."""
    number = connection.exec_driver_sql("SELECT min(counter_id) FROM reading").scalar_one()
    return int(number)


def _cut(frame: pd.DataFrame, tags: Sequence[str]) -> pd.DataFrame:
    return frame[frame["unit"].isin(tags)].reset_index(drop=True)


@pytest.mark.parametrize("as_of", [None, date(2026, 6, 30), date(2026, 2, 1)])
@pytest.mark.parametrize("tags", [["T1"], ["T2"], ["S1"], ["T1", "S1"], ["S1", "T2"], ["T2", "T1", "T1"], []])
def test_the_book_of_some_units_is_the_fleets_cut_down_to_them(
    store: Store, tags: list[str], as_of: date | None
) -> None:
    fleet, some = load_book(store, as_of=as_of), load_book(store, units=tags, as_of=as_of)
    for field in fields(fleet):
        whole, cut = getattr(fleet, field.name), getattr(some, field.name)
        of_some = ("conditions", "limits", "deferrals", "observations", "followups", "rate_settings")
        assert len(whole) or as_of or field.name in of_some
        if field.name == "transfer_groups":
            expected = whole[whole["unit"].isin(tags) | whole["station"].isin(set(some.units["station"]) - {""})]
        elif "unit" in whole:
            expected = _cut(whole, tags)
        elif field.name in ("limits", "rate_settings"):
            expected = whole
        else:
            key = "region" if field.name == "crews" else "station"
            expected = whole[whole[key].isin(set(some.units[key]))]
        pd.testing.assert_frame_equal(cut, expected.reset_index(drop=True), obj=field.name)


def test_the_book_of_one_unit_is_that_of_a_set_of_one(store: Store) -> None:
    one, some = load_book(store, unit="t1"), load_book(store, units=["T1"])
    for field in fields(one):
        pd.testing.assert_frame_equal(getattr(one, field.name), getattr(some, field.name))


def test_a_drive_on_two_units_counts_for_each_in_its_days(store: Store) -> None:
    book = load_book(store, units=["T2"])
    assert book.readings["value"].tolist() == [100, 200, 300, 350]
    (change,) = book.events.query("kind == 'counter_replaced'").to_dict("records")
    assert (change["old_reading"], change["new_reading"]) == (310, 330)


def test_what_people_wrote_comes_back_letter_by_letter(store: Store) -> None:
    awkward = ['said "98", not 89', "a\\b, [c]", "two\nlines\x1f\tand", "großer Stoß ✓", "", "'", "nan", ","]
    days = [date(2026, 3, 2 + number) for number in range(len(awkward))]
    with store.rows(writing=True) as connection:
        unit = find_unit(connection, "T1")
        for day, words in zip(days, awkward, strict=True):
            said = {"remark": words, "reader": words, "doubt": words}
            record(connection, "reading", STAMP, counter_id=_counter(connection), read_on=day, value=301, **said)
            record(connection, "sample", STAMP, tap_changer_id=unit.id, sampled_on=day, laboratory=words)
    book = load_book(store)
    read = book.readings[book.readings["read_on"].isin(pd.to_datetime(days))]
    assert all(read[name].tolist() == awkward for name in ("remark", "reader", "doubt"))
    sampled = book.samples[book.samples["sampled_on"].isin(pd.to_datetime(days))]
    assert sampled["laboratory"].tolist() == awkward


def test_numbers_and_days_that_are_not_known_stay_unknown(store: Store) -> None:
    with store.rows(writing=True) as connection:
        unit = find_unit(connection, "T1")
        for day, current in ((1, 312.25), (2, None), (3, 0.0)):
            read = {"value": 320 + day, "read_on": date(2026, 5, day), "current_a": current}
            add_reading(connection, unit, read, STAMP)
        marked = {"received_on": date(2026, 5, 9), "methane_ul_per_l": 0.5, "methane_below": True, "oil_temp_c": -0.125}
        record(connection, "sample", STAMP, tap_changer_id=unit.id, sampled_on=date(2026, 5, 8), **marked)
    book = load_book(store, units=["T1"])
    assert book.readings["current_a"].iloc[-3:].fillna(-1).tolist() == [312.25, -1, 0.0]
    first, second = book.samples.to_dict("records")
    assert (first["received_on"], first["methane"], first["methane_below"]) == (pd.Timestamp(2026, 5, 9), 0.5, True)
    assert (first["oil_temp_c"], first["acetylene_below"]) == (-0.125, False)
    assert pd.isna([first["reported_on"], first["acetylene"], second["received_on"], second["methane"]]).all()


def test_a_number_read_by_several_on_one_day_stands_there_once(store: Store) -> None:
    with store.rows(writing=True) as connection:
        counter = _counter(connection)
        for value, reader, current in ((500, "Sam", None), (500, "Kim", 80.0), (501, "Lee", None), (500, "Ash", 80.0)):
            said = {"counter_id": counter, "read_on": date(2026, 5, 1), "value": value, "current_a": current}
            record(connection, "reading", STAMP, reader=reader, **said)
    read = load_book(store, units=["T1"]).readings.iloc[-2:]
    assert read[["value", "reader"]].to_numpy().tolist() == [[501, "Lee"], [500, "Ash"]]


def test_of_some_units_only_their_rows_are_read_by_index(file_store: Store) -> None:
    plans: dict[str, list[str]] = {}

    def explain(connection: sa.Connection, cursor: Any, statement: str, parameters: Any, *_: Any) -> None:
        if statement.startswith("SELECT") and "LIMIT" not in statement:
            raw: Any = connection.connection.driver_connection
            steps = raw.execute(f"EXPLAIN QUERY PLAN {statement}", parameters).fetchall()
            plans[statement] = [step[-1] for step in steps]

    with file_store.rows(writing=True) as connection:
        for tag in ("T1", "T2"):
            add_unit(connection, {"unit": tag, "station": "NORTH", "counter_digits": 6}, STAMP)
    sa.event.listen(file_store.engine, "before_cursor_execute", explain)
    load_book(file_store, units=["T1", "T2"])
    for table in ("reading", "sample", "service", "event", "observation", "stay", "fitting", "tap_changer"):
        of_table = [step for steps in plans.values() for step in steps if step.split()[1] == table]
        assert {step.split()[0] for step in of_table} == {"SEARCH"}, (table, of_table)


def test_ten_thousand_units_are_asked_for_at_once(store: Store) -> None:
    with store.rows() as connection:
        scope = Scope(connection, tuple(range(1, 10_001)), None)
        changer = scope.table("tap_changer")
        found = scope.rows(sa.select(changer.c.tag).where(*scope.of_units(changer.c.id)).order_by(changer.c.tag))
    assert [row[0] for row in found] == ["S1", "T1", "T2"]


def test_an_empty_store_gives_frames_of_the_same_types(store: Store, empty_store_file: Path) -> None:
    full, empty = load_book(store), load_book(open_store(empty_store_file))
    for field in fields(full):
        some, none = getattr(full, field.name), getattr(empty, field.name)
        assert none.empty
        assert dict(none.dtypes) == dict(some.dtypes), field.name


def test_frames_hold_the_columns_that_the_layers_ask_for(store: Store) -> None:
    book = load_book(store)
    assert {"unit", "place", "station", "peer_group", "commissioned_on"} <= set(book.units)
    assert {"reading_id", "unit", "drive", "source", "read_on", "value", "digits"} <= set(book.readings)
    assert {"unit", "happened_on", "kind", "drive", "old_reading", "new_reading"} <= set(book.events)
    assert set(book.stays) == {"unit", "place", "from_on", "to_on", "state"}
    gases = {*GASES, *(f"{gas}_below" for gas in GASES)}
    assert {"sample_id", "compartment", "taken_from", "sampled_on", "laboratory", *gases} <= set(book.samples)
    assert set(book.oil_events) == {"unit", "happened_on", "kind"}
    assert set(book.events["kind"]) <= {*EVENT_KINDS, "other"}
    for field in fields(book):
        frame = getattr(book, field.name)
        words = frame.select_dtypes(include=["object", "string"]).drop(columns=["resets"], errors="ignore")
        assert not words.isna().any().any(), field.name


def test_planning_tables_come_with_station_and_group_names(store: Store) -> None:
    book = load_book(store)
    assert book.closures["station"].tolist() == ["NORTH", "SOUTH"]
    assert book.transfer_groups.to_numpy().tolist() == [["ring", "NORTH", ""], ["ring", "SOUTH", ""], ["tie", "", "T1"]]
    assert book.crews["hours"].tolist() == [80.0, 80.0]


def test_an_unknown_unit_is_named_with_near_ones(store: Store) -> None:
    with pytest.raises(UsageError, match="Did you mean"):
        load_book(store, unit="T11")
    with pytest.raises(UsageError, match="no unit T11"):
        load_book(store, units=["T1", "T11", "S1"])
    with store.rows() as connection:
        assert find_unit(connection, "s1").tag == "S1"


def test_a_units_only_drive_is_named_and_none_where_it_has_several_or_lost_it(store: Store) -> None:
    with store.rows(writing=True) as connection:
        add_unit(connection, {"unit": "T3", "station": "NORTH", "counter_digits": 6, "drives": "A, B"}, STAMP)
    drives = load_book(store).units.set_index("unit")["only_drive"]
    assert drives.to_dict() == {"S1": "1", "T1": "", "T2": "1", "T3": ""}


@pytest.mark.parametrize("as_of", [date(2026, 6, 30), date(2026, 8, 1)])
def test_units_alone_are_those_of_the_book(store: Store, as_of: date) -> None:
    whole = load_book(store, as_of=as_of).units.drop(columns="home")
    pd.testing.assert_frame_equal(load_units(store, as_of), whole)
    pd.testing.assert_frame_equal(load_units(store, as_of, ["S1", "T2"]), _cut(whole, ["S1", "T2"]))
