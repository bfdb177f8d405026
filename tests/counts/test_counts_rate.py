"""Rates: what a fleet of counters says about operations to come."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from rate_fleets import AS_OF, FLAT, PROBS, ahead, events, fit, history, points, stays, steady, units

from tapwear.counts.dates import crossing_chance, day_grid
from tapwear.counts.rate import fit_rates


def test_a_steady_counter_goes_on_as_it_did() -> None:
    low, mid, high = ahead(fit({"T1": steady(10, "2018-01-01", "2024-06-28")}), "T1", 365)
    assert mid == pytest.approx(3650, rel=0.03)
    assert low < mid < high


def test_a_unit_with_two_readings_leans_on_its_group_and_one_with_eighty_on_itself() -> None:
    counts = {f"G{i}": steady(10, "2018-01-01", "2024-06-28") for i in range(8)}
    counts["short"] = [("2024-05-30", 0), ("2024-06-09", 400)]
    counts["long"] = steady(40, "2018-01-01", "2024-06-28")
    model = fit(counts)
    assert 10 * 365 < ahead(model, "short", 365)[1] < 40 * 365
    assert ahead(model, "long", 365)[1] == pytest.approx(40 * 365, rel=0.03)


def test_a_winter_peak_is_learnt_and_put_where_it_belongs() -> None:
    days = pd.date_range("2017-01-01", "2024-06-28", freq="30D")
    rate = 10 * np.exp(0.4 * np.cos(2 * np.pi * days.day_of_year.to_numpy() / 365.25))
    visits = [(str(day.date()), total) for day, total in zip(days, np.cumsum(30 * rate), strict=True)]
    model = fit({"T1": visits})
    summer = ahead(model, "T1", 90, dt.date(2024, 6, 30))[1]
    winter = ahead(model, "T1", 90, dt.date(2024, 11, 15))[1]
    assert winter / summer > 1.6


def test_days_out_of_service_are_no_exposure() -> None:
    visits = [("2022-01-01", 0), ("2023-01-01", 3650), ("2024-01-01", 3650 + 1820), ("2024-06-28", 7290)]
    off = events(("T1", "2023-01-01", "out_of_service"), ("T1", "2023-07-03", "back_in_service"))
    assert ahead(fit({"T1": visits}, off), "T1", 365)[1] == pytest.approx(3650, rel=0.05)


def test_a_unit_out_of_service_today_makes_fewer_operations_and_is_less_sure() -> None:
    counts = {"T1": steady(10, "2020-01-01", "2024-06-28")}
    on = ahead(fit(counts), "T1", 365)
    off = ahead(fit(counts, events(("T1", "2024-06-29", "out_of_service"))), "T1", 365)
    assert 0 < off[1] < 0.8 * on[1]
    assert off[2] / off[0] > on[2] / on[0]


def test_after_a_swap_the_new_tap_changer_inherits_the_rate_of_the_place_but_not_the_wear() -> None:
    counts = {"old": steady(30, "2019-01-01", "2024-06-01"), "new": [("2024-05-01", 0), ("2024-06-20", 0)]}
    stood = stays(
        ("old", "Bank 1", "2018-01-01", "2024-06-19", "in service"),
        ("old", "shed", "2024-06-19", None, "workshop"),
        ("new", "shed", "2018-01-01", "2024-06-19", "spare"),
        ("new", "Bank 1", "2024-06-19", None, "in service"),
    )
    model = fit(counts, stood=stood)
    assert ahead(model, "new", 365)[1] == pytest.approx(30 * 365, rel=0.05)
    assert model.operations_at("new", np.array(["2024-06-30"], "datetime64[D]"))[0, 1] < 400
    assert ahead(model, "old", 365).tolist() == [0, 0, 0]


def test_operations_between_the_last_reading_and_a_move_are_made_at_the_old_place() -> None:
    counts = {"T1": steady(30, "2019-01-01", "2023-06-30"), "T2": steady(3, "2019-01-01", "2024-06-01")}
    stood = stays(
        ("T1", "A", None, "2024-06-29", "in service"),
        ("T1", "B", "2024-06-29", None, "in service"),
        ("T2", "B", None, "2024-06-29", "in service"),
        ("T2", "shed", "2024-06-29", None, "spare"),
    )
    model = fit(counts, stood=stood)
    last = model.last_day[model.rows_of("T1")[0]]
    start = np.datetime64("1970-01-01") + np.timedelta64(int(last), "D")
    made = model.operations(model.rows_of("T1"), np.array([start]), np.array([AS_OF], "datetime64[D]"), PROBS)
    assert made[0, 1] == pytest.approx(30 * (np.datetime64(AS_OF) - start).astype(int), rel=0.05)
    assert ahead(model, "T1", 365)[1] == pytest.approx(3 * 365, rel=0.1)


def test_a_recorded_event_since_the_last_reading_widens_the_band() -> None:
    counts = {"T1": steady(10, "2020-01-01", "2024-06-01")}
    quiet = ahead(fit(counts), "T1", 365)
    told = ahead(fit(counts, events(("T1", "2024-06-15", "load_transferred"))), "T1", 365)
    assert told[2] - told[0] > 1.5 * (quiet[2] - quiet[0])


def test_an_inspection_does_not_raise_the_rate_of_a_seldom_used_unit() -> None:
    visits = steady(0.5, "2020-01-01", "2024-06-28", every=90)
    tested = [*visits[:-1], (visits[-1][0], visits[-1][1] + 50)]
    plain = ahead(fit({"T1": tested}), "T1", 365)[1]
    told = ahead(fit({"T1": tested}, events(("T1", visits[-1][0], "inspection"))), "T1", 365)[1]
    assert told < plain
    assert told == pytest.approx(0.5 * 365, rel=0.15)


def test_of_three_drives_the_one_with_most_operations_governs() -> None:
    visits = pd.concat(
        [
            points({"T1": steady(rate, "2020-01-01", "2024-06-28")}, drive).assign(series=number)
            for number, (drive, rate) in enumerate((("A", 9.0), ("B", 11.0), ("C", 10.0)))
        ],
        ignore_index=True,
    )
    model = fit_rates(history(visits), units(["T1"]), events(), stays(), AS_OF, None, FLAT)
    assert len(model.rows_of("T1")) == 3
    assert model.index["drive"].iloc[int(model.governing()["T1"])] == "B"
    assert ahead(model, "T1", 365)[1] == pytest.approx(11 * 365, rel=0.05)


def test_cumulative_operations_are_the_readings_themselves_on_the_days_of_reading() -> None:
    model = fit({"T1": [("2022-01-01", 0), ("2023-01-01", 3650), ("2024-01-01", 7300)]})
    days = np.array(["2022-01-01", "2023-01-01", "2023-07-02", "2024-01-01"], "datetime64[D]")
    low, mid, high = model.operations_at("T1", days).T
    assert mid[[0, 1, 3]] == pytest.approx([0, 3650, 7300])
    assert low[[0, 1, 3]] == pytest.approx(high[[0, 1, 3]])
    assert 3650 < low[2] < mid[2] < high[2] < 7300


def test_before_the_first_reading_the_count_is_carried_back_but_not_before_commissioning() -> None:
    fleet = units(["T1"], commissioned="2020-01-01")
    model = fit({"T1": steady(10, "2021-01-01", "2024-06-28")}, fleet=fleet)
    days = np.array(["2019-01-01", "2020-01-01", "2021-01-01"], "datetime64[D]")
    low, mid, high = model.operations_at("T1", days).T
    assert mid == pytest.approx([-3660, -3660, 0], rel=0.05, abs=1)
    assert low[0] < mid[0] < high[0]


ODD = {
    "one reading": [("2024-01-01", 0)],
    "all equal": [("2020-01-01", 7), ("2021-01-01", 7), ("2022-01-01", 7)],
    "all zero": [("2020-01-01", 0), ("2021-01-01", 0)],
    "two on one day": [("2020-01-01", 0), ("2020-01-01", 3), ("2021-01-01", 2000)],
    "in the future": [("2020-01-01", 0), ("2021-01-01", 300), ("2030-01-01", 2000)],
    "a thousand": [(str(day.date()), 20 * i) for i, day in enumerate(pd.date_range("2015-01-01", periods=1000))],
    "moved yesterday": [("2020-01-01", 0), ("2022-01-01", 3000)],
    "in store": [("2020-01-01", 0), ("2022-01-01", 3000)],
    "only future": [("2025-01-01", 0), ("2026-01-01", 10)],
    "huge": [("2020-01-01", 0), ("2020-01-02", 9e6)],
}


@pytest.mark.parametrize("calibration", [FLAT, None], ids=["own spread", "past errors"])
def test_no_unit_is_ever_without_a_forecast(calibration: object) -> None:
    names = [*ODD, "never read", "commissioned yesterday"]
    fleet = units(names)
    fleet.loc[fleet["unit"] == "commissioned yesterday", "commissioned_on"] = pd.Timestamp("2024-06-29")
    happened = events(("one reading", "2024-06-01", "paralleled"), ("all zero", "2024-01-01", "out_of_service"))
    stood = stays(
        ("moved yesterday", "A", None, "2024-06-29", "in service"),
        ("moved yesterday", "B", "2024-06-29", None, "in service"),
        ("in store", "B", None, "2024-05-29", "in service"),
        ("in store", "shed", "2024-05-29", None, "spare"),
    )
    model = fit_rates(history(points(ODD)), fleet, happened, stood, AS_OF, None, calibration)  # type: ignore[arg-type]
    assert set(model.index["unit"]) == set(names)
    rows = np.arange(len(model.index))
    today = np.full(len(rows), np.datetime64(AS_OF))
    for days in (0, 1, 90, 3650):
        made = model.operations(rows, today, today + np.timedelta64(days, "D"), PROBS)
        assert np.isfinite(made).all()
        assert (np.diff(made, axis=1) >= 0).all()
        assert (made >= 0).all()
    crossed = crossing_chance(model, rows, today.astype(float) - 2000, np.full(len(rows), 500.0), day_grid())
    assert np.isfinite(crossed).all()
    assert (np.diff(crossed, axis=1) >= 0).all()
    for unit in names:
        days = np.array(["1990-01-01", "2020-07-01", "2024-06-30", "2030-01-01"], "datetime64[D]")
        assert np.isfinite(model.operations_at(unit, days)).all()
        assert model.rate_words(unit)


def test_a_fleet_without_any_reading_or_unit_still_answers() -> None:
    nothing = points({})
    model = fit_rates(history(nothing), units(["T1"]), events(), stays(), AS_OF)
    assert np.isfinite(ahead(model, "T1", 365)).all()
    assert len(fit_rates(history(nothing), units([]), events(), stays(), AS_OF).index) == 0
    with pytest.raises(KeyError):
        model.rows_of("T2")
