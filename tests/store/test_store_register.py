"""The register: adding, correcting, moving, swapping, retiring units, and what the book then says of them."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
import sqlalchemy as sa

from tapwear.errors import UsageError
from tapwear.store.engine import Store
from tapwear.store.find import find_unit
from tapwear.store.lean import lean
from tapwear.store.loading import load_book
from tapwear.store.overview import list_units, unit_sheet
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit, change_unit, move_unit, retire_unit, swap_units

STAMP = Stamp("Robin", datetime(2026, 11, 1, 8, tzinfo=UTC), "tidying up")


@pytest.fixture
def store(empty_store: Store) -> Store:
    return empty_store


def add(store: Store, unit: str, station: str = "NORTH", digits: int = 6, **more: Any) -> None:
    with store.rows(writing=True) as connection:
        add_unit(connection, {"unit": unit, "station": station, "counter_digits": digits, **more}, STAMP)


def rows_of(store: Store, table: str, *columns: str) -> list[tuple[Any, ...]]:
    rows = lean(table, *columns)
    with store.rows() as connection:
        return [tuple(row) for row in connection.execute(sa.select(rows))]


def test_tag_station_and_digits_are_enough_for_a_unit(store: Store) -> None:
    add(store, "T1")
    unit = load_book(store).units.iloc[0]
    assert (unit["unit"], unit["station"], unit["digits"], unit["state"]) == ("T1", "NORTH", 6, "in service")
    assert unit["place"] == "NORTH//"
    assert load_book(store).stays[["unit", "place", "state"]].to_numpy().tolist() == [["T1", "NORTH//", "in service"]]


def test_units_without_banks_at_one_station_have_positions_of_their_own(store: Store) -> None:
    for tag in ("T1", "T2", "T3"):
        add(store, tag)
    assert load_book(store).units["place"].tolist() == ["NORTH//", "NORTH//#2", "NORTH//#3"]
    assert load_book(store, unit="T3").units["place"].tolist() == ["NORTH//#3"]


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"unit": "T9", "station": "NORTH"}, "counter_digits"),
        ({"unit": "T9", "counter_digits": 6}, "station"),
        ({"unit": "", "station": "NORTH", "counter_digits": 6}, "unit is needed"),
        ({"unit": "t1", "station": "NORTH", "counter_digits": 6}, "unit T1 already"),
        ({"unit": "T9", "station": "NORTH", "counter_digits": 2}, "counter_digits: 2 lies below 3"),
        ({"unit": "T9", "station": "NORTH", "counter_digits": 6, "technology": "gas"}, "'gas' is none"),
        ({"unit": "T9", "station": "NORTH", "counter_digits": 6, "oil_volume_l": float("nan")}, "not a number"),
        ({"unit": "T9", "station": "NORTH", "counter_digits": 6, "serial": "S-1"}, "belongs to unit T1"),
        ({"unit": "T9", "station": "NORHT", "counter_digits": 6}, "Did you mean NORTH"),
        ({"unit": "T9", "station": "NORTH", "counter_digits": 6, "colour": "red"}, "no field of units"),
    ],
)
def test_a_unit_that_cannot_be_is_refused_and_leaves_nothing(store: Store, values: dict[str, Any], words: str) -> None:
    add(store, "T1", serial="S-1")
    with pytest.raises(UsageError, match=words), store.rows(writing=True) as connection:
        add_unit(connection, values, STAMP)
    assert load_book(store).units["unit"].tolist() == ["T1"]
    assert len(rows_of(store, "drive", "id")) == 1


def test_a_station_with_a_near_name_is_made_when_it_is_said_to_be_new(store: Store) -> None:
    add(store, "T1", "NORTH")
    with store.rows(writing=True) as connection:
        add_unit(connection, {"unit": "T2", "station": "NORTHE", "counter_digits": 5}, STAMP, sure=True)
    assert load_book(store).units["station"].tolist() == ["NORTH", "NORTHE"]


def test_a_unit_is_found_in_other_capitals_and_a_near_tag_is_offered(store: Store) -> None:
    add(store, "T-101")
    with store.rows() as connection:
        assert find_unit(connection, "t-101").tag == "T-101"
        with pytest.raises(UsageError, match=r"Did you mean T-101\?"):
            find_unit(connection, "T-102")
        with pytest.raises(UsageError, match="unit list"):
            find_unit(connection, "zebra")


def test_a_corrected_field_is_kept_with_its_former_value_and_the_reason(store: Store) -> None:
    add(store, "T1", oil_volume_l=200.0)
    with store.rows(writing=True) as connection:
        changes = change_unit(
            connection, "T1", {"serial": "S-7", "oil_volume_l": 250.0, "counter_digits": 5, "region": "east"}, STAMP
        )
    assert {change.field for change in changes} == {"serial", "oil_volume_l", "digits", "region"}
    unit = load_book(store).units.iloc[0]
    assert (unit["serial"], unit["oil_volume_l"], unit["digits"], unit["region"]) == ("S-7", 250.0, 5, "east")
    history = rows_of(store, "register_change", "field", "before", "after", "recorded_by", "reason")
    assert ("oil_volume_l", "200.0", "250.0", "Robin", "tidying up") in history
    assert ("digits", "6", "5", "Robin", "tidying up") in history


def test_a_change_to_what_is_there_changes_nothing(store: Store) -> None:
    add(store, "T1", serial="S-7")
    before = len(rows_of(store, "register_change", "id"))
    with store.rows(writing=True) as connection:
        assert change_unit(connection, "T1", {"serial": "S-7", "bank": "", "state": "in service"}, STAMP) == []
    assert len(rows_of(store, "register_change", "id")) == before
    assert len(rows_of(store, "stay", "id")) == 1


def test_a_corrected_bank_supersedes_the_stay_and_a_renamed_unit_keeps_its_history(store: Store) -> None:
    add(store, "T1")
    with store.rows(writing=True) as connection:
        change_unit(connection, "T1", {"bank": "B2", "unit": "T1A"}, STAMP)
    book = load_book(store)
    assert book.units[["unit", "bank", "place"]].to_numpy().tolist() == [["T1A", "B2", "NORTH/B2/"]]
    assert len(book.stays) == 1
    assert len(rows_of(store, "stay", "id")) == 2


def test_own_interval_goes_before_the_schemes_and_leaves_the_schemes_years(store: Store) -> None:
    add(store, "T1", scheme="resistor")
    add(store, "T2", scheme="resistor", interval_operations=80_000)
    with store.rows(writing=True) as connection:
        scheme = connection.execute(sa.select(lean("scheme", "id").c.id)).scalar_one()
        rule = lean(
            "service_rule",
            *("scheme_id", "task", "interval_operations", "interval_years", "crew_hours", "kit", "provenance"),
        )
        connection.execute(
            sa.insert(rule).values(
                scheme_id=scheme,
                task="contact service",
                interval_operations=50_000,
                interval_years=7.0,
                crew_hours=32.0,
                kit="K1",
                provenance="manual",
            )
        )
    rules = load_book(store).rules.set_index("unit")
    assert rules["interval_operations"].tolist() == [50_000, 80_000]
    assert rules["interval_years"].tolist() == [7.0, 7.0]
    assert rules["kit"].tolist() == ["K1", "K1"]


def test_a_move_appends_a_stay_and_closes_the_one_before(store: Store) -> None:
    add(store, "T1")
    with store.rows(writing=True) as connection:
        move_unit(connection, "T1", date(2024, 5, 1), STAMP, station="SOUTH", bank="B1")
    stays = load_book(store).stays
    assert stays["place"].tolist() == ["NORTH//", "SOUTH/B1/"]
    assert stays["to_on"].dt.date.tolist()[0] == date(2024, 5, 1)
    assert load_book(store).units["station"].tolist() == ["SOUTH"]
    assert load_book(store, as_of=date(2024, 4, 30)).units["station"].tolist() == ["NORTH"]


def test_a_move_before_the_last_one_is_refused(store: Store) -> None:
    add(store, "T1")
    with store.rows(writing=True) as connection:
        move_unit(connection, "T1", date(2024, 5, 1), STAMP, station="SOUTH")
    with pytest.raises(UsageError, match="would lie before"), store.rows(writing=True) as connection:
        move_unit(connection, "T1", date(2024, 4, 30), STAMP, station="WEST")
    with pytest.raises(UsageError, match="tapwear unit change T1"), store.rows(writing=True) as connection:
        move_unit(connection, "T1", date(2024, 5, 1), STAMP, station="WEST")
    with pytest.raises(UsageError, match="is there already"), store.rows(writing=True) as connection:
        move_unit(connection, "T1", date(2025, 5, 1), STAMP, station="SOUTH")


def test_a_spare_takes_the_place_and_its_position_and_the_old_one_goes_to_the_workshop(store: Store) -> None:
    for tag in ("T1", "T2"):
        add(store, tag)
    add(store, "SP", state="spare")
    with store.rows(writing=True) as connection:
        swap_units(connection, "T1", "SP", date(2024, 5, 1), STAMP)
    units = load_book(store).units.set_index("unit")
    assert units.loc["SP", "place"] == "NORTH//"
    assert units.loc["SP", "state"] == "in service"
    assert units.loc["T1", "state"] == "workshop"
    assert units.loc["T1", "place"] == "workshop: T1"
    assert units.loc["T2", "place"] == "NORTH//#2"
    assert load_book(store, unit="SP").units["place"].tolist() == ["NORTH//"]


def test_two_units_in_service_exchange_places(store: Store) -> None:
    add(store, "T1", "NORTH")
    add(store, "T2", "SOUTH")
    with store.rows(writing=True) as connection:
        swap_units(connection, "T1", "T2", date(2024, 5, 1), STAMP)
    units = load_book(store).units.set_index("unit")
    assert (units.loc["T1", "place"], units.loc["T2", "place"]) == ("SOUTH//", "NORTH//")


def test_a_swap_that_cannot_be_is_refused(store: Store) -> None:
    add(store, "T1")
    add(store, "T2")
    add(store, "SP", state="spare")
    with pytest.raises(UsageError, match="same station"), store.rows(writing=True) as connection:
        swap_units(connection, "T1", "T2", date(2024, 5, 1), STAMP)
    with pytest.raises(UsageError, match="not in service"), store.rows(writing=True) as connection:
        swap_units(connection, "SP", "T2", date(2024, 5, 1), STAMP)
    with pytest.raises(UsageError, match="with itself"), store.rows(writing=True) as connection:
        swap_units(connection, "T1", "T1", date(2024, 5, 1), STAMP)


def test_a_retired_unit_keeps_its_history_and_can_serve_nowhere_by_itself(store: Store) -> None:
    add(store, "T1")
    with store.rows(writing=True) as connection:
        retire_unit(connection, "T1", date(2025, 1, 1), STAMP)
    book = load_book(store)
    assert book.units["state"].tolist() == ["retired"]
    assert book.stays["state"].tolist() == ["in service", "retired"]
    with pytest.raises(UsageError, match="retired already"), store.rows(writing=True) as connection:
        retire_unit(connection, "T1", date(2026, 1, 1), STAMP)
    with pytest.raises(UsageError, match="name the station"), store.rows(writing=True) as connection:
        move_unit(connection, "T1", date(2026, 1, 1), STAMP, state="in service")


def test_three_drives_and_compartments_are_kept_apart(store: Store) -> None:
    add(store, "T1", drives=("A", "B", "C"), compartments=("A", "B", "C"), oil_volume_l=150.0)
    with store.rows() as connection:
        sheet = unit_sheet(connection, find_unit(connection, "T1"))
    assert list(sheet.drives) == ["A", "B", "C"]
    assert sheet.drives["A"] == (("mechanical", 6),)
    assert sheet.compartments == (("A", 150.0, None), ("B", 150.0, None), ("C", 150.0, None))
    assert load_book(store).units["oil_volume_l"].tolist() == [150.0]


def test_the_list_shows_where_each_unit_stands_now(store: Store) -> None:
    add(store, "T2", "SOUTH", bank="B1")
    add(store, "T1", "NORTH")
    with store.rows(writing=True) as connection:
        move_unit(connection, "T1", date(2024, 5, 1), STAMP, state="spare")
    with store.rows() as connection:
        lines = [(line.tag, line.station, line.bank, line.state) for line in list_units(connection)]
    assert lines == [("T1", "NORTH", "", "spare"), ("T2", "SOUTH", "B1", "in service")]
