"""How late or early a week is for a job: the distribution of its date, piecewise linear through three points.

The day of becoming due is spread from 0 % at early - (middle - early) / 2 through 10 % at early, 50 % at middle and
90 % at late to 100 % at late + (late - middle) / 2. The tails are our choice: half as long as what lies inside.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from tapwear.outlook.types import HORIZON_YEARS
from tapwear.plan.types import Job
from tapwear.weeks import add_years

_SHARES = (0.0, 0.1, 0.5, 0.9, 1.0)


@dataclass(frozen=True)
class DueDay:
    """Five days (as ordinals) by which a job has become due with 0, 10, 50, 90 and 100 %."""

    days: tuple[float, float, float, float, float]

    def chance_before(self, day: date) -> float:
        """Chance of having become due before `day`, 0 to 1."""
        at = float(day.toordinal())
        if at > self.days[-1]:
            return 1.0
        chance = 0.0
        for (start, end), (low, high) in zip(pairwise(self.days), pairwise(_SHARES), strict=True):
            if at > start:
                chance = low + (high - low) * min(1.0, (at - start) / (end - start) if end > start else 1.0)
        return chance

    def weeks_late(self, day: date) -> float:
        """Expected weeks that `day` lies past the day of becoming due. [weeks]"""
        at = float(day.toordinal())
        total = 0.0
        for (start, end), (low, high) in zip(pairwise(self.days), pairwise(_SHARES), strict=True):
            share = high - low
            if at >= end:
                total += share * (at - (start + end) / 2)
            elif at > start:
                total += share * (at - start) ** 2 / (2 * (end - start))
        return total / 7

    def weeks_early(self, day: date) -> float:
        """Expected weeks of interval thrown away when the work is done on `day`. [weeks]"""
        mean = sum(
            (high - low) * (start + end) / 2
            for (start, end), (low, high) in zip(pairwise(self.days), pairwise(_SHARES), strict=True)
        )
        return max(0.0, (mean - day.toordinal()) / 7 + self.weeks_late(day))


def due_day(job: Job, as_of: date) -> DueDay:
    """The distribution of a job's date. A missing middle or late date is taken as the horizon of the outlook;
    a job without any date (a severe finding) is due on `as_of`. Dates out of order are put in order."""
    if job.early is None:
        given = [as_of.toordinal()] * 3
    else:
        horizon = add_years(as_of, HORIZON_YEARS)
        given = sorted(day.toordinal() for day in (job.early, job.middle or horizon, job.late or horizon))
    early, middle, late = (float(day) for day in given)
    return DueDay((early - (middle - early) / 2, early, middle, late, late + (late - middle) / 2))
