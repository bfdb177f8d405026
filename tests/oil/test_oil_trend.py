"""The trend of acetylene: against regression, against an independent likelihood, and across censored values."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from scipy import optimize, stats

from tapwear.oil.trend import acetylene_trends, censored_slope, pairwise_slope
from tapwear.oil.types import AcetyleneTrend

YEARS = 50.0 + 0.5 * np.arange(12)


def acetylene_trend(
    year: np.ndarray, acetylene: np.ndarray, below: np.ndarray, operations: np.ndarray, volume: float
) -> AcetyleneTrend | None:
    use = np.ones((1, len(year)), dtype=bool)
    return acetylene_trends(year[None], acetylene[None], below[None], operations[None], use, np.array([volume]))[0]


def straight(slope: float, noise: float, seed: int = 3) -> np.ndarray:
    return 100.0 + slope * (YEARS - 50.0) + np.random.default_rng(seed).normal(0.0, noise, len(YEARS))


def test_the_rate_agrees_with_regression_on_clean_data_to_one_percent() -> None:
    import statsmodels.api as sm

    y = straight(40.0, 0.2)
    trend = acetylene_trend(YEARS, y, np.zeros(12, dtype=bool), 6000.0 * (YEARS - 50.0), 300.0)
    assert trend is not None
    fitted = sm.OLS(y, sm.add_constant(YEARS)).fit()
    robust = sm.RLM(y, sm.add_constant(YEARS)).fit()
    assert trend.rate_ul_per_l_per_year == pytest.approx(float(fitted.params[1]), rel=0.01)
    assert trend.rate_ul_per_l_per_year == pytest.approx(float(robust.params[1]), rel=0.01)
    assert trend.ml_per_1000_operations == pytest.approx(40.0 * 300.0 / 1000.0 / 6.0, rel=0.01)
    assert (trend.samples, trend.since) == (12, date(2020, 1, 1))


def test_one_wild_sample_hardly_moves_the_rate() -> None:
    y = straight(40.0, 1.0)
    wild = y.copy()
    wild[8] *= 5.0
    assert pairwise_slope(YEARS, wild)[0] == pytest.approx(pairwise_slope(YEARS, y)[0], rel=0.05)


def test_the_slope_and_its_interval_are_those_of_theil_and_sen() -> None:
    y = straight(40.0, 12.0)
    slope, _, low, high = stats.theilslopes(y, YEARS, 0.8)
    assert pairwise_slope(YEARS, y) == pytest.approx((slope, low, high), rel=0.05)


def test_the_interval_holds_the_true_rate_about_eight_times_in_ten() -> None:
    hits = 0
    for seed in range(400):
        _, low, high = pairwise_slope(YEARS, straight(40.0, 12.0, seed))
        hits += low <= 40.0 <= high
    assert 0.74 <= hits / 400 <= 0.88


def censored(seed: int) -> tuple[np.ndarray, np.ndarray]:
    y = 1.0 + 2.0 * (YEARS - 50.0) + np.random.default_rng(seed).normal(0.0, 1.0, len(YEARS))
    below = y < 4.0
    return np.where(below, 4.0, y), below


def test_values_below_the_limit_are_weighed_as_an_independent_likelihood_weighs_them() -> None:
    y, below = censored(7)
    assert 2 <= below.sum() <= 8

    def misfit(p: np.ndarray) -> float:
        centre, spread = p[0] + p[1] * (YEARS - YEARS.mean()), np.exp(p[2])
        seen = stats.norm.logpdf(y[~below], centre[~below], spread).sum()
        return -float(seen + stats.norm.logcdf(y[below], centre[below], spread).sum())

    found = optimize.minimize(misfit, np.array([5.0, 1.0, 0.0]), method="Nelder-Mead", options={"maxiter": 20_000})
    slope, low, high = censored_slope(YEARS, y, below)
    assert slope == pytest.approx(float(found.x[1]), rel=0.01)
    assert low < slope < high


def test_the_censored_interval_holds_the_true_rate_about_eight_times_in_ten() -> None:
    hits = 0
    for seed in range(300):
        y, below = censored(seed)
        _, low, high = censored_slope(YEARS, y, below)
        hits += low <= 2.0 <= high
    assert 0.66 <= hits / 300 <= 0.88


def test_a_value_below_the_limit_is_not_read_as_the_limit() -> None:
    y = np.array([4.0, 4.0, 4.0, 4.0, 5.0, 6.0, 7.0, 8.0])
    below = np.array([True] * 4 + [False] * 4)
    x = np.arange(8.0)
    assert censored_slope(x, y, below)[0] > pairwise_slope(x, y)[0] + 0.1


def test_points_on_a_line_with_values_below_the_limit_give_that_line() -> None:
    x = np.arange(6.0)
    y = 2.0 * x
    below = y < 3.0
    slope, low, high = censored_slope(x, np.where(below, 3.0, y), below)
    assert slope == pytest.approx(2.0, rel=0.01)
    assert high - low < 0.2


def test_too_little_gives_no_trend() -> None:
    nothing = np.zeros(12, dtype=bool)
    assert acetylene_trend(YEARS[:2], YEARS[:2], nothing[:2], YEARS[:2], 300.0) is None
    assert acetylene_trend(YEARS[:3], YEARS[:3], np.array([True, True, False]), YEARS[:3], 300.0) is None
    assert acetylene_trend(np.full(4, 50.0), YEARS[:4], nothing[:4], YEARS[:4], 300.0) is None


def test_compartments_with_other_numbers_of_samples_have_the_trends_they_have_alone() -> None:
    y, nothing = np.stack([straight(40.0, 5.0, seed) for seed in range(3)]), np.zeros((3, 12), dtype=bool)
    use, below, made = ~nothing, nothing.copy(), np.tile(6000.0 * (YEARS - 50.0), (3, 1))
    use[1, :5] = use[2, 3] = False
    below[2, :3] = True
    found = acetylene_trends(np.tile(YEARS, (3, 1)), y, below, made, use, np.full(3, 300.0))
    for row, trend in enumerate(found):
        here = use[row]
        assert trend == acetylene_trend(YEARS[here], y[row, here], below[row, here], made[row, here], 300.0)
        assert trend is not None
        assert trend.samples == here.sum()


def test_without_a_count_or_a_volume_only_the_yearly_rate_is_given() -> None:
    y, nothing = straight(40.0, 1.0), np.zeros(12, dtype=bool)
    for operations, volume in ((np.full(12, np.nan), 300.0), (6000.0 * YEARS, np.nan)):
        trend = acetylene_trend(YEARS, y, nothing, operations, volume)
        assert trend is not None
        assert trend.ml_per_1000_operations is None
        assert trend.rate_low < trend.rate_ul_per_l_per_year < trend.rate_high
