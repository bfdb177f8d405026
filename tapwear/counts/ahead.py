"""How sure a forecast is, and how past forecasts fared: the same formula for both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapwear.counts.filter import Floats, Intervals, Ints, Levels
from tapwear.counts.season import YEAR, first_harmonic, harmonics, log_mean_season
from tapwear.counts.settings import RateSettings

CARRIED_YEARS = 16.0
"""Growth is carried ahead ever less: over t years as over CARRIED_YEARS (1 - exp(-t / CARRIED_YEARS)) (our choice)."""


def carried_years(days: Floats) -> Floats:
    """Years over which growth is carried to a day so many days ahead."""
    out: Floats = -CARRIED_YEARS * np.expm1(-np.maximum(days, 0.0) / (YEAR * CARRIED_YEARS))
    return out


def log_variance(
    cov: Floats, ahead: Floats, start: Floats, stop: Floats, days: Floats, middle: Floats, s: RateSettings
) -> Floats:
    """Variance of the logarithm of the operations made over (start, stop].

    cov    : (n, 10) covariance of the place's state at the end of its last interval; (n, 1, 10) with several days each
    ahead  : days from that end to start; days: days in service within (start, stop]
    middle : operations expected
    Only a small change of regime is allowed for: large ones are rare and belong to the tails.
    """
    c, si = first_harmonic(start, stop)
    level = cov[..., 0] + c * (c * cov[..., 3] + 2.0 * (cov[..., 1] + si * cov[..., 4]))
    level = level + si * (si * cov[..., 5] + 2.0 * cov[..., 2])
    years = carried_years(ahead + 0.5 * (stop - start))
    level = level + years * (2.0 * (cov[..., 6] + c * cov[..., 7] + si * cov[..., 8]) + years * cov[..., 9])
    jumps = s.jump_yearly * min(s.jump_size, 0.5) ** 2
    walk = (s.drift + jumps) * (ahead + (stop - start) / 3.0) / YEAR
    out: Floats = level + walk + s.weather / np.maximum(days, 1.0) + s.dispersion / (middle + 1.0)
    return out


EVENNESS_WEIGHT = 20.0
"""Intervals that the fleet's usual surprise counts for against a place's own (our choice, tried 5-20)."""


FLEET_STEPS, USUAL_INNOVATION = 400.0, 0.47
"""Usual size of an innovation in a fleet, and for how many intervals that counts (measured on two simulated fleets)."""


def evenness(levels: Levels, of_fleet: NDArray[np.bool_] | slice = slice(None)) -> Floats:
    """Factor on a place's spread: below 1 where past readings fell closer to the forecast than in the fleet.

    of_fleet : (places,) those that speak for the fleet; by default all
    """
    steps = FLEET_STEPS + float(levels.steps[of_fleet].sum())
    usual = (FLEET_STEPS * USUAL_INNOVATION + float(levels.misfit[of_fleet].sum())) / steps
    own: Floats = (EVENNESS_WEIGHT * usual + levels.misfit) / (EVENNESS_WEIGHT + levels.steps)
    return own / usual


LEAST_SCALE = 0.05
"""No place's noise is less than this share of the fleet's (our choice)."""


def noise_scale(levels: Levels, of_fleet: NDArray[np.bool_] | slice = slice(None)) -> Floats:
    """Share of the fleet's variances of level and readings that each place has: from its own innovations (places,)."""
    out: Floats = np.clip(evenness(levels, of_fleet) ** SCALE_POWER, LEAST_SCALE, 1.0 / LEAST_SCALE)
    return out


SCALE_POWER = 2.0
"""Innovations are measured in standard deviations, noise in variances."""


@dataclass(frozen=True)
class PastErrors:
    """Forecasts made after each past interval, with what the readings later said.

    place, horizon : row of the place; row of the horizons asked for
    at             : day of the forecast [days since 1970-01-01]; days: length of the window
    error          : log of operations made over operations forecast
    spread         : standard deviation that the model gave it, before any calibration
    """

    place: Ints
    horizon: Ints
    at: Floats
    days: Floats
    error: Floats
    spread: Floats


def past_errors(data: Intervals, path: Levels, horizons: Floats, s: RateSettings) -> PastErrors:
    """Errors of forecasts from the end of every interval to the reading nearest to each horizon [days].

    `path` is the filter's result with one row per interval, so each forecast stands on what came before it.
    A reading counts as near when it lies within 0.65 to 1.5 times the horizon.
    """
    n = len(data.from_day)
    place = np.repeat(np.arange(len(data.begin)), data.count)
    last = (data.begin + data.count - 1)[place] if n else np.zeros(0, np.int64)
    offset = place * 1e6
    key = offset + data.to_day
    made = np.concatenate([[0.0], np.cumsum(data.operations)])
    served = np.concatenate([[0.0], np.cumsum(data.exposure)])
    found: list[tuple[Ints, Ints, Ints]] = []
    for h, horizon in enumerate(horizons):
        right = np.searchsorted(key, key + horizon)
        right = np.minimum(right, last)
        left = np.maximum(right - 1, np.arange(n))
        target = data.to_day + horizon
        nearer = np.abs(data.to_day[left] - target) <= np.abs(data.to_day[right] - target)
        j = np.where(nearer, left, right)
        gap = data.to_day[j] - data.to_day
        ok = np.flatnonzero((gap > 0.65 * horizon) & (gap < 1.5 * horizon))
        found.append((ok, j[ok], np.full(len(ok), h)))
    i = np.concatenate([f[0] for f in found]).astype(np.int64)
    j = np.concatenate([f[1] for f in found]).astype(np.int64)
    start, stop = data.to_day[i], data.to_day[j]
    days = served[j + 1] - served[i + 1]
    mean = path.mean[i]
    grown = mean[:, 3] * carried_years(0.5 * (stop - start))
    middle = np.exp(mean[:, 0] + grown + log_mean_season(mean[:, 1], mean[:, 2], harmonics(start, stop))) * days
    variance = log_variance(path.cov[i], np.zeros(len(i)), start, stop, days, middle, s)
    error = np.log((made[j + 1] - made[i + 1] + 0.5) / (middle + 0.5))
    return PastErrors(
        place[i], np.concatenate([f[2] for f in found]).astype(np.int64), start, stop - start, error,
        np.sqrt(variance) * evenness(path)[i],
    )  # fmt: skip
