"""What the counters leave open: stuck or at rest, made or exchanged, half the work; coupled counters; young stores."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from clean_frames import clean, events_frame, readings_frame, status, stays_frame, steady, total, units_frame
from rate_fleets import PROBS

from tapwear.counts.clean import read_counters
from tapwear.counts.rate import RateModel, fit_rates
from tapwear.counts.series import make_book
from tapwear.counts.tune import tuned

Visit = tuple[str, str, int]


def visits(unit: str, values: list[int], every: int = 91, start: str = "2016-01-15") -> list[Visit]:
    days = [pd.Timestamp(start) + pd.Timedelta(days=every * k) for k in range(len(values))]
    return [(unit, day.strftime("%Y-%m-%d"), value) for day, value in zip(days, values, strict=True)]


def model_of(
    rows: list[Visit], happened: list[tuple[str, str, str, float | None, float | None]] | None = None
) -> RateModel:
    frame = readings_frame(rows)
    units = units_frame(sorted(set(frame["unit"])))
    events, stays = events_frame(happened or []), stays_frame()
    as_of = frame["read_on"].max().date()
    return fit_rates(read_counters(units, frame, events, stays, as_of), units, events, stays, as_of)


def made(model: RateModel, since: str, unit: str = "T1") -> np.ndarray:
    row = model.rows_of(unit)
    return model.operations(row, np.array([since], "datetime64[D]"), np.array([model.as_of], "datetime64[D]"), PROBS)[0]


def stood(first: int, each: int, before: int, still: int, after: int) -> list[int]:
    """A counter that moves on `before` visits, stands on `still`, and goes on for `after`."""
    rises = [each] * before + [0] * still + [each] * after
    swing = np.array([1.0, 1.06, 0.95, 1.02])
    return [first, *(first + np.cumsum(np.round(rises * np.resize(swing, len(rises)))).astype(int)).tolist()]


def test_a_counter_that_stood_still_and_went_on_keeps_both_explanations_in_the_count() -> None:
    model = model_of(visits("T1", stood(1000, 900, 12, 5, 10)))
    (one,) = model.alternatives.rows
    assert one.words.startswith("counter stood still for a time between 2019-01-11 and 2020-04-")
    assert one.extra == pytest.approx(5 * 900, rel=0.1)
    low, _, high = made(model, "2017-01-15")
    read = 18 * 900
    assert low == pytest.approx(read, rel=0.05)
    assert high > read + 4000
    after, _, same = made(model, "2020-06-01")
    assert same - after < 400  # a service after the standstill knows nothing of it


def test_a_recorded_outage_answers_the_question() -> None:
    rows = visits("T1", stood(1000, 900, 12, 5, 10))
    outage = [("T1", "2019-01-12", "out_of_service", None, None), ("T1", "2020-04-08", "back_in_service", None, None)]
    model = model_of(rows, outage)
    assert model.alternatives.rows == ()
    low, _, high = made(model, "2017-01-15")
    assert high - low < 600


def test_a_unit_that_stands_still_every_year_is_not_asked_about_each_time() -> None:
    values = [1000]
    for _ in range(9):
        values += [values[-1] + 900, values[-1] + 1800, values[-1] + 2700, values[-1] + 2700]
    asked = model_of(visits("T1", values)).alternatives.rows
    assert max((one.chance for one in asked if "stood still" in one.words), default=0.0) < 0.25


def test_real_operations_of_a_hunting_regulator_are_not_taken_for_an_exchange() -> None:
    values = [*steady(1000, 900, 20, digits=6)]
    burst = [value + (14_000 if k >= 12 else 0) for k, value in enumerate(values)]
    history = clean([(unit, day, value, {"digits": 6}) for unit, day, value in visits("T1", burst)])
    assert status(history) == ["used"] * 20
    assert total(history) == burst[-1] - burst[0]


def test_a_fall_to_little_is_an_exchange_and_says_so() -> None:
    values = steady(21_000, 900, 24)
    fallen = values[:12] + [value - values[12] + 300 for value in values[12:]]
    history = clean(visits("T1", fallen))
    assert total(history) == pytest.approx(values[-1] - values[0], rel=0.05)
    assert (history.readings["reason"].str.contains("set back or exchanged")).sum() == 1


def test_a_new_counter_with_half_the_rate_may_count_every_second_operation() -> None:
    values = steady(10_000, 900, 16)
    halved = values[:10] + [round(0.5 * (value - values[9])) for value in values[10:]]
    rows = visits("T1", halved)
    day = rows[9][1]
    half = model_of(rows, [("T1", day, "counter_replaced", float(values[9]), 0.0)])
    (one,) = half.alternatives.rows
    assert one.factor == 2.0
    assert one.words.startswith(f"since its counter was exchanged on {day} it shows about half")
    low, _, high = made(half, day)
    shown = halved[-1]
    assert low == pytest.approx(shown, rel=0.1)
    assert high > 1.8 * shown
    whole = values[:10] + [value - values[9] for value in values[10:]]
    same = model_of(visits("T1", whole), [("T1", day, "counter_replaced", float(values[9]), 0.0)])
    assert same.alternatives.rows == ()


def test_drives_in_step_from_the_same_start_are_not_each_others_misreadings() -> None:
    values = steady(0, 2400, 16)
    history = clean([row for unit in ("A", "B", "C") for row in visits(unit, values, every=182)])
    assert set(status(history)) == {"used"}
    assert history.open_ends.empty


def test_a_number_copied_from_another_unit_is_still_found() -> None:
    mine, other = steady(500, 900, 16), steady(40_000, 300, 16)
    mine[8] = other[8]
    history = clean([*visits("A", mine), *visits("B", other)])
    odd = history.readings[history.readings["status"] == "doubtful"]
    assert odd["unit"].tolist() == ["A"]
    assert odd["reason"].tolist() == ["looks like the counter of B"]


def test_two_numbers_are_exchanged_only_if_they_fit_both_counters() -> None:
    first, last = "2016-05-01", "2026-11-20"
    idle = clean([("A", first, 0), ("A", last, 14_350), ("B", first, 3), ("B", last, 12)])
    assert set(status(idle)) == {"used"}
    assert total(idle, "A") == 14_350
    a, b = steady(1000, 900, 12), steady(30_000, 400, 12)
    a[6], b[6] = b[6], a[6]
    swapped = clean([*visits("A", a), *visits("B", b)]).readings
    assert swapped[swapped["status"] == "doubtful"]["reason"].tolist() == [
        "looks like the counter of B",
        "looks like the counter of A",
    ]


def test_two_units_new_at_nought_on_one_day_are_two_units() -> None:
    first, last = "2016-05-01", "2026-11-20"
    history = clean([("A", first, 0), ("A", last, 14_350), ("B", first, 0), ("B", last, 9211)])
    assert set(status(history)) == {"used"}


@pytest.mark.parametrize("middle", [14_715, 15_741])
def test_a_turn_of_the_wheels_that_no_changer_makes_is_a_slip(middle: int) -> None:
    history = clean([("T1", "2023-06-01", 41_234), ("T1", "2024-06-01", middle), ("T1", "2025-06-01", 42_190)])
    assert total(history) == 42_190 - 41_234


def test_the_number_on_the_counter_bounds_a_unit_read_once() -> None:
    units = units_frame(["T1"]).assign(commissioned_on=pd.Timestamp("2016-05-01"), digits=6)
    frame = readings_frame([("T1", "2026-11-20", 14_350, {"digits": 6})])
    as_of = dt.date(2026, 11, 29)
    model = fit_rates(
        read_counters(units, frame, events_frame(), stays_frame(), as_of), units, events_frame(), stays_frame(), as_of
    )
    assert made(model, "2016-05-01")[1] == pytest.approx(14_350, rel=0.03)
    assert model.rate_words("T1") == ("no rate of its own yet: its counter allows about 1,400 operations a year",)
    free = fit_rates(
        read_counters(units, frame, events_frame(), stays_frame(), as_of),
        units.drop(columns="digits"), events_frame(), stays_frame(), as_of,
    )  # fmt: skip
    assert "similar units make about" in free.rate_words("T1")[0]


def test_an_outage_of_one_drive_is_none_of_the_other() -> None:
    values, rows = steady(1000, 900, 16), []
    for drive in ("A", "B"):
        still = [v if drive == "B" or k < 8 else values[7] + max(v - values[12], 0) for k, v in enumerate(values)]
        rows += [(*row, {"drive": drive}) for row in visits("T1", still)]
    frame, units, stays = readings_frame(rows), units_frame(["T1"]), stays_frame()
    days = [rows[7][1], rows[12][1]]
    told = zip(days, ("out_of_service", "back_in_service"), strict=True)
    events = events_frame([("T1", day, kind, None, None) for day, kind in told])
    history = read_counters(units, frame, events.assign(drive="A"), stays, dt.date(2100, 1, 1))
    assert set(status(history)) == {"used"}
    book = make_book(units, frame, events.assign(drive="A"), stays)
    lost = [np.ptp(book.day[book.counter == k]) - np.ptp(book.served[book.counter == k]) for k in (0, 1)]
    assert lost == [pytest.approx(0.98 * 5 * 91), 0.0]


def daily(days: int, start: str = "2024-01-01") -> list[tuple[pd.Timestamp, int]]:
    """A plant that makes about 800 operations a day and stops for three weeks each July and two days a month."""
    rng = np.random.default_rng(1)
    on = pd.date_range(start, periods=days)
    runs = ~(((on.month == 7) & (on.day <= 21)) | on.day.isin([10, 11]))
    counts = 5000 + np.cumsum(np.round(rng.normal(800, 90, days)) * runs).astype(int)
    return list(zip(on, counts.tolist(), strict=True))


def test_dates_of_a_plant_that_stops_are_alike_read_daily_weekly_or_monthly() -> None:
    days = daily(570)  # up to the end of a stop
    truth = daily(800)
    crossed = next(day for day, count in truth if count >= days[-1][1] + 60_000)
    middles = []
    for step in (1, 7, 30):
        rows = [("T1", day.strftime("%Y-%m-%d"), count, {"digits": 7}) for day, count in days[::-step][::-1]]
        frame, units = readings_frame(rows), units_frame(["T1"])
        as_of = days[-1][0].date()
        history = read_counters(units, frame, events_frame(), stays_frame(), as_of)
        model = fit_rates(history, units, events_frame(), stays_frame(), as_of)
        start = np.array([as_of], "datetime64[D]")
        middles.append(model.crossing_dates(np.array([0]), start, np.array([60_000.0]), PROBS)[0, 1])
    off = [int((day - np.datetime64(crossed, "D")).astype(int)) for day in middles]
    assert max(off) - min(off) <= 10
    assert max(map(abs, off)) <= 10


@pytest.mark.parametrize("growth", [0.02, 0.05, 0.07])
def test_steady_growth_is_carried_ahead(growth: float) -> None:
    day = np.arange(0, 3641, 91)
    count = 6000 * np.expm1(growth * day / 365.25) / growth
    rows = visits("T1", np.round(count).astype(int).tolist(), start="2014-01-01")
    frame, units = readings_frame([(*row, {"digits": 6}) for row in rows]), units_frame(["T1"])
    as_of = frame["read_on"].max().date()
    history = read_counters(units, frame, events_frame(), stays_frame(), as_of)
    model = fit_rates(history, units, events_frame(), stays_frame(), as_of)
    need = 35_000.0
    start = np.array([as_of], "datetime64[D]")
    middle = (model.crossing_dates(np.array([0]), start, np.array([need]), PROBS)[0, 1] - start[0]).astype(int)
    last = day[-1] / 365.25
    true = 365.25 * (np.log(np.exp(growth * last) + need * growth / 6000) / growth - last)
    assert abs(middle - true) <= 15


@pytest.mark.slow
def test_tuning_finds_the_noise_that_the_readings_were_made_with() -> None:
    rng = np.random.default_rng(7)
    rows: list[Visit] = []
    for unit in range(12):
        made_each = 900 * np.exp(rng.normal(0, np.sqrt(4.0 / 91 + 9.0 / 900), 40))
        rows += visits(f"T{unit}", np.round(1000 + np.cumsum(made_each)).astype(int).tolist())
    frame = readings_frame([(*row, {"digits": 6}) for row in rows])
    units, as_of = units_frame(sorted(set(frame["unit"]))), frame["read_on"].max().date()
    history = read_counters(units, frame, events_frame(), stays_frame(), as_of)
    found = tuned(history, units, events_frame(), stays_frame(), as_of, names=("weather",))
    weather = found.table.iloc[0]
    assert found.converged
    assert found.gain > 0
    assert abs(np.log(weather["estimate"] / 4.0)) < 3 * weather["log_se"] + 0.1
    assert 0.01 < weather["log_se"] < 0.3
    assert found.settings.weather == pytest.approx(weather["estimate"])
