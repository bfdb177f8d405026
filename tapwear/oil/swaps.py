"""Bottles whose labels were exchanged: two units of one station sampled on one day, each like the other.

Two samples are suspected when each fits the other unit's last sample clearly better than its own. Nothing
is swapped back: the pair is named and left aside until a new sample is taken.
"""

from __future__ import annotations

from itertools import combinations
from math import isfinite
from typing import TYPE_CHECKING

import numpy as np

from tapwear.oil.samples import Bools, Floats, Ints, SampleGrid
from tapwear.weeks import DAYS_PER_YEAR

if TYPE_CHECKING:
    from collections.abc import Sequence

GASES = [1, 2, 3, 4]  # hydrogen escapes too easily to tell two units apart
OWN_MISFIT = 0.5  # mean square log distance from the own last sample, at least; our choice
BETTER = 0.35  # the other unit's must fit at most this share as badly; our choice
LEAST_VALUES = 6  # gas values in the pair that can be compared


def exchanged(grid: SampleGrid, station: Sequence[str]) -> tuple[Bools, Ints]:
    """(S, L) True for a sample that seems to be another unit's, and the row of that unit (-1 if none).

    Parameters
    ----------
    station : name of each row's station, "" where unknown
    """
    level = np.log(np.where(grid.below[:, :, GASES], 0.5, 1.0) * grid.gas[:, :, GASES])
    previous = _previous(level)
    apart = np.nansum(np.square(level - previous), axis=2)  # (S, L) of each sample from the own last one
    least = OWN_MISFIT * LEAST_VALUES  # the mean over at least so many values cannot exceed OWN_MISFIT below it
    stations, code = np.unique(np.asarray(station, dtype=str), return_inverse=True)
    row, column = np.nonzero(grid.usable & (stations[code] != "")[:, None])
    day = np.round(grid.year[row, column] * DAYS_PER_YEAR).astype(np.int64)
    _, visit = np.unique(day * len(stations) + code[row], return_inverse=True)  # of a station on a day, in order
    visits = np.full(grid.year.shape, -1, dtype=np.int64)
    visits[row, column] = visit
    order = np.argsort(visit, kind="stable")
    start = np.concatenate([[0], np.cumsum(np.bincount(visit))])
    worth = np.zeros(len(start), dtype=bool)  # visits in which a pair may be found; the last takes what is none
    worth[visit[apart[row, column] > least / 2]] = True
    suspected = np.zeros(grid.year.shape, dtype=bool)
    partner = np.full(grid.year.shape, -1, dtype=np.int64)
    for number in range(len(start) - 1):
        if not worth[number]:
            continue
        taken = order[start[number] : start[number + 1]]
        places = list(zip(row[taken].tolist(), column[taken].tolist(), strict=True))
        misfit = apart[row[taken], column[taken]].tolist()
        for a, b in combinations(range(len(places)), 2):
            if misfit[a] + misfit[b] <= least or places[a][0] == places[b][0]:
                continue
            one, two = places[a], places[b]
            if _each_like_the_other(level, previous, one, two):
                suspected[one] = suspected[two] = True
                partner[one], partner[two] = two[0], one[0]
                for place in (one, two):
                    _forget(level, previous, place)
                    apart[place[0]] = np.nansum(np.square(level[place[0]] - previous[place[0]]), axis=1)
                    worth[visits[place[0]]] = True
                misfit = apart[row[taken], column[taken]].tolist()
    return suspected, partner


def _previous(level: Floats) -> Floats:
    """(S, L, G) last known level of each gas before each sample."""
    out = np.full(level.shape, np.nan)
    last = np.full((level.shape[0], level.shape[2]), np.nan)
    for j in range(level.shape[1]):
        out[:, j] = last
        last = np.where(np.isfinite(level[:, j]), level[:, j], last)
    return out


def _forget(level: Floats, previous: Floats, place: tuple[int, int]) -> None:
    """Holds the samples after an exchanged one against the one before it instead."""
    row, column = place
    known = np.isfinite(level[row, column:-1])
    from_here = (np.cumsum(known, axis=0) == 1) & known[:1]
    previous[row, column + 1 :] = np.where(from_here, previous[row, column], previous[row, column + 1 :])


def _each_like_the_other(level: Floats, previous: Floats, one: tuple[int, int], two: tuple[int, int]) -> bool:
    first, second = level[one].tolist(), level[two].tolist()
    before_first, before_second = previous[one].tolist(), previous[two].tolist()
    values = zip(first + second, before_first + before_second, before_second + before_first, strict=True)
    known = [((now - own) ** 2, (now - other) ** 2) for now, own, other in values if isfinite(now - own + now - other)]
    if len(known) < LEAST_VALUES:
        return False
    misfit: float = sum(own for own, _ in known)
    return misfit > OWN_MISFIT * len(known) and sum(other for _, other in known) < BETTER * misfit
