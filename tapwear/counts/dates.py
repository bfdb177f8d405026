"""When a number of operations is reached: P(reached by t) = P(count(t) >= operations needed)."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tapwear.counts.filter import Floats, Ints
from tapwear.counts.path import Read, chance_when_read, made_chance, read_since
from tapwear.counts.season import YEAR

if TYPE_CHECKING:
    from tapwear.counts.rate import RateModel

IN_SIGHT_YEARS = 60.0
"""Dates further ahead than this are not in sight (our choice). [years]"""

CHUNK_ROWS = 4096
"""Questions answered together (our choice, bounds the memory)."""

CHUNK_CHANCES = 16_384
"""Chances of a grid worked out together, so few that they stay in the processor's cache (our choice)."""


def day_grid(back_years: int = 30, ahead_years: float = IN_SIGHT_YEARS) -> Floats:
    """Days relative to as_of: weekly for a year, fortnightly to three, monthly to ten, then every half year up to
    ahead_years and on its last day; monthly for the past."""
    days = np.concatenate(
        [
            -np.arange(0, back_years * YEAR, 30.0),
            np.arange(0, 371, 7.0),
            np.arange(371, 1100, 14.0),
            np.arange(1100, 3660, 30.0),
            np.arange(3660, ahead_years * YEAR, 182.0),
            [ahead_years * YEAR],
        ]
    )
    return np.unique(days[days <= ahead_years * YEAR])


def crossing_chance(model: RateModel, rows: Ints, start: Floats, needed: Floats, grid: Floats) -> Floats:
    """Chance that each question has crossed by the end of as_of + grid, shape (questions, days).

    grid : rising days for all (days,), or for each question its own (questions, days)
    """
    out = np.zeros((len(rows), grid.shape[-1]))
    known = read_since(model, rows, start)
    step = max(CHUNK_CHANCES // grid.shape[-1], 1)
    for first in range(0, len(rows), step):
        part = slice(first, first + step)
        day = model.today + (grid[None, :] if grid.ndim == 1 else grid[part])
        begin = start[part, None]
        before = int(np.searchsorted(day[0], begin.min())) if grid.ndim == 1 else 0  # days on which none has begun
        day = day[:, before:]
        if day.size:
            read, read_var, back, back_var = known
            mine = (read[part, None], read_var[part, None], back[part, None], back_var[part, None])
            chance = _chance(model, rows[part, None], begin, day, needed[part, None], mine)
            out[part, before:] = np.maximum.accumulate(np.where(day >= begin, chance, 0.0), axis=1)
    return out


def _chance(
    model: RateModel, rows: Ints, begin: Floats, day: Floats, needed: Floats, known: Read | None = None
) -> Floats:
    """Chance that the operations are made by `day`, over all second explanations.

    rows, begin, needed : (n,) or (n, 1); day : (n,), or (n, days) or (1, days); known : path.read_since
    """
    return made_chance(model, rows, begin, day, needed, known)


def past_chance(model: RateModel, rows: Ints, start: Floats, needed: Floats, grid: Floats, least: float) -> Floats:
    """Chance that each question has crossed by the end of as_of + grid, shape (questions, days), of days in the past.

    Days on which the chance cannot be more than `least` may be given as 0: those up to the last visit, where even what
    was read there and the widest error between two visits fall short. grid : rising days below 0, (days,)
    """
    out = np.zeros((len(rows), len(grid)))
    open_days = chance_when_read(model, rows, start, needed) > least
    some = np.flatnonzero(open_days)
    some = some[np.argsort(start[some], kind="stable")]  # those that began on like days together
    out[some] = crossing_chance(model, rows[some], start[some], needed[some], grid)
    since = np.where(open_days, np.inf, np.maximum(model.last_day[rows], start - 1.0))
    i, j = np.nonzero(model.today + grid > since[:, None])
    out[i, j] = crossing_chance(model, rows[i], start[i], needed[i], grid[j, None])[:, 0]
    return out


def crossing_quantiles(
    model: RateModel, rows: Ints, start: Floats, needed: Floats, probs: Floats
) -> NDArray[np.datetime64]:
    """Day by which each question is reached with each probability, shape (questions, probabilities)."""
    probs = np.asarray(probs, float)
    out = np.empty((len(rows), len(probs)), dtype="datetime64[D]")
    for first in range(0, len(rows), CHUNK_ROWS):
        part = slice(first, first + CHUNK_ROWS)
        out[part] = _bisect(model, rows[part], start[part], needed[part], probs)
    return out


def _bisect(
    model: RateModel, rows: Ints, start: Floats, needed: Floats, probs: Floats
) -> NDArray[np.datetime64]:
    """crossing_quantiles of one chunk: the first day on which the chance is at least the probability."""
    q = len(probs)
    r, begin, need = np.repeat(rows, q), np.repeat(start, q), np.repeat(needed, q)
    target = np.tile(probs, len(rows))
    low = begin - 1.0
    high = np.full(len(r), model.today + IN_SIGHT_YEARS * YEAR)
    high = np.maximum(high, begin)
    reached = _chance(model, r, begin, high, need) >= target
    while (high - low > 1.0).any():
        middle = np.floor(0.5 * (low + high))
        hit = _chance(model, r, begin, middle, need) >= target
        wide = high - low > 1.0
        high = np.where(wide & hit, middle, high)
        low = np.where(wide & ~hit, middle, low)
    out = high.astype(np.int64).astype("datetime64[D]")
    out[~reached] = np.datetime64("NaT", "D")
    result = out.reshape(len(rows), q)
    order = np.argsort(np.where(np.isnat(result), np.iinfo(np.int64).max, result.astype(np.int64)), axis=1)
    return np.take_along_axis(result, order, axis=1)
