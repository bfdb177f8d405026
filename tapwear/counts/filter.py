"""One pass over all places together: log rate as a level that drifts and grows, plus a season, learnt by each reading.

The state of a place is its level at the end of the last interval, its two seasonal amplitudes and the slope of its
level [1/year], which a prior around 0 shrinks. Each interval gives the logarithm of its mean rate. Three explanations
are weighed at each step: the level drifted as usual; it jumped at some moment within the interval; the reading is
wrong. Their mixture is folded into one mean and covariance (a first-order generalised pseudo-Bayes filter, Ackerson &
Fu 1970).
The mean of a random walk over an interval has a third of the walk's variance and covaries with its end by a
half; the same holds for a jump at a uniformly chosen moment.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapwear.counts.season import YEAR, harmonics, log_mean_season
from tapwear.counts.settings import RateSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CHUNK_SERIES = 4096
"""Places filtered together: large enough for numpy, small enough for the cache (our choice)."""

MISFIT_CLIP = 1.5
"""Standardised surprises count up to this much, so that one wrong reading does not widen a place (our choice)."""


@dataclass(frozen=True)
class Intervals:
    """Reading intervals in order of place and time, as flat arrays.

    begin, count : first interval and number of intervals of each place
    from_day, to_day [days since 1970-01-01]; operations [operations made, inspections taken out];
    exposure [days in service]; event [recorded changes inside]; doubt [chance that a reading is wrong];
    noise [variance of the inspections taken out, operations squared]; series [row of the series read;
    None where nobody asks]
    """

    begin: Ints
    count: Ints
    from_day: Floats
    to_day: Floats
    operations: Floats
    exposure: Floats
    event: NDArray[np.bool_]
    doubt: Floats
    noise: Floats
    series: Ints | None = None


@dataclass(frozen=True)
class Levels:
    """What the filter knows, one row per place (or per interval, when the path was kept).

    mean : (n, 4) level [log operations per day], cosine, sine, slope [1/year]
    cov  : (n, 10) covariance: 00, 01, 02, 11, 12, 22, then of the slope 03, 13, 23, 33
    loglik : (places,) log likelihood
    surprise : (n,) chance that the last interval held a jump
    innovation : (n,) standardised innovation of the last interval
    misfit, steps : (n,) sum of the clipped standardised surprises after the first interval, and their number
    """

    mean: Floats
    cov: Floats
    loglik: Floats
    surprise: Floats
    innovation: Floats
    misfit: Floats
    steps: Floats

    def part(self, rows: Ints) -> Levels:
        """Some of the rows; the log likelihoods are those of all places."""
        return Levels(
            self.mean[rows], self.cov[rows], self.loglik, self.surprise[rows], self.innovation[rows],
            self.misfit[rows], self.steps[rows],
        )  # fmt: skip


def pick_places(data: Intervals, places: Ints) -> Intervals:
    """The intervals of some places only, renumbered in the order given."""
    count = data.count[places]
    begin = np.cumsum(count) - count
    at = np.repeat(data.begin[places] - begin, count) + np.arange(int(count.sum()))
    return Intervals(
        begin, count, data.from_day[at], data.to_day[at], data.operations[at], data.exposure[at],
        data.event[at], data.doubt[at], data.noise[at],
        None if data.series is None else data.series[at],
    )  # fmt: skip


def log_rate(operations: Floats, exposure: Floats) -> Floats:
    """Logarithm of operations per day; half an operation is added so that none is not minus infinity."""
    return np.log((operations + 0.5) / np.maximum(exposure, 0.5))


def run_filter(
    data: Intervals,
    prior_mean: Floats,
    prior_cov: Floats,
    settings: RateSettings,
    keep: bool = False,
    scale: Floats | None = None,
) -> Levels:
    """Filter all places. prior_mean (places, 4), prior_cov (places, 10); `keep` returns one row per interval.

    scale : (places,) factor on the variances of drift, weather and dispersion; None: 1
    """
    n = len(data.begin)
    rows = len(data.from_day) if keep else n
    mean = prior_mean.copy() if not keep else np.zeros((rows, 4))
    cov = prior_cov.copy() if not keep else np.zeros((rows, 10))
    surprise = np.zeros(rows)
    innovation = np.zeros(rows)
    misfit = np.zeros(rows)
    loglik = np.zeros(n)
    order = np.argsort(-data.count, kind="stable")
    for first in range(0, n, CHUNK_SERIES):
        places = order[first : first + CHUNK_SERIES]
        x = prior_mean[places].T.copy()
        p = prior_cov[places].T.copy()
        chance = np.zeros(len(places))
        odd = np.zeros(len(places))
        newest = np.zeros(len(places))
        total = np.zeros(len(places))
        counts = data.count[places]
        noise = np.ones(len(places)) if scale is None else scale[places]
        for step in range(int(counts[0]) if len(counts) else 0):
            live = int(np.searchsorted(-counts, -step, side="left"))
            at = data.begin[places[:live]] + step
            gap = data.from_day[at] - data.to_day[at - 1] if step else np.zeros(live)
            ll, jump, off = _step(x[:, :live], p[:, :live], data, at, np.maximum(gap, 0.0), settings, noise[:live])
            total[:live] += ll
            chance[:live], newest[:live] = jump, off
            if step:
                odd[:live] += np.minimum(np.abs(off), MISFIT_CLIP)
            if keep:
                mean[at], cov[at], surprise[at] = x[:, :live].T, p[:, :live].T, jump
                misfit[at], innovation[at] = odd[:live], off
        loglik[places] = total
        if not keep:
            mean[places], cov[places], surprise[places], misfit[places] = x.T, p.T, chance, odd
            innovation[places] = newest
    seen = np.arange(rows) - np.repeat(data.begin, data.count) if keep else data.count - 1
    return Levels(mean, cov, loglik, surprise, innovation, misfit, np.maximum(seen, 0).astype(float))


def last_levels(data: Intervals, path: Levels, prior_mean: Floats, prior_cov: Floats) -> Levels:
    """What is known of each place after its last interval, from one row per interval; the prior where it has none."""
    some = np.flatnonzero(data.count)
    last = path.part((data.begin + data.count - 1)[some])
    mean, cov = prior_mean.copy(), prior_cov.copy()
    mean[some], cov[some] = last.mean, last.cov
    rest = np.zeros((4, len(data.begin)))
    rest[:, some] = last.surprise, last.innovation, last.misfit, last.steps
    return Levels(mean, cov, path.loglik, *rest)


def _step(
    x: Floats, p: Floats, data: Intervals, at: Ints, gap: Floats, s: RateSettings, scale: Floats
) -> tuple[Floats, Floats, Floats]:
    """Advance states x (4, n), p (10, n) in place over intervals `at`.

    Returns the log likelihood, the chance of a jump and the standardised innovation.
    """
    start, end = data.from_day[at], data.to_day[at]
    days = np.maximum(end - start, 1.0)
    exposure = np.maximum(data.exposure[at], 0.5)
    made = data.operations[at]
    means = harmonics(start, end)
    c, si = means.cos, means.sin
    span = (gap + days) / YEAR  # the slope carries the level to the end of the interval
    x[0] += span * x[3]
    p[0] += span * (2.0 * p[6] + span * p[9]) + scale * s.drift * gap / YEAR
    p[1] += span * p[7]
    p[2] += span * p[8]
    p[6] += span * p[9]
    p[9] += s.slope_drift * span
    back = -0.5 * days / YEAR  # and back from there to the middle of the interval
    expected = x[0] + back * x[3] + log_mean_season(x[1], x[2], means)
    count = exposure * np.exp(np.clip(expected, -30.0, 30.0))
    v = np.log((made + 0.5) / (count + 0.5))
    slope = count / (count + 0.5)  # of log(count + 1/2) on log(count): a count near nothing tells little
    c, si, back = c * slope, si * slope, back * slope
    g0 = p[0] * slope + p[1] * c + p[2] * si + p[6] * back
    g1 = p[1] * slope + p[3] * c + p[4] * si + p[7] * back
    g2 = p[2] * slope + p[4] * c + p[5] * si + p[8] * back
    g3 = p[6] * slope + p[7] * c + p[8] * si + p[9] * back
    s0 = slope * g0 + c * g1 + si * g2 + back * g3
    # a count's relative variance is judged half by what was expected, or a low count would seem too sure
    size = 0.5 * (made + count * np.exp(np.minimum(0.5 * s0, 5.0))) + 0.5
    third = slope * slope / 3.0
    base = s0 + scale * (s.dispersion / size + 3.0 * third * s.weather / exposure) + data.noise[at] / size**2
    drift = scale * s.drift * days / YEAR
    event = data.event[at]
    jump = drift + np.where(event, s.event_size, s.jump_size) ** 2
    jump_chance = np.where(event, s.event_chance, -np.expm1(-s.jump_yearly * days / YEAR))
    error_chance = np.clip(s.error_chance + data.doubt[at], 0.0, 0.6)
    walks = (drift, jump, drift)
    suspected = data.doubt[at] / (data.doubt[at] + s.error_chance + 1e-12)
    error = s.error_size**2 + suspected * s.suspect_size**2
    spreads = (base + third * drift, base + third * jump, base + third * drift + error)
    chances = ((1.0 - jump_chance) * (1.0 - error_chance), jump_chance * (1.0 - error_chance), error_chance)
    v2 = v * v
    logs = [
        np.log(np.maximum(chance, 1e-300)) - 0.5 * (np.log(spread) + v2 / spread)
        for chance, spread in zip(chances, spreads, strict=True)
    ]
    top = np.maximum(np.maximum(logs[0], logs[1]), logs[2])
    weights = [np.exp(one - top) for one in logs]
    total = weights[0] + weights[1] + weights[2]
    # of the gains (h0, g1 / b, g2 / b, g3 / b) of the three: their mean, and the sums that their products make
    a0 = gain = walk = fold = fold0 = fold00 = np.zeros(len(at))
    for w, q, b in zip(weights, walks, spreads, strict=True):
        share = w / total
        h0 = g0 + 0.5 * slope * q
        one = share / b
        a0, gain, walk = a0 + one * h0, gain + one, walk + share * q
        u = one * (v2 / b - 1.0)
        u0 = u * h0
        fold, fold0, fold00 = fold + u, fold0 + u0, fold00 + u0 * h0
    rest0, rest = fold0 - v2 * a0 * gain, fold - v2 * gain * gain
    p[0] += fold00 - v2 * a0 * a0 + walk
    p[1] += rest0 * g1
    p[2] += rest0 * g2
    p[3] += rest * g1 * g1
    p[4] += rest * g1 * g2
    p[5] += rest * g2 * g2
    p[6] += rest0 * g3
    p[7] += rest * g1 * g3
    p[8] += rest * g2 * g3
    p[9] += rest * g3 * g3
    x[0] += a0 * v
    x[1] += gain * g1 * v
    x[2] += gain * g2 * v
    x[3] += gain * g3 * v
    surprise = v / np.sqrt(spreads[0])
    return top + np.log(total) - 0.5 * np.log(2.0 * np.pi), weights[1] / total, surprise
