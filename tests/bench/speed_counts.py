"""Time and memory of forecasting a very large fleet, beside a generalised linear model fitted unit by unit.

    python tests/bench/speed_counts.py [--units 100000] [--readings 100] [--sample 200]

The cumulative counts are made up (drifting, seasonal, over-dispersed) and count as loaded. Timed are: fitting
all rates, operations over 90, 365 and 730 days (10, 50, 90 %), and the three dates of one limit per unit.
The reference is statsmodels' negative-binomial GLM with yearly harmonics and log exposure, one fit per unit
of a sample, its dispersion by maximum likelihood, and the same three horizons by 400 draws of its
coefficients and noise. For comparison the same with the dispersion by moments, which is faster.
"""

from __future__ import annotations

import argparse
import datetime as dt
import resource
import time
from typing import Any

import numpy as np
import pandas as pd

from tapwear.counts.rate import fit_rates
from tapwear.counts.season import harmonics
from tapwear.counts.types import CounterHistory

AS_OF = dt.date(2024, 6, 30)
PROBS = np.array([0.1, 0.5, 0.9])
HORIZONS = (90, 365, 730)
GROUPS = np.array(["rural", "town", "industry", "grid"])


def made_up(units: int, readings: int) -> tuple[CounterHistory, pd.DataFrame]:
    """A fleet read about monthly: history as after cleaning, and its units."""
    rng = np.random.default_rng(1)
    end = int(np.datetime64(AS_OF, "D").astype(int))
    gap = rng.integers(20, 42, (units, readings))
    day = end - rng.integers(0, 30, (units, 1)) - np.cumsum(gap, axis=1)[:, ::-1]
    level = rng.normal(2.0, 0.8, (units, 1)) + np.cumsum(rng.normal(0, 0.03, (units, readings)), axis=1)
    season = rng.normal(0.15, 0.1, (units, 1)) * np.cos(2 * np.pi * day / 365.25)
    made = rng.poisson(np.exp(level + season + rng.normal(0, 0.1, (units, readings))) * gap)
    name = np.char.add("U", np.arange(units).astype(str)).astype(object)
    points = pd.DataFrame(
        {
            "series": np.repeat(np.arange(units), readings),
            "unit": pd.Series(pd.Categorical.from_codes(np.repeat(np.arange(units), readings), name)),
            "drive": pd.Categorical.from_codes(np.zeros(units * readings, np.int8), ["1"]),
            "on": day.ravel().astype("datetime64[D]").astype("datetime64[us]"),
            "operations": np.cumsum(made, axis=1).ravel().astype(float),
            "probability": np.ones(units * readings),
        }
    )
    fleet = pd.DataFrame(
        {
            "unit": name,
            "place": name,
            "station": "S",
            "peer_group": GROUPS[np.arange(units) % len(GROUPS)],
            "commissioned_on": pd.to_datetime(pd.Series([None] * units)),
        }
    )
    return CounterHistory(points.iloc[:0], points, points.iloc[:0]), fleet


def reference(history: CounterHistory, sample: int, readings: int, likely: bool) -> float:
    """Seconds that the unit-by-unit model takes to fit one unit and to forecast the three horizons with bands."""
    import statsmodels.api as sm
    from scipy.optimize import minimize_scalar

    rng = np.random.default_rng(2)
    day = history.points["on"].to_numpy("datetime64[D]").astype(int).astype(float).reshape(-1, readings)
    total = history.points["operations"].to_numpy().reshape(-1, readings)
    started = time.perf_counter()
    for t, count in zip(day[:sample], total[:sample], strict=True):
        made, exposure = np.diff(count), np.diff(t)
        means = harmonics(t[:-1], t[1:])
        x = np.column_stack([np.ones(len(made)), means.cos, means.sin])

        def fitted(alpha: float, y: np.ndarray = made, x: np.ndarray = x, days: np.ndarray = exposure) -> Any:
            family = sm.families.NegativeBinomial(alpha=alpha)
            return sm.GLM(y, x, family=family, offset=np.log(days)).fit()

        if likely:
            best = minimize_scalar(lambda log: -fitted(np.exp(log)).llf, bounds=(-9.0, 1.0), method="bounded")
            spread = float(np.exp(best.x))
        else:
            mu = sm.GLM(made, x, family=sm.families.Poisson(), offset=np.log(exposure)).fit().mu
            spread = float(np.clip((((made - mu) ** 2 - mu) / mu**2).mean(), 1e-4, 5.0))
        fit = fitted(spread)
        draws = rng.multivariate_normal(fit.params, fit.cov_params(), size=400)
        for horizon in HORIZONS:
            ahead = harmonics(t[-1] + np.arange(horizon), t[-1] + np.arange(1, horizon + 1))
            daily = np.exp(draws @ np.stack([np.ones(horizon), ahead.cos, ahead.sin])).sum(axis=1)
            parts = horizon / float(np.median(exposure))
            noise = rng.gamma(parts / spread, spread / parts, size=400)
            np.quantile(rng.poisson(daily * noise), PROBS)
    return (time.perf_counter() - started) / sample


def main() -> None:
    """Make the fleet up, time both, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=100_000)
    parser.add_argument("--readings", type=int, default=100)
    parser.add_argument("--sample", type=int, default=200)
    given = parser.parse_args()
    history, fleet = made_up(given.units, given.readings)
    empty = pd.DataFrame({"unit": pd.Series(dtype=str), "happened_on": pd.Series(dtype="datetime64[us]")})
    events = empty.assign(
        kind=pd.Series(dtype=str),
        drive=pd.Series(dtype=str),
        old_reading=pd.Series(dtype=float),
        new_reading=pd.Series(dtype=float),
    )
    stays = pd.DataFrame(columns=["unit", "place", "from_on", "to_on", "state"])
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    started = time.perf_counter()
    model = fit_rates(history, fleet, events, stays, AS_OF)
    fitted = time.perf_counter()
    rows = np.arange(len(model.index))
    today = np.full(len(rows), np.datetime64(AS_OF, "D"))
    for horizon in HORIZONS:
        if not np.isfinite(model.operations(rows, today, today + horizon, PROBS)).all():
            raise SystemExit("a forecast is not finite")
    counted = time.perf_counter()
    model.crossing_dates(rows, today, np.full(len(rows), 5000.0), PROBS)
    ended = time.perf_counter()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    each = (ended - started) / given.units
    print(f"{given.units:,} units x {given.readings} readings, as loaded: {before:.2f} GB")
    print(f"rates {fitted - started:.1f} s, operations over three horizons {counted - fitted:.1f} s,")
    print(f"dates of one limit each {ended - counted:.1f} s; together {ended - started:.1f} s, peak {peak:.2f} GB")
    for likely, words in ((True, "by maximum likelihood"), (False, "by moments")):
        glm = reference(history, given.sample, given.readings, likely)
        print(f"a unit: {1e3 * each:.3f} ms here; {1e3 * glm:.1f} ms by its own GLM, dispersion {words}:", end=" ")
        print(f"{glm / each:.0f} times as long")


if __name__ == "__main__":
    main()
