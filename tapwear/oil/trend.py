"""The trend of acetylene since the last reset: a robust slope with an 80 % interval.

Theil-Sen: the median of the slopes between all pairs, with the distribution-free interval of Sen (1968).
Where values lie below the detection limit, a straight line with normal errors is fitted by maximum
likelihood instead, in which such a value only says "somewhere below". It never crosses a reset.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from tapwear.oil.dates import as_date
from tapwear.oil.samples import Bools, Floats, Ints
from tapwear.oil.types import AcetyleneTrend

LEAST_SAMPLES = 3
LEAST_VALUES = 2  # that are not below the limit
Z_80 = 1.2816  # normal deviate of an 80 % interval
NEWTON_STEPS = 50
RIDGE = 1e-9  # keeps the equations solvable where the data leave a direction open
MOST_PRECISE = 1e4  # 1/sd, in standard deviations of y, at which the points lie on the line


def acetylene_trend(
    year: Floats, acetylene: Floats, below: Bools, operations: Floats, oil_volume_l: float
) -> AcetyleneTrend | None:
    """Trend of one compartment since its last reset, or None with too little to say.

    Parameters
    ----------
    year, acetylene : (n,) in order of date [years since 1970], [uL/L; the limit where `below`]
    operations : (n,) cumulative operations, NaN where unknown
    oil_volume_l : [L], NaN if unknown
    """
    if len(year) < LEAST_SAMPLES or int((~below).sum()) < LEAST_VALUES or float(np.ptp(year)) <= 0.0:
        return None
    slope = _slope(year, acetylene, below)
    per_operation = None
    made = operations / 1000.0
    if bool(np.isfinite(made).all()) and float(np.ptp(made)) > 0.0 and np.isfinite(oil_volume_l):
        per_operation = _slope(made, acetylene * oil_volume_l / 1000.0, below)
    return AcetyleneTrend(
        rate_ul_per_l_per_year=slope[0],
        rate_low=slope[1],
        rate_high=slope[2],
        samples=len(year),
        since=as_date(float(year[0])),
        ml_per_1000_operations=None if per_operation is None else per_operation[0],
        ml_per_1000_low=None if per_operation is None else per_operation[1],
        ml_per_1000_high=None if per_operation is None else per_operation[2],
    )


def _slope(x: Floats, y: Floats, below: Bools) -> tuple[float, float, float]:
    return censored_slope(x, y, below) if bool(below.any()) else pairwise_slope(x, y)


def pairwise_slope(x: Floats, y: Floats) -> tuple[float, float, float]:
    """Theil-Sen slope of y over x and its 80 % interval."""
    n = len(x)
    first, second = _pairs(n)
    rise, run = y[second] - y[first], x[second] - x[first]
    apart = run != 0
    slopes = np.sort(rise[apart] / run[apart])
    half = Z_80 * np.sqrt(n * (n - 1) * (2 * n + 5) / 18.0)
    low = max(int(np.round((len(slopes) - half) / 2.0)) - 1, 0)
    high = min(int(np.round((len(slopes) + half) / 2.0)), len(slopes) - 1)
    middle = 0.5 * (slopes[(len(slopes) - 1) // 2] + slopes[len(slopes) // 2])
    return float(middle), float(slopes[low]), float(slopes[high])


@lru_cache(maxsize=256)
def _pairs(n: int) -> tuple[Ints, Ints]:
    """All pairs of n points, as two arrays of places."""
    first, second = np.triu_indices(n, 1)
    return first, second


def censored_slope(x: Floats, y: Floats, below: Bools) -> tuple[float, float, float]:
    """Slope of a line with normal errors when some y are only upper limits, and its 80 % interval.

    Maximum likelihood by Newton's method in Olsen's (1978) parameters, 1/sd and coefficients/sd, in which
    the likelihood has one maximum.
    """
    centre, scale, unit = float(x.mean()), float(np.ptp(x)), max(float(np.std(y)), 1e-9)
    v = y / unit
    design = np.stack([v, -np.ones(len(x)), -(x - centre) / scale], axis=1)  # z = design @ (1/sd, a/sd, b/sd)
    p = np.array([1.0, float(v.mean()), 0.0])
    curve = np.eye(3)
    for _ in range(NEWTON_STEPS):
        slope, curve = _derivatives(design, p, below)
        step = np.linalg.solve(curve - RIDGE * np.eye(3), slope)
        size = 1.0
        while p[0] - size * step[0] <= 0.0 or _likelihood(design, p - size * step, below) < _likelihood(
            design, p, below
        ):
            size /= 2.0
            if size < 1e-6:
                break
        p = p - size * step
        if float(np.abs(size * step).max()) < 1e-9 or p[0] > MOST_PRECISE:
            break
    _, curve = _derivatives(design, p, below)
    covariance = np.linalg.inv(RIDGE * np.eye(3) - curve)
    toward = np.array([-p[2] / p[0] ** 2, 0.0, 1.0 / p[0]])
    half = Z_80 * float(np.sqrt(max(float(toward @ covariance @ toward), 0.0)))
    middle, factor = float(p[2] / p[0]), unit / scale
    return middle * factor, (middle - half) * factor, (middle + half) * factor


def _likelihood(design: Floats, p: Floats, below: Bools) -> float:
    from scipy.special import log_ndtr

    z = design @ p
    return float(np.where(below, log_ndtr(z), np.log(p[0]) - 0.5 * np.square(z)).sum())


def _derivatives(design: Floats, p: Floats, below: Bools) -> tuple[Floats, Floats]:
    """Gradient (3,) and second derivatives (3, 3) of the log likelihood."""
    from scipy.special import log_ndtr

    z = design @ p
    mills = np.exp(-0.5 * np.square(z) - 0.5 * np.log(2.0 * np.pi) - log_ndtr(z))
    first = np.where(below, mills, -z)
    second = np.where(below, -mills * (z + mills), -1.0)
    seen = int((~below).sum())
    gradient = design.T @ first + np.array([seen / p[0], 0.0, 0.0])
    curve = (design * second[:, None]).T @ design
    curve[0, 0] -= seen / p[0] ** 2
    return gradient, curve
