"""The book of one unit is the fleet's book cut down to it, and empty stores give empty frames of the same types."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd
import pytest
import sqlalchemy as sa

from tapwear.counts.types import EVENT_KINDS
from tapwear.errors import UsageError
from tapwear.oil.types import GASES
from tapwear.store.engine import Store, open_store
from tapwear.store.entries import add_event, add_reading, add_sample, add_service
from tapwear.store.find import find_unit
from tapwear.store.lean import lean
from tapwear.store.loading import load_book
from tapwear.store.places import find_station
from tapwear.store.recording import Stamp, insert
from tapwear.store.register import add_unit, swap_units

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
        swap_units(connection, "T2", "S1", date(2026, 7, 1), STAMP)
        for station in ("NORTH", "SOUTH"):
            number = find_station(connection, station)
            closure = {"station_id": number, "from_on": DAY, "to_on": DAY, "why": "peak", "recorded_by": "Robin"}
            insert(connection, "closure", recorded_at=STAMP.at, **closure)
            insert(connection, "transfer_group_member", group_name="ring", station_id=number)
        crew = lean("crew_week", "region", "week", "hours")
        rows = [{"region": region, "week": "2027-W05", "hours": 80.0} for region in ("east", "west")]
        connection.execute(sa.insert(crew), rows)
    return store


@pytest.mark.parametrize("unit", ["T1", "T2", "S1"])
def test_the_book_of_one_unit_is_the_fleets_cut_down_to_it(store: Store, unit: str) -> None:
    fleet, one = load_book(store), load_book(store, unit=unit)
    for name in ("units", "rules", "readings", "events", "stays", "samples", "oil_events", "services"):
        whole = getattr(fleet, name)
        expected = whole[whole["unit"] == unit].reset_index(drop=True)
        pd.testing.assert_frame_equal(getattr(one, name).reset_index(drop=True), expected)
    station = one.units["station"].iloc[0]
    assert set(one.closures["station"]) == ({station} if station else set())
    assert set(one.crews["region"]) <= {"east"}


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
    assert book.transfer_groups.to_numpy().tolist() == [["ring", "NORTH", ""], ["ring", "SOUTH", ""]]
    assert book.crews["hours"].tolist() == [80.0, 80.0]


def test_an_unknown_unit_is_named_with_near_ones(store: Store) -> None:
    with pytest.raises(UsageError, match="Did you mean"):
        load_book(store, unit="T11")
    with store.rows() as connection:
        assert find_unit(connection, "s1").tag == "S1"
