"""How well a growing fault explains the newest samples, against a sound unit with ordinary laboratory error.

Many simple stories are tried for every compartment: an excess of gas that is so large now and grew by a
factor e every so many years. Each is weighed by its likelihood and by how common it is beforehand; the
weights give the odds of a fault and, since each story reaches the limit on some date, the open-by dates.
Errors have heavy tails, so one wild value cannot carry the whole weight.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import reduce
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import numpy.typing as npt

from tapwear.oil.density import LOG_2, bent_log, log_of_twice, log_product, log_sum, misfit_of, power_of
from tapwear.oil.samples import Bools, Floats, Ints, SampleGrid
from tapwear.oil.settings import OilSettings

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Entry = TypeVar("Entry", bound=np.generic)
Record = TypeVar("Record", bound="DataclassInstance")

BLOCK = 1000  # samples that are weighed at a time: a few arrays of them fit in 1 MB

LEVELS = np.arange(-1.2, 1.21, 0.4)  # log factors about the newest measured excess
DURATIONS = np.array([0.15, 0.5, 1.0, 1.6, 2.3, 3.2])  # onset to limit [years]; our choice
DURATION_WEIGHTS = np.array([0.12, 0.15, 0.22, 0.20, 0.17, 0.14])
OFFSETS = np.array([-1.2247, 0.0, 1.2247])  # errors of the usual level, three-point rule
CARRIED = np.array([0.0, 0.1, 0.14, 0.19, 0.26, 0.36, 0.5, 0.7, 1.0])  # shares of an old fault's gas that came back


@dataclass(frozen=True)
class Readings:
    """The newest usable samples of S compartments, n each, right-aligned, in G gases.

    year : (S, n) [years]; valid : (S, n)
    seen, below : (S, n, G) concentration [uL/L], and whether it is only an upper limit
    expected : (S, n, G) log concentration of a sound unit [log uL/L]
    own_sd : (S, n, G) error of each gas on its own [log]; shared_sd : (S, n) error common to the gases
    level_sd : (S, n) standard error of the usual level, as it bears on each sample [log]
    bend : (S, n, G) concentration under which the error is constant and no longer a share [uL/L]
    carried : (S, n) most gas that may be left from an old fault [uL/L of the leading gas]
    """

    year: Floats
    valid: Bools
    seen: Floats
    below: Bools
    expected: Floats
    own_sd: Floats
    shared_sd: Floats
    level_sd: Floats
    bend: Floats
    carried: Floats


@dataclass(frozen=True)
class Evidence:
    """What one signature says about each compartment.

    kind : name of the finding it may become
    column : (S, n) column of each weighed sample in the grid, -1 where none
    support : (S, n) log likelihood ratio of each sample under the best story, against a sound unit
    odds : (S,) odds that a fault of this kind has begun
    severity : (S,) share of the limit reached at the newest sample, under the best story
    excess, usual : (S,) leading quantity of the newest sample beyond what is usual, and what is usual
    carried : (S,) most of the excess that may be left over from a fault that was repaired
    open_year, weight : (S, P) when each story reaches the limit [years], and its share
    open_sd : (P,) error of those dates [years]
    """

    kind: str
    column: Ints
    support: Floats
    odds: Floats
    severity: Floats
    excess: Floats
    usual: Floats
    carried: Floats
    open_year: Floats
    open_sd: Floats
    weight: Floats


@dataclass(frozen=True)
class Growth:
    """How a fault of one kind makes gas.

    made_at_limit : (S,) leading gas made a year when the limit is reached [uL/L/year]
    made_log_sd : how much units differ in that [log]
    power : gas is made as severity to this power
    loss : (S,) of the leading gas [1/year]
    rate_ratio : (S, n) how busy the unit was at each sample, relative to the newest
    since_reset : (S, n) years since the oil last started again, inf if never
    mix : share of each gas, relative to the leading one, at a severity: (...) to (..., G)
    yearly_chance : chance a year that such a fault begins
    """

    made_at_limit: Floats
    made_log_sd: float
    power: float
    loss: Floats
    rate_ratio: Floats
    since_reset: Floats
    mix: Callable[[Floats], Floats]
    yearly_chance: float


@dataclass(frozen=True)
class _Stories:
    """extra : (P, n, S) leading gas [uL/L]; mix : (P, n, S, G); carried_mix : (1, G)."""

    extra: Floats
    mix: Floats
    carried_mix: Floats


@dataclass(frozen=True)
class _Gas:
    """One gas of the readings against every story, a sound unit first.

    seen : (n, S) bent logarithm; below : (n, S); bend : (n, S) its square; precision : (n, S), 0 where not known
    sound : (n, S) concentration of a sound unit; carried : (n, S) most that an old fault may have left
    added : (1 + P, n, S) what the story adds [uL/L]
    """

    seen: Floats
    below: Bools
    bend: Floats
    precision: Floats
    sound: Floats
    carried: Floats
    added: Floats

    @classmethod
    def of(cls, readings: Readings, gas: int, stories: _Stories) -> _Gas:
        """Of the gas at this place."""
        seen, expected, bend, own_sd = (
            rows_last(values[:, :, gas])
            for values in (readings.seen, readings.expected, readings.bend, readings.own_sd)
        )
        known: Bools = np.asarray(np.isfinite(seen + expected + readings.level_sd.T) & readings.valid.T)
        added = np.zeros((len(stories.extra) + 1, *stories.extra.shape[1:]))
        np.multiply(stories.extra, stories.mix[..., gas], out=added[1:])
        return cls(
            seen=bent_log(np.where(known, seen, 0.0), bend),
            below=rows_last(readings.below[:, :, gas]),
            bend=np.square(bend),
            precision=np.where(known, 1.0 / np.square(own_sd), 0.0),
            sound=np.exp(np.where(known, expected, 0.0)),
            carried=rows_last(readings.carried) * stories.carried_mix[0, gas],
            added=added,
        )

    def residual(self, error: Floats, share: float) -> Floats:
        """(1 + P, n, S) on the bent scale, when the usual level is `error` (n, S) times what it seems."""
        residual = log_of_twice(self.added + (self.sound * error + share * self.carried), self.bend)
        np.subtract(self.seen + LOG_2, residual, out=residual)
        return np.where(self.below, np.minimum(residual, 0.0), residual) if self.below.any() else residual


def rows_of(record: Record, rows: Ints, newest: int | None = None) -> Record:
    """The same record of some of its rows, and of the newest samples (S, n, ...) of each: every array is cut."""
    every: dict[str, Any] = {f.name: getattr(record, f.name) for f in fields(record)}
    part: dict[str, Any] = {k: v[rows] for k, v in every.items() if isinstance(v, np.ndarray)}
    if newest is not None:
        part = {k: v[:, -newest:] if v.ndim > 1 else v for k, v in part.items()}
    return replace(record, **part)


def rows_last(values: npt.NDArray[Entry]) -> npt.NDArray[Entry]:
    """Values (S, ...) as (..., S): what is worked out for every story goes fastest along the rows."""
    return np.ascontiguousarray(np.moveaxis(values, 0, -1))


def in_blocks(weigh: Callable[[Ints, int], Evidence], valid: Bools, apart: Bools) -> tuple[Evidence, Ints]:
    """Evidence of rows, weighed so few at a time that what is worked on stays in the processor's own memory.

    Parameters
    ----------
    weigh : gives the evidence of some rows from so many of the newest samples of each
    valid : (S, n) samples, right-aligned, of which every row has one at least
    apart : (S,) rows that take longer, which are not mixed with others

    Returns the evidence, and the row (S,) of each of its entries.
    """
    count = valid.sum(axis=1)
    rows = np.lexsort((-count, apart))
    edge, start = len(rows) - int(apart.sum()), 0
    parts = [] if len(rows) else [weigh(rows, valid.shape[1])]
    while start < len(rows):
        newest = int(count[rows[start]])
        stop = start + max(BLOCK // newest, 1)
        stop = min(stop, edge) if start < edge else stop
        part = weigh(rows[start:stop], newest)
        missing = valid.shape[1] - newest
        parts.append(replace(part, support=np.pad(part.support, ((0, 0), (missing, 0)))))
        start = stop
    names = [f.name for f in fields(Evidence) if f.name not in ("kind", "open_sd")]
    joined: dict[str, Any] = {name: np.concatenate([getattr(p, name) for p in parts]) for name in names}
    return replace(parts[0], **joined), rows


def scattered(part: Evidence, rows: Ints, column: Ints, usual: Floats) -> Evidence:
    """Evidence of these rows as evidence of all rows, as many as `column` has; the others show nothing."""

    def full(values: Floats, shape: tuple[int, ...]) -> Floats:
        out = np.zeros((len(column), *shape))
        out[rows] = values
        return out

    stories = part.weight.shape[1:]
    return Evidence(
        kind=part.kind,
        column=column,
        support=full(part.support, column.shape[1:]),
        odds=full(part.odds, ()),
        severity=full(part.severity, ()),
        excess=full(part.excess, ()),
        usual=usual,
        carried=full(part.carried, ()),
        open_year=full(part.open_year, stories),
        open_sd=part.open_sd,
        weight=full(part.weight, stories),
    )


def newest_columns(mask: Bools, most: int) -> tuple[Ints, Bools]:
    """(S, n) columns of the newest `most` True entries of each row, right-aligned, and which are real."""
    rank = np.cumsum(mask[:, ::-1], axis=1)[:, ::-1]  # 1 for the newest
    count, width = mask.shape
    n = min(most, max(width, 1))
    column = np.full((count, n), -1, dtype=np.int64)
    rows, columns = np.nonzero(mask & (rank <= n))
    column[rows, n - rank[rows, columns]] = columns
    return column, column >= 0


def at(values: npt.NDArray[Entry], column: Ints) -> npt.NDArray[Entry]:
    """Values (S, L[, G]) at columns (S, n); the entries of missing columns are those of column 0."""
    rows = np.arange(len(column))[:, None]
    return np.asarray(values[rows, np.maximum(column, 0)])


def bends(grid: SampleGrid, settings: OilSettings) -> Floats:
    """(S, 5) concentration under which the error of each gas stays constant [uL/L].

    From the largest detection limit that the compartment's reports name, else an ordinary one.
    """
    limit = np.max(np.where(grid.below, grid.gas, 0.0), axis=1)
    limit = np.where(limit > 0, limit, np.array(settings.usual_limit)[None, :])
    return np.asarray(limit * settings.limit_sd_share / settings.laboratory_sd)


def weigh_growth(
    kind: str, readings: Readings, column: Ints, excess: Floats, usual: Floats, growth: Growth, settings: OilSettings
) -> Evidence:
    """Weigh exponential growth of an excess against a sound unit.

    Parameters
    ----------
    excess : (S,) a first estimate of the excess at the newest sample [uL/L of the leading gas]
    usual : (S,) what is usual there [uL/L]
    """
    rows = np.flatnonzero(readings.valid[:, -1] & (excess > 0))
    valid = readings.valid[rows]
    after_repair: Bools = np.asarray(((readings.carried[rows] > 0) & valid).any(axis=1))

    def weigh(block: Ints, n: int) -> Evidence:
        these = rows[block]
        return _weigh(kind, rows_of(readings, these, n), rows_of(growth, these, n), excess[these], settings)

    part, order = in_blocks(weigh, valid, after_repair)
    return scattered(part, rows[order], column, usual)


def _weigh(kind: str, readings: Readings, growth: Growth, excess: Floats, settings: OilSettings) -> Evidence:
    e_fold = DURATIONS / np.log(1.0 / settings.fault_onset)  # [years]
    delta, tau = (a.ravel() for a in np.meshgrid(LEVELS, e_fold, indexing="ij"))
    prior_duration = np.tile(DURATION_WEIGHTS, len(LEVELS))
    power = growth.power
    newest = readings.year[:, -1]
    age = rows_last(newest[:, None] - np.where(readings.valid, readings.year, newest[:, None]))
    by_story = tau[:, None]
    pace = power / by_story + growth.loss  # (P, S) gas held = gas made a year / pace
    kept = 1.0 - (1.0 - settings.residual_share) * np.exp(-pace[:, None] * rows_last(growth.since_reset))
    size = np.exp(delta)[:, None] * excess
    shape = np.exp(-power * age / by_story[:, None]) * kept / kept[:, -1:] * rows_last(growth.rate_ratio)
    made = np.maximum(size / kept[:, -1] * pace, 1e-300)
    log_severity = (np.log(made) - np.log(growth.made_at_limit)) / power
    severity = np.exp(log_severity[:, None] - age / by_story[:, None])
    stories = _Stories(size[:, None] * shape, growth.mix(severity), growth.mix(np.ones(1)))
    total, parts, powers = _totals(readings, stories, settings)
    spread = growth.made_log_sd / power
    begun = _normal_cdf((log_severity - np.log(settings.fault_onset)) / spread)
    step = LEVELS[1] - LEVELS[0]
    prior = growth.yearly_chance * (prior_duration * tau)[:, None] / power * step * begun
    odds, weight, best = odds_of(total[1:] - total[0] + np.log(np.maximum(prior, 1e-300)))
    rows = np.arange(len(best))
    return Evidence(
        kind=kind,
        column=np.empty((0, 0), dtype=np.int64),
        support=_support(parts, powers, best),
        odds=odds,
        severity=np.exp(log_severity[best, rows]),
        excess=size[best, rows],
        usual=np.empty(0),
        carried=readings.carried[:, -1],
        open_year=newest[:, None] - (log_severity * by_story).T,
        open_sd=spread * tau,
        weight=weight,
    )


def odds_of(log_weight: Floats) -> tuple[Floats, Floats, Ints]:
    """(S,) odds of all stories together, (S, P) the share of each, and (S,) the best, from log weights (P, S)."""
    top = log_weight.max(axis=0)
    relative = np.exp(log_weight - top)
    total = relative.sum(axis=0)
    return total * np.exp(np.minimum(top, 200.0)), (relative / total).T, log_weight.argmax(axis=0)


def _totals(readings: Readings, stories: _Stories, settings: OilSettings) -> tuple[Floats, list[Floats], Floats]:
    """Log likelihoods (1 + P, S) of a sound unit and of each story, and the misfit of each sample without an offset.

    The misfits (1 + P, n, S), whose power is given too (n, S), are for K shares of gas left over from an old fault.
    """
    shares = CARRIED if bool((rows_last(readings.carried) > 0)[rows_last(readings.valid)].any()) else CARRIED[:1]
    gases = [_Gas.of(readings, gas, stories) for gas in range(readings.seen.shape[2])]
    precisions = [gas.precision for gas in gases]
    power = power_of(np.sum([precision > 0 for precision in precisions], axis=0), settings)
    totals: list[Floats] = []
    parts: list[Floats] = []
    shared_sd = rows_last(readings.shared_sd)
    level_sd = rows_last(np.where(np.isfinite(readings.level_sd), readings.level_sd, 0.0))
    for offset in OFFSETS:
        error = np.exp(offset * level_sd)
        residuals = ([gas.residual(error, share) for gas in gases] for share in shares)
        tried = (misfit_of(each, precisions, shared_sd, settings) for each in residuals)
        if offset == 0.0:
            parts = list(tried)
            tried = (misfit.copy() for misfit in parts)
        totals.append(reduce(np.maximum, (log_product(misfit, power) for misfit in tried)))
    return log_sum(np.array(totals)), parts, power


def _support(parts: list[Floats], power: Floats, best: Ints) -> Floats:
    """(S, n) log likelihood ratio of each sample under the story `best` (S,) of each row."""
    rows = np.arange(len(best))
    sound = np.array([np.log(misfit[0]) * power for misfit in parts])  # (K, n, S)
    fault = np.array([np.log(misfit[best + 1, :, rows].T) * power for misfit in parts])
    sound_share, fault_share = sound.sum(axis=1).argmax(axis=0), fault.sum(axis=1).argmax(axis=0)
    return np.asarray(fault[fault_share, :, rows] - sound[sound_share, :, rows])


def only_gas(severity: Floats) -> Floats:
    """The mix of a fault that is read from one gas alone."""
    return np.ones((*severity.shape, 1))


def _normal_cdf(z: Floats) -> Floats:
    from scipy.special import ndtr

    return np.asarray(ndtr(z))
