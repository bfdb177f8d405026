"""Standstills where a counter is read every few days: taken out of the rate, and expected again at their time of year.

A plant stops for some weeks in summer and some days each month. With a reading a day that is a run of noughts between
runs at the old rate, not two changes of regime; with a reading a month it is one interval that holds less. So that both
tell the same, stops of `LONG_DAYS` and more are taken out of the exposure, and intervals are joined until they hold
`JOINED_DAYS`. What was taken out comes back in the forecast as the share of each day of the year that stood still.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tapwear.counts.filter import Floats, Intervals, Ints
from tapwear.counts.season import YEAR

DENSE_DAYS = 10.0
"""Places read more often than this, by the median of their intervals, are looked at (our choice). [days]"""

JOINED_DAYS = 28.0
"""Exposure from which an interval stands for itself (our choice). [days]"""

LONG_DAYS, LONGEST_DAYS = 5.0, 60.0
"""Stops of this length are taken out; a longer one may be a stuck counter, and is left in (our choice). [days]"""

STILL = 0.03
"""Share of the place's usual rate below which an interval stood still (our choice)."""

LATE_YEARS = 3.0
"""Stops of so many years tell of those to come (our choice). [years]"""

BLUR_DAYS = 5
"""A stop comes back on its day of the year, give or take so many days (our choice). [days]"""


@dataclass(frozen=True)
class Stops:
    """What share of its time each place stands still, by day of the year.

    row : (places,) row of `lost`, -1 for a place without stops
    lost : (rows, 367) days of standstill from 1 January to each day of the year
    """

    row: Ints
    lost: Floats

    def between(self, places: Ints, start: Floats, stop: Floats) -> Floats:
        """Days of standstill to expect over (start, stop] at places that have stops. [days since 1970-01-01]"""
        return self._until(places, stop) - self._until(places, start)

    def _until(self, places: Ints, day: Floats) -> Floats:
        years = np.floor(day / YEAR)
        within = day - years * YEAR
        node = np.minimum(within.astype(np.int64), 365)
        row = self.row[places]
        left = self.lost[row, node]
        out: Floats = years * self.lost[row, 366] + left + (within - node) * (self.lost[row, node + 1] - left)
        return out


def without_stops(data: Intervals) -> tuple[Intervals, Stops]:
    """The intervals of densely read places without their stops, and joined; and the stops."""
    n = len(data.begin)
    days = data.to_day - data.from_day
    row = np.full(n, -1)
    dense = [p for p in np.flatnonzero(data.count >= 2 * YEAR / 12 / DENSE_DAYS).tolist() if _dense(data, days, p)]
    if not dense:
        return data, Stops(row, np.zeros((0, 367)))
    keep, head = np.ones(len(days), bool), np.ones(len(days), bool)
    lost: list[Floats] = []
    for p in dense:
        part = slice(int(data.begin[p]), int(data.begin[p] + data.count[p]))
        stopped = _stops(data, days, part)
        if stopped.any():
            row[p] = len(lost)
            lost.append(_by_day(data, part, stopped))
        keep[part] = ~stopped
        exposure = np.where(stopped, 0.0, data.exposure[part])
        group = np.floor((np.cumsum(exposure) - 0.5 * exposure) / JOINED_DAYS)
        shown = np.flatnonzero(~stopped)
        new = np.ones(len(shown), bool)
        new[1:] = group[shown][1:] != group[shown][:-1]
        head[part] = False
        head[part.start + shown[new]] = True
    kept = np.flatnonzero(keep)
    first = np.flatnonzero(head[kept])
    place = np.repeat(np.arange(n), data.count)[kept]
    last = np.r_[first[1:], len(kept)] - 1
    count = np.bincount(place[first], minlength=n)

    def total(values: Floats) -> Floats:
        return np.add.reduceat(values[kept], first)

    joined = replace(
        data,
        begin=np.cumsum(count) - count,
        count=count,
        from_day=data.from_day[kept][first],
        to_day=data.to_day[kept][last],
        operations=total(data.operations),
        exposure=total(data.exposure),
        event=np.logical_or.reduceat(data.event[kept], first),
        doubt=np.maximum.reduceat(data.doubt[kept], first),
        noise=total(data.noise),
        series=None if data.series is None else data.series[kept][first],
    )
    return joined, Stops(row, np.stack(lost) if lost else np.zeros((0, 367)))


def _dense(data: Intervals, days: Floats, place: int) -> bool:
    part = slice(int(data.begin[place]), int(data.begin[place] + data.count[place]))
    return bool(np.median(days[part]) <= DENSE_DAYS)


def _stops(data: Intervals, days: Floats, part: slice) -> NDArray[np.bool_]:
    """Which intervals of one place belong to a stop, the one still going on not among them."""
    made, exposure = data.operations[part], data.exposure[part]
    rate = made / np.maximum(exposure, 0.5)
    running = rate[rate > 0]
    if not len(running):
        return np.zeros(len(made), bool)
    still = rate < STILL * np.median(running)
    edge = np.flatnonzero(np.diff(np.r_[False, still, False].astype(int)))
    out = np.zeros(len(made), bool)
    for begin, end in zip(edge[::2], edge[1::2], strict=True):
        length = days[part][begin:end].sum()
        missed = np.median(running) * length
        out[begin:end] = LONG_DAYS <= length <= LONGEST_DAYS and missed >= 20.0 and end < len(made)
    return out


def _by_day(data: Intervals, part: slice, stopped: NDArray[np.bool_]) -> Floats:
    """Days of standstill from 1 January to each day of the year, a year, from the stops of late."""
    start, end = data.from_day[part], data.to_day[part]
    since = max(float(start[0]), float(end[-1]) - LATE_YEARS * YEAR)
    stood = np.zeros(366)
    for a, b in zip(start[stopped], end[stopped], strict=True):
        if b > since:
            np.add.at(stood, (np.arange(a + 1, b + 1) % YEAR).astype(int) % 366, 1.0)
    watched = np.zeros(366)
    np.add.at(watched, (np.arange(since + 1, end[-1] + 1) % YEAR).astype(int) % 366, 1.0)
    kernel = np.ones(2 * BLUR_DAYS + 1) / (2 * BLUR_DAYS + 1)

    def blurred(values: Floats) -> Floats:
        around = np.r_[values[-BLUR_DAYS:], values, values[:BLUR_DAYS]]
        return np.asarray(np.convolve(around, kernel, mode="valid"))

    whole = stood.sum() / max(watched.sum(), 1.0)
    seen = blurred(watched)
    share = np.where(seen > 0.5, blurred(stood) / np.maximum(seen, 0.5), whole)
    return np.asarray(np.r_[0.0, np.cumsum(np.minimum(share, 0.95))])
