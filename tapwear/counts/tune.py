"""The hyperparameters of the rate model from a fleet's own readings, by marginal likelihood, with standard errors.

What is maximised is the log likelihood that the filter gives all reading intervals (model.md, likelihood), as a
function of the logarithms of the variances and chances, with a weak prior about the values they start from, so that a
small fleet stays near them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from tapwear.counts.exposure import build_series
from tapwear.counts.filter import Floats, run_filter
from tapwear.counts.priors import priors_of
from tapwear.counts.settings import RateSettings
from tapwear.counts.standing import without_stops
from tapwear.counts.types import CounterHistory

TUNED = ("drift", "weather", "dispersion", "jump_yearly", "error_chance", "slope_spread", "season_spread")
"""What the readings tell something of; the sizes of rare events stay as they are."""

PRIOR_SD = 1.0
"""Standard deviation of each logarithm about the value it starts from (our choice)."""


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
