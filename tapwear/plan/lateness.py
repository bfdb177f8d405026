"""How late or early a week is for a job: the distribution of its date, piecewise linear through three points.

The day of becoming due is spread from 0 % at early - (middle - early) / 2 through 10 % at early, 50 % at middle and
90 % at late to 100 % at late + (late - middle) / 2. The tails are our choice: half as long as what lies inside.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property
from itertools import pairwise

from tapwear.outlook.types import horizon
from tapwear.plan.types import Job

SHARES = (0.0, 0.1, 0.5, 0.9, 1.0)  # chances of having become due, at the days of `spread_days`
Days = tuple[float, float, float, float, float]


@dataclass(frozen=True)
class DueDay:
    """Five days (as ordinals) by which a job has become due with 0, 10, 50, 90 and 100 %."""

    days: Days

    def chance_before(self, day: date) -> float:
        """Chance of having become due before `day`, 0 to 1."""
        at = float(day.toordinal())
        if at > self.days[-1]:
            return 1.0
        chance = 0.0
        for (start, end), (low, high) in zip(pairwise(self.days), pairwise(SHARES), strict=True):
            if at > start:
                chance = low + (high - low) * min(1.0, (at - start) / (end - start) if end > start else 1.0)
        return chance

    def weeks_late(self, day: date) -> float:
        """Expected weeks that `day` lies past the day of becoming due. [weeks]"""
        at = float(day.toordinal())
        total = 0.0
        for (start, end), (low, high) in zip(pairwise(self.days), pairwise(SHARES), strict=True):
            share = high - low
            if at >= end:
                total += share * (at - (start + end) / 2)
            elif at > start:
                total += share * (at - start) ** 2 / (2 * (end - start))
        return total / 7

    def weeks_early(self, day: date) -> float:
        """Expected weeks of interval thrown away when the work is done on `day`. [weeks]"""
        return max(0.0, (self._mean - day.toordinal()) / 7 + self.weeks_late(day))

    @cached_property
    def _mean(self) -> float:
        return sum(
            (high - low) * (start + end) / 2
            for (start, end), (low, high) in zip(pairwise(self.days), pairwise(SHARES), strict=True)
        )


def spread_days(early: date, middle: date | None, late: date | None, as_of: date) -> Days:
    """The days (ordinals) by which a task has become due with the chances in SHARES.

    A missing middle or late date is taken as the horizon of the outlook; dates out of order are put in order.
    """
    end = horizon(as_of)
    low, mid, high = (float(n) for n in sorted(day.toordinal() for day in (early, middle or end, late or end)))
    return low - (mid - low) / 2, low, mid, high, high + (high - mid) / 2


def due_day(job: Job, as_of: date) -> DueDay:
    """The distribution of a job's date; a job without any date (a severe finding) is due on `as_of`."""
    if job.early is None:
        return DueDay(spread_days(as_of, as_of, as_of, as_of))
    return DueDay(spread_days(job.early, job.middle, job.late, as_of))
