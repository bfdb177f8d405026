"""Acetylene in the main tank that comes from the compartment through a leaking barrier.

The acetylene that arrives in a year, over what the compartment holds, is the share of the compartment's
oil that is exchanged. It suggests a leak and never excludes arcing in the main tank. A conservator shared
by both gives the tank some acetylene of its own, so the tank's own past is what counts. Numbers without
a source are our choice.
"""

from __future__ import annotations

import numpy as np

from tapwear.oil.baseline import LikeUnits, usual_level
from tapwear.oil.growth import Evidence, Growth, Readings, at, bends, newest_columns, only_gas, weigh_growth
from tapwear.oil.heating import carried_gas
from tapwear.oil.samples import Bools, Floats, SampleGrid
from tapwear.oil.settings import C2H2, OilSettings

SHARE_OF_FAULTS = 0.12  # of the faults that oil shows, those of the barrier
OWN_SD = 0.25  # log: scatter of a sound tank
SHARED_SD = 0.4  # where the conservator is shared
UNITS_DIFFER = 1.5  # log: tanks differ freely, a shared conservator most of all


def tank_acetylene(
    tank: SampleGrid,
    compartment_acetylene: Floats,
    oil_volume: Floats,
    tank_volume: Floats,
    shared_conservator: Bools,
    overhauls: Floats,
    tested: Bools,
    like: LikeUnits,
    settings: OilSettings,
) -> Evidence:
    """Evidence of acetylene that arrives in the main tank, one row per main tank.

    Parameters
    ----------
    compartment_acetylene : (S,) usual acetylene of the compartment beside it [uL/L], NaN if unknown
    oil_volume, tank_volume : (S,) [L]
    shared_conservator : (S,) True where compartment and tank share one
    overhauls : (S, R) of the compartment [years since 1970], NaN padding; the tank keeps its gas
    tested : (S, L) samples that may be weighed, all after the last overhaul
    like : which tanks are like one another
    """
    gas, below = tank.gas[:, :, C2H2], tank.below[:, :, C2H2]
    known = np.isfinite(gas)
    limit_seen = np.max(np.where(below, gas, 0.0), axis=1)
    limit_seen = np.where(limit_seen > 0, limit_seen, 0.5)
    newest = np.max(np.where(tested, tank.year, -np.inf), axis=1, keepdims=True)
    before = known & (tank.year <= newest)
    rank = np.cumsum(before[:, ::-1], axis=1)[:, ::-1]
    older = before & (rank > 2) & (tank.year <= newest - 1.0)
    older = np.where(older.any(axis=1, keepdims=True), older, before & (rank > 1))
    level_values = np.log(np.where(below, 0.5 * gas, gas))
    sd = np.where(below, 0.6, np.hypot(0.25, settings.limit_sd_share * limit_seen[:, None] / gas))
    level = usual_level(level_values, sd, older, like, UNITS_DIFFER)
    own = np.where(level.own > 0, level.mean, np.log(0.5 * limit_seen))
    expected = np.broadcast_to(own[:, None], gas.shape)
    column, valid = newest_columns(tested & known, settings.tested_samples)
    surplus = at(gas, column)[:, -1] - np.exp(own)
    ratio = np.where(tank_volume > 0, oil_volume / tank_volume, np.nan)
    at_limit = settings.leak_share_per_year_at_limit * compartment_acetylene * ratio
    possible = np.isfinite(at_limit) & (at_limit > 0) & ((level.own > 0) | ~shared_conservator)
    left = carried_gas(tank.year, gas - np.exp(expected), np.exp(expected), overhauls, 1.0)
    readings = Readings(
        year=at(tank.year, column),
        valid=valid & possible[:, None],
        seen=at(gas, column)[:, :, None],
        below=at(below, column)[:, :, None],
        expected=at(expected, column)[:, :, None],
        own_sd=np.broadcast_to(np.where(shared_conservator, SHARED_SD, OWN_SD)[:, None, None], (*column.shape, 1)),
        shared_sd=np.zeros(column.shape),
        level_sd=np.broadcast_to(np.where(level.own > 0, np.minimum(level.sd, 0.5), 0.5)[:, None], column.shape),
        bend=np.broadcast_to(bends(tank, settings)[:, None, [C2H2]], (*column.shape, 1)),
        carried=at(left, column),
    )
    return weigh_growth(
        "main tank acetylene",
        readings,
        column,
        excess=np.where(np.isfinite(surplus) & possible, np.maximum(surplus, 0.3 * limit_seen), 0.0),
        usual=np.exp(own),
        growth=Growth(
            made_at_limit=np.where(possible, at_limit, 1.0),
            made_log_sd=settings.leak_share_log_sd,
            power=1.0,
            loss=np.zeros(len(gas)),
            rate_ratio=np.ones(column.shape),
            since_reset=np.full(column.shape, np.inf),
            mix=only_gas,
            yearly_chance=SHARE_OF_FAULTS * settings.faults_per_year,
        ),
        settings=settings,
    )
