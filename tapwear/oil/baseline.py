"""What is usual for one compartment: its own past, leaning on like units where the past is short.

The own level is a robust mean of the older samples; like units give the prior mean and how much units
of one kind differ (empirical Bayes), so two samples lean on the group and ten on themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tapwear.oil.samples import Bools, Floats, Ints, SampleGrid, row_median
from tapwear.oil.settings import OilSettings

LEAST_SPREAD = 0.10  # log: like units never agree better than this; our choice
WIDE_SPREAD = 1.0  # log: where nothing is known of like units; our choice
LEAST_GROUP = 5  # compartments that make a group; our choice


@dataclass(frozen=True)
class Level:
    """Usual level of a log quantity for each compartment.

    mean, sd : (S,) log level and its standard error
    own : (S,) number of own samples it rests on
    group_mean, group_spread : (S,) of like units
    group_size : (S,) like compartments with a level of their own
    """

    mean: Floats
    sd: Floats
    own: Ints
    group_mean: Floats
    group_spread: Floats
    group_size: Ints


@dataclass(frozen=True)
class Own:
    """What each compartment's own past says of a log quantity: (S,) mean, NaN for no past, its error, samples."""

    mean: Floats
    error: Floats
    count: Ints


@dataclass(frozen=True)
class LikeUnits:
    """Who is like whom.

    codes : each (S,) of like units from 0, the narrowest first, and of everyone last
    speak : each (S,) rows from which that group's level is learnt
    """

    codes: tuple[Ints, ...]
    speak: tuple[Bools, ...]

    @cached_property
    def seats(self) -> tuple[Ints, ...]:
        """Each (groups, most of one) rows that speak for each code, -1 where there are no more."""
        return tuple(_seats(codes, speak) for codes, speak in zip(self.codes, self.speak, strict=True))

    @cached_property
    def speaks(self) -> Bools:
        """(S,) rows that speak for any group."""
        return np.asarray(np.any(self.speak, axis=0))

    def only(self, rows: Ints) -> LikeUnits:
        """Of some of the rows."""
        return LikeUnits(tuple(codes[rows] for codes in self.codes), tuple(speak[rows] for speak in self.speak))


def usual_level(
    values: Floats, sd: Floats, selected: Bools, like: LikeUnits, least_spread: float = LEAST_SPREAD
) -> Level:
    """Own level of `values` as in `own_level`, pooled with like units as in `pooled`."""
    return pooled(own_level(values, sd, selected), like, least_spread)


def own_level(values: Floats, sd: Floats, selected: Bools) -> Own:
    """Robust mean of the own past.

    Parameters
    ----------
    values, sd : (S, L) log quantity and the standard deviation of each
    selected : (S, L) samples that may define the own past
    """
    use = selected & np.isfinite(values) & np.isfinite(sd)
    error, known = np.where(use, sd, 1.0), np.where(use, values, 0.0)
    weight = np.where(use, 1.0 / np.square(error), 0.0)
    centre = _weighted_median(known, weight)
    deviation = np.abs(known - centre[:, None]) / error
    weight *= np.minimum(1.0, 1.5 / np.maximum(deviation, 1e-9))  # Huber's weights
    total = weight.sum(axis=1)
    mean = np.full(len(values), np.nan)
    np.divide((weight * known).sum(axis=1), total, out=mean, where=total > 0)
    return Own(mean, np.sqrt(1.0 / np.maximum(total, 1e-9)), np.asarray(use.sum(axis=1), dtype=np.int64))


def pooled(own: Own, like: LikeUnits, least_spread: float = LEAST_SPREAD, rows: Ints | None = None) -> Level:
    """Own levels that lean on like units where they rest on little.

    Parameters
    ----------
    like : the narrowest group with enough members is used
    least_spread : like units differ at least so much [log]
    rows : those to find the level of, in this order, None for all
    """
    rows = np.arange(len(own.mean)) if rows is None else rows
    group_mean, spread, size = _like_units(own, like, least_spread, rows)
    mean, error = own.mean[rows], own.error[rows]
    has = np.isfinite(mean)
    own_weight = np.where(has, 1.0 / np.square(error), 0.0)
    prior_weight = 1.0 / np.square(spread)
    both = own_weight + prior_weight
    blended = (own_weight * np.where(has, mean, 0.0) + prior_weight * group_mean) / both
    return Level(
        mean=blended,
        sd=np.sqrt(1.0 / both),
        own=own.count[rows],
        group_mean=group_mean,
        group_spread=spread,
        group_size=size,
    )


def own_wander(grid: SampleGrid, tested: Bools, settings: OilSettings) -> Floats:
    """(S, L) how far the own level may have wandered between a sample and the newest one [log]."""
    newest = np.max(np.where(tested, grid.year, -np.inf), axis=1, keepdims=True)
    age = np.where(np.isfinite(grid.year) & np.isfinite(newest), newest - grid.year, 0.0)
    return np.asarray(settings.drift_sd * np.sqrt(np.maximum(age, 0.0)))


def _like_units(own: Own, like: LikeUnits, least_spread: float, rows: Ints) -> tuple[Floats, Floats, Ints]:
    """(R,) middle and spread of the group of each of these rows, and how many of it have a level of their own."""
    centre = np.zeros(len(rows))
    spread = np.full(len(rows), WIDE_SPREAD)
    size = np.zeros(len(rows), dtype=np.int64)
    open_ = np.arange(len(rows))
    told, noise = np.append(own.mean, np.nan), np.append(np.square(own.error), np.nan)
    for number, (codes, seats) in enumerate(zip(like.codes, like.seats, strict=True)):
        values = told[seats]  # the last, NaN, where no one sits
        known = np.isfinite(values)
        n = known.sum(axis=1)
        middle = row_median(values)
        around = 1.4826 * row_median(np.abs(values - middle[:, None]))
        beyond = np.square(around) - row_median(np.where(known, noise[seats], np.nan))
        wide = np.where(n > 1, np.maximum(np.sqrt(np.maximum(beyond, 0.0)), least_spread), WIDE_SPREAD)
        enough = n >= (1 if number == len(like.codes) - 1 else LEAST_GROUP)
        now = enough[codes[rows[open_]]]
        target = open_[now]
        code = codes[rows[target]]
        centre[target], spread[target], size[target] = middle[code], wide[code], n[code]
        open_ = open_[~now]
        if not len(open_):
            break
    return centre, spread, size


def _seats(codes: Ints, speak: Bools) -> Ints:
    rows = np.flatnonzero(speak)
    rows = rows[np.argsort(codes[rows], kind="stable")]
    code = codes[rows]
    place = np.arange(len(rows)) - np.searchsorted(code, code)
    seats = np.full((int(codes.max(initial=0)) + 1, int(place.max(initial=0)) + 1), -1, dtype=np.int64)
    seats[code, place] = rows
    return seats


def _weighted_median(values: Floats, weight: Floats) -> Floats:
    order = np.argsort(np.where(weight > 0, values, np.inf), axis=1)
    order += (np.arange(len(values)) * values.shape[1])[:, None]
    running = np.cumsum(weight.ravel()[order], axis=1)
    half = 0.5 * running[:, -1:]
    place = (running >= half).argmax(axis=1)
    return np.asarray(values.ravel()[order[np.arange(len(values)), place]])
