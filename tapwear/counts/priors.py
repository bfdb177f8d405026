"""What is known of a place before its own readings: its peer group's level and season, and how fast places grow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tapwear.counts import ahead
from tapwear.counts.exposure import CountSeries
from tapwear.counts.filter import Floats, Intervals, Ints, Levels, log_rate, pick_places, run_filter
from tapwear.counts.season import YEAR, pooled_season
from tapwear.counts.settings import RateSettings
from tapwear.peers import PEERS, Speakers

Bools = NDArray[np.bool_]

FLEET_LEVEL = float(np.log(10.0))
"""Where a fleet without any interval starts: 10 operations a day (our choice)."""

GROUP_WEIGHT = 2.0
"""Places that the fleet's level counts for against a group's own (our choice)."""


def speaking_places(series: CountSeries, speakers: Speakers) -> tuple[Bools, Bools]:
    """(places,) whether each place speaks for its group, and for the fleet: with the unit that was there first."""
    of_group, of_fleet = speakers.rows(series.unit)
    told = series.place_unit >= 0
    return told & of_group[series.place_unit], told & of_fleet[series.place_unit]


def priors_of(
    series: CountSeries, data: Intervals, units: pd.DataFrame, s: RateSettings
) -> tuple[Floats, Floats, pd.DataFrame]:
    """Prior mean and covariance of each place, and the seasons of the peer groups, as `fit_rates` takes them."""
    return group_priors(series, data, speaking_places(series, Speakers.of(units, PEERS)), s)


def group_priors(
    series: CountSeries, data: Intervals, speak: tuple[Bools, Bools], s: RateSettings
) -> tuple[Floats, Floats, pd.DataFrame]:
    """Prior mean (places, 4) and covariance (places, 10) of each place from its peer group, and the seasons.

    speak : (places,) whether each speaks for its group, and for the fleet
    """
    of_group, of_fleet = speak
    places, groups = len(data.begin), len(series.group_names)
    group = series.place_group
    place = np.repeat(np.arange(places), data.count)
    made: Floats = np.bincount(place, data.operations, minlength=places).astype(float)
    days: Floats = np.bincount(place, data.exposure, minlength=places).astype(float)
    seen = np.flatnonzero(days >= 30.0)
    own = log_rate(made[seen], days[seen])
    whole = own[of_fleet[seen]]
    fleet = float(np.median(whole)) if len(whole) else FLEET_LEVEL
    fleet_var = _spread2(whole - fleet, s.group_spread)
    level = np.full(groups, fleet)
    spread = np.full(groups, fleet_var)
    own, of_place = own[of_group[seen]], group[seen][of_group[seen]]
    for g in np.unique(of_place):
        near = own[of_place == g]
        n = len(near)
        level[g] = (n * np.median(near) + GROUP_WEIGHT * fleet) / (n + GROUP_WEIGHT)
        ss = _spread2(near - level[g], fleet_var)
        spread[g] = (n * ss + 2 * GROUP_WEIGHT * fleet_var) / (n + 2 * GROUP_WEIGHT)

    shape = group_shapes(data, group, groups, s, speak)
    mean = np.column_stack([level[group], shape[group], np.zeros(places)])
    cov = np.zeros((places, 10))
    cov[:, 0] = spread[group]
    cov[:, 3] = cov[:, 5] = s.season_spread
    cov[:, 9] = s.slope_spread
    names = pd.DataFrame({"group": series.group_names, "cosine": shape[:, 0], "sine": shape[:, 1]})
    return mean, cov, names


def group_shapes(
    data: Intervals, group: Ints, groups: int, s: RateSettings, speak: tuple[Bools, Bools] | None = None
) -> Floats:
    """Cosine and sine amplitude of each peer group from the intervals of its places, shape (groups, 2).

    group : (places,); speak : (places,) whether each speaks for its group, and for the fleet, None: all do
    """
    speak = speak or (np.ones(len(group), bool), np.ones(len(group), bool))
    picked = np.flatnonzero(speak[0] | speak[1])
    data, group = pick_places(data, picked), group[picked]
    of_group, of_fleet = (np.repeat(of[picked], data.count) for of in speak)
    follows = np.ones(len(data.from_day), bool)
    follows[data.begin[data.count > 0]] = False
    variance = (
        s.dispersion / (data.operations + 1.0)
        + s.weather / data.exposure
        + s.drift * (data.to_day - data.from_day) / YEAR
    )
    rate = log_rate(data.operations, data.exposure)
    of_interval = np.repeat(group, data.count)
    return pooled_season(rate, variance, data.from_day, data.to_day, follows, of_interval, groups, of_group, of_fleet)


def _spread2(rest: Floats, default: float) -> float:
    """Robust variance of the differences between places, at least 0.05."""
    if len(rest) < 3:
        return default
    return max(float((1.4826 * np.median(np.abs(rest))) ** 2), 0.05)


def with_slopes(
    data: Intervals, mean: Floats, cov: Floats, of_fleet: Bools, s: RateSettings
) -> tuple[Levels, Floats, Floats]:
    """A first pass of the filter, the noise of each place from it, and the priors with each place's spread of growth.

    Most places hardly grow and some grow steadily: a mixture of two spreads shrinks both less wrongly than one. The
    likelier of the two by the marginal likelihood of the place's intervals is taken.
    """
    wide = cov.copy()
    wide[:, 9] = s.slope_wide
    passes = [run_filter(data, mean, one, s) for one in (cov, wide)]
    noises = [ahead.noise_scale(one, of_fleet) for one in passes]
    likely = [
        run_filter(data, mean, one, s, scale=noise).loglik for one, noise in zip((cov, wide), noises, strict=True)
    ]
    grows = likely[1] - likely[0] > np.log((1.0 - s.slope_share) / s.slope_share)
    first = passes[0]
    mixed = replace(
        first,
        misfit=np.where(grows, passes[1].misfit, first.misfit),
        steps=np.where(grows, passes[1].steps, first.steps),
    )
    return mixed, np.where(grows, noises[1], noises[0]), np.where(grows[:, None], wide, cov)
