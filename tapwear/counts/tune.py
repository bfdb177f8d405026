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
from tapwear.counts.rate import priors_of
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
    from statsmodels.base.model import GenericLikelihoodModel

    first = start or RateSettings()
    series, every = build_series(history, units, events, stays, as_of, first)
    data, _ = without_stops(every)
    origin = np.log([getattr(first, name) for name in names])
    none = np.zeros((max(len(data.from_day), 1), 1))

    def at(params: Floats) -> RateSettings:
        return replace(first, **dict(zip(names, np.exp(params).tolist(), strict=True)))

    class Likelihood(GenericLikelihoodModel):  # type: ignore[misc]
        """The filter's likelihood of all intervals with the prior, for the search and its curvature."""

        def loglike(self, params: Floats) -> float:
            s = at(params)
            mean, cov, _ = priors_of(series, data, units, s)
            away = (params - origin) / PRIOR_SD
            return float(run_filter(data, mean, cov, s).loglik.sum() - 0.5 * away @ away)

    model = Likelihood(none[:, 0], none)
    model.exog_names[:] = list(names)
    begun = model.loglike(origin)
    fit = model.fit(start_params=origin, method="nm", maxiter=1500, disp=0, skip_hessian=True)
    curvature = np.linalg.inv(-model.hessian(fit.params))
    table = pd.DataFrame(
        {
            "parameter": list(names),
            "start": np.exp(origin),
            "estimate": np.exp(fit.params),
            "log_se": np.sqrt(np.maximum(np.diag(curvature), 0.0)),
        }
    )
    gain = model.loglike(fit.params) - begun
    return Tuned(at(fit.params), table, float(gain), len(data.from_day), bool(fit.mle_retvals["converged"]))
