"""Steady growth of a place's rate, where its readings show it; none otherwise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tapwear.counts.filter import Floats, Intervals, Ints, log_rate, pick_places
from tapwear.counts.season import YEAR, harmonics, log_mean_season
from tapwear.counts.settings import RateSettings

LEAST_YEARS = 3.0
LEAST_INTERVALS = 8
"""Shorter records show no growth, only change (our choice)."""

GROWTH_SPREAD = 0.04
"""Standard deviation of growth between places [1/year], our choice: a few per cent a year is usual."""

CLEAR = 2.0
"""Growth is used when it exceeds this many standard errors (our choice)."""

STEADY = 0.15
"""Each quarter of the record must bring this share of the whole change, or it was a jump (our choice)."""

AHEAD_YEARS = 3.0
"""Growth is carried no further ahead than this (our choice). [years]"""


def steady_growth(data: Intervals, cosine: Floats, sine: Floats, s: RateSettings) -> Floats:
    """Growth of each place's log rate [1/year], shrunk; 0 where it is not clear or the record is short.

    A straight line through the logarithms of the seasonally adjusted rates, weighted by their noise. Its
    variance allows for the drift of the level and for changes of regime: over T years a random walk of
    variance q a year looks like growth of variance q / T.

    cosine, sine : seasonal amplitudes of each place
    """
    out = np.zeros(len(data.begin))
    likely = _moved(data, s)
    out[likely] = _growth(pick_places(data, likely), cosine[likely], sine[likely], s)
    return out


def _moved(data: Intervals, s: RateSettings) -> Ints:
    """Places whose rate differs between the two halves of their record by enough to be worth a closer look."""
    able = np.flatnonzero(data.count >= LEAST_INTERVALS)
    first, last = data.begin[able], data.begin[able] + data.count[able] - 1
    middle = (first + last + 1) // 2
    made = np.concatenate([[0.0], np.cumsum(data.operations)])
    days = np.concatenate([[0.0], np.cumsum(data.exposure)])
    early = log_rate(made[middle] - made[first], days[middle] - days[first])
    late = log_rate(made[last + 1] - made[middle], days[last + 1] - days[middle])
    years = (data.to_day[last] - data.from_day[first]) / YEAR
    apart = np.abs(late - early) / np.maximum(0.5 * years, 0.1)
    wanted = 0.7 * CLEAR * np.sqrt(_walk(s) / np.maximum(years, 0.5))
    out: Ints = able[(years >= LEAST_YEARS) & (apart > wanted)]
    return out


def _walk(s: RateSettings) -> float:
    """Variance a year of the level: drift and small changes of regime."""
    return s.drift + s.jump_yearly * min(s.jump_size, 0.5) ** 2


def _growth(data: Intervals, cosine: Floats, sine: Floats, s: RateSettings) -> Floats:
    """steady_growth of one chunk of places."""
    places = len(data.begin)
    place = np.repeat(np.arange(places), data.count)
    rate = log_rate(data.operations, data.exposure)
    rate -= log_mean_season(cosine[place], sine[place], harmonics(data.from_day, data.to_day))
    when = (data.from_day + data.to_day) / (2.0 * YEAR)
    weight = 1.0 / (s.dispersion / (data.operations + 1.0) + s.weather / data.exposure + 0.02)

    def total(values: Floats) -> Floats:
        return np.bincount(place, values, minlength=places).astype(float)

    mass = np.maximum(total(weight), 1e-9)
    when = when - (total(weight * when) / mass)[place]
    rate = rate - (total(weight * rate) / mass)[place]
    lever = np.maximum(total(weight * when * when), 1e-9)
    slope = total(weight * when * rate) / lever
    rest = total(weight * (rate - slope[place] * when) ** 2) / np.maximum(data.count - 2, 1)
    years = np.zeros(places)
    some = data.count > 0
    ends = data.begin + data.count - 1
    years[some] = (data.to_day[ends[some]] - data.from_day[data.begin[some]]) / YEAR
    variance = _walk(s) / np.maximum(years, 0.5) + rest / lever
    clear = (np.abs(slope) > CLEAR * np.sqrt(variance)) & (years >= LEAST_YEARS)
    clear &= (data.count >= LEAST_INTERVALS) & _steady(place, when, rate, weight, places)
    shrunk = slope * GROWTH_SPREAD**2 / (GROWTH_SPREAD**2 + variance)
    return np.where(clear, shrunk, 0.0)


def _steady(place: Ints, when: Floats, rate: Floats, weight: Floats, places: int) -> NDArray[np.bool_]:
    """Whether each place's rate moved the same way from quarter to quarter of its record."""
    head = np.flatnonzero(np.diff(place, prepend=-1))
    low, high = np.zeros(places), np.ones(places)
    low[place[head]] = when[head]
    tail = np.flatnonzero(np.diff(place, append=-1))
    high[place[tail]] = when[tail]
    share = (when - low[place]) / np.maximum(high - low, 1e-9)[place]
    cell = place * 4 + np.clip((4.0 * share).astype(np.int64), 0, 3)
    mass = np.bincount(cell, weight, minlength=4 * places)
    mean = (np.bincount(cell, weight * rate, minlength=4 * places) / np.maximum(mass, 1e-9)).reshape(-1, 4)
    moves = np.diff(mean, axis=1)
    whole = mean[:, 3] - mean[:, 0]
    steady = moves * np.sign(whole)[:, None] >= STEADY * np.abs(whole)[:, None]
    out: NDArray[np.bool_] = np.logical_and(steady.all(axis=1), (mass.reshape(-1, 4) > 0).all(axis=1))
    return out
