"""The yearly shape of the rate: harmonics averaged over a reading interval, pooled by peer group."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

YEAR = 365.25
NODES = 48
"""Steps of the year in the table of the integrated season (our choice: error below 1e-4)."""

FLEET_SEASON = (0.15, 0.0)
"""Cosine and sine amplitude that a group starts from: a winter peak of 15 % (our choice)."""

SHRINK_WEIGHT = 300.0
"""Information on an amplitude (1 / variance) that the starting shape counts for: +-6 % (our choice)."""


def harmonics(from_day: Floats, to_day: Floats, order: int = 1) -> tuple[Floats, Floats]:
    """Mean of cos and sin of the time of year over (from_day, to_day]. [days since 1970-01-01]"""
    w = 2.0 * np.pi * order / YEAR
    middle = 0.5 * w * (from_day + to_day)
    damp = np.sinc(0.5 * w * (to_day - from_day) / np.pi)
    return np.cos(middle) * damp, np.sin(middle) * damp


def log_mean_season(cosine: Floats, sine: Floats, from_day: Floats, to_day: Floats) -> Floats:
    """log of the mean of exp(season) over the interval, to second order in the amplitude."""
    c1, s1 = harmonics(from_day, to_day)
    c2, s2 = harmonics(from_day, to_day, 2)
    mean = cosine * c1 + sine * s1
    square = 0.5 * (cosine**2 + sine**2) + 0.5 * (cosine**2 - sine**2) * c2 + cosine * sine * s2
    out: Floats = mean + 0.5 * (square - mean**2)
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
    left = table[rows, node]
    within: Floats = left + (place - node) * (table[rows, node + 1] - left)
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
) -> Floats:
    """Cosine and sine amplitude of each peer group, shape (groups, 2).

    Weighted least squares on the change of the log rate from one interval to the next of the same place, so
    that a level that drifts or jumps does not leak into the season; changes beyond three spreads count
    for less. Small groups lean on the fleet, the fleet on FLEET_SEASON.

    log_rate, variance, from_day, to_day : per interval, in order of place and time
    follows : True where the interval continues the one before it at the same place
    group   : group of each interval's place [0 .. groups - 1]
    """
    k = np.flatnonzero(follows & (to_day - from_day < 250.0))
    k = k[(to_day - from_day)[k - 1] < 250.0]
    c, s = harmonics(from_day, to_day)
    x = np.stack([c[k] - c[k - 1], s[k] - s[k - 1]], axis=1)
    y = log_rate[k] - log_rate[k - 1]
    spread2 = variance[k] + variance[k - 1]
    fleet = np.asarray(FLEET_SEASON)
    shape = np.tile(fleet, (groups, 1))
    for _ in range(3):
        rest = np.abs(y - (x * shape[group[k]]).sum(axis=1)) / np.sqrt(spread2)
        weight = np.minimum(1.0, 3.0 / np.maximum(rest, 1e-9)) / spread2
        gram = np.zeros((groups, 2, 2))
        pull = np.zeros((groups, 2))
        for i in range(2):
            pull[:, i] = np.bincount(group[k], weight * x[:, i] * y, minlength=groups)
            for j in range(2):
                gram[:, i, j] = np.bincount(group[k], weight * x[:, i] * x[:, j], minlength=groups)
        prior = np.eye(2) * SHRINK_WEIGHT
        fleet = np.linalg.solve(gram.sum(axis=0) + prior, pull.sum(axis=0) + prior @ np.asarray(FLEET_SEASON))
        shape = np.linalg.solve(gram + prior, (pull + prior @ fleet)[..., None])[..., 0]
    return shape
