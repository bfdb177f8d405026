"""Weeks late and early, worked by hand and against numerical integration."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapwear.plan.lateness import DueDay, due_day
from tapwear.plan.types import Job

AS_OF = date(2026, 6, 30)


def job(early: date | None, middle: date | None = None, late: date | None = None, severe: bool = False) -> Job:
    return Job("U1 / contact service", "U1", "contact service", "ALDER", "North", "", early, middle, late, 1, 80.0,
               severe=severe)  # fmt: skip


def test_chances_at_the_three_dates_are_10_50_and_90_percent() -> None:
    due = due_day(job(date(2027, 3, 1), date(2027, 4, 1), date(2027, 6, 1)), AS_OF)
    chances = [due.chance_before(day) for day in (date(2027, 3, 1), date(2027, 4, 1), date(2027, 6, 1))]
    assert chances == pytest.approx([0.1, 0.5, 0.9])
    assert due.chance_before(date(2026, 12, 1)) == 0
    assert due.chance_before(date(2028, 1, 1)) == 1


def test_a_date_known_to_the_day_is_late_by_the_plain_difference() -> None:
    day = date(2027, 3, 1)
    due = due_day(job(day, day, day), AS_OF)
    assert due.weeks_late(day + timedelta(days=21)) == pytest.approx(3)
    assert due.weeks_early(day + timedelta(days=21)) == pytest.approx(0)
    assert due.weeks_late(day - timedelta(days=14)) == 0
    assert due.weeks_early(day - timedelta(days=14)) == pytest.approx(2)
    assert due.chance_before(day) == 0
    assert due.chance_before(day + timedelta(days=1)) == 1


def test_a_date_beyond_the_horizon_is_taken_as_the_horizon() -> None:
    due = due_day(job(date(2027, 3, 1), date(2030, 3, 1), None), AS_OF)
    assert due.days[3] == date(2041, 12, 31).toordinal()


def test_a_severe_job_without_dates_is_due_at_once() -> None:
    assert due_day(job(None, severe=True), AS_OF).days == (AS_OF.toordinal(),) * 5


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 2000), min_size=3, max_size=3), st.integers(-500, 3000))
def test_expected_weeks_agree_with_integration_of_the_distribution(offsets: list[int], at: int) -> None:
    early, middle, late = (AS_OF + timedelta(days=days) for days in sorted(offsets))
    due: DueDay = due_day(job(early, middle, late), AS_OF)
    share = (np.arange(20_000) + 0.5) / 20_000  # the inverse of the distribution at evenly spaced chances
    days = np.interp(share, [0, 0.1, 0.5, 0.9, 1], due.days) - AS_OF.toordinal()
    day = AS_OF + timedelta(days=at)
    assert due.weeks_late(day) == pytest.approx(np.maximum(at - days, 0).mean() / 7, abs=0.02)
    assert due.weeks_early(day) == pytest.approx(np.maximum(days - at, 0).mean() / 7, abs=0.02)
