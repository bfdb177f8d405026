"""The distribution of operations: what was read, and a forecast that is log-normal with tails of Student's t."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri, stdtrit

from tapwear.counts.filter import Floats, Ints

TAIL_FREEDOM = 5.0
"""Degrees of freedom of the forecast's tails (our choice; tail_chance holds for this number alone)."""
_TAIL_SCALE = float(ndtri(0.9) / stdtrit(TAIL_FREEDOM, 0.9))
_TAIL_STEEPNESS = 1.0 / (_TAIL_SCALE * TAIL_FREEDOM**0.5)


def tail_quantile(probability: Floats) -> Floats:
    """Quantile of the standard forecast error: +-1.28 at 10 and 90 %, heavier than the normal beyond."""
    out: Floats = stdtrit(TAIL_FREEDOM, probability) * _TAIL_SCALE
    return out


def tail_chance(z: Floats) -> Floats:
    """Inverse of tail_quantile: for five degrees of freedom Student's t has a distribution in closed form."""
    u = np.clip(z * _TAIL_STEEPNESS, -1e20, 1e20)
    q = 1.0 / (1.0 + u * u)
    out: Floats = 0.5 + (np.arctan(u) + u * q * (1.0 + q * (2.0 / 3.0))) / np.pi
    return np.clip(out, 0.0, 1.0)


@dataclass(frozen=True)
class Spread:
    """Operations between two days: read + middle * exp(spread * z), z a standard forecast error.

    read, read_sd : the part between visits and its standard error [operations], (n,), or (n, 1) where it is the same
        on all days
    middle        : median of the forecast part [operations], (n,) or (n, days) as the rest
    low, high     : spread of its logarithm below and above the middle
    """

    read: Floats
    read_sd: Floats
    middle: Floats
    low: Floats
    high: Floats

    def quantiles(self, probs: Floats) -> Floats:
        """Operations at each probability, shape (rows, probabilities). Never negative, never falling."""
        z = tail_quantile(probs)[None, :]
        spread = np.where(z < 0, self.low[:, None], self.high[:, None])
        forecast = self.middle[:, None] * np.exp(np.clip(spread * z, -20.0, 6.0))
        out = self.read[:, None] + np.where(
            self.middle[:, None] > 0, forecast, self.read_sd[:, None] * z
        )
        return np.maximum(np.maximum(out, 0.0), np.where(z > 0, self.read[:, None], 0.0))

    def chance_at_least(self, operations: Floats) -> Floats:
        """Chance that the operations are at least this many."""
        need = operations - self.read
        with np.errstate(divide="ignore", invalid="ignore"):
            z = np.log(need / self.middle)
            out = tail_chance(-z / np.where(z < 0, self.low, self.high))
        out = np.where(need <= 0, 1.0, out)
        out[np.isnan(out)] = 0.0
        read = self.middle <= 0
        if read.any():
            need, sd = np.broadcast_to(need, out.shape)[read], np.broadcast_to(self.read_sd, out.shape)[read]
            out[read] = tail_chance(-need / np.maximum(sd, 0.5))
        return np.asarray(out)

    def of(self, rows: Ints) -> Spread:
        """The same for some of the rows."""
        return Spread(self.read[rows], self.read_sd[rows], self.middle[rows], self.low[rows], self.high[rows])
