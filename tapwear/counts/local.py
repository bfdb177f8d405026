"""The local rate of each counter: what its neighbouring intervals say, in logarithms, with season and noise.

All arrays are flat, one entry an interval between two readings (or one a reading), sorted by counter.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce

import numpy as np

from tapwear.counts.book import Book
from tapwear.weeks import DAYS_PER_YEAR

WINDOW = 5  # intervals on either side that make the local level: our choice
HALF = 0.5  # added to counts before logarithms are taken, so that nought operations have one
ANGLE = 2.0 * np.pi / DAYS_PER_YEAR  # of the year, for one day
SEASON_SPREAD = np.array([0.35, 0.35, 0.12, 0.12])  # prior sd of the yearly waves in log rate: our choice
MONTH_NOISE = 0.18  # scatter of log rate from month to month, measured on simulated fleets
ROUGH_NOISE = 0.25  # least scatter of log rate while wrong readings are still among the right ones: our choice
LEAST_NOISE, MOST_NOISE = 0.03, 0.8  # own scatter is kept between these: our choice


@dataclass(frozen=True)
class Intervals:
    """Intervals between successive readings that are taken as right, of all counters.

    counter : counter code; left, right : places of the two readings in the book; served : days in service;
    operations : made in between.
    """

    counter: np.ndarray
    left: np.ndarray
    right: np.ndarray
    served: np.ndarray
    operations: np.ndarray


@dataclass(frozen=True)
class Local:
    """What to expect of an interval that begins or ends at a reading.

    before, n_before : level of log daily rate from the intervals that end at or before each reading, and how
        many of them there were
    after, n_after : the same from the intervals that begin at or after it
    wave : integral of the seasonal log rate up to each reading's day
    group : level of the counter's peer group, one entry a counter [log operations a day]
    noise : standard deviation of log rate of one interval of `usual` days, one entry a counter
    usual : usual length of an interval, one entry a counter [days]
    season : yearly and half-yearly waves in log rate, shape (4, counters), see `_waves`
    """

    before: np.ndarray
    n_before: np.ndarray
    after: np.ndarray
    n_after: np.ndarray
    wave: np.ndarray
    group: np.ndarray
    noise: np.ndarray
    usual: np.ndarray
    season: np.ndarray


def local_levels(book: Book, spans: Intervals, group: np.ndarray, *, rough: bool = False) -> Local:
    """Levels, noise and season of all counters of the book from the intervals taken as right.

    group : level of each counter's peers, for a counter without intervals; see `group_levels`
    rough : the intervals rest on wrong readings too, so that a level is to lie halfway between the neighbouring
        intervals' and the median of all the counter's, with a scatter of at least `ROUGH_NOISE`
    """
    n_counters = len(book.unit)
    plain = np.log((spans.operations + HALF) / np.maximum(spans.served, HALF))
    usual = medians(spans.counter, spans.served, n_counters)
    usual = np.clip(np.where(np.isfinite(usual), usual, 90.0), 1.0, 1500.0)
    counting = medians(spans.counter, 1.0 / (spans.operations + 1.0), n_counters)
    n_back, n_ahead = window_sizes(spans.counter)
    residual = _residuals(spans.counter, plain, *windows(plain, n_back, n_ahead))
    noise = _noise(spans.counter, residual, counting, usual)
    waves = _waves(book.day)
    season = _fit_season(book, spans, waves, residual, noise)
    wave = sum((own[book.counter] * one for own, one in zip(season, waves, strict=True)), np.zeros(len(book.day)))
    days = np.maximum(book.day[spans.right] - book.day[spans.left], 1)
    level = plain - (wave[spans.right] - wave[spans.left]) / days
    back, ahead = windows(level, n_back, n_ahead)
    noise = _noise(spans.counter, _residuals(spans.counter, level, back, ahead), counting, usual)
    if rough:
        noise = np.maximum(noise, ROUGH_NOISE)
        whole = medians(spans.counter, level, n_counters)[spans.counter]
        back, ahead = 0.5 * (back + whole), 0.5 * (ahead + whole)
    before, n_before = _carried(spans.right, back, n_back, book.counter, forward=True)
    after, n_after = _carried(spans.left, ahead, n_ahead, book.counter, forward=False)
    return Local(before, n_before, after, n_after, wave, group, noise, usual, season)


def windows(values: np.ndarray, n_back: np.ndarray, n_ahead: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Middle mean over each interval and its WINDOW - 1 forerunners, and the same over its followers.

    The middle mean leaves out the lowest and the highest value where there are three or more.
    n_back, n_ahead : see `window_sizes`
    """
    many = max(len(values) - WINDOW + 1, 0)
    parts = [values[start : start + many] for start in reversed(range(WINDOW))]
    within = reduce(np.add, parts) - (reduce(np.minimum, parts) + reduce(np.maximum, parts))
    within /= WINDOW - 2
    back, ahead = np.empty(len(values)), np.empty(len(values))
    back[WINDOW - 1 :], ahead[:many] = within, within
    for mean, n, step in ((back, n_back, -1), (ahead, n_ahead, +1)):
        short = np.flatnonzero(n < WINDOW)
        mean[short] = _middle_mean(values, short, n[short], step)
    return back, ahead


def window_sizes(counter: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Number of intervals, up to WINDOW, that each window of `windows` holds: backwards and ahead."""
    n = np.bincount(counter)
    place = np.arange(len(counter)) - np.repeat(np.cumsum(n) - n, n)
    return np.minimum(place + 1, WINDOW), np.minimum(np.repeat(n, n) - place, WINDOW)


def _middle_mean(values: np.ndarray, at: np.ndarray, n: np.ndarray, step: int) -> np.ndarray:
    """Middle mean of the n values from each place on, backwards (step -1) or ahead (step 1)."""
    total = values[at]
    least, most = total.copy(), total.copy()
    for k in range(1, WINDOW):
        there = n > k
        value = values[np.where(there, at + step * k, at)]  # the first value again where there is none
        total += np.where(there, value, 0.0)
        np.minimum(least, value, out=least)
        np.maximum(most, value, out=most)
    trimmed = n >= 3
    return np.asarray((total - np.where(trimmed, least + most, 0.0)) / np.where(trimmed, n - 2, n))


def medians(counter: np.ndarray, values: np.ndarray, n_counters: int) -> np.ndarray:
    """Median of `values` for each counter code (codes in ascending order); NaN where there is none."""
    result = np.full(n_counters, np.nan)
    n = np.bincount(counter, minlength=n_counters)
    first = np.cumsum(n) - n
    for many in np.unique(n[n > 0]).tolist():  # counters with equally many values, side by side
        alike = np.flatnonzero(n == many)
        table = np.sort(values[first[alike, None] + np.arange(many)], axis=1)
        result[alike] = 0.5 * (table[:, (many - 1) // 2] + table[:, many // 2])
    return result


def group_levels(
    spans: Intervals, group: np.ndarray, speak: tuple[np.ndarray, np.ndarray] | None = None
) -> np.ndarray:
    """Median level of each counter's peers [log operations a day]; of the fleet where it has none.

    group : code of the peer group, one entry a counter. Two operations a day where nobody has any (our choice).
    speak : counters that speak for their group, and for the fleet; None: all do
    """
    plain = np.log((spans.operations + HALF) / np.maximum(spans.served, HALF))
    typical = medians(spans.counter, plain, len(group))
    known = np.isfinite(typical)
    of_group, of_fleet = speak or (known, known)
    fleet = typical[known & of_fleet]
    overall = float(np.median(fleet)) if len(fleet) else float(np.log(2.0))
    some = np.flatnonzero(known & of_group)
    some = some[np.argsort(group[some], kind="stable")]
    level = medians(group[some], typical[some], int(group.max(initial=0)) + 1)
    return np.where(np.isfinite(level[group]), level[group], overall)


def _carried(
    at: np.ndarray, level: np.ndarray, n: np.ndarray, counter: np.ndarray, *, forward: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Levels known at some readings carried on to the other readings of the same counter, later or earlier ones."""
    if not len(at):
        return np.full(len(counter), np.nan), np.zeros(len(counter), dtype=np.int64)
    place = np.full(len(counter), -1 if forward else len(at), dtype=np.int64)
    place[at] = np.arange(len(at))
    seen = np.maximum.accumulate(place) if forward else np.minimum.accumulate(place[::-1])[::-1]
    inside = (seen >= 0) & (seen < len(at))
    seen = np.where(inside, seen, 0)
    good = inside & (counter[at[seen]] == counter)
    return np.where(good, level[seen], np.nan), np.where(good, n[seen], 0)


def _residuals(counter: np.ndarray, level: np.ndarray, back: np.ndarray, ahead: np.ndarray) -> np.ndarray:
    """Each interval's level against that of the intervals before and after it; 0 where there are none."""
    n = len(level)
    total, sides = np.zeros(n), np.zeros(n)
    same = counter[1:] == counter[:-1]
    total[1:] += np.where(same, back[:-1], 0.0)
    total[:-1] += np.where(same, ahead[1:], 0.0)
    sides[1:] += same
    sides[:-1] += same
    return np.where(sides > 0, level - total / np.maximum(sides, 1.0), 0.0)


def _noise(counter: np.ndarray, residual: np.ndarray, counting: np.ndarray, usual: np.ndarray) -> np.ndarray:
    """Standard deviation of log rate beyond counting noise, drawn towards what is usual of such intervals.

    counting : usual variance of counting, one entry a counter
    """
    expected = usual_noise(usual)
    spread = 1.4826 * medians(counter, np.abs(residual), len(usual))
    n = np.maximum(np.bincount(counter, minlength=len(usual)) - 2.0, 0.0)
    own = np.clip(np.nan_to_num(spread) ** 2 - np.nan_to_num(counting), LEAST_NOISE**2, MOST_NOISE**2)
    return np.asarray(np.sqrt((n * own + 4.0 * expected**2) / (n + 4.0)))


def usual_noise(days: np.ndarray) -> np.ndarray:
    """Scatter of log rate to expect of intervals of so many days [sd]."""
    return np.asarray(MONTH_NOISE * (30.0 / np.clip(days, 5.0, 800.0)) ** 0.25)


def _waves(day: np.ndarray) -> np.ndarray:
    """Integrals of cos, sin, cos 2, sin 2 of the time of year up to each day, shape (4, n)."""
    if not len(day):
        return np.zeros((4, 0))
    first = int(day.min())
    every = np.arange(first, int(day.max()) + 1)  # far fewer days than readings
    rows = []
    for k in (1.0, 2.0):
        rows += [np.sin(k * ANGLE * every) / (k * ANGLE), -np.cos(k * ANGLE * every) / (k * ANGLE)]
    return np.stack([row[day - first] for row in rows])


def _fit_season(
    book: Book, spans: Intervals, waves: np.ndarray, residual: np.ndarray, noise: np.ndarray
) -> np.ndarray:
    """Yearly and half-yearly waves of each counter, shape (4, counters), by ridge regression on its residuals."""
    days = np.maximum(book.day[spans.right] - book.day[spans.left], 1)
    shape = [(wave[spans.right] - wave[spans.left]) / days for wave in waves]
    clipped = np.clip(residual, -1.0, 1.0)
    precision = 1.0 / (noise[spans.counter] ** 2 + 1.0 / (spans.operations + 1.0))
    normal, right = np.zeros((len(noise), 4, 4)), np.zeros((len(noise), 4))
    n = np.bincount(spans.counter, minlength=len(noise))
    some = np.flatnonzero(n)
    first = (np.cumsum(n) - n)[some]
    for a in range(4 if len(some) else 0):
        weighted = shape[a] * precision
        right[some, a] = np.add.reduceat(weighted * clipped, first)
        for b in range(a + 1):
            normal[some, a, b] = normal[some, b, a] = np.add.reduceat(weighted * shape[b], first)
    normal += np.diag(1.0 / SEASON_SPREAD**2)
    solution: np.ndarray = np.linalg.solve(normal, right[:, :, None])
    return np.ascontiguousarray(solution[:, :, 0].T)
