"""Arcing: more gas per operation than this unit made before and than like units make.

Worn contacts and weak springs lengthen the arc: acetylene per thousand operations rises, and so do the
other gases, while their ratios stay. Burn-off adds up with operations, so the excess grows in proportion
to the operations since it began.
"""

from __future__ import annotations

import numpy as np

from tapwear.oil.baseline import usual_level
from tapwear.oil.exposure import Exposure
from tapwear.oil.growth import OFFSETS, Evidence, at, log_density, newest_columns
from tapwear.oil.resets import Resets
from tapwear.oil.samples import Bools, Floats, Ints, SampleGrid
from tapwear.oil.settings import C2H2, C2H4, CH4, H2, OilSettings

ARC_GASES = [C2H2, C2H4, CH4, H2]
SHARE_OF_FAULTS = 0.3  # of the faults that oil shows, those of worn contacts; our choice
UNITS_DIFFER = 0.5  # log: like units' gas per operation differs at least so much; our choice
LEVELS = np.arange(-0.4, 0.41, 0.2)
MEMORY = 0.8  # [1/year] loss of acetylene; our choice
AGES = np.array([0.3, 0.6, 1.0, 1.5, 2.2])  # years since the excess began
LIVES = np.array([0.6, 1.0, 1.5, 2.2])  # onset to limit [years]


def arcing(
    grid: SampleGrid,
    exposure: Exposure,
    resets: Resets,
    vacuum: Bools,
    oil_volume: Floats,
    older: Bools,
    tested: Bools,
    groups: list[Ints],
    settings: OilSettings,
) -> Evidence:
    """Evidence of more gas per operation for every arcing compartment with a known count."""
    applies = ~vacuum & exposure.counted
    log_ratio = np.log(np.where(grid.below[:, :, ARC_GASES], np.nan, grid.gas[:, :, ARC_GASES]))
    log_ratio = log_ratio - np.log(exposure.amount[:, :, ARC_GASES])
    log_ratio = log_ratio + np.log(oil_volume / 1000.0)[:, None, None]  # mL per thousand operations
    own_sd = np.array([settings.laboratory_sd, 0.25, 0.3, 0.4])  # acetylene leads; hydrogen escapes
    low, high = exposure_spread(grid)
    shared = np.sqrt(
        settings.per_operation_sd**2 + np.square(exposure.amount_sd[:, :, C2H2]) + np.square(0.39 * (high - low))
    )
    use = older & ~resets.odd & applies[:, None]
    levels = [
        usual_level(log_ratio[:, :, g], np.hypot(own_sd[g], shared), use, groups, UNITS_DIFFER)
        for g in range(len(ARC_GASES))
    ]
    residual = log_ratio - np.stack([lv.mean for lv in levels], axis=1)[:, None, :]
    column, valid = newest_columns(tested & ~resets.odd & applies[:, None], settings.tested_samples)
    seen, year = at(residual, column), at(grid.year, column)
    known = np.isfinite(seen) & valid[:, :, None]
    shared_n = at(shared, column)
    level_sd = levels[0].sd
    weight = np.where(known[:, -1], 1.0 / np.square(own_sd), 0.0)
    now = (weight * np.where(known[:, -1], seen[:, -1], 0.0)).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-9)
    grid_level, age, life = (a.ravel() for a in np.meshgrid(LEVELS, AGES, LIVES, indexing="ij"))
    newest = year[:, -1]
    back = np.where(valid, newest[:, None] - year, 0.0)
    excess_now = np.maximum(np.expm1(np.maximum(now, 0.02)[:, None] + grid_level), 0.01)
    severity = age / life
    begun = _lagged(np.maximum(age - back[..., None], 0.0)) / _lagged(age)
    shift = np.log1p(excess_now[:, None, :] * begun)
    sound_parts, fault_parts = [], []
    for offset in OFFSETS:
        moved = seen - offset * level_sd[:, None, None]
        sound = log_density(moved, own_sd, shared_n, known, settings)
        fault = log_density(
            moved[:, :, None, :] - shift[..., None], own_sd, shared_n[:, :, None], known[:, :, None, :], settings
        )
        sound_parts.append(sound)
        fault_parts.append(fault)
    sound_total = np.logaddexp.reduce([p.sum(axis=1) for p in sound_parts], axis=0)
    fault_total = np.logaddexp.reduce([p.sum(axis=1) for p in fault_parts], axis=0)
    fit = np.log(excess_now) - np.log(settings.arcing_excess_at_limit * _lagged(age) / life)[None, :]
    prior = (
        SHARE_OF_FAULTS
        * settings.faults_per_year
        * np.exp(-0.5 * np.square(fit / settings.arcing_excess_log_sd))
        * np.gradient(AGES).mean()
        / len(LIVES)
        * (LEVELS[1] - LEVELS[0])
        / (2.507 * settings.arcing_excess_log_sd)
    )
    log_weight = fault_total - sound_total[:, None] + np.log(np.maximum(prior, 1e-300))
    top = log_weight.max(axis=1, keepdims=True)
    relative = np.exp(log_weight - top)
    odds = relative.sum(axis=1) * np.exp(np.minimum(top[:, 0], 200.0))
    best = log_weight.argmax(axis=1)
    rows = np.arange(len(best))
    usable = valid[:, -1] & np.isfinite(seen[:, -1, 0]) & (now > 0)
    return Evidence(
        kind="arcing",
        column=column,
        support=fault_parts[1][rows, :, best] - sound_parts[1],
        odds=np.where(usable, odds, 0.0),
        severity=severity[best],
        excess=np.exp(now),
        usual=np.exp(levels[0].mean),
        open_year=newest[:, None] + (life - age)[None, :] * np.ones((len(best), 1)),
        open_sd=np.broadcast_to(settings.arcing_excess_log_sd * life, log_weight.shape),
        weight=relative / relative.sum(axis=1, keepdims=True),
    )


def _lagged(age: Floats) -> Floats:
    """How much of a linear rise over `age` years shows in the oil, which remembers older, cleaner gas."""
    return np.asarray(age - (1.0 - np.exp(-MEMORY * age)) / MEMORY)


def exposure_spread(grid: SampleGrid):  # type: ignore[no-untyped-def]
    """Log of the operations in the last interval at the 10 and 90 % counts, as a spread of the rate."""
    operations = grid.operations
    step_mid = np.diff(operations[:, :, 1], axis=1, prepend=np.nan)
    half = 0.5 * (operations[:, :, 2] - operations[:, :, 0])
    relative = np.where(step_mid > 0, half / np.maximum(step_mid, 1.0), 0.0)
    relative = np.clip(np.where(np.isfinite(relative), relative, 0.0), 0.0, 0.7)
    return -relative, relative
