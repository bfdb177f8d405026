"""Vacuum units: acetylene above the unit's own baseline, per operation.

A vacuum interrupter that has lost its vacuum lets operations arc in the oil. The gas made per thousand
operations then grows, whatever the rate of operations did.
"""

from __future__ import annotations

import numpy as np

from tapwear.oil.baseline import own_wander, usual_level
from tapwear.oil.case import Case
from tapwear.oil.growth import Evidence, Growth, Readings, at, bends, newest_columns, only_gas, weigh_growth
from tapwear.oil.heating import carried_gas
from tapwear.oil.samples import Bools
from tapwear.oil.settings import C2H2

SHARE_OF_FAULTS = 0.5  # of the faults of vacuum units; our choice

UNITS_DIFFER = 0.5  # log; our choice


def vacuum_acetylene(case: Case, asked: Bools) -> Evidence:
    """Evidence of acetylene above the baseline (none for arcing units); asked : (S,) compartments to weigh."""
    grid, exposure, settings = case.grid, case.exposure, case.settings
    oil_volume, vacuum = case.oil_volume, case.vacuum
    gas, below = case.gas[:, :, C2H2], grid.below[:, :, C2H2]
    log_amount = np.log(exposure.amount[:, :, C2H2]) - np.log(oil_volume / 1000.0)[:, None]
    per_operation = np.log(np.where(below, 0.4 * gas, gas)) - log_amount
    shared = np.hypot(settings.per_operation_sd, case.before_breather)
    common = np.sqrt(case.foreign**2 + exposure.refill_sd[:, :, C2H2] ** 2 + exposure.amount_sd[:, :, C2H2] ** 2)
    sd = np.sqrt(settings.laboratory_sd**2 + np.square(shared) + np.where(below, 0.7, 0.0) ** 2)
    sd = np.hypot(sd, np.hypot(own_wander(grid, case.tested, settings), common))
    level = usual_level(per_operation, sd, case.older & vacuum[:, None], case.like, UNITS_DIFFER)
    expected = level.mean[:, None] + log_amount
    surplus = gas - np.exp(expected)
    limit = np.where(below, gas, np.nan)
    with_limit = np.isfinite(limit)
    limit_seen = np.where(with_limit.any(axis=1), np.max(np.where(with_limit, limit, 0.0), axis=1), 0.5)
    carried = carried_gas(
        grid.year, surplus, np.exp(expected) + 3 * limit_seen[:, None], case.overhauls, settings.residual_share_most
    )
    column, valid = newest_columns(case.tested & vacuum[:, None], settings.tested_samples)
    readings = Readings(
        year=at(grid.year, column),
        valid=valid,
        seen=at(gas, column)[:, :, None],
        below=at(below, column)[:, :, None],
        expected=at(expected, column)[:, :, None],
        own_sd=np.full((*column.shape, 1), settings.laboratory_sd),
        shared_sd=at(shared, column),
        level_sd=np.hypot(level.sd[:, None], at(common, column)),
        bend=np.broadcast_to(bends(grid, settings)[:, None, [C2H2]], (*column.shape, 1)),
        carried=at(carried, column),
    )
    newest = at(surplus, column)[:, -1]
    since = at(grid.year - exposure.last_reset, column)
    rate = np.where(valid, at(exposure.rate, column), 1.0)
    return weigh_growth(
        "vacuum acetylene",
        readings,
        column,
        excess=np.where(asked & np.isfinite(newest), np.maximum(newest, 0.3 * limit_seen), 0.0),
        usual=np.exp(at(expected, column)[:, -1]),
        growth=Growth(
            made_at_limit=settings.vacuum_ml_per_1000_at_limit * rate[:, -1] / oil_volume * 1000.0,
            made_log_sd=settings.vacuum_ml_log_sd,
            power=1.0,
            loss=case.loss[:, C2H2],
            rate_ratio=rate / rate[:, -1:],
            since_reset=np.where(np.isfinite(since), since, np.inf),
            mix=only_gas,
            yearly_chance=SHARE_OF_FAULTS * settings.faults_per_year,
        ),
        settings=settings,
    )
