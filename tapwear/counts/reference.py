"""The textbook model beside ours: a negative-binomial regression of each counter, with exposure and yearly waves.

Operations of an interval: mean = days in service x exp(b0 + b1 cos + b2 sin), variance = mean + alpha mean^2, alpha by
moments (Cameron & Trivedi 2013, ch. 3), fitted by statsmodels. It knows no drift, no jump and no wrong reading.
"""

from __future__ import annotations

import warnings

import numpy as np

from tapwear.counts.filter import Floats, Ints
from tapwear.counts.rate import RateModel
from tapwear.counts.season import harmonics

REFERENCE = "regression"
REFERENCE_WORDS = "the negative-binomial regression of each counter"

MOST_SERIES = 100
"""Series that are fitted at each past date, evenly drawn, since each takes some milliseconds (our choice)."""

LEAST_WAVES = 8
"""Intervals from which yearly waves are fitted too (our choice)."""


class Regressions:
    """The fits of the series of one model, each made once."""

    def __init__(self, model: RateModel, rows: Ints) -> None:
        picked = np.unique(np.linspace(0, len(rows) - 1, MOST_SERIES).astype(int)) if len(rows) else rows
        self.model = model
        self.fits = {int(row): self._fit(int(row)) for row in rows[picked]}

    def expected(self, rows: Ints, start: Floats, stop: Floats) -> Floats:
        """Operations over (start, stop] of each row, NaN for a series that was not drawn or told too little."""
        out = np.full(len(rows), np.nan)
        for k, row in enumerate(rows.tolist()):
            fit = self.fits.get(row)
            if fit is not None:
                x = self._waves(start[[k]], stop[[k]])[0, : len(fit)]
                out[k] = np.exp(min(float(x @ fit), 15.0)) * (stop[k] - start[k])
        return out

    def _waves(self, start: Floats, stop: Floats) -> Floats:
        means = harmonics(start, stop)
        return np.stack([np.ones(len(start)), means.cos, means.sin], axis=1)

    def _fit(self, row: int) -> Floats | None:
        from statsmodels.genmod.families import NegativeBinomial, Poisson
        from statsmodels.genmod.generalized_linear_model import GLM

        data, place = self.model.intervals, int(self.model.series.place[row])
        part = slice(int(data.begin[place]), int(data.begin[place] + data.count[place]))
        made, days = np.round(data.operations[part]), data.exposure[part]
        if len(made) < 2 or made.sum() < 1:
            return None
        x = self._waves(data.from_day[part], data.to_day[part])[:, : 3 if len(made) >= LEAST_WAVES else 1]
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a fit that does not converge is judged by what it forecasts
            mean = GLM(made, x, family=Poisson(), offset=np.log(days)).fit().mu
            spread = float(np.clip((((made - mean) ** 2 - mean) / mean**2).mean(), 1e-4, 5.0))
            fit = GLM(made, x, family=NegativeBinomial(alpha=spread), offset=np.log(days)).fit()
        params = np.asarray(fit.params, float)
        return params if np.isfinite(params).all() else None
