"""The trend of acetylene since the last reset: robust slope with an 80 % interval.

Theil-Sen slope and its distribution-free interval (Sen 1968). It never crosses a reset.
"""

from __future__ import annotations

import numpy as np

from tapwear.oil.dates import as_date
from tapwear.oil.samples import Bools, Floats
from tapwear.oil.types import AcetyleneTrend

LEAST_SAMPLES = 3
CONFIDENCE = 0.8


def acetylene_trend(
    year: Floats, acetylene: Floats, operations: Floats, use: Bools, oil_volume_l: float
) -> AcetyleneTrend | None:
    """Trend of one compartment, or None with fewer than three samples.

    Parameters
    ----------
    year, acetylene, operations : (L,) [years], [uL/L], [cumulative operations, NaN if unknown]
    use : (L,) samples since the last reset with an acetylene value
    """
    from scipy.stats import theilslopes

    if int(use.sum()) < LEAST_SAMPLES:
        return None
    x, y = year[use], acetylene[use]
    if float(np.ptp(x)) <= 0.0:
        return None
    slope, _, low, high = theilslopes(y, x, CONFIDENCE)
    per_operation: tuple[float | None, float | None, float | None] = (None, None, None)
    n = operations[use] / 1000.0
    if bool(np.isfinite(n).all()) and float(np.ptp(n)) > 0.0 and np.isfinite(oil_volume_l):
        a, _, b, c = theilslopes(y * oil_volume_l / 1000.0, n, CONFIDENCE)
        per_operation = (float(a), float(b), float(c))
    return AcetyleneTrend(
        rate_ul_per_l_per_year=float(slope),
        rate_low=float(low),
        rate_high=float(high),
        samples=int(use.sum()),
        since=as_date(float(x[0])),
        ml_per_1000_operations=per_operation[0],
        ml_per_1000_low=per_operation[1],
        ml_per_1000_high=per_operation[2],
    )
