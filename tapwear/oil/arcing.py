"""Arcing: more gas per operation than this unit made before and than like units make.

Worn contacts and weak springs lengthen the arc: acetylene per thousand operations rises, and so do the
other gases, while their ratios stay. Burn-off adds up with operations, so the excess grows in proportion
to the operations since it began.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwear.oil.baseline import own_wander, usual_level
from tapwear.oil.case import Case
from tapwear.oil.exposure import Exposure
from tapwear.oil.growth import OFFSETS, Evidence, at, newest_columns, scattered
from tapwear.oil.samples import Bools, Floats, Ints, SampleGrid
from tapwear.oil.settings import C2H2, C2H4, CH4, H2, OilSettings

ARC_GASES = [C2H2, C2H4, CH4, H2]
GAS_ERROR = np.array([1.0, 1.2, 1.6, 2.2])  # times the laboratory's: hydrogen escapes, methane next; our choice
SHARE_OF_FAULTS = 0.3  # of the faults that oil shows, those of worn contacts; our choice
UNITS_DIFFER = 0.5  # log: like units' gas per operation differs at least so much; our choice
MEMORY = 0.8  # [1/year] ordinary loss of acetylene; our choice
AGES = np.array([0.3, 0.6, 0.9, 1.3, 1.8, 2.4])  # years since the excess began
LIVES = np.array([0.6, 1.0, 1.5, 2.2])  # onset to limit [years]
STRENGTHS = np.array([-1.5, -0.75, 0.0, 0.75, 1.5])  # of the excess, in its own standard deviations
DRIFTS = ((0.0, 0.6), (0.1, 0.3), (0.2, 0.1))  # log a year of a sound unit, and weight; our choice
BREATHERS = 0.07  # changed a year without a record for one that keeps more gas; our choice
KEPT_MORE = (0.6, 0.75)  # loss through such a breather, times the loss before; our choice
LONGEST_PAST_LIMIT = 1.7  # a story that went farther past its limit is not told


@dataclass(frozen=True)
class _Stories:
    """How the excess may have grown: years since it began, years from there to the limit, strength."""

    age: Floats
    life: Floats
    full: Floats  # gas per operation at the limit is 1 + this
    prior: Floats


def _stories(settings: OilSettings) -> _Stories:
    age, life, z = (a.ravel() for a in np.meshgrid(AGES, LIVES, STRENGTHS, indexing="ij"))
    told = age <= LONGEST_PAST_LIMIT * life
    begun = np.gradient(AGES)[np.searchsorted(AGES, age)] / len(LIVES)
    share = np.exp(-0.5 * np.square(z)) / np.exp(-0.5 * np.square(STRENGTHS)).sum()
    full = settings.arcing_excess_at_limit * np.exp(settings.arcing_excess_log_sd * z)
    prior = SHARE_OF_FAULTS * settings.faults_per_year * begun * share
    return _Stories(age[told], life[told], full[told], prior[told])


@dataclass(frozen=True)
class _Fit:
    """One assumption about the oil's memory and a slow drift, held against the samples."""

    sound: Floats  # (S, n) log density of each tested sample in a sound unit
    fault: Floats  # (S, n, P) under each story
    sound_total: Floats  # (S,) with the older samples
    fault_total: Floats  # (S, P)
    times_usual: Floats  # (S,) gas per operation of the newest sample over the usual
    usual: Floats  # (S,) [mL per thousand operations]


def arcing(case: Case) -> Evidence:
    """Evidence of more gas per operation for every arcing compartment with a known count.

    Several losses through the breather and slow drifts are tried: oil that forgets slowly goes on
    collecting gas for years and must not be taken for a fault.
    """
    grid, settings, memories = case.grid, case.settings, case.memories
    applies = ~case.vacuum & case.exposure.counted
    column, valid = newest_columns(case.tested & applies[:, None], settings.tested_samples)
    rows = np.flatnonzero(valid[:, -1])
    year = at(grid.year, column)[rows]
    stories = _stories(settings)
    back = np.where(valid[rows], year[:, -1:] - year, 0.0)
    begun = _lagged(np.maximum(stories.age - back[..., None], 0.0)) / stories.life
    shift = np.log1p(stories.full * begun)
    breathers = _breathers(back, case.loss[rows, C2H2])
    use = case.older & applies[:, None]
    fits = [
        _fit(case, e, drift, use, column, valid, rows, breathers, shift) for e, _ in memories for drift, _ in DRIFTS
    ]
    weights = np.log(np.array([w * v for _, w in memories for _, v in DRIFTS]))
    sound_total = np.logaddexp.reduce(np.array([f.sound_total for f in fits]) + weights[:, None], axis=0)
    fault_all = np.array([f.fault_total for f in fits]) + weights[:, None, None]
    fault_total = np.logaddexp.reduce(fault_all, axis=0)
    log_weight = fault_total - sound_total[:, None] + np.log(stories.prior)
    top = log_weight.max(axis=1, keepdims=True)
    relative = np.exp(log_weight - top)
    odds = relative.sum(axis=1) * np.exp(np.minimum(top[:, 0], 200.0))
    best = log_weight.argmax(axis=1)
    each = np.arange(len(rows))
    memory = fault_all[:, each, best].argmax(axis=0)
    sound = np.array([f.sound for f in fits])[memory, each]
    fault = np.array([f.fault[each, :, best] for f in fits])[memory, each]
    times_usual = np.array([f.times_usual for f in fits])[memory, each]
    part = Evidence(
        kind="arcing",
        column=column[rows],
        support=fault - sound,
        odds=np.where(times_usual > 1.0, odds, 0.0),
        severity=(stories.age / stories.life)[best],
        excess=times_usual,
        usual=np.empty(0),
        carried=np.zeros(len(rows)),
        open_year=year[:, -1:] + (stories.life - stories.age)[None, :],
        open_sd=np.broadcast_to(0.2 * stories.life, log_weight.shape),
        weight=relative / relative.sum(axis=1, keepdims=True),
    )
    usual = np.full(len(valid), np.nan)
    usual[rows] = np.array([f.usual for f in fits])[memory, each]
    return scattered(part, valid[:, -1], column, usual)


def _fit(
    case: Case,
    exposure: Exposure,
    drift: float,
    use: Bools,
    column: Ints,
    valid: Bools,
    rows: Ints,
    breathers: tuple[Floats, Floats],
    shift: Floats,
) -> _Fit:
    grid, settings = case.grid, case.settings
    volume = np.log(case.oil_volume / 1000.0)[:, None, None]
    gas = np.where(grid.below[:, :, ARC_GASES], np.nan, case.gas[:, :, ARC_GASES])
    made = np.log(gas) - np.log(exposure.amount[:, :, ARC_GASES]) + volume  # mL per thousand operations
    newest = np.max(np.where(case.tested, grid.year, -np.inf), axis=1, keepdims=True)
    made = made + drift * np.where(np.isfinite(newest), newest - grid.year, 0.0)[:, :, None]
    own_sd = settings.laboratory_sd * GAS_ERROR
    shared = np.sqrt(
        settings.per_operation_sd**2
        + np.square(exposure.amount_sd[:, :, C2H2])
        + np.square(_count_spread(grid))
        + np.square(case.before_breather)
    )
    wander = np.hypot(own_wander(grid, case.tested, settings), case.foreign)
    levels = [
        usual_level(made[:, :, g], np.sqrt(own_sd[g] ** 2 + shared**2 + wander**2), use, case.groups, UNITS_DIFFER)
        for g in range(len(ARC_GASES))
    ]
    residual = made - np.stack([lv.mean for lv in levels], axis=1)[:, None, :]
    in_test = np.zeros(use.shape, dtype=bool)
    row, place = np.nonzero(valid)
    in_test[row, column[row, place]] = True
    past = _Parts(residual[rows], own_sd, (use & ~in_test)[rows])
    past_shared = np.hypot(shared, wander)[rows]
    past_total = past.density(past_shared, np.zeros((1, 1, 1)), settings)[:, :, 0].sum(axis=1)
    now = _Parts(at(residual, column)[rows], own_sd, valid[rows])
    kept, chance = breathers
    tested_shared = np.where(valid, at(shared, column), 0.0)[rows]
    level_sd = np.hypot(levels[0].sd[:, None], at(case.foreign, column))[rows]
    sound_total = np.full(len(rows), -np.inf)
    fault_total = np.full((len(rows), shift.shape[2]), -np.inf)
    sound, fault = np.empty(0), np.empty(0)
    for offset in OFFSETS:
        error = (offset * level_sd)[:, :, None]
        sound_here = now.density(tested_shared, kept + error, settings)
        fault_here = now.density(tested_shared, shift + error, settings)
        sound_all = np.logaddexp.reduce(sound_here.sum(axis=1) + np.log(chance), axis=1)
        sound_total = np.logaddexp(sound_total, past_total + sound_all)
        fault_total = np.logaddexp(fault_total, past_total[:, None] + fault_here.sum(axis=1))
        if offset == 0.0:
            sound, fault = sound_here[:, :, 0], fault_here
    return _Fit(sound, fault, sound_total, fault_total, np.exp(now.mean()[:, -1]), np.exp(levels[0].mean[rows]))


class _Parts:
    """Sums over the gases of a residual, from which the density under any common shift follows."""

    def __init__(self, residual: Floats, own_sd: Floats, use: Bools) -> None:
        known = np.isfinite(residual) & use[..., None]
        precision = np.where(known, 1.0 / np.square(own_sd), 0.0)
        clean = np.where(known, residual, 0.0)
        self.square = (precision * np.square(clean)).sum(axis=-1)
        self.cross = (precision * clean).sum(axis=-1)
        self.total = precision.sum(axis=-1)
        self.count = known.sum(axis=-1)

    def mean(self) -> Floats:
        """(S, n) mean residual over the gases, NaN where there is none."""
        out = np.full(self.total.shape, np.nan)
        np.divide(self.cross, self.total, out=out, where=self.total > 0)
        return out

    def density(self, shared: Floats, shift: Floats, settings: OilSettings) -> Floats:
        """(S, n, P) log density of the residuals less `shift` (S, n, P), errors as in `log_density`."""
        total, cross = self.total[..., None], self.cross[..., None]
        first = self.square[..., None] - 2.0 * cross * shift + total * np.square(shift)
        second = np.square(cross - total * shift)
        variance = np.where(self.total > 0, np.square(shared), 0.0)[..., None]
        distance = np.maximum(first - second * variance / (1.0 + variance * total), 0.0)
        nu = settings.tails
        return np.asarray(-0.5 * (nu + self.count[..., None]) * np.log1p(distance / nu))


def _breathers(back: Floats, loss: Floats) -> tuple[Floats, Floats]:
    """What a sound unit shows whose breather was changed: (S, n, B) log rise at each sample, (B,) chance of each case.

    The first case is no change. A breather that keeps more gas lets it rise to a new level and no farther.

    Parameters
    ----------
    back : (S, n) age of each sample before the newest [years]
    loss : (S,) of acetylene through the breather [1/year]
    """
    age, kept = (a.ravel() for a in np.meshgrid(AGES, KEPT_MORE, indexing="ij"))
    since = np.maximum(age - back[..., None], 0.0)
    rise = np.log1p((1.0 / kept - 1.0) * -np.expm1(-kept * loss[:, None, None] * since))
    chance = BREATHERS * np.repeat(np.gradient(AGES), len(KEPT_MORE)) / len(KEPT_MORE)
    return np.concatenate([np.zeros_like(rise[..., :1]), rise], axis=-1), np.append(1.0 - chance.sum(), chance)


def _lagged(age: Floats) -> Floats:
    """How much of a linear rise over `age` years shows in the oil, which remembers older, cleaner gas."""
    return np.asarray(age - (1.0 - np.exp(-MEMORY * age)) / MEMORY)


def _count_spread(grid: SampleGrid) -> Floats:
    """(S, L) log error of the operations made since the sample before, from the 10 and 90 % counts."""
    operations = grid.operations
    step = np.diff(operations[:, :, 1], axis=1, prepend=np.nan)
    half = 0.5 * (operations[:, :, 2] - operations[:, :, 0])
    relative = np.zeros(step.shape)
    np.divide(half, np.maximum(step, 1.0), out=relative, where=np.isfinite(half) & (step > 0))
    return np.asarray(np.minimum(relative, 0.7) / 1.28)
