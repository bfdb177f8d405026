"""Chances of many days at once, against the same chances worked out one by one."""

from __future__ import annotations

import numpy as np
import pytest
import scipy
from rate_fleets import events, fit, stays, steady
from scipy.special import stdtr, stdtrit

from tapwear.counts import path, spread
from tapwear.counts.dates import crossing_chance, day_grid, past_chance
from tapwear.counts.rate import RateModel

GRID = day_grid(ahead_years=15)


def fleet() -> RateModel:
    """A counter read often and one read seldom, a swap, a unit away, one never read."""
    return fit(
        {
            "often": steady(10, "2015-01-01", "2024-06-28"),
            "seldom": [("2014-03-01", 0), ("2018-03-01", 9_000), ("2022-09-01", 30_000)],
            "away": steady(30, "2019-01-01", "2024-05-20"),
            "new": [("2024-05-01", 0), ("2024-06-20", 40)],
            "never": [],
        },
        events(("away", "2024-05-29", "out_of_service")),
        stays(("new", "Bank 9", "2018-01-01", None, "in service")),
    )


def questions(model: RateModel) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Every series since days before, between and after its visits, and in the future, with few and many operations."""
    rows, back, needed = np.meshgrid(np.arange(len(model.series.unit)), [-400.0, 0, 30, 900, 5000], [40.0, 8e3, 9e4])
    return rows.ravel(), model.today - back.ravel(), needed.ravel()


def test_chances_of_a_grid_are_those_of_each_day_alone() -> None:
    model = fleet()
    rows, start, needed = questions(model)
    together = crossing_chance(model, rows, start, needed, GRID)
    each = [crossing_chance(model, rows, start, needed, np.array([day]))[:, 0] for day in GRID]
    assert together == pytest.approx(np.maximum.accumulate(np.array(each).T, axis=1), abs=1e-12)
    assert 0.1 < (together > 0.5).mean() < 0.6


def test_days_of_its_own_give_each_question_the_chances_of_the_grid() -> None:
    model = fleet()
    rows, start, needed = questions(model)
    own = crossing_chance(model, rows, start, needed, np.broadcast_to(GRID, (len(rows), len(GRID))))
    assert own == pytest.approx(crossing_chance(model, rows, start, needed, GRID), abs=1e-12)


@pytest.mark.parametrize("least", [1e-6, 1e-3])
def test_what_is_passed_over_in_the_past_had_next_to_no_chance(least: float) -> None:
    model = fleet()
    rows, start, needed = questions(model)
    past = GRID[GRID < 0]
    true = crossing_chance(model, rows, start, needed, past)
    found = np.maximum.accumulate(past_chance(model, rows, start, needed, past, least), axis=1)
    assert (np.abs(found - true) <= least).all()
    assert (path.chance_when_read(model, rows, start, needed) <= least).sum() > 5


def test_tails_are_those_of_students_t() -> None:
    z = np.linspace(-60.0, 60.0, 2001)
    scale = 1.2815515655446004 / stdtrit(spread.TAIL_FREEDOM, 0.9)
    assert spread.tail_chance(z) == pytest.approx(stdtr(spread.TAIL_FREEDOM, z / scale), abs=1e-15)
    assert spread.tail_chance(np.array([-np.inf, np.inf])).tolist() == [0.0, 1.0]
    inner = np.array([0.01, 0.1, 0.5, 0.9, 0.99])
    exact = 1e-10 if scipy.__version__.startswith("1.13.") else 1e-14  # its inverse of t has eleven good places
    assert spread.tail_chance(spread.tail_quantile(inner)) == pytest.approx(inner, abs=exact)
