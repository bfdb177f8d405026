"""Heating: methane, ethane and above all ethylene beyond what the arcing of this unit makes.

Hot, coked contacts make hydrocarbons without acetylene. In an arcing unit they are judged against its
acetylene (a change of the number of operations or of the oil moves both alike), in a vacuum unit, which
makes hardly any, against the level per discounted operation. Numbers without a source are our choice.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tapwear.oil.baseline import own_wander, usual_level
from tapwear.oil.case import Case
from tapwear.oil.growth import Evidence, Growth, Readings, at, bends, newest_columns, weigh_growth
from tapwear.oil.samples import Bools, Floats
from tapwear.oil.settings import C2H2, C2H4, C2H6, CH4

HOT = [CH4, C2H6, C2H4]
UNITS_DIFFER = 0.25  # log: like units' gas ratios differ at least so much
GROWTH_PER_YEAR = 4.0  # [1/year] of a fault's gas
LATER_RETURN = 2.0  # gas may go on coming back after the first sample
MOST_GROWTH = 20.0  # between the last sample and the repair
LEADING = 2  # ethylene's place in HOT
LEAST_RISE = 1.1  # times the usual
SHARE_OF_FAULTS = 0.5  # of the faults that oil shows, those that heat


def heating(case: Case, asked: Bools) -> Evidence:
    """Evidence of heating; asked : (S,) compartments to weigh."""
    grid, exposure, settings = case.grid, case.exposure, case.settings
    oil_volume, vacuum = case.oil_volume, case.vacuum
    log_gas = np.log(case.gas)
    log_amount = np.log(exposure.amount)
    pace = np.where(vacuum[:, None, None], _pace(case), 0.0)
    reference = np.where(
        vacuum[:, None, None],
        log_amount[:, :, HOT] - pace - np.log(oil_volume / 1000.0)[:, None, None],
        log_gas[:, :, [C2H2]] + log_amount[:, :, HOT] - log_amount[:, :, [C2H2]],
    )
    thin = grid.below[:, :, C2H2] & ~vacuum[:, None]  # no ratio without acetylene
    ratio = log_gas[:, :, HOT] - reference
    ratio = np.where(grid.below[:, :, HOT] | thin[:, :, None], np.nan, ratio)
    shared = np.where(
        vacuum[:, None],
        settings.per_operation_sd,
        settings.laboratory_sd,
    )
    start = exposure.amount_sd[:, :, C2H4] * np.where(vacuum[:, None], 1.0, 0.2)
    shared = np.hypot(shared, np.where(vacuum[:, None], case.before_breather, 0.0))
    own = np.hypot(settings.laboratory_sd, settings.healthy_sd)
    common = np.hypot(case.foreign, np.where(vacuum[:, None], exposure.refill_sd[:, :, C2H4], 0.0))
    common = np.hypot(common, np.hypot(start, pace[:, :, LEADING]))
    wander = np.hypot(own_wander(grid, case.tested, settings), common)
    levels = [
        usual_level(ratio[:, :, g], np.hypot(np.hypot(own, shared), wander), case.older, case.like, UNITS_DIFFER)
        for g in range(len(HOT))
    ]
    expected = reference + np.stack([lv.mean for lv in levels], axis=1)[:, None, :]
    surplus = _excess(case.gas[:, :, HOT], np.exp(expected))
    carried = carried_gas(
        grid.year, surplus, np.exp(expected[:, :, LEADING]), case.overhauls, settings.residual_share_most
    )
    column, valid = newest_columns(case.tested & ~thin, settings.tested_samples)
    readings = Readings(
        year=at(grid.year, column),
        valid=valid,
        seen=at(case.gas, column)[:, :, HOT],
        below=at(grid.below, column)[:, :, HOT],
        expected=at(expected, column),
        own_sd=np.broadcast_to(np.hypot(own, at(case.foreign, column))[:, :, None], (*column.shape, len(HOT))),
        shared_sd=at(shared, column),
        level_sd=np.hypot(levels[LEADING].sd[:, None], at(common, column)),
        bend=np.broadcast_to(bends(grid, settings)[:, None, HOT], (*column.shape, len(HOT))),
        carried=at(carried, column),
    )
    newest = at(surplus, column)[:, -1]
    usual = np.exp(at(expected, column)[:, -1, LEADING])
    floor = np.maximum(0.03 * usual, 0.3)
    since = at(grid.year - exposure.last_reset, column)
    risen = at(case.gas, column)[:, -1, C2H4] > LEAST_RISE * usual
    found = weigh_growth(
        "heating",
        readings,
        column,
        excess=np.where(asked & np.isfinite(newest), np.maximum(newest, floor), 0.0),
        usual=usual,
        growth=Growth(
            made_at_limit=settings.heating_ml_per_year_at_limit / oil_volume * 1000.0,
            made_log_sd=settings.heating_log_sd,
            power=settings.heating_power,
            loss=case.loss[:, C2H4],
            rate_ratio=np.ones(column.shape),
            since_reset=np.where(np.isfinite(since), since, np.inf),
            mix=hot_mix,
            yearly_chance=SHARE_OF_FAULTS * settings.faults_per_year,
        ),
        settings=settings,
    )
    return replace(found, odds=np.where(risen, found.odds, 0.0))


def _pace(case: Case) -> Floats:
    """(S, L, 3) half the log of discounted operations over discounted years, less its own mean.

    Nobody knows whether the hydrocarbons of a sound vacuum unit follow its operations or the time (own trials are
    undecided), so the middle of both is expected, and half their difference is its error.
    """
    half = 0.5 * np.log(case.exposure.amount[:, :, HOT] / case.in_years[:, :, HOT])
    use = (case.older & case.grid.taken)[:, :, None]
    count = np.maximum(use.sum(axis=1, keepdims=True), 1)
    return np.asarray(half - np.where(use, half, 0.0).sum(axis=1, keepdims=True) / count)


def hot_mix(severity: Floats) -> Floats:
    """Methane, ethane and ethylene, relative to ethylene, that hot contacts make: the hotter, the more ethylene.

    Our choice, in the sense of what is known of oil heated more and more; severities (...), result (..., 3).
    """
    bounded = np.clip(severity, 0.05, 2.0)
    return np.stack([0.45 * bounded**-0.25, 0.24 * bounded**-0.6, np.ones_like(bounded)], axis=-1)


def _excess(gas: Floats, expected: Floats) -> Floats:
    """(S, L) a first estimate of the ethylene beyond what is usual: the middle one of the hot gases' [uL/L]."""
    each = (gas - expected) / hot_mix(np.array(0.3))
    ordered = np.sort(each, axis=-1)  # NaN last
    count = np.isfinite(each).sum(axis=-1)
    middle = np.take_along_axis(ordered, np.maximum((count - 1) // 2, 0)[..., None], axis=-1)[..., 0]
    return np.asarray(np.where(count > 0, middle, np.nan))


def carried_gas(year: Floats, surplus: Floats, usual: Floats, overhauls: Floats, share: float) -> Floats:
    """(S, L) most gas that may be left over after the last recorded overhaul from the fault it cured [uL/L].

    The residual `share` of what the fault may have grown to after its last sample, or a little more
    than what the first sample after the repair shows, or any within seven months (it comes back slowly).
    """
    carried = np.zeros(year.shape)
    for column in range(overhauls.shape[1]):
        rows = np.flatnonzero(np.isfinite(overhauls[:, column]))
        when = overhauls[rows, column][:, None]
        left = _left_over(year[rows], surplus[rows], usual[rows], when, share)
        carried[rows] = np.where(year[rows] > when, left, carried[rows])
    return carried


def _left_over(year: Floats, surplus: Floats, usual: Floats, when: Floats, share: float) -> Floats:
    """(R, 1) most gas left over after an overhaul of every row, when (R, 1)."""
    seen = np.where(np.isfinite(surplus), surplus, 0.0)
    before = (year <= when) & (year > when - 2.0)
    marked = before & (seen > 0.25 * usual)
    grown = np.minimum(np.exp(np.where(marked, GROWTH_PER_YEAR * (when - year), 0.0)), MOST_GROWTH)
    most = np.max(np.where(marked, share * seen * grown, 0.0), axis=1, keepdims=True)
    after = year > when
    first = after & (np.cumsum(after & np.isfinite(surplus), axis=1) == 1) & (year <= when + 1.2)
    soon = ((after & (year <= when + 0.6)) | first) & (seen > 0.5 * usual)
    early = np.max(np.where(soon, LATER_RETURN * seen, 0.0), axis=1, keepdims=True)
    return np.asarray(np.maximum(most, early))
