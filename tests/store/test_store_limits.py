"""Limits of the user's own and conditions that people note: kept append-only, loaded, taken back, imported."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tapwear.errors import UsageError
from tapwear.store.conditions import add_condition, close_condition, list_conditions
from tapwear.store.engine import Store
from tapwear.store.find import find_unit
from tapwear.store.importing import ImportResult, store_intake
from tapwear.store.limits import drop_limit, list_limits, set_limit
from tapwear.store.loading import load_book
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit
from tapwear.visits.reading import read_paths

NOW = datetime(2026, 11, 2, 9, tzinfo=UTC)
STAMP = Stamp("Kim", NOW)
ACETYLENE = {"group": "R1", "quantity": "acetylene_ul_per_l", "value": 90.0, "provenance": "our standard 7"}


def with_unit(store: Store) -> Store:
    with store.rows(writing=True) as connection:
        add_unit(connection, {"unit": "T1", "station": "NORTH", "counter_digits": 5}, STAMP)
    return store


def taken(store: Store, tmp_path: Path, name: str, text: str) -> ImportResult:
    (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    intake = read_paths([tmp_path / f"{name}.csv"])
    return store_intake(store, intake, by="Kim", now=NOW, today=NOW.date(), what=name)


def note(store: Store, **changes: Any) -> None:
    values = {"noted_on": date(2026, 5, 2), "kind": "motor_current", "words": "peak odd", "author": "K."} | changes
    with store.rows(writing=True) as connection:
        add_condition(connection, find_unit(connection, "T1"), values, STAMP)


# --- limits ---------------------------------------------------------------------------------------------------


def test_the_table_of_limits_is_empty_at_first(empty_store: Store) -> None:
    with empty_store.rows() as connection:
        assert list_limits(connection) == []
    assert load_book(empty_store).limits.empty


def test_a_limit_set_again_replaces_the_former_which_is_kept(empty_store: Store) -> None:
    with empty_store.rows(writing=True) as connection:
        assert set_limit(connection, ACETYLENE, STAMP).kind == "stored"
        assert set_limit(connection, ACETYLENE, STAMP).kind == "already there"
        assert set_limit(connection, ACETYLENE | {"value": 70.0}, STAMP).kind == "replaced"
        (held,) = list_limits(connection)
        assert connection.exec_driver_sql("SELECT count(*) FROM oil_limit").scalar() == 2
    assert (held["group"], held["value"], held["provenance"]) == ("R1", 70.0, "our standard 7")
    limits = load_book(empty_store, as_of=date(2020, 1, 1)).limits
    assert limits[["oil_group", "technology", "quantity", "value", "source"]].values.tolist() == [
        ["R1", "", "acetylene", 70.0, "our standard 7"]
    ]


def test_a_limit_taken_back_holds_no_more(empty_store: Store) -> None:
    with empty_store.rows(writing=True) as connection:
        set_limit(connection, ACETYLENE, STAMP)
        drop_limit(connection, ACETYLENE, STAMP)
        assert list_limits(connection) == []
        with pytest.raises(UsageError, match="no limit of acetylene_ul_per_l for R1"):
            drop_limit(connection, ACETYLENE, STAMP)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"group": ""}, "give group, technology or both"),
        ({"quantity": "breakdown_kv"}, "needs its test method"),
        ({"breakdown_method": "IEC 60156"}, "goes with breakdown_kv only"),
        ({"value": 0.0}, "value: 0"),
        ({"provenance": ""}, "provenance is needed"),
        ({"quantity": "colour"}, "none of the known words"),
    ],
)
def test_a_limit_that_cannot_hold_is_refused(empty_store: Store, changes: dict[str, Any], said: str) -> None:
    with empty_store.rows(writing=True) as connection, pytest.raises(UsageError, match=said):
        set_limit(connection, ACETYLENE | changes, STAMP)


def test_limits_come_in_as_a_file_and_never_overwrite(empty_store: Store, tmp_path: Path) -> None:
    text = "group,technology,quantity,value,breakdown_method,provenance\n"
    text += "R1,,acetylene_ul_per_l,90,,our standard 7\n,vacuum,acetylene_ul_per_l,5,,maker\n"
    text += "R1,,breakdown_kv,30,IEC 60156,our standard 7\n"
    assert taken(empty_store, tmp_path, "limits", text).total("stored") == 3
    assert taken(empty_store, tmp_path, "limits", text).total("known") == 3
    other = taken(empty_store, tmp_path, "limits", text.replace("90", "60"))
    (finding,) = other.findings
    assert (finding.severity, finding.line) == ("conflict", 2)
    assert "limit of acetylene_ul_per_l for R1: value 90.0 in the book, 60.0 here" in finding.found
    assert "tapwear limits set" in finding.remedy


# --- conditions -----------------------------------------------------------------------------------------------


def test_a_condition_is_kept_with_its_author_and_date_and_closed_by_a_later_row(empty_store: Store) -> None:
    store = with_unit(empty_store)
    note(store, act_by_on=date(2026, 9, 1))
    with store.rows(writing=True) as connection:
        unit = find_unit(connection, "T1")
        was = close_condition(connection, unit, "motor_current", date(2026, 6, 1), "brake set right", STAMP)
        assert was.closed_on is None
        (row,) = list_conditions(connection, unit)
        assert connection.exec_driver_sql("SELECT count(*) FROM condition").scalar() == 2
    assert (row.words, row.act_by_on, row.severe, row.author) == ("peak odd", date(2026, 9, 1), False, "K.")
    assert (row.closed_on, row.closed_words) == (date(2026, 6, 1), "brake set right")


def test_as_of_a_day_a_condition_closed_later_is_open_and_one_noted_later_is_not_there(empty_store: Store) -> None:
    store = with_unit(empty_store)
    note(store, closed_on=date(2026, 6, 1), closed_words="brake set right")
    assert load_book(store, as_of=date(2026, 5, 1)).conditions.empty
    (then,) = load_book(store, as_of=date(2026, 5, 31)).conditions.to_dict("records")
    assert (then["closed_on"] is pd.NaT, then["closed_words"]) == (True, "")
    (now,) = load_book(store, as_of=date(2026, 6, 1)).conditions.to_dict("records")
    assert (now["closed_on"], now["closed_words"]) == (pd.Timestamp("2026-06-01"), "brake set right")


def test_a_relay_trip_is_severe_unless_said_otherwise(empty_store: Store) -> None:
    store = with_unit(empty_store)
    note(store, kind="relay_trip")
    note(store, kind="relay_trip", noted_on=date(2026, 5, 3), severe=False)
    note(store, kind="infrared")
    assert load_book(store).conditions["severe"].tolist() == [True, False, False]


def test_closing_says_which_are_open_when_it_cannot_tell(empty_store: Store) -> None:
    store = with_unit(empty_store)
    with store.rows(writing=True) as connection:
        unit = find_unit(connection, "T1")
        with pytest.raises(UsageError, match="no open condition infrared; open: none"):
            close_condition(connection, unit, "infrared", date(2026, 6, 1), "", STAMP)
    note(store)
    note(store, noted_on=date(2026, 5, 4))
    with store.rows(writing=True) as connection:
        with pytest.raises(UsageError, match="2 open conditions motor current, noted on 2026-05-02, 2026-05-04"):
            close_condition(connection, unit, "motor_current", date(2026, 6, 1), "", STAMP)
        with pytest.raises(UsageError, match="cannot be closed on 2026-05-01, before"):
            close_condition(connection, unit, "motor_current", date(2026, 5, 1), "", STAMP, date(2026, 5, 2))
        close_condition(connection, unit, "motor_current", date(2026, 6, 1), "", STAMP, date(2026, 5, 2))
        assert [row.closed_on for row in list_conditions(connection)] == [date(2026, 6, 1), None]


def test_conditions_come_in_as_a_file_with_an_act_by_day_ahead(empty_store: Store, tmp_path: Path) -> None:
    store = with_unit(empty_store)
    text = "unit,noted_on,kind,words,act_by_on\nt1,2026-05-02,relay trip,surge relay of the compartment,2027-01-31\n"
    assert taken(store, tmp_path, "conditions", text).findings == ()
    (row,) = load_book(store).conditions.to_dict("records")
    assert (row["unit"], row["kind"], row["severe"]) == ("T1", "relay_trip", True)
    with store.rows(writing=True) as connection:
        close_condition(connection, find_unit(connection, "T1"), "relay_trip", date(2026, 6, 1), "false trip", STAMP)
    again = taken(store, tmp_path, "conditions", text)  # the same file does not open it again
    assert (again.total("known"), again.findings) == (1, ())
    assert load_book(store).conditions["closed_on"].notna().all()
