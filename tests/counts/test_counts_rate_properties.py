"""Properties that hold for every series: hyperparameters and calibration held fixed."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rate_fleets import AS_OF, FLAT, PROBS, events, fit, history, points, stays, units

from tapwear.counts.ahead import log_variance
from tapwear.counts.filter import Intervals, Levels, run_filter
from tapwear.counts.rate import fit_rates
from tapwear.counts.season import harmonics, log_mean_season
from tapwear.counts.settings import RateSettings

START = np.datetime64("2018-01-01")
YEAR = np.timedelta64(365, "D")

counters = st.lists(
    st.tuples(st.integers(5, 400), st.floats(0.0, 60.0, allow_subnormal=False)), min_size=2, max_size=25
)


def visits(steps: list[tuple[int, float]]) -> list[tuple[str, float]]:
    """Visits from (days since the last one, operations a day), up to 2024."""
    out, day, total = [(str(START), 0.0)], START, 0.0
    for gap, rate in steps:
        day, total = day + np.timedelta64(gap, "D"), total + round(gap * rate)
        if day <= np.datetime64("2024-01-01"):
            out.append((str(day), total))
    return out


def filtered(steps: list[tuple[int, float]]) -> tuple[Levels, float]:
    """State after these intervals from a fixed prior, and the day of the last visit."""
    end = 18000.0 + np.cumsum([gap for gap, _ in steps]).astype(float)
    start = np.concatenate([[18000.0], end[:-1]])
    n = len(steps)
    data = Intervals(
        np.zeros(1, np.int64), np.array([n]), start, end, np.array([made for _, made in steps]), end - start,
        np.zeros(n, bool), np.zeros(n), np.zeros(n),
    )  # fmt: skip
    prior = np.array([[2.3, 0.15, 0.0, 0.0]])
    spread = np.array([[1.2, 0, 0, 0.015, 0, 0.015, 0, 0, 0, 0.002]])
    return run_filter(data, prior, spread, RateSettings()), float(end[-1])


def year_ahead(levels: Levels, last: float, day: float) -> float:
    """Standard deviation of the logarithm of the operations of the year after `day`."""
    start, stop = np.array([day]), np.array([day + 365.0])
    middle = np.exp(levels.mean[:, 0]) * 365.0
    ahead = np.array([day - last])
    return float(np.sqrt(log_variance(levels.cov, ahead, start, stop, stop - start, middle, RateSettings())[0]))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(counters, st.integers(20, 200))
def test_a_reading_that_equals_the_forecast_never_widens_the_band(
    steps: list[tuple[int, float]], gap: int
) -> None:
    counts = [(days, float(round(days * rate))) for days, rate in steps]
    before, last = filtered(counts)
    means = harmonics(np.array([last]), np.array([last + gap]))
    level = before.mean[:, 0] + log_mean_season(before.mean[:, 1], before.mean[:, 2], means)
    after, now = filtered([*counts, (gap, float(gap * np.exp(level[0])))])
    assert year_ahead(after, now, now) <= year_ahead(before, last, now) + 1e-9


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 18), st.floats(2.0, 60.0))
def test_splitting_an_interval_in_two_changes_nothing_material(which: int, rate: float) -> None:
    day = START + 100 * np.arange(21)
    total = np.round(rate * 100) * np.arange(21)
    read = [(str(d), float(c)) for d, c in zip(day, total, strict=True)]
    whole = fit({"T1": read})
    half = (str(day[which] + np.timedelta64(50, "D")), float(total[which] + total[which + 1]) / 2)
    split = fit({"T1": [*read[: which + 1], half, *read[which + 1 :]]})
    begin = np.array([day[-1]])
    one = whole.operations(np.zeros(1, np.int64), begin, begin + YEAR, PROBS)[0]
    two = split.operations(np.zeros(1, np.int64), begin, begin + YEAR, PROBS)[0]
    assert two[1] == pytest.approx(one[1], rel=0.03)
    assert np.log(two[2] / two[0]) == pytest.approx(np.log(one[2] / one[0]), rel=0.1)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.lists(counters, min_size=2, max_size=5), st.randoms(use_true_random=False))
def test_relabelling_the_units_changes_nothing(fleet: list[list[tuple[int, float]]], random: object) -> None:
    names = [f"T{i}" for i in range(len(fleet))]
    shuffled = list(names)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    counts = {name: visits(steps) for name, steps in zip(names, fleet, strict=True)}
    renamed = {shuffled[i]: counts[name] for i, name in enumerate(names)}
    one = fit(counts, calibration=None)
    two = fit({name: renamed[name] for name in sorted(renamed)}, calibration=None)
    today = np.array([AS_OF], "datetime64[D]")
    for i, name in enumerate(names):
        a = one.operations(one.rows_of(name), today, today + YEAR, PROBS)
        b = two.operations(two.rows_of(shuffled[i]), today, today + YEAR, PROBS)
        assert b == pytest.approx(a, rel=1e-6, abs=1e-6)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 99_999), st.integers(500, 20_000))
def test_a_counter_that_wraps_around_forecasts_like_one_that_does_not(offset: int, yearly: int) -> None:
    from tapwear.counts.clean import read_counters

    days = pd.date_range("2019-01-15", "2024-06-15", freq="91D")
    made = np.round(yearly * (days - days[0]).days.to_numpy() / 365.25).astype(int)
    forecasts = []
    for digits, first in ((5, offset), (7, 0)):
        readings = pd.DataFrame(
            {
                "reading_id": np.arange(len(days)),
                "unit": "T1",
                "drive": "1",
                "source": "mechanical",
                "read_on": days,
                "value": (first + made) % 10**digits,
                "digits": digits,
            }
        )
        read = read_counters(units(["T1"]), readings, events(), stays(), AS_OF)
        model = fit_rates(read, units(["T1"]), events(), stays(), AS_OF, None, FLAT)
        today = np.array([AS_OF], "datetime64[D]")
        forecasts.append(model.operations(np.zeros(1, np.int64), today, today + YEAR, PROBS))
    assert forecasts[0] == pytest.approx(forecasts[1], rel=0.02)


def test_an_alternative_explanation_with_more_operations_brings_the_early_date_forward() -> None:
    read = points({"T1": [("2022-01-01", 0), ("2023-01-01", 3650), ("2024-01-01", 7300)]})
    end = pd.DataFrame(
        {
            "series": [0],
            "unit": ["T1"],
            "on": pd.to_datetime(["2024-01-01"]),
            "operations": [17300.0],
            "probability": [0.3],
            "words": ["one more turn of the counter"],
        }
    )
    fleet = units(["T1"])
    plain = fit_rates(history(read), fleet, events(), stays(), AS_OF, None, FLAT)
    open_end = fit_rates(history(read, end), fleet, events(), stays(), AS_OF, None, FLAT)
    ask = (np.zeros(1, np.int64), np.array(["2022-01-01"], "datetime64[D]"), np.array([16000.0]), PROBS)
    assert open_end.crossing_dates(*ask)[0, 0] <= np.datetime64("2024-01-01")
    assert plain.crossing_dates(*ask)[0, 0] > np.datetime64("2025-06-01")
    assert abs((open_end.crossing_dates(*ask) - plain.crossing_dates(*ask))[0, 2].astype(int)) < 60
