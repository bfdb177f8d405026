"""Open-by dates: the 10, 50 and 90 % points of a mixture of dated stories."""

from __future__ import annotations

from bisect import bisect_left
from datetime import date, timedelta

import numpy as np

from tapwear.oil.samples import Floats
from tapwear.weeks import DAYS_PER_YEAR

EPOCH = date(1970, 1, 1)
QUANTILES = (0.1, 0.5, 0.9)
FARTHEST_YEARS = 5.0  # a pull never names a date farther off than this; our choice


def as_date(year: float) -> date:
    """Years since 1970 as a date."""
    return EPOCH + timedelta(days=round(year * DAYS_PER_YEAR))


def date_range(centre: Floats, sd: Floats, weight: Floats, as_of: date) -> tuple[date, date, date]:
    """10, 50 and 90 % dates of a mixture of normal dates, none before `as_of`.

    Parameters
    ----------
    centre, sd : (P,) [years since 1970], [years]
    weight : (P,) shares that sum to 1
    """
    from scipy.special import ndtr

    now = (as_of - EPOCH).days / DAYS_PER_YEAR
    grid = (now + np.concatenate([[0.0], np.linspace(0.01, FARTHEST_YEARS, 500)])).tolist()
    spread = np.maximum(sd, 0.02)
    places = (bisect_left(grid, q, key=lambda year: float(weight @ ndtr((year - centre) / spread))) for q in QUANTILES)
    early, middle, late = (as_date(grid[min(place, len(grid) - 1)]) for place in places)
    return max(early, as_of), max(middle, as_of), max(late, as_of)
