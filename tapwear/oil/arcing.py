"""Arcing: more gas per operation than this unit made before and than like units make.

Worn contacts and weak springs lengthen the arc: acetylene per thousand operations rises, and so do the
other gases, while their ratios stay. Burn-off adds up with operations, so the excess grows in proportion
to the operations since it began.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tapwear.oil.baseline import own_level, own_wander, pooled
from tapwear.oil.case import Case
from tapwear.oil.density import log_product, log_sum, power_of
from tapwear.oil.exposure import Exposure
from tapwear.oil.growth import OFFSETS, Evidence, at, in_blocks, newest_columns, odds_of, rows_last, rows_of, scattered
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
class _Parts:
    """Residuals of R compartments, n samples each, from whose sums over the gases the density under any shift follows.

    mean : (R, n) over the gases, 0 where there is none
    floor, pull, power : (R, n) the density is (floor + pull * (mean - shift)^2)^power
    """

    mean: Floats
    floor: Floats
    pull: Floats
    power: Floats

    @classmethod
    def of(cls, residual: Floats, own_sd: Floats, shared_sd: Floats, use: Bools, settings: OilSettings) -> _Parts:
        """Of residuals (R, n, G) with errors as in `misfit_of`: own ones (G,), and shared ones (R, n)."""
        known = np.isfinite(residual) & use[..., None]
        precision = 1.0 / np.square(own_sd)
        clean = np.where(known, residual, 0.0)
        total = known @ precision
        mean = (clean @ precision) / np.where(total > 0, total, 1.0)
        rest = np.maximum(np.square(clean) @ precision - total * np.square(mean), 0.0)
        variance = np.where(total > 0, np.square(shared_sd), 0.0)
        nu = settings.tails
        return cls(
            mean=mean,
            floor=1.0 + rest / nu,
            pull=total / (1.0 + variance * total) / nu,
            power=power_of(known.sum(axis=-1).T, settings).T,
        )

    def density(self, shift: Floats) -> Floats:
        """(..., n, R) log density, up to a constant, of the residuals less `shift` (..., n, R)."""
        apart = np.square(shift - rows_last(self.mean)) * rows_last(self.pull) + rows_last(self.floor)
        return np.asarray(np.log(apart) * rows_last(self.power))

    def total(self, shift: Floats, error: Floats) -> Floats:
        """(P, R) log density of all samples, as of the residuals less `shift` (P, n, R), under several errors (n, R).

        error : the errors (E, n, R), over which the densities are added up
        """
        mean, pull, floor, power = (rows_last(v) for v in (self.mean, self.pull, self.floor, self.power))
        root = np.sqrt(pull / floor)
        pulled = shift * root
        tried = []
        for middle in (mean - error) * root:
            apart = pulled - middle
            apart *= apart
            apart += 1.0
            tried.append(log_product(apart, power))
        return np.asarray(log_sum(np.array(tried)) + (np.log(floor) * power).sum(axis=0))


@dataclass(frozen=True)
class _Fit:
    """One assumption about the oil's memory and a slow drift, held against R compartments.

    now : their n tested samples
    level_sd : (R, n) log error of the usual level, as it bears on each of those
    past : (R,) log density of the older samples
    times_usual : (R,) gas per operation of the newest sample over the usual
    usual : (R,) [mL per thousand operations]
    log_weight : of the assumption
    """

    now: _Parts
    level_sd: Floats
    past: Floats
    times_usual: Floats
    usual: Floats
    log_weight: float

    def only(self, rows: Ints, newest: int) -> _Fit:
        """Of some of the compartments, and so many of the newest samples of each."""
        return replace(rows_of(self, rows, newest), now=rows_of(self.now, rows, newest))


def arcing(case: Case, asked: Bools) -> Evidence:
    """Evidence of more gas per operation, for arcing compartments with a known count; asked : (S,) those to weigh.

    Several losses through the breather and slow drifts are tried: oil that forgets slowly goes on
    collecting gas for years and must not be taken for a fault.
    """
    grid, settings = case.grid, case.settings
    applies = ~case.vacuum & case.exposure.counted
    column, valid = newest_columns(case.tested & applies[:, None], settings.tested_samples)
    rows = np.flatnonzero(valid[:, -1] & asked)
    wander = np.hypot(own_wander(grid, case.tested, settings), case.foreign)
    fits = [
        fit for memory in case.memories for fit in _fits(case, *memory, wander, applies[:, None], column[rows], rows)
    ]
    stories = _stories(settings)
    year = at(grid.year[rows], column[rows])
    back = np.where(valid[rows], year[:, -1:] - year, 0.0)
    loss = case.loss[rows, C2H2]

    def weigh(block: Ints, n: int) -> Evidence:
        some = [fit.only(block, n) for fit in fits]
        return _weigh(some, stories, year[block, -n:], back[block, -n:], loss[block])

    part, order = in_blocks(weigh, valid[rows], np.zeros(len(rows), dtype=bool))
    usual = np.full(len(valid), np.nan)
    usual[rows[order]] = part.usual
    return scattered(part, rows[order], column, usual)


def _weigh(fits: list[_Fit], stories: _Stories, year: Floats, back: Floats, loss: Floats) -> Evidence:
    """Evidence of R compartments: year, back (R, n) dates of the tested samples and years before the newest."""
    age, life, full = (values[:, None, None] for values in (stories.age, stories.life, stories.full))
    kept, chance = _breathers(rows_last(back), loss)
    begun = _lagged(np.maximum(age - rows_last(back), 0.0)) / life
    shift = np.concatenate([kept, np.log1p(full * begun)])  # (B + P, n, R)
    sound_each, fault_each = [], []
    for fit in fits:
        total = fit.now.total(shift, OFFSETS[:, None, None] * rows_last(fit.level_sd))
        total += fit.log_weight + fit.past
        sound_each.append(log_sum(total[: len(chance)] + np.log(chance)[:, None]))
        fault_each.append(total[len(chance) :])
    fault_all = np.array(fault_each)
    log_weight = log_sum(fault_all) - log_sum(np.array(sound_each)) + np.log(stories.prior)[:, None]
    odds, weight, best = odds_of(log_weight)
    each = np.arange(len(best))
    memory = fault_all[:, best, each].argmax(axis=0)
    told = np.stack([np.zeros(back.T.shape), shift[len(chance) + best, :, each].T])
    now = np.array([fit.now.density(told) for fit in fits])[memory, :, :, each]
    times_usual = np.array([fit.times_usual for fit in fits])[memory, each]
    return Evidence(
        kind="arcing",
        column=np.empty((0, 0), dtype=np.int64),
        support=now[:, 1] - now[:, 0],
        odds=np.where(times_usual > 1.0, odds, 0.0),
        severity=(stories.age / stories.life)[best],
        excess=times_usual,
        usual=np.array([fit.usual for fit in fits])[memory, each],
        carried=np.zeros(len(best)),
        open_year=year[:, -1:] + (stories.life - stories.age)[None, :],
        open_sd=0.2 * stories.life,
        weight=weight,
    )


def _fits(
    case: Case, exposure: Exposure, weight: float, wander: Floats, applies: Bools, column: Ints, rows: Ints
) -> Iterator[_Fit]:
    """The fits of these R rows, whose tested samples are in the columns (R, n), under one loss, each with its weight.

    wander : (S, L) log error of the own level as it bears on each sample; applies : (S, 1) compartments to learn from
    """
    grid, settings, year, valid = case.grid, case.settings, case.grid.year, column >= 0
    own_sd = settings.laboratory_sd * GAS_ERROR
    volume = np.log(case.oil_volume / 1000.0)[:, None, None]
    gas = np.where(grid.below[:, :, ARC_GASES], np.nan, case.gas[:, :, ARC_GASES])
    made = np.log(gas) - np.log(exposure.amount[:, :, ARC_GASES]) + volume
    shared = settings.per_operation_sd**2 + np.square(exposure.amount_sd[:, :, C2H2]) + np.square(_count_spread(grid))
    shared += np.square(case.before_breather)
    own_variance = shared + np.square(wander)
    sd = [np.sqrt(own_sd[g] ** 2 + own_variance) for g in range(len(ARC_GASES))]
    newest = np.max(np.where(case.tested, year, -np.inf), axis=1, keepdims=True)
    age = np.where(np.isfinite(newest), newest - year, 0.0)
    use = case.older & applies
    in_test = np.zeros((len(rows), year.shape[1]), dtype=bool)
    row, place = np.nonzero(valid)
    in_test[row, column[row, place]] = True
    shared_sd, foreign = np.sqrt(shared[rows]), at(case.foreign[rows], column)
    past_sd, now_sd, before = np.hypot(shared_sd, wander[rows]), at(shared_sd, column), use[rows] & ~in_test
    for drift, chance in DRIFTS:
        own = (own_level(made[:, :, g] + drift * age, sd[g], use) for g in range(len(ARC_GASES)))
        levels = [pooled(each, case.like, UNITS_DIFFER, rows) for each in own]
        residual = made[rows] + (drift * age[rows])[:, :, None]
        residual -= np.stack([level.mean for level in levels], axis=1)[:, None, :]
        past = _Parts.of(residual, own_sd, past_sd, before, settings)
        tested = at(residual, column)
        now = _Parts.of(tested, own_sd, now_sd, valid, settings)
        newest_known = np.isfinite(tested[:, -1]).any(axis=-1)
        yield _Fit(
            now=now,
            level_sd=np.where(valid, np.hypot(levels[0].sd[:, None], foreign), 0.0),
            past=past.density(np.zeros(1)).sum(axis=0),
            times_usual=np.where(newest_known, np.exp(now.mean[:, -1]), np.nan),
            usual=np.exp(levels[0].mean),
            log_weight=float(np.log(weight * chance)),
        )


def _breathers(back: Floats, loss: Floats) -> tuple[Floats, Floats]:
    """What a sound unit shows whose breather was changed: (B, n, R) log rise at each sample, (B,) chance of each case.

    The first case is no change. A breather that keeps more gas lets it rise to a new level and no farther.

    Parameters
    ----------
    back : (n, R) age of each sample before the newest [years]
    loss : (R,) of acetylene through the breather [1/year]
    """
    age, kept = (a.reshape(-1, 1, 1) for a in np.meshgrid(AGES, KEPT_MORE, indexing="ij"))
    since = np.maximum(age - back, 0.0)
    rise = np.log1p((1.0 / kept - 1.0) * -np.expm1(-kept * loss * since))
    chance = BREATHERS * np.repeat(np.gradient(AGES), len(KEPT_MORE)) / len(KEPT_MORE)
    return np.concatenate([np.zeros_like(rise[:1]), rise]), np.append(1.0 - chance.sum(), chance)


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
