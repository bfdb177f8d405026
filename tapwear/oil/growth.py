"""How well a growing fault explains the newest samples, against a sound unit with ordinary laboratory error.

Many simple stories are tried for every compartment: an excess of gas that is so large now and grew by a
factor e every so many years. Each is weighed by its likelihood and by how common it is beforehand; the
weights give the odds of a fault and, since each story reaches the limit on some date, the open-by dates.
Errors have heavy tails, so one wild value cannot carry the whole weight.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import reduce
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import numpy.typing as npt

from tapwear.oil.samples import Bools, Floats, Ints, SampleGrid
from tapwear.oil.settings import OilSettings

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Entry = TypeVar("Entry", bound=np.generic)
Record = TypeVar("Record", bound="DataclassInstance")

BLOCK = 200  # rows that are weighed at a time: a few arrays of them fit in 1 MB

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
    open_year, open_sd, weight : (S, P) when each story reaches the limit [years], and its share
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

    seen : (n, S) bent logarithm; below, bend : (n, S); precision : (n, S), 0 where the gas is not known
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
            bend=bend,
            precision=np.where(known, 1.0 / np.square(own_sd), 0.0),
            sound=np.exp(np.where(known, expected, 0.0)),
            carried=rows_last(readings.carried) * stories.carried_mix[0, gas],
            added=added,
        )

    def residual(self, error: Floats, share: float) -> Floats:
        """(1 + P, n, S) on the bent scale, when the usual level is `error` (n, S) times what it seems."""
        residual = bent_log(self.sound * error + share * self.carried + self.added, self.bend)
        np.subtract(self.seen, residual, out=residual)
        return np.where(self.below, np.minimum(residual, 0.0), residual) if self.below.any() else residual


def rows_of(record: Record, rows: Ints) -> Record:
    """The same record of some of its rows: every array cut along its first axis."""
    every: dict[str, Any] = {f.name: getattr(record, f.name) for f in fields(record)}
    part: dict[str, Any] = {k: v[rows] for k, v in every.items() if isinstance(v, np.ndarray)}
    return replace(record, **part)


def rows_last(values: npt.NDArray[Entry]) -> npt.NDArray[Entry]:
    """Values (S, ...) as (..., S): what is worked out for every story goes fastest along the rows."""
    return np.ascontiguousarray(np.moveaxis(values, 0, -1))


def in_blocks(weigh: Callable[[Ints], Evidence], rows: Ints) -> Evidence:
    """Evidence of these rows, weighed so few at a time that what is worked on stays in the processor's own memory."""
    parts = [weigh(rows[start : start + BLOCK]) for start in range(0, max(len(rows), 1), BLOCK)]
    names = [f.name for f in fields(Evidence) if f.name != "kind"]
    joined: dict[str, Any] = {name: np.concatenate([getattr(p, name) for p in parts]) for name in names}
    return replace(parts[0], **joined)


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
        open_sd=full(part.open_sd, stories),
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


def log_density(
    residuals: Sequence[Floats], precisions: Sequence[Floats], shared_sd: Floats, settings: OilSettings
) -> Floats:
    """Log density, up to a constant, of residuals with own and shared errors.

    A multivariate Student's t with covariance diag(1 / precision) + shared_sd^2.

    Parameters
    ----------
    residuals, precisions : one array per gas, that broadcast; a residual whose precision is 0 drops out
    """
    total = np.sum(precisions, axis=0)
    shared = np.where(total > 0, np.square(shared_sd), 0.0)
    distance = np.zeros(np.broadcast_shapes(residuals[0].shape, total.shape))
    common = np.zeros(distance.shape)
    for residual, precision in zip(residuals, precisions, strict=True):
        weighted = precision * residual
        common += weighted
        weighted *= residual
        distance += weighted
    common *= common
    common *= shared / (1.0 + shared * total)
    distance -= common
    np.maximum(distance, 0.0, out=distance)
    nu = settings.tails
    distance /= nu
    np.log1p(distance, out=distance)
    distance *= -0.5 * (nu + np.sum([p > 0 for p in precisions], axis=0))
    return distance


def bent_log(concentration: Floats, bend: Floats) -> Floats:
    """A logarithm that turns into a straight line below `bend`, so that errors keep one size.

    Well above the detection limit an error is a share of the value, near it a constant amount; on this
    scale (the generalised logarithm) both are alike.
    """
    out = np.asarray(np.square(concentration) + np.square(bend))
    np.sqrt(out, out=out)
    out += concentration
    out *= 0.5
    return np.asarray(np.log(out, out=out))


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
    applies = readings.valid[:, -1] & (excess > 0)
    after_repair: Bools = np.asarray((readings.carried > 0).any(axis=1))
    rows = np.flatnonzero(applies)
    rows = rows[np.argsort(after_repair[rows], kind="stable")]  # like rows together: those after a repair take longer

    def weigh(block: Ints) -> Evidence:
        return _weigh(kind, rows_of(readings, block), rows_of(growth, block), excess[block], settings)

    return scattered(in_blocks(weigh, rows), rows, column, usual)


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
    total, parts = _totals(readings, stories, settings)
    spread = growth.made_log_sd / power
    begun = _normal_cdf((log_severity - np.log(settings.fault_onset)) / spread)
    step = LEVELS[1] - LEVELS[0]
    prior = growth.yearly_chance * (prior_duration * tau)[:, None] / power * step * begun
    odds, weight, best = odds_of(total[1:] - total[0] + np.log(np.maximum(prior, 1e-300)))
    rows = np.arange(len(best))
    return Evidence(
        kind=kind,
        column=np.empty((0, 0), dtype=np.int64),
        support=_support(parts, best),
        odds=odds,
        severity=np.exp(log_severity[best, rows]),
        excess=size[best, rows],
        usual=np.empty(0),
        carried=readings.carried[:, -1],
        open_year=newest[:, None] - (log_severity * by_story).T,
        open_sd=np.broadcast_to(spread * tau, weight.shape),
        weight=weight,
    )


def odds_of(log_weight: Floats) -> tuple[Floats, Floats, Ints]:
    """(S,) odds of all stories together, (S, P) the share of each, and (S,) the best, from log weights (P, S)."""
    top = log_weight.max(axis=0)
    relative = np.exp(log_weight - top)
    total = relative.sum(axis=0)
    return total * np.exp(np.minimum(top, 200.0)), (relative / total).T, log_weight.argmax(axis=0)


def _totals(readings: Readings, stories: _Stories, settings: OilSettings) -> tuple[Floats, Floats]:
    """Log likelihoods (1 + P, S) of a sound unit and of each story, and both per sample without an offset.

    The per-sample part, (K, 1 + P, n, S), is for K shares of gas left over from an old fault.
    """
    shares = CARRIED if bool((readings.carried > 0).any()) else CARRIED[:1]
    gases = [_Gas.of(readings, gas, stories) for gas in range(readings.seen.shape[2])]
    precisions = [gas.precision for gas in gases]
    totals, parts = [], np.empty(0)
    shared_sd = rows_last(readings.shared_sd)
    level_sd = rows_last(np.where(np.isfinite(readings.level_sd), readings.level_sd, 0.0))
    for offset in OFFSETS:
        error = np.exp(offset * level_sd)
        residuals = ([gas.residual(error, share) for gas in gases] for share in shares)
        tried = [log_density(each, precisions, shared_sd, settings) for each in residuals]
        totals.append(np.max([p.sum(axis=1) for p in tried], axis=0))
        if offset == 0.0:
            parts = np.array(tried)
    return reduce(np.logaddexp, totals), parts


def _support(parts: Floats, best: Ints) -> Floats:
    """(S, n) log likelihood ratio of each sample under the story `best` (S,) of each row."""
    rows = np.arange(len(best))
    sound = np.moveaxis(parts[:, 0], -1, 0)  # (S, K, n)
    fault = parts[:, best + 1, :, rows]
    sound_share, fault_share = sound.sum(axis=2).argmax(axis=1), fault.sum(axis=2).argmax(axis=1)
    return np.asarray(fault[rows, fault_share] - sound[rows, sound_share])


def only_gas(severity: Floats) -> Floats:
    """The mix of a fault that is read from one gas alone."""
    return np.ones((*severity.shape, 1))


def _normal_cdf(z: Floats) -> Floats:
    from scipy.special import ndtr

    return np.asarray(ndtr(z))
