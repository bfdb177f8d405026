"""Merging three clocks into one: pure arithmetic on chances over a grid of days.

Each clock is the chance of having run out by the end of as_of + day, one row per question, one column per grid
day; grid (n, days) has a row of rising days for each question, see with_days. A task is due at the earliest of its
clocks. Given the readings, the clocks are taken as independent (our choice): the calendar is certain, and the oil pulls
forward for another reason than the count.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
QUANTILES = (0.1, 0.5, 0.9)
WITHIN = (0.25, 0.5, 0.75)  # where a step of the grid is looked at again; our choice
STEP = 1e-3  # how steep a step is drawn [days]; our choice


def certain(day: Floats, grid: Floats) -> Floats:
    """The clock that runs out on a known day. day (n,) [days from as_of], NaN = never; returns (n, days)."""
    reached = grid >= np.where(np.isnan(day), np.inf, day)[:, None]
    return np.asarray(reached, dtype=float)


def spread(early: Floats, middle: Floats, late: Floats, grid: Floats) -> Floats:
    """The clock given by its 10, 50 and 90 % days, straight lines between, NaN = never; returns (n, days).

    The ends reach half as far again as the 10 and 90 % days: 0 % at early - (middle - early) / 2, 100 % at
    late + (late - middle) / 2 (our choice). The dates must be in order.
    """
    out = np.zeros(grid.shape)
    for row in np.flatnonzero(~np.isnan(middle)):
        knots = np.array(
            [
                early[row] - (middle[row] - early[row]) / 2,
                early[row],
                middle[row],
                late[row],
                late[row] + (late[row] - middle[row]) / 2,
            ]
        )
        # Equal days make a step that is complete on the day itself; np.interp needs the knots to rise.
        knots = knots + np.arange(-4, 1) * STEP / 4
        out[row] = np.interp(grid[row], knots, [0.0, 0.1, 0.5, 0.9, 1.0])
    return out


def earliest(*clocks: Floats) -> Floats:
    """The chance that at least one clock has run out, of clocks that do not depend on one another."""
    left = np.ones_like(clocks[0])
    for clock in clocks:
        left = left * (1.0 - clock)
    return np.asarray(1.0 - left)


def shares(*clocks: Floats) -> Floats:
    """The chance that each clock is the first to run out within the grid, (clocks, n); rows sum to at most 1.

    Within one grid step the clocks share the step's chance in proportion to what each adds alone.
    """
    merged = earliest(*clocks)
    step = np.diff(merged, axis=1, prepend=0.0)
    adds = []
    for index, clock in enumerate(clocks):
        others = [other for at, other in enumerate(clocks) if at != index]
        before = np.ones_like(clock)
        for other in others:
            before = before * (1.0 - np.concatenate([np.zeros((len(other), 1)), other[:, :-1]], axis=1))
        adds.append(np.diff(clock, axis=1, prepend=0.0) * before)
    total = np.sum(adds, axis=0)
    weight = np.divide(step, total, out=np.zeros_like(step), where=total > 0)
    return np.array([(add * weight).sum(axis=1) for add in adds])


def quantile_days(chance: Floats, grid: Floats, probs: tuple[float, ...] = QUANTILES) -> Floats:
    """The days by which each chance is reached, (n, probs) [days from as_of]; NaN where not within the grid.

    Straight lines between grid days; a step is dated to the grid day on which it has happened.
    """
    out = np.full((len(chance), len(probs)), np.nan)
    rows = np.arange(len(chance))
    for column, prob in enumerate(probs):
        reached = chance >= prob - 1e-12
        has = reached[:, -1]
        right = np.argmax(reached, axis=1)
        left = np.maximum(right - 1, 0)
        low, high = chance[rows, left], chance[rows, right]
        rise = np.where(high > low, (prob - low) / np.where(high > low, high - low, 1.0), 1.0)
        rise = np.where(right > 0, np.clip(rise, 0.0, 1.0), 1.0)
        first, last = grid[rows, left], grid[rows, right]
        out[:, column] = np.where(has, first + rise * (last - first), np.nan)
    return out


def corners(chance: Floats, grid: Floats) -> Floats:
    """Days (n, 8) of the grid that hold all that `quantile_days` looks at: its ends and those of each quantile's step.

    Beside clocks that run out on a known day a clock may be read off on these and those days alone.
    """
    out = [grid[:, 0], grid[:, -1]]
    rows = np.arange(len(chance))
    for prob in QUANTILES:
        right = np.argmax(chance >= prob - 1e-12, axis=1)
        out += [grid[rows, np.maximum(right - 1, 0)], grid[rows, right]]
    return np.sort(np.column_stack(out), axis=1)


def with_days(grid: Floats, *days: Floats) -> Floats:
    """The grid (n, days) with given days of each question, and a moment before each, added, so that certain dates stay
    exact. days : each (n,), NaN or outside the grid = none."""
    own = np.column_stack([moment for day in days for moment in (day, day - STEP)])
    first, last = grid[:, :1], grid[:, -1:]
    return np.sort(np.concatenate([grid, np.where((own > first) & (own < last), own, last)], axis=1), axis=1)


def between(chance: Floats, grid: Floats) -> Floats:
    """Days (n, 9) within the steps of the grid (days,) in which each quantile is reached; its end where it is not."""
    out = []
    for prob in QUANTILES:
        reached = chance >= prob
        right = np.where(reached[:, -1], np.argmax(reached, axis=1), len(grid) - 1)
        left = np.where(reached[:, -1], np.maximum(right - 1, 0), right)
        out += [grid[left] + share * (grid[right] - grid[left]) for share in WITHIN]
    return np.sort(np.column_stack(out), axis=1)


def onto(chance: Floats, grid: Floats, more: Floats) -> Floats:
    """A clock known on the days of `grid` (n, days), read off on those of `more` (n, m) by straight lines."""
    return np.array([np.interp(new, old, row) for new, old, row in zip(more, grid, chance, strict=True)])
