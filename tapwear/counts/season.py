"""The yearly shape of the rate: harmonics averaged over a reading interval, pooled by peer group."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapwear.weeks import DAYS_PER_YEAR

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

YEAR = DAYS_PER_YEAR
NODES = 48
"""Steps of the year in the table of the integrated season (our choice: error below 1e-4)."""

FLEET_SEASON = (0.15, 0.0)
"""Cosine and sine amplitude that a group starts from: a winter peak of 15 % (our choice)."""

SHRINK_WEIGHT = 300.0
"""Information on an amplitude (1 / variance) that the starting shape counts for: +-6 % (our choice)."""


@dataclass(frozen=True)
class Harmonics:
    """Means of cos, sin and of cos, sin at twice the frequency of the time of year over intervals."""

    cos: Floats
    sin: Floats
    cos2: Floats
    sin2: Floats


_W = np.pi / YEAR
_ROUND = 1461
"""Whole days after which half the angle of the year is back where it was."""
_COS, _SIN = np.cos(_W * np.arange(_ROUND)), np.sin(_W * np.arange(_ROUND))


def _half_turn(day: Floats) -> tuple[Floats, Floats]:
    """cos and sin of half the angle of the year on those days; whole days are looked up, as most are."""
    if (np.floor(day) == day).all():
        at = day.astype(np.int64) % _ROUND
        return _COS[at], _SIN[at]
    return np.cos(_W * day), np.sin(_W * day)


def harmonics(from_day: Floats, to_day: Floats) -> Harmonics:
    """Means of the harmonics of the time of year over (from_day, to_day]. [days since 1970-01-01]"""
    days = to_day - from_day
    c, s = _half_turn(from_day + to_day)
    c_half, s_half = _half_turn(days)
    damp = np.where(days > 1e-6, s_half / np.maximum(_W * days, 1e-9), 1.0)
    damp2 = damp * c_half
    return Harmonics(c * damp, s * damp, (2.0 * c * c - 1.0) * damp2, 2.0 * s * c * damp2)


def first_harmonic(from_day: Floats, to_day: Floats) -> tuple[Floats, Floats]:
    """Means of cos and sin alone, as in `harmonics`; by sums of angles, so that days (n, 1) by (1, m) are cheap."""
    (ca, sa), (cb, sb) = _half_turn(from_day), _half_turn(to_day)
    half = _W * (to_day - from_day)
    damp = np.where(half < 1e-4, 1.0, (ca * sb - sa * cb) / np.maximum(half, 1e-4))
    return (ca * cb - sa * sb) * damp, (sa * cb + ca * sb) * damp


def log_mean_season(cosine: Floats, sine: Floats, means: Harmonics) -> Floats:
    """log of the mean of exp(season) over the intervals of `means`, to second order in the amplitude."""
    mean = cosine * means.cos + sine * means.sin
    square = cosine * cosine * (0.5 + 0.5 * means.cos2) + sine * sine * (0.5 - 0.5 * means.cos2)
    out: Floats = mean + 0.5 * (square + cosine * sine * means.sin2 - mean * mean)
    return out


def season_table(cosine: Floats, sine: Floats) -> Floats:
    """Integral of exp(season) from 1 January 1970 to each node of the year, one row per series. [days]"""
    angle = 2.0 * np.pi * (np.arange(NODES) + 0.5) / NODES
    rate = np.exp(np.outer(cosine, np.cos(angle)) + np.outer(sine, np.sin(angle)))
    table = np.zeros((len(cosine), NODES + 1))
    np.cumsum(rate * (YEAR / NODES), axis=1, out=table[:, 1:])
    return table


def season_integral(table: Floats, rows: Ints, day: Floats) -> Floats:
    """Integral of exp(season) from 1970-01-01 to `day`, for the given rows of a season_table. [days]"""
    years: Floats = np.floor(day / YEAR)
    place = (day - years * YEAR) * (NODES / YEAR)
    node = np.minimum(place.astype(np.int64), NODES - 1)
    flat, at = table.reshape(-1), rows * (NODES + 1) + node
    left = flat.take(at)
    within: Floats = left + (place - node) * (flat.take(at + 1) - left)
    out: Floats = years * table[rows, NODES] + within
    return out


def pooled_season(
    log_rate: Floats,
    variance: Floats,
    from_day: Floats,
    to_day: Floats,
    follows: NDArray[np.bool_],
    group: Ints,
    groups: int,
    of_group: NDArray[np.bool_],
    of_fleet: NDArray[np.bool_],
) -> Floats:
    """Cosine and sine amplitude of each peer group, shape (groups, 2).

    Weighted least squares on the change of the log rate from one interval to the next of the same place, so
    that a level that drifts or jumps does not leak into the season; changes beyond three spreads count
    for less. Small groups lean on the fleet, the fleet on FLEET_SEASON.

    log_rate, variance, from_day, to_day : per interval, in order of place and time
    follows : True where the interval continues the one before it at the same place
    group   : group of each interval's place [0 .. groups - 1]
    of_group, of_fleet : intervals that speak for their group, and for the fleet
    """
    k = np.flatnonzero(follows & (to_day - from_day < 250.0))
    k = k[(to_day - from_day)[k - 1] < 250.0]
    means = harmonics(from_day, to_day)
    x = np.stack([means.cos[k] - means.cos[k - 1], means.sin[k] - means.sin[k - 1]], axis=1)
    y = log_rate[k] - log_rate[k - 1]
    spread2 = variance[k] + variance[k - 1]
    fleet = np.asarray(FLEET_SEASON)
    shape = np.tile(fleet, (groups, 1))
    for _ in range(3):
        rest = np.abs(y - (x * shape[group[k]]).sum(axis=1)) / np.sqrt(spread2)
        weight = np.minimum(1.0, 3.0 / np.maximum(rest, 1e-9)) / spread2
        pull, gram = _normal(weight * of_group[k], x, y, group[k], groups)
        whole = _normal(weight * of_fleet[k], x, y, np.zeros(len(k), np.int64), 1)
        prior = np.eye(2) * SHRINK_WEIGHT
        fleet = np.linalg.solve(whole[1][0] + prior, whole[0][0] + prior @ np.asarray(FLEET_SEASON))
        shape = np.linalg.solve(gram + prior, (pull + prior @ fleet)[..., None])[..., 0]
    return shape


def _normal(weight: Floats, x: Floats, y: Floats, group: Ints, groups: int) -> tuple[Floats, Floats]:
    """The weighted normal equations of each group: right sides (groups, 2), matrices (groups, 2, 2)."""
    pull, gram = np.zeros((groups, 2)), np.zeros((groups, 2, 2))
    for i in range(2):
        pull[:, i] = np.bincount(group, weight * x[:, i] * y, minlength=groups)
        for j in range(2):
            gram[:, i, j] = np.bincount(group, weight * x[:, i] * x[:, j], minlength=groups)
    return pull, gram
