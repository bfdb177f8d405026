"""The trend of acetylene since the last reset: a robust slope with an 80 % interval.

Theil-Sen: the median of the slopes between all pairs, with the distribution-free interval of Sen (1968).
Where values lie below the detection limit, a straight line with normal errors is fitted by maximum
likelihood instead, in which such a value only says "somewhere below". It never crosses a reset.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from tapwear.oil.dates import as_date
from tapwear.oil.growth import newest_columns
from tapwear.oil.samples import Bools, Floats, Ints
from tapwear.oil.types import AcetyleneTrend

# Our choices, but for the deviate.
LEAST_SAMPLES = 3
LEAST_VALUES = 2  # that are not below the limit
Z_80 = 1.2816  # normal deviate of an 80 % interval
NEWTON_STEPS = 50
HALVINGS = 20  # of a step that goes too far
RIDGE = 1e-9 * np.eye(3)  # keeps the equations solvable where the data leave a direction open
MOST_PRECISE = 1e4  # 1/sd, in standard deviations of y, at which the points lie on the line
PAIRS_AT_ONCE = 100_000  # that are held in memory


def acetylene_trends(
    year: Floats, acetylene: Floats, below: Bools, operations: Floats, use: Bools, oil_volume_l: Floats
) -> list[AcetyleneTrend | None]:
    """Trend of each of S compartments since its last reset, or None with too little to say.

    Parameters
    ----------
    year, acetylene : (S, L) in order of date [years since 1970], [uL/L; the limit where `below`]
    operations : (S, L) cumulative operations, NaN where unknown
    use : (S, L) samples since the last reset with acetylene
    oil_volume_l : (S,) [L], NaN if unknown
    """
    enough = (use.sum(axis=1) >= LEAST_SAMPLES) & ((use & ~below).sum(axis=1) >= LEAST_VALUES)
    enough &= _span(year, use) > 0.0
    made = operations / 1000.0
    per_operation = enough & np.isfinite(np.where(use, made, 0.0)).all(axis=1) & np.isfinite(oil_volume_l)
    per_operation[per_operation] = _span(made[per_operation], use[per_operation]) > 0.0
    trends: list[AcetyleneTrend | None] = [None] * len(year)
    yearly = _slopes(year, acetylene, below, use & enough[:, None])
    amount = acetylene * oil_volume_l[:, None] / 1000.0
    by_operation = _slopes(made, amount, below, use & per_operation[:, None])
    since = year[np.arange(len(year)), use.argmax(axis=1)]
    for row in np.flatnonzero(enough).tolist():
        rate, low, high = yearly[row].tolist()
        made_of = by_operation[row].tolist() if per_operation[row] else (None, None, None)
        trends[row] = AcetyleneTrend(rate, low, high, int(use[row].sum()), as_date(float(since[row])), *made_of)
    return trends


def _span(values: Floats, use: Bools) -> Floats:
    """(S,) from the least to the greatest value in use, below 0 where there is none."""
    most = np.max(np.where(use, values, -np.inf), axis=1, initial=-np.inf)
    return np.asarray(most - np.min(np.where(use, values, np.inf), axis=1, initial=np.inf))


def _slopes(x: Floats, y: Floats, below: Bools, use: Bools) -> Floats:
    """(S, 3) slope of y over x and its interval, from the points in use; NaN where there are none."""
    out = np.full((len(x), 3), np.nan)
    count = use.sum(axis=1)
    column, _ = newest_columns(use, use.shape[1])
    censored = (below & use).any(axis=1)
    for n in np.unique(count[count > 0]).tolist():
        most = max(PAIRS_AT_ONCE // (n * n), 1)
        for limited, slope_of in ((False, lambda x, y, _: pairwise_slope(x, y)), (True, censored_slope)):
            rows = np.flatnonzero((count == n) & (censored == limited))
            for some in (rows[start : start + most, None] for start in range(0, len(rows), most)):
                places = some, column[some[:, 0], -n:]
                out[some[:, 0]] = slope_of(x[places], y[places], below[places])
    return out


def pairwise_slope(x: Floats, y: Floats) -> Floats:
    """(..., 3) Theil-Sen slope of y (..., n) over x (..., n) and its 80 % interval."""
    n = x.shape[-1]
    first, second = _pairs(n)
    rise, run = y[..., second] - y[..., first], x[..., second] - x[..., first]
    slopes = np.full(rise.shape, np.nan)
    np.divide(rise, run, out=slopes, where=run != 0)
    slopes.sort(axis=-1)  # NaN last
    count = np.count_nonzero(run, axis=-1)
    half = Z_80 * np.sqrt(n * (n - 1) * (2 * n + 5) / 18.0)
    low = np.maximum(np.round((count - half) / 2.0) - 1, 0)
    high = np.minimum(np.round((count + half) / 2.0), count - 1)
    places = np.stack([(count - 1) // 2, count // 2, low, high], axis=-1).astype(np.int64)
    under, over, least, most = np.moveaxis(np.take_along_axis(slopes, places, axis=-1), -1, 0)
    return np.stack([0.5 * (under + over), least, most], axis=-1)


@lru_cache(maxsize=256)
def _pairs(n: int) -> tuple[Ints, Ints]:
    """All pairs of n points, as two arrays of places."""
    first, second = np.triu_indices(n, 1)
    return first, second


def censored_slope(x: Floats, y: Floats, below: Bools) -> Floats:
    """(..., 3) slope of a line with normal errors when some y are only upper limits, and its 80 % interval.

    Maximum likelihood by Newton's method in Olsen's (1978) parameters, 1/sd and coefficients/sd, in which
    the likelihood has one maximum. x, y, below : (..., n)
    """
    if x.ndim == 1:
        return np.asarray(censored_slope(x[None], y[None], below[None])[0])
    centre, scale = x.mean(axis=-1, keepdims=True), np.ptp(x, axis=-1, keepdims=True)
    unit = np.maximum(np.std(y, axis=-1, keepdims=True), 1e-9)
    v = y / unit
    design = np.stack([v, -np.ones(v.shape), -(x - centre) / scale], axis=-1)  # z = design @ (1/sd, a/sd, b/sd)
    p = np.stack([np.ones(len(v)), v.mean(axis=-1), np.zeros(len(v))], axis=-1)
    rows = np.arange(len(v))
    for _ in range(NEWTON_STEPS):
        slope, curve = _derivatives(design[rows], p[rows], below[rows])
        step: Floats = np.asarray(np.linalg.solve(curve - RIDGE, slope[..., None])[..., 0], dtype=np.float64)
        step *= _share(design[rows], p[rows], step, below[rows])[:, None]
        p[rows] -= step
        rows = rows[(np.abs(step).max(axis=-1) >= 1e-9) & (p[rows, 0] <= MOST_PRECISE)]
        if not len(rows):
            break
    _, curve = _derivatives(design, p, below)
    covariance = np.linalg.inv(RIDGE - curve)
    toward = np.stack([-p[:, 2] / p[:, 0] ** 2, np.zeros(len(p)), 1.0 / p[:, 0]], axis=-1)
    variance = (toward[:, None, :] @ covariance @ toward[:, :, None])[:, 0, 0]
    half = Z_80 * np.sqrt(np.maximum(variance, 0.0))
    middle = p[:, 2] / p[:, 0]
    return np.asarray(np.stack([middle, middle - half, middle + half], axis=-1) * (unit / scale))


def _share(design: Floats, p: Floats, step: Floats, below: Bools) -> Floats:
    """(R,) halved until the step leads to a likelihood no worse."""
    share = np.ones(len(p))
    least = _likelihood(design, p, below)
    for _ in range(HALVINGS):
        there = p - share[:, None] * step
        worse = (there[:, 0] <= 0.0) | (_likelihood(design, there, below) < least)
        if not worse.any():
            break
        share[worse] /= 2.0
    return share


def _likelihood(design: Floats, p: Floats, below: Bools) -> Floats:
    """(R,) log likelihood; of a scale at or below 0 no more than a number."""
    from scipy.special import log_ndtr

    z = (design @ p[:, :, None])[..., 0]
    seen = np.log(np.maximum(p[:, :1], 1e-300)) - 0.5 * np.square(z)
    return np.asarray(np.where(below, log_ndtr(z), seen).sum(axis=-1))


def _derivatives(design: Floats, p: Floats, below: Bools) -> tuple[Floats, Floats]:
    """Gradient (R, 3) and second derivatives (R, 3, 3) of the log likelihood."""
    from scipy.special import log_ndtr

    z = (design @ p[:, :, None])[..., 0]
    mills = np.exp(-0.5 * np.square(z) - 0.5 * np.log(2.0 * np.pi) - log_ndtr(z))
    first = np.where(below, mills, -z)
    second = np.where(below, -mills * (z + mills), -1.0)
    seen = (~below).sum(axis=-1)
    gradient = (first[:, None, :] @ design)[:, 0]
    gradient[:, 0] += seen / p[:, 0]
    curve = np.swapaxes(design * second[..., None], 1, 2) @ design
    curve[:, 0, 0] -= seen / p[:, 0] ** 2
    return gradient, curve
