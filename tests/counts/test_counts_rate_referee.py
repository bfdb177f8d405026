"""The rate model against independent computations: an exact Gaussian one, statsmodels' GLM, and simulation."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from rate_fleets import AS_OF, PROBS, fit

from tapwear.counts.ahead import past_errors
from tapwear.counts.dates import crossing_chance, day_grid
from tapwear.counts.filter import Intervals, run_filter
from tapwear.counts.priors import group_shapes
from tapwear.counts.season import YEAR, first_harmonic, harmonics, log_mean_season, season_integral, season_table
from tapwear.counts.settings import RateSettings


def intervals(day: np.ndarray, made: np.ndarray) -> Intervals:
    """Intervals of several places read on the same days; made has one row per place."""
    places, n = made.shape
    return Intervals(
        begin=np.arange(places) * n,
        count=np.full(places, n),
        from_day=np.tile(day[:-1], places),
        to_day=np.tile(day[1:], places),
        operations=made.ravel().astype(float),
        exposure=np.tile(np.diff(day), places),
        event=np.zeros(places * n, bool),
        doubt=np.zeros(places * n),
        noise=np.zeros(places * n),
    )


def test_without_jumps_and_errors_the_filter_is_the_exact_gaussian_answer() -> None:
    s = RateSettings(
        drift=0.3, weather=2.0, dispersion=0.0, jump_yearly=0.0, error_chance=0.0, event_chance=0.0, slope_drift=0.0
    )
    rng = np.random.default_rng(3)
    day = 19000.0 + np.cumsum([0, 30, 45, 30, 10, 120, 30, 60])
    # counts so large that the half added to each does not matter
    made = np.round(np.exp(rng.normal(23, 0.5, 7)) * np.diff(day))
    prior = np.array([[22.5, 0.0, 0.0, 0.05]])
    cov = np.array([[0.8, 0, 0, 0, 0, 0.0, 0, 0, 0, 0.01]])
    got = run_filter(intervals(day, made[None, :]), prior, cov, s)

    z = np.log((made + 0.5) / np.diff(day))
    # level at day t is L0 + b t + W(t); each z is its mean over one interval plus noise
    q, middle, length = s.drift / YEAR, 0.5 * (day[1:] + day[:-1]) - day[0], np.diff(day)
    joint = 0.8 + q * np.minimum.outer(middle, middle)
    joint[np.diag_indices(7)] = 0.8 + q * (day[:-1] - day[0] + length / 3) + s.weather / length
    joint += 0.01 * np.outer(middle, middle) / YEAR**2
    whole = day[-1] - day[0]
    reach = 0.8 + q * middle + 0.01 * whole * middle / YEAR**2
    rest = z - 22.5 - 0.05 * middle / YEAR
    gain, of_slope = np.linalg.solve(joint, reach), np.linalg.solve(joint, 0.01 * middle / YEAR)
    assert got.mean[0, 0] == pytest.approx(22.5 + 0.05 * whole / YEAR + gain @ rest, abs=1e-9)
    assert got.mean[0, 3] == pytest.approx(0.05 + of_slope @ rest, abs=1e-9)
    spread = 0.8 + q * whole + 0.01 * whole**2 / YEAR**2
    assert got.cov[0, 0] == pytest.approx(spread - gain @ reach, abs=1e-9)
    assert got.cov[0, 9] == pytest.approx(0.01 - of_slope @ (0.01 * middle / YEAR), abs=1e-9)
    assert got.cov[0, 6] == pytest.approx(0.01 * whole / YEAR - of_slope @ reach, abs=1e-9)
    _, logdet = np.linalg.slogdet(joint)
    loglik = -0.5 * (logdet + rest @ np.linalg.solve(joint, rest) + 7 * np.log(2 * np.pi))
    assert got.loglik[0] == pytest.approx(loglik, abs=1e-6)


def test_the_filter_agrees_with_the_state_space_model_of_statsmodels_on_a_regular_series() -> None:
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    # With noise much larger than the drift within a month, the mean over a month is as good as its end.
    s = RateSettings(drift=0.02, weather=6.0, dispersion=0.0, jump_yearly=0.0, error_chance=0.0, slope_drift=0.0)
    rng = np.random.default_rng(4)
    day = 19000.0 + 30.0 * np.arange(61)
    made = np.round(np.exp(3 + np.cumsum(rng.normal(0, 0.04, 60)) + rng.normal(0, 0.4, 60)) * 30)
    no_slope = np.array([[25.0, 0, 0, 0, 0, 0, 0, 0, 0, 0.0]])
    got = run_filter(intervals(day, made[None, :]), np.array([[3.0, 0, 0, 0]]), no_slope, s)
    model = UnobservedComponents(np.log((made + 0.5) / 30.0), "local level")
    model.ssm.initialize_known(np.array([3.0]), np.array([[25.0]]))
    result = model.smooth([s.weather / 30.0, s.drift * 30.0 / YEAR])
    assert got.mean[0, 0] == pytest.approx(result.filtered_state[0, -1], abs=0.01)
    assert np.sqrt(got.cov[0, 0]) == pytest.approx(np.sqrt(result.filtered_state_cov[0, 0, -1]), rel=0.05)


def test_the_pooled_season_agrees_with_a_generalised_linear_model() -> None:
    import statsmodels.api as sm

    rng = np.random.default_rng(5)
    places, n = 20, 60
    day = 19000.0 + 30.0 * np.arange(n + 1)
    means = harmonics(day[:-1], day[1:])
    level = rng.normal(2.5, 0.5, (places, 1))
    rate = np.exp(level + 0.3 * means.cos + 0.1 * means.sin + rng.normal(0, 0.1, (places, n)))
    made = rng.poisson(rate * 30.0)
    data = intervals(day, made)
    got = group_shapes(data, np.zeros(places, np.int64), 1, RateSettings(dispersion=1.0, weather=0.3))[0]

    dummies = np.kron(np.eye(places), np.ones((n, 1)))
    x = np.column_stack([np.tile(means.cos, places), np.tile(means.sin, places), dummies])
    fit = sm.GLM(made.ravel(), x, family=sm.families.Poisson(), offset=np.log(data.exposure)).fit()
    assert got == pytest.approx(fit.params[:2], abs=0.02)
    assert got == pytest.approx([0.3, 0.1], abs=0.03)


def test_the_integrated_season_agrees_with_adding_up_days() -> None:
    cosine, sine = np.array([0.4]), np.array([-0.2])
    day = np.arange(19000, 19500)
    angle = 2 * np.pi * (day - 0.5) / YEAR
    daily = np.exp(0.4 * np.cos(angle) - 0.2 * np.sin(angle))
    table, row = season_table(cosine, sine), np.zeros(1, np.int64)
    whole = season_integral(table, row, np.array([19499.0])) - season_integral(table, row, np.array([18999.0]))
    assert whole[0] == pytest.approx(daily.sum(), rel=1e-3)
    mean = log_mean_season(cosine, sine, harmonics(np.array([18999.0]), np.array([19499.0])))
    assert np.exp(mean[0]) * 500 == pytest.approx(daily.sum(), rel=5e-3)


def test_counts_and_dates_agree_with_brute_force_simulation() -> None:
    s = RateSettings(drift=0.05, weather=1.0, dispersion=4.0, jump_yearly=0.0, error_chance=0.0)
    rng = np.random.default_rng(6)
    days = pd.date_range("2019-01-01", "2024-06-28", freq="45D")
    season = np.exp(0.3 * np.cos(2 * np.pi * days.day_of_year.to_numpy() / YEAR))
    total = np.cumsum(np.round(45 * 12 * season * np.exp(rng.normal(0, 0.15, len(days)))))
    visits = list(zip(days.strftime("%Y-%m-%d"), total, strict=True))
    model = fit({"T1": visits}, settings=s)
    place = int(model.series.place[0])

    paths, horizon = 20000, 900
    last = int(model.rate_day[place])
    p = model.cov[place]
    cov = np.array(
        [[p[0], p[1], p[2], p[6]], [p[1], p[3], p[4], p[7]], [p[2], p[4], p[5], p[8]], [p[6], p[7], p[8], p[9]]]
    )
    state = rng.multivariate_normal(model.mean[place], cov, size=paths)
    level = state[:, 0].copy()
    count = np.zeros((horizon + 1, paths))
    for k in range(1, horizon + 1):
        level += rng.normal(0, np.sqrt(s.drift / YEAR), paths) + state[:, 3] / YEAR
        angle = 2 * np.pi * (last + k - 0.5) / YEAR
        rate = np.exp(level + state[:, 1] * np.cos(angle) + state[:, 2] * np.sin(angle))
        noise = rng.normal(0, np.sqrt(s.weather * rate**2 + s.dispersion * rate))
        count[k] = count[k - 1] + rate + noise
    even = model.evenness[place]
    start = np.array([last]).astype("datetime64[D]")
    row = np.zeros(1, np.int64)
    for ahead in (90, 365, 900):
        got = model.operations(row, start, start + np.timedelta64(ahead, "D"), PROBS)[0]
        want = np.quantile(count[ahead], PROBS)
        assert got[1] == pytest.approx(want[1], rel=0.02)
        assert np.log(got[2] / got[0]) / even == pytest.approx(np.log(want[2] / want[0]), rel=0.08)
    needed = 5000.0
    reached = (np.maximum.accumulate(count, axis=0) < needed).sum(axis=0)
    want_days = np.quantile(reached, PROBS)
    got_days = (model.crossing_dates(row, start, np.array([needed]), PROBS)[0] - start[0]).astype(int)
    middle, width = want_days[1], want_days[2] - want_days[0]
    assert got_days[1] == pytest.approx(middle, abs=8)
    assert (got_days[2] - got_days[0]) / even == pytest.approx(width, rel=0.15)
    grid = day_grid()
    chance = crossing_chance(model, row, start.astype(float), np.array([needed]), grid)[0]
    on_grid = np.interp(PROBS, chance + 1e-12 * np.arange(len(grid)), grid)
    today = (np.datetime64(AS_OF) - start[0]).astype(int)
    assert on_grid + today == pytest.approx(got_days, abs=4)


STEADY = np.array([[0.5, 0, 0, 0.01, 0, 0.01, 0, 0, 0, 0.001]])


def test_past_errors_of_a_perfectly_steady_counter_are_nil() -> None:
    day = 19000.0 + 30.0 * np.arange(60)
    data = intervals(day, np.full((1, 59), 300.0))
    s = RateSettings()
    path = run_filter(data, np.array([[np.log(10.0), 0, 0, 0]]), STEADY, s, keep=True)
    errors = past_errors(data, path, np.array([90.0, 365.0]), s)
    # 59 intervals; a window needs at least 60 days (2 intervals) and 240 days (8 intervals)
    assert len(errors.error) == 57 + 51
    assert np.abs(errors.error).max() < 0.02
    assert errors.days[errors.horizon == 1].max() == 360.0


@pytest.mark.parametrize("part", [0.0, 0.25])
def test_the_means_of_the_season_are_those_of_its_days(part: float) -> None:
    begin = np.array([-400.0, 0.0, 15_000.0, 20_123.0]) + part
    length = np.array([30.0, 91.0, 365.0, 1.0])
    means = harmonics(begin, begin + length)
    for k in range(4):
        angle = 2 * np.pi / YEAR * (begin[k] + length[k] * (np.arange(2_000) + 0.5) / 2_000)
        expected = [np.cos(angle).mean(), np.sin(angle).mean(), np.cos(2 * angle).mean(), np.sin(2 * angle).mean()]
        found = [means.cos[k], means.sin[k], means.cos2[k], means.sin2[k]]
        assert found == pytest.approx(expected, abs=1e-6)
    assert first_harmonic(begin, begin + length) == pytest.approx(np.stack([means.cos, means.sin]), abs=1e-9)
