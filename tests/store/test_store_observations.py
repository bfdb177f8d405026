"""Observations: stored quantity by quantity, imported wide, loaded with positions in order."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from tapwear.errors import UsageError
from tapwear.store.engine import Store
from tapwear.store.find import find_unit
from tapwear.store.importing import ImportResult, store_intake
from tapwear.store.loading import load_book
from tapwear.store.observations import list_observations, observation_rows
from tapwear.store.recording import Stamp, record
from tapwear.store.register import add_unit, change_unit
from tapwear.visits.reading import read_paths

NOW = datetime(2026, 11, 2, 9, tzinfo=UTC)
STAMP = Stamp("Robin", NOW)
DAY = date(2026, 6, 3)


@pytest.fixture
def store(empty_store: Store) -> Store:
    unit = {"unit": "T1", "station": "NORTH", "counter_digits": 5, "positions": "16L-N-16R"}
    with empty_store.rows(writing=True) as connection:
        add_unit(connection, unit, STAMP)
    return empty_store


def note(store: Store, values: dict[str, Any], day: date = DAY, visit_id: str = "") -> None:
    with store.rows(writing=True) as connection:
        for row in observation_rows(connection, find_unit(connection, "T1"), day, values, visit_id=visit_id):
            record(connection, "observation", STAMP, **row)


def bring(store: Store, folder: Path, text: str) -> ImportResult:
    path = folder / "observations.csv"
    path.write_text(text, encoding="utf-8")
    return store_intake(store, read_paths([path]), by="Kim", now=NOW, today=date(2026, 11, 2), what="observations")


def held(store: Store) -> dict[str, tuple[Any, str]]:
    with store.rows() as connection:
        return {row.quantity: (row.value, row.words) for row in list_observations(connection)}


def test_each_quantity_is_kept_by_itself_with_its_visit(store: Store) -> None:
    note(store, {"position": "l5", "oil_level": "low", "oil_temp_c": 41.5}, visit_id="v1")
    assert held(store) == {"position": (None, "5L"), "oil_level": (None, "low"), "oil_temp_c": (41.5, "")}
    assert set(load_book(store).observations["visit_id"]) == {"v1"}


def test_a_position_that_the_unit_has_not_is_refused_with_all_that_came_with_it(store: Store) -> None:
    with pytest.raises(UsageError, match="lies outside this unit's positions"):
        note(store, {"oil_level": "low", "position": "17R"})
    assert held(store) == {}


def test_the_register_refuses_positions_that_are_no_range(store: Store) -> None:
    with store.rows(writing=True) as connection, pytest.raises(UsageError, match="positions: '16' is no range"):
        change_unit(connection, "T1", {"positions": "16"}, STAMP)
    assert list(load_book(store).units["positions"]) == ["16L-N-16R"]


def test_loaded_positions_are_in_the_order_of_the_units_own_as_the_register_has_them_now(store: Store) -> None:
    note(store, {"position_low": "3L", "position_high": "N"})
    assert list(load_book(store).observations["value"]) == [-3, 0]
    assert load_book(store, as_of=date(2026, 6, 2)).observations.empty
    with store.rows(writing=True) as connection:
        change_unit(connection, "T1", {"positions": "1-17-33"}, STAMP)
    left, neutral = load_book(store, "T1").observations["value"]
    assert math.isnan(left)
    assert neutral == 17


def test_observations_are_listed_by_quantity_and_day(store: Store) -> None:
    note(store, {"oil_level": "normal"})
    note(store, {"oil_level": "low", "heater": "off"}, date(2026, 1, 5))
    with store.rows() as connection:
        rows = list_observations(connection, find_unit(connection, "T1"))
    assert [(row.quantity, row.words, row.observed_on, row.by) for row in rows] == [
        ("oil_level", "low", date(2026, 1, 5), "Robin"), ("oil_level", "normal", DAY, "Robin"),
        ("heater", "off", date(2026, 1, 5), "Robin"),
    ]  # fmt: skip


HEADINGS = "unit,observed_on,position,oil_temp_c,oil_temp_unit,breather,seepage\n"


def test_a_wide_row_is_imported_quantity_by_quantity_and_known_the_next_time(store: Store, tmp_path: Path) -> None:
    rows = HEADINGS + "T1,2026-06-03,5l,104,F,to be renewed,bushing flange\nT1,2026-06-04,N,,,,none\n"
    first = bring(store, tmp_path, rows)
    assert (first.findings, first.total("stored")) == ((), 2)
    assert held(store) == {
        "position": (None, "N"), "oil_temp_c": (40.0, ""),
        "breather": (None, "to be renewed"), "seepage": (None, "none")
    }  # fmt: skip
    again = bring(store, tmp_path, rows)
    assert (again.findings, again.total("known")) == ((), 2)


def test_what_a_file_says_otherwise_is_a_conflict_by_its_field_and_the_rest_of_the_row_is_kept(
    store: Store, tmp_path: Path
) -> None:
    bring(store, tmp_path, HEADINGS + "T1,2026-06-03,5L,40,,,\n")
    told = bring(store, tmp_path, HEADINGS + "T1,2026-06-03,5R,40,,blocked,\n")
    (finding,) = told.findings
    assert (finding.field, finding.severity) == ("position", "conflict")
    assert "5L in the book, 5R here" in finding.found
    assert held(store)["breather"] == (None, "blocked")
    assert held(store)["position"] == (None, "5L")


def test_a_row_said_twice_in_a_file_is_told_once(store: Store, tmp_path: Path) -> None:
    row = "T1,2026-06-03,5L,40,,blocked,\n"
    told = bring(store, tmp_path, HEADINGS + row + row)
    (finding,) = told.findings
    assert (finding.severity, finding.line) == ("left aside", 3)
    assert told.total("stored") == 1


def test_a_compartment_that_the_unit_has_not_is_refused(store: Store, tmp_path: Path) -> None:
    (finding,) = bring(store, tmp_path, "unit,observed_on,compartment,breather\nT1,2026-06-03,B,blocked\n").findings
    assert (finding.field, finding.severity) == ("compartment", "rejected")
    assert "T1 has no compartment B" in finding.found
    assert held(store) == {}
