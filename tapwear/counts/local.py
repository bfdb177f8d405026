"""The local rate of each counter: what its neighbouring intervals say, in logarithms, with season and noise.

All arrays are flat, one entry an interval between two readings (or one a reading), sorted by counter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

WINDOW = 5  # intervals on either side that make the local level: our choice
HALF = 0.5  # added to counts before logarithms are taken, so that nought operations have one
YEAR = 365.25
MIDDLE = np.array(
    [
        [0, 0, 0, 0, 0],
        [1, 0, 0, 0, 0],
        [1 / 2, 1 / 2, 0, 0, 0],
        [0, 1, 0, 0, 0],
        [0, 1 / 2, 1 / 2, 0, 0],
        [0, 1 / 3, 1 / 3, 1 / 3, 0],
    ]
)  # weights of the sorted values when 0..5 of them are there: the mean of the middle ones
SEASON_SPREAD = np.array([0.25, 0.25, 0.10, 0.10])  # prior sd of the harmonics, log rate: our choice


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
    group : level of the counter's peer group, one entry a counter [log operations a day]
    noise : standard deviation of log rate of one interval of `usual` days, one entry a counter
    usual : usual length of an interval, one entry a counter [days]
    season : four coefficients a counter: cos, sin, cos 2, sin 2 of the day of year
    """

    before: np.ndarray
    n_before: np.ndarray
    after: np.ndarray
    n_after: np.ndarray
    group: np.ndarray
    noise: np.ndarray
    usual: np.ndarray
    season: np.ndarray


def season_of(coefficients: np.ndarray, begin: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Mean of the seasonal log rate over each interval [day numbers], given four coefficients a row."""
    return np.einsum("ij,ij->i", coefficients, harmonics(begin, end))


def harmonics(begin: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Means of cos, sin, cos 2, sin 2 of the time of year over each interval; shape (n, 4)."""
    angle = 2 * np.pi / YEAR
    length = np.maximum(end - begin, 1.0)
    middle = 0.5 * (begin + end) * angle
    columns = []
    for k in (1, 2):
        damping = np.sinc(k * length / YEAR)
        columns += [damping * np.cos(k * middle), damping * np.sin(k * middle)]
    return np.stack(columns, axis=1)


def middle_mean(values: np.ndarray) -> np.ndarray:
    """Row-wise mean of the middle ones of up to five values; NaN marks a missing one, none gives NaN."""
    ordered = np.sort(values, axis=1)
    n = np.sum(np.isfinite(values), axis=1)
    result = np.einsum("ij,ij->i", np.nan_to_num(ordered), MIDDLE[n])
    return np.where(n > 0, result, np.nan)


def windows(counter: np.ndarray, values: np.ndarray, step: int) -> tuple[np.ndarray, np.ndarray]:
    """Middle mean over each interval and its WINDOW - 1 forerunners (step -1) or followers (step +1)."""
    n = len(values)
    stacked = np.full((n, WINDOW), np.nan)
    for k in range(WINDOW):
        if k >= n:
            break
        ahead = slice(k, n) if step < 0 else slice(0, n - k)
        back = slice(0, n - k) if step < 0 else slice(k, n)
        same = counter[ahead] == counter[back]
        stacked[ahead, k] = np.where(same, values[back], np.nan)
    return middle_mean(stacked), np.sum(np.isfinite(stacked), axis=1)


def local_levels(
    spans: Intervals, day: np.ndarray, counter: np.ndarray, group: np.ndarray, season: np.ndarray | None
) -> Local:
    """Levels, noise and season of all counters from the intervals taken as right.

    day, counter : one entry a reading of the book. group : one entry a counter.
    season : coefficients to be taken off first, or None for a first look (then they are returned as zero).
    """
    n_counters = len(group)
    begin, end = day[spans.left].astype(float), day[spans.right].astype(float)
    coefficients = np.zeros((n_counters, 4)) if season is None else season
    level = np.log((spans.operations + HALF) / np.maximum(spans.served, HALF))
    level = level - season_of(coefficients[spans.counter], begin, end)
    back, n_back = windows(spans.counter, level, -1)
    ahead, n_ahead = windows(spans.counter, level, +1)
    usual = _usual_length(spans, n_counters)
    typical = _per_counter_median(spans.counter, level, n_counters)
    peers = _group_level(typical, group)
    before, n_before = _spread(spans.right, back, n_back, counter, forward=True)
    after, n_after = _spread(spans.left, ahead, n_ahead, counter, forward=False)
    residual, weight = _residuals(spans, level, back, n_back, ahead, n_ahead)
    noise = _noise(spans, residual, weight, usual, n_counters)
    if season is None:
        coefficients = _fit_season(spans, begin, end, residual, noise, n_counters)
    return Local(before, n_before, after, n_after, peers, noise, usual, coefficients)


def _usual_length(spans: Intervals, n_counters: int) -> np.ndarray:
    usual = _per_counter_median(spans.counter, spans.served, n_counters)
    return np.clip(np.where(np.isfinite(usual), usual, 90.0), 1.0, 1500.0)


def _per_counter_median(counter: np.ndarray, values: np.ndarray, n_counters: int) -> np.ndarray:
    """Median of `values` for each counter code; NaN where there is none."""
    order = np.lexsort((values, counter))
    first = np.searchsorted(counter[order], np.arange(n_counters))
    n = np.bincount(counter, minlength=n_counters)
    ranked = values[order]
    result = np.full(n_counters, np.nan)
    some = n > 0
    low, high = first[some] + (n[some] - 1) // 2, first[some] + n[some] // 2
    result[some] = 0.5 * (ranked[low] + ranked[high])
    return result


def _group_level(typical: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Median level of each counter's peers; of the fleet where it has none; two a day where nobody has any."""
    known = np.isfinite(typical)
    overall = float(np.median(typical[known])) if known.any() else np.log(2.0)
    groups = _per_counter_median(group[known], typical[known], int(group.max()) + 1 if len(group) else 0)
    own = groups[group] if len(group) else np.zeros(0)
    return np.where(np.isfinite(own), own, overall)


def _spread(
    at: np.ndarray, level: np.ndarray, n: np.ndarray, counter: np.ndarray, *, forward: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Carries levels known at some readings on to the readings of the same counter that lack one."""
    place = np.full(len(counter), -1, dtype=np.int64)
    place[at] = np.arange(len(at))
    if forward:
        seen = np.maximum.accumulate(place) if len(place) else place
    else:
        unset = np.where(place < 0, len(at), place)
        seen = np.minimum.accumulate(unset[::-1])[::-1] if len(place) else place
        seen = np.where(seen >= len(at), -1, seen)
    if not len(at):
        return np.full(len(counter), np.nan), np.zeros(len(counter), dtype=np.int64)
    good = (seen >= 0) & (counter[at[seen]] == counter)
    return np.where(good, level[seen], np.nan), np.where(good, n[seen], 0)


def _residuals(
    spans: Intervals,
    level: np.ndarray,
    back: np.ndarray,
    n_back: np.ndarray,
    ahead: np.ndarray,
    n_ahead: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Each interval against the level of those just before and just after it; weight 0 where there is none."""
    n = len(level)
    previous, following = np.full(n, np.nan), np.full(n, np.nan)
    same = spans.counter[1:] == spans.counter[:-1]
    previous[1:] = np.where(same, back[:-1], np.nan)
    following[:-1] = np.where(same, ahead[1:], np.nan)
    both = np.stack([previous, following], axis=1)
    weight = np.sum(np.isfinite(both), axis=1)
    around = np.nansum(both, axis=1) / np.maximum(weight, 1)
    return np.where(weight > 0, level - around, 0.0), np.where(weight > 0, 1.0, 0.0)


def _noise(
    spans: Intervals, residual: np.ndarray, weight: np.ndarray, usual: np.ndarray, n_counters: int
) -> np.ndarray:
    """Standard deviation of log rate beyond counting noise, drawn towards the fleet's for such intervals."""
    some = weight > 0
    expected = usual_noise(usual)
    if not some.any():
        return expected
    counter, size = spans.counter[some], np.abs(residual[some])
    spread = 1.4826 * _per_counter_median(counter, size, n_counters)
    counting = _per_counter_median(counter, 1.0 / (spans.operations[some] + 1.0), n_counters)
    n = np.bincount(counter, minlength=n_counters).astype(float)
    own = np.where(n > 0, np.nan_to_num(spread) ** 2 - np.nan_to_num(counting), 0.0)
    own = np.clip(own, 0.03**2, 0.8**2)
    variance = (n * own + 4.0 * expected**2) / (n + 4.0)
    return np.sqrt(variance)


def usual_noise(days: np.ndarray) -> np.ndarray:
    """Scatter of log rate to expect of intervals of so many days: 0.18 for a month (measured on simulated fleets)."""
    return 0.18 * (30.0 / np.clip(days, 5.0, 800.0)) ** 0.25


def _fit_season(
    spans: Intervals, begin: np.ndarray, end: np.ndarray, residual: np.ndarray, noise: np.ndarray, n_counters: int
) -> np.ndarray:
    """Annual and half-yearly waves of each counter by ridge regression on its residuals, all counters at once."""
    shape = harmonics(begin, end)
    clipped = np.clip(residual, -1.0, 1.0)
    precision = 1.0 / (noise[spans.counter] ** 2 + 1.0 / (spans.operations + 1.0))
    normal = np.zeros((n_counters, 4, 4))
    right = np.zeros((n_counters, 4))
    for a in range(4):
        right[:, a] = np.bincount(spans.counter, shape[:, a] * clipped * precision, n_counters)
        for b in range(a + 1):
            part = np.bincount(spans.counter, shape[:, a] * shape[:, b] * precision, n_counters)
            normal[:, a, b] = part
            normal[:, b, a] = part
    normal += np.diag(1.0 / SEASON_SPREAD**2)
    return np.asarray(np.linalg.solve(normal, right[:, :, None])[:, :, 0])
