"""The count of a series between any two days: read between visits, forecast after the last one.

Operations from day a to day b are a part that was read (with the uncertainty of interpolation) plus a part
that is forecast: log-normal in the middle, with tails of Student's t, scaled by the fleet's own past errors.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri, stdtr, stdtrit

from tapwear.counts.ahead import log_variance
from tapwear.counts.exposure import CountSeries
from tapwear.counts.filter import Floats, Ints
from tapwear.counts.growth import AHEAD_YEARS
from tapwear.counts.places import NEVER
from tapwear.counts.season import YEAR, season_integral

if TYPE_CHECKING:
    from tapwear.counts.rate import RateModel

TAIL_FREEDOM = 5.0
"""Degrees of freedom of the forecast's tails (our choice)."""
_TAIL_SCALE = float(ndtri(0.9) / stdtrit(TAIL_FREEDOM, 0.9))


def tail_quantile(probability: Floats) -> Floats:
    """Quantile of the standard forecast error: +-1.28 at 10 and 90 %, heavier than the normal beyond."""
    out: Floats = stdtrit(TAIL_FREEDOM, probability) * _TAIL_SCALE
    return out


def tail_chance(z: Floats) -> Floats:
    """Inverse of tail_quantile."""
    out: Floats = stdtr(TAIL_FREEDOM, z / _TAIL_SCALE)
    return out


@dataclass(frozen=True)
class Spread:
    """Operations between two days: read + middle * exp(spread * z), z a standard forecast error.

    read, read_sd : the part between visits and its standard error [operations]
    middle        : median of the forecast part [operations]
    low, high     : spread of its logarithm below and above the middle
    """

    read: Floats
    read_sd: Floats
    middle: Floats
    low: Floats
    high: Floats

    def quantiles(self, probs: Floats) -> Floats:
        """Operations at each probability, shape (rows, probabilities). Never negative, never falling."""
        z = tail_quantile(probs)[None, :]
        spread = np.where(z < 0, self.low[:, None], self.high[:, None])
        forecast = self.middle[:, None] * np.exp(np.clip(spread * z, -20.0, 6.0))
        out = self.read[:, None] + np.where(
            self.middle[:, None] > 0, forecast, self.read_sd[:, None] * z
        )
        return np.maximum(np.maximum(out, 0.0), np.where(z > 0, self.read[:, None], 0.0))

    def chance_at_least(self, operations: Floats) -> Floats:
        """Chance that the operations are at least this many."""
        need = operations - self.read
        with np.errstate(divide="ignore", invalid="ignore"):
            z = np.log(need / self.middle)
            ahead = 1.0 - tail_chance(z / np.where(z < 0, self.low, self.high))
            behind = tail_chance(-need / np.maximum(self.read_sd, 0.5))
        only_read = self.middle <= 0
        return np.where(only_read, behind, np.where(need <= 0, 1.0, np.nan_to_num(ahead)))


def visit_before(series: CountSeries, rows: Ints, day: Floats) -> Ints:
    """Position of the last visit on or before `day` within each series, -1 where there is none."""
    low = np.full(len(rows), -1)
    high = series.count[rows] - 1
    start = series.begin[rows]
    while (low < high).any():
        middle = (low + high + 1) // 2
        take = (middle > low) & (series.day[np.minimum(start + middle, len(series.day) - 1)] <= day)
        high = np.where((low < high) & ~take, middle - 1, high)
        low = np.where((low < high) & take, middle, low)
    return low


def read_count(model: RateModel, rows: Ints, day: Floats) -> tuple[Floats, Floats]:
    """Cumulative operations at `day` and their standard error; `day` is not after the last visit.

    Between visits the count follows the season; before the first visit it is what it was there.
    """
    series, s = model.series, model.settings
    total = np.zeros(len(rows))
    variance = np.zeros(len(rows))
    at = visit_before(series, rows, day)
    early = np.flatnonzero((at < 0) & (series.count[rows] > 0))
    total[early] = series.operations[series.begin[rows[early]]]
    inside = np.flatnonzero(at >= 0)
    r, t = rows[inside], day[inside]
    left = series.begin[r] + at[inside]
    right = np.minimum(left + 1, series.begin[r] + series.count[r] - 1)
    a, b = series.day[left], series.day[right]
    made = series.operations[right] - series.operations[left]
    place = series.place[r]
    grown = season_integral(model.season, place, t) - season_integral(model.season, place, a)
    whole = season_integral(model.season, place, b) - season_integral(model.season, place, a)
    share = np.where(b > a, grown / np.where(b > a, whole, 1.0), 0.0)
    days = np.maximum(b - a, 1.0)
    total[inside] = series.operations[left] + share * made
    variance[inside] = (
        share * (1 - share) * (made**2 * (s.weather / days + s.drift * days / YEAR / 3) + s.dispersion * made)
    )
    return total, np.sqrt(variance)


def made_before(model: RateModel, rows: Ints, from_day: Floats, to_day: Floats) -> tuple[Floats, Floats]:
    """Operations from from_day up to the first visit (or to_day if sooner), and the variance of their logarithm.

    Carried back at the rate of the first two years read, or of the place where less than a month was read;
    nothing before commissioning.
    """
    series, s = model.series, model.settings
    first = series.day[np.minimum(series.begin[rows], len(series.day) - 1)]
    born = series.commissioned[rows]
    start = np.where(born > from_day, np.minimum(born, first), from_day)
    days = np.clip(np.minimum(first, to_day) - start, 0.0, None)
    later = series.begin[rows] + np.maximum(visit_before(series, rows, first + 2 * YEAR), 0)
    span = series.day[later] - first
    own = (series.operations[later] - series.operations[series.begin[rows]] + 0.5) / np.maximum(span, 1.0)
    place = series.place[rows]
    measured = span >= 30.0
    rate = np.where(measured, own, np.exp(model.mean[place, 0]))
    variance = np.where(measured, 0.02 + s.weather / np.maximum(span, 1.0), model.cov[place, 0])
    return rate * days, variance + s.drift * days / YEAR


def operations_between(model: RateModel, rows: Ints, from_day: Floats, to_day: Floats) -> Spread:
    """Operations of each series from the end of from_day to the end of to_day. [days since 1970-01-01]"""
    series = model.series
    to_day = np.maximum(to_day, from_day)
    last = np.where(series.count[rows] > 0, model.last_day[rows], -NEVER)
    born = series.commissioned[rows]
    from_day = np.where((last == -NEVER) & (born > from_day), np.minimum(born, to_day), from_day)
    read = np.zeros(len(rows))
    read_var = np.zeros(len(rows))
    past = np.flatnonzero(from_day < last)
    if len(past):
        end, end_sd = read_count(model, rows[past], np.minimum(to_day, last)[past])
        begin, begin_sd = read_count(model, rows[past], from_day[past])
        read[past] = np.maximum(end - begin, 0.0)
        read_var[past] = end_sd**2 + begin_sd**2
    back = np.zeros(len(rows))
    back_var = np.zeros(len(rows))
    if len(past):
        back[past], back_var[past] = made_before(model, rows[past], from_day[past], to_day[past])
    start = np.maximum(from_day, last)
    stop = np.maximum(to_day, start)

    moved = np.clip(series.since[rows], start, stop)
    here, var_here = _forecast(model, rows, series.place[rows], moved, stop)
    here = np.where(series.stopped[rows], 0.0, here)
    middle, variance = here, var_here
    before = np.flatnonzero(moved > start)
    if len(before):
        r = rows[before]
        place = series.place_before[r]
        there, var_there = _forecast(model, r, np.maximum(place, 0), start[before], moved[before])
        there = np.where(place >= 0, there, 0.0)
        both = middle[before] + there
        weight = here[before] / np.maximum(both, 1e-12)
        middle[before] = both
        variance[before] = weight**2 * var_here[before] + (1 - weight) ** 2 * var_there
    both = middle + back
    weight = middle / np.maximum(both, 1e-12)
    middle = both
    variance = (weight * np.sqrt(variance) + (1 - weight) * np.sqrt(back_var)) ** 2
    spread = np.sqrt(variance) * model.evenness[series.place[rows]]
    tilt, low, high = model.calibration.at(model.cadence[rows], stop - start)
    middle = middle * np.exp(tilt * spread)
    wider = np.sqrt(read_var) / np.maximum(middle + np.sqrt(read_var), 1e-9)
    return Spread(
        read, np.sqrt(read_var), middle, np.hypot(spread * low, wider), np.hypot(spread * high, wider)
    )


def _forecast(model: RateModel, rows: Ints, place: Ints, start: Floats, stop: Floats) -> tuple[Floats, Floats]:
    """Median operations over (start, stop] at the place's rate, and the variance of their logarithm."""
    series, s = model.series, model.settings
    table = model.season
    off = np.clip(series.idle_from[rows], start, stop)
    on = np.clip(series.idle_to[rows], off, stop)
    served = season_integral(table, place, stop) - season_integral(table, place, start)
    served = served - (season_integral(table, place, on) - season_integral(table, place, off))
    if model.factor != 1.0:
        changed = np.clip(model.factor_from, start, stop)
        late = season_integral(table, place, stop) - season_integral(table, place, changed)
        served = served + (model.factor - 1.0) * late
    lost = np.where(series.off[rows], _lost(model, stop) - _lost(model, start), 0.0)
    left = np.maximum(stop - start - (on - off), 1e-9)
    days = np.maximum(left - lost, 1.0)
    ahead = np.clip(start - model.rate_day[place], 0.0, 40 * YEAR)
    grown = model.growth[place] * np.minimum((ahead + 0.5 * (stop - start)) / YEAR, AHEAD_YEARS)
    served = np.maximum(served * np.clip(1.0 - lost / left, 0.0, 1.0), 0.0)
    middle = np.exp(model.mean[place, 0] + grown) * served
    variance = log_variance(model.cov[place], ahead, start, stop, days, middle, s)
    variance = variance + np.where(series.changed[rows], s.event_chance * s.event_size**2, 0.0)
    return middle, variance + (lost / (2.0 * days + 30.0)) ** 2


def _lost(model: RateModel, day: Floats) -> Floats:
    """Days that a unit now out of service is expected to lose from as_of to `day`: it returns at random."""
    mean = model.settings.idle_days
    return -mean * np.expm1(-np.maximum(day - model.today, 0.0) / mean)


def cumulative(model: RateModel, rows: Ints, day: Floats) -> Floats:
    """Cumulative operations of each series on each day, 10, 50 and 90 %, shape (n, 3). [operations]"""
    series = model.series
    probs = np.array([0.1, 0.5, 0.9])
    z = tail_quantile(probs)
    out = np.zeros((len(rows), 3))
    last = model.last_day[rows]
    never = ~np.isfinite(last)
    origin = np.where(np.isfinite(series.commissioned[rows]), series.commissioned[rows], day)
    start = np.where(never, np.minimum(origin, day), np.minimum(np.nan_to_num(last), day))
    ahead = operations_between(model, rows, start, day).quantiles(probs)
    out += ahead
    read = np.flatnonzero(~never)
    if len(read):
        total, sd = read_count(model, rows[read], np.minimum(day, last)[read])
        past = day[read] <= last[read]
        back, back_var = made_before(model, rows[read], day[read], np.full(len(read), NEVER))
        out[read] = np.where(past[:, None], 0.0, ahead[read]) + total[:, None] + sd[:, None] * z[None, :]
        out[read] -= back[:, None] * np.exp(-np.sqrt(back_var)[:, None] * z[None, :])
    return out
