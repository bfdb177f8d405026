"""The hyperparameters of the rate model from a fleet's own readings, by marginal likelihood, with standard errors.

What is maximised is the log likelihood that the filter gives all reading intervals (model.md, likelihood), as a
function of the logarithms of the variances and chances, with a weak prior about the values they start from, so that a
small fleet stays near them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd

from tapwear.counts.backtest import known_on, one_origin
from tapwear.counts.clean import read_counters
from tapwear.counts.exposure import build_series
from tapwear.counts.filter import Floats, run_filter
from tapwear.counts.plain import loss
from tapwear.counts.priors import priors_of
from tapwear.counts.rate import fit_rates
from tapwear.counts.settings import RateSettings
from tapwear.counts.standing import without_stops
from tapwear.counts.types import CounterHistory

TUNED = ("drift", "weather", "dispersion", "jump_yearly", "error_chance", "slope_spread", "season_spread")
"""What the readings tell something of; the sizes of rare events stay as they are."""
WORDS = {
    "drift": "drift of a rate [1/year]",
    "weather": "unevenness of one day's rate",
    "dispersion": "variance of a count over its mean",
    "jump_yearly": "unrecorded changes of rate [1/year]",
    "error_chance": "chance of an unnoticed misreading",
    "slope_spread": "spread of growth [1/year²]",
    "season_spread": "spread of seasons about the group's",
}

PRIOR_SD = 1.0
"""Standard deviation of each logarithm about the value it starts from (our choice)."""

HELD_OUT_DAYS = 540
"""Readings that the settings under trial do not see, so that forecasts from then on can be held against them."""

TRIED_AHEAD = 180
"""Days ahead of those forecasts, made at the cut and every half of that later (both our choice)."""


@dataclass(frozen=True)
class Tuned:
    """Settings that a fleet's readings make likeliest.

    table : parameter, start, estimate, log_se [standard error of the logarithm]
    gain : log likelihood gained over the starting values; intervals : how many it stands on
    converged : whether the search ended by itself
    """

    settings: RateSettings
    table: pd.DataFrame
    gain: float
    intervals: int
    converged: bool


def tuned(
    history: CounterHistory,
    units: pd.DataFrame,
    events: pd.DataFrame,
    stays: pd.DataFrame,
    as_of: date,
    start: RateSettings | None = None,
    names: Sequence[str] = TUNED,
) -> Tuned:
    """The likeliest settings. Frames as in tapwear.counts.types; names : fields of RateSettings to be estimated."""
    from scipy.optimize import minimize
    from statsmodels.tools.numdiff import approx_hess

    first = start or RateSettings()
    series, every = build_series(history, units, events, stays, as_of, first)
    data, _ = without_stops(every)
    origin = np.log([getattr(first, name) for name in names])

    def at(params: Floats) -> RateSettings:
        return replace(first, **dict(zip(names, np.exp(params).tolist(), strict=True)))

    def cost(params: Floats) -> float:
        s = at(params)
        mean, cov, _ = priors_of(series, data, units, s)
        away = (params - origin) / PRIOR_SD
        return float(0.5 * away @ away - run_filter(data, mean, cov, s).loglik.sum())

    fit = minimize(cost, origin, method="Nelder-Mead", options={"maxiter": 1500, "xatol": 0.005, "fatol": 0.01})
    curvature = np.linalg.pinv(approx_hess(fit.x, cost))
    table = pd.DataFrame(
        {
            "parameter": list(names),
            "start": np.exp(origin),
            "estimate": np.exp(fit.x),
            "log_se": np.sqrt(np.maximum(np.diag(curvature), 0.0)),
        }
    )
    return Tuned(at(fit.x), table, cost(origin) - float(fit.fun), len(data.from_day), bool(fit.success))


def held_out_gain(
    units: pd.DataFrame, readings: pd.DataFrame, events: pd.DataFrame, stays: pd.DataFrame, as_of: date
) -> tuple[float, int]:
    """What settings tuned before HELD_OUT_DAYS ago would have gained since, and on how many forecasts.

    The gain is in per cent of the mean loss (tapwear.counts.plain.loss over what was made) with the shipped settings;
    NaN where nothing can be held against later readings. Frames as in tapwear.counts.types.
    """
    cut = as_of - timedelta(days=HELD_OUT_DAYS)
    seen, happened, stood = known_on(readings, events, stays, pd.Timestamp(cut))
    own = tuned(read_counters(units, seen, happened, stood, cut), units, happened, stood, cut).settings
    seen, happened, stood = known_on(readings, events, stays, pd.Timestamp(as_of))
    final = fit_rates(read_counters(units, seen, happened, stood, as_of), units, happened, stood, as_of)
    ahead = range(0, HELD_OUT_DAYS - TRIED_AHEAD, TRIED_AHEAD // 2)
    days = [pd.Timestamp(cut + timedelta(days=one)) for one in ahead]

    def lost(settings: RateSettings) -> pd.Series[float]:
        fleet = final, units, seen, happened, stays
        parts = [one_origin(*fleet, day, (TRIED_AHEAD,), settings, others=False) for day in days]
        told = pd.concat(parts, ignore_index=True)
        made = told["made"].to_numpy(float)
        return pd.Series(loss(made, told[["p10", "p50", "p90"]].to_numpy(float)) / np.maximum(made, 10.0))

    shipped, ours = lost(RateSettings()), lost(own)
    if not len(shipped):
        return float("nan"), 0
    return float(100.0 * (1.0 - ours.mean() / shipped.mean())), len(shipped)
