"""Reading the counter never fails: odd histories, and what must not change anything."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from clean_frames import clean, events_frame, monthly, readings_frame, status, stays_frame, steady, units_frame
from hypothesis import given, settings
from hypothesis import strategies as st

from tapwear.counts.clean import read_counters

ODD = {
    "none": [],
    "one": [500],
    "two": [500, 510],
    "two falling": [510, 500],
    "all equal": [700] * 12,
    "all zero": [0] * 12,
    "ever lower": list(range(9_000, 8_000, -100)),
    "wild": [5, 99_999, 3, 50_000, 50_001, 7, 7, 7, 99_998, 0],
}


@pytest.mark.parametrize("values", ODD.values(), ids=ODD.keys())
def test_an_odd_history_gives_whole_results(values):
    history = clean(monthly("T1", values))
    assert len(history.readings) == len(values)
    assert history.points["operations"].notna().all()
    assert history.points["operations"].is_monotonic_increasing
    assert history.points["probability"].between(0, 1).all()
    assert len(history.points) >= min(len(values), 1)


def test_no_readings_at_all_give_empty_tables_with_their_columns():
    history = clean([])
    assert history.points.columns.tolist() == ["series", "unit", "drive", "on", "operations", "probability"]
    assert history.open_ends.columns.tolist() == ["series", "unit", "on", "operations", "probability", "words"]
    assert history.readings.empty


def test_a_thousand_readings_are_no_trouble():
    history = clean(monthly("T1", steady(0, 60, 1000, digits=6), start="1930-01-01", digits=6))
    assert set(status(history)) == {"used"}


def test_nine_numbers_of_one_day_leave_one_of_them():
    rows = monthly("T1", steady(20_000, 400, 9))
    crowd = [("T1", rows[4][1], 20_000 + 777 * k) for k in range(8)]
    history = clean([*rows[:5], *crowd, *rows[5:]])
    of_day = history.readings["read_on"] == pd.Timestamp(rows[4][1])
    assert history.readings["status"][of_day].value_counts().to_dict() == {"superseded": 8, "used": 1}
    assert set(history.readings["status"][~of_day]) == {"used"}


def test_a_unit_that_the_register_does_not_know_is_read_all_the_same():
    readings = readings_frame(monthly("T9", steady(100, 50, 5)))
    history = read_counters(units_frame([]), readings, events_frame(), stays_frame(), pd.Timestamp("2030-01-01").date())
    assert set(status(history)) == {"used"}


def test_entries_without_a_date_or_a_number_are_left_aside():
    readings = readings_frame(monthly("T1", steady(100, 50, 5)))
    readings.loc[1, "read_on"] = pd.NaT
    readings["value"] = readings["value"].astype(float)
    readings.loc[2, "value"] = np.nan
    readings.loc[3, "value"] = -5.0
    history = read_counters(
        units_frame(["T1"]), readings, events_frame(), stays_frame(), pd.Timestamp("2030-01-01").date()
    )
    reasons = history.readings.set_index("reading_id")["reason"]
    assert reasons.loc[[1, 2, 3]].tolist() == ["no date", "no usable number", "no usable number"]


def test_a_counter_that_rolls_over_shows_the_same_operations_as_one_that_does_not():
    short, long = steady(99_000, 450, 24), steady(99_000, 450, 24, digits=7)
    one = clean(monthly("T1", short)).points["operations"].tolist()
    other = clean(monthly("T1", long, digits=7)).points["operations"].tolist()
    assert one == other


def test_names_and_row_order_change_nothing():
    rows = monthly("T1", steady(500, 90, 9)) + monthly("T2", [*steady(7_000, 300, 8), 77])
    renamed = [({"T1": "Z1", "T2": "A2"}[row[0]], *row[1:]) for row in reversed(rows)]
    one, other = clean(rows).points, clean(renamed).points
    for old, new in (("T1", "Z1"), ("T2", "A2")):
        left, right = one[one["unit"] == old], other[other["unit"] == new]
        assert left["operations"].tolist() == right["operations"].tolist()
        assert left["probability"].tolist() == pytest.approx(right["probability"].tolist())


def test_the_frames_given_are_left_as_they_were():
    readings, events = readings_frame(monthly("T1", steady(500, 90, 9))), events_frame()
    kept = readings.copy()
    read_counters(units_frame(["T1"]), readings, events, stays_frame(), pd.Timestamp("2030-01-01").date())
    pd.testing.assert_frame_equal(readings, kept)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["T1", "T2"]),
            st.integers(0, 900),
            st.integers(0, 120_000),
            st.sampled_from(["mechanical", "raise", "lower", "controller", "sample"]),
            st.integers(4, 7),
        ),
        max_size=25,
    )
)
def test_any_heap_of_readings_is_explained_without_fail(heap):
    first = pd.Timestamp("2018-01-01")
    rows = [
        (unit, str((first + pd.Timedelta(days=day)).date()), value, {"source": source, "digits": digits})
        for unit, day, value, source, digits in heap
    ]
    events = [
        ("T1", "2018-06-01", "counter_replaced", None, 12.0),
        ("T1", "2019-03-01", "counter_replaced", 500.0, None),
        ("T2", "2018-09-01", "out_of_service", None, None),
    ]
    history = clean(rows, events)
    assert len(history.readings) == len(rows)
    assert history.points["operations"].notna().all()
    assert (history.points.groupby("series")["operations"].diff().dropna() >= 0).all()
    used = history.readings["status"] == "used"
    assert history.readings.loc[used, "operations"].notna().all()
    assert history.readings.loc[~used, "operations"].isna().all()
    assert (history.readings.loc[history.readings["status"] != "used", "reason"] != "").all()
