"""How well a growing fault explains the newest samples, against a sound unit with ordinary laboratory error.

Many simple stories are tried for every compartment: an excess of gas that is so large now and grew by a
factor e every so many years. Each is weighed by its likelihood and by how common it is beforehand; the
weights give the odds of a fault and, since each story reaches the limit on some date, the open-by dates.
Errors have heavy tails, so one wild value cannot carry the whole weight.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from tapwear.oil.samples import Bools, Floats, Ints, SampleGrid
from tapwear.oil.settings import OilSettings

Entry = TypeVar("Entry", bound=np.generic)

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
    """extra : (S, n, P) leading gas [uL/L]; mix : (S, n, P, G); carried_mix : (1, G)."""

    extra: Floats
    mix: Floats
    carried_mix: Floats


Record = TypeVar("Record", Readings, Growth)


def _only(record: Record, applies: Bools) -> Record:
    """The rows of a record that `applies` (S,) names."""
    every: dict[str, Any] = {f.name: getattr(record, f.name) for f in fields(record)}
    part: dict[str, Any] = {k: v[applies] for k, v in every.items() if isinstance(v, np.ndarray)}
    return replace(record, **part)


def scattered(part: Evidence, applies: Bools, column: Ints, usual: Floats) -> Evidence:
    """Evidence of the rows that `applies` (S,) names as evidence of all rows; the others show nothing."""

    def full(values: Floats, shape: tuple[int, ...]) -> Floats:
        out = np.zeros((len(applies), *shape))
        out[applies] = values
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


def _joined(one: Evidence, other: Evidence, use_other: Bools) -> Evidence:
    """Evidence with the rows that `use_other` (S,) names taken from the other."""
    rows = {f.name: getattr(other, f.name) for f in fields(one) if f.name != "kind"}
    joined: dict[str, Any] = {}
    for name, values in rows.items():
        joined[name] = getattr(one, name).copy()
        joined[name][use_other] = values[use_other]
    return replace(one, **joined)


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


def log_density(residual: Floats, own_sd: Floats, shared_sd: Floats, known: Bools, settings: OilSettings) -> Floats:
    """Log density, up to a constant, of residuals over the last axis with own and shared errors.

    A multivariate Student's t with covariance diag(own^2) + shared^2; entries that are not known drop out.
    """
    precision = np.where(known, 1.0 / np.square(own_sd), 0.0)
    clean = np.where(known, residual, 0.0)
    first = (precision * np.square(clean)).sum(axis=-1)
    second = np.square((precision * clean).sum(axis=-1))
    total = precision.sum(axis=-1)
    shared = np.where(total > 0, np.square(shared_sd), 0.0)
    distance = first - second * shared / (1.0 + shared * total)
    n = known.sum(axis=-1)
    nu = settings.tails
    return np.asarray(-0.5 * (nu + n) * np.log1p(np.maximum(distance, 0.0) / nu))


def _story_likelihood(
    readings: Readings, added: Floats, carried: Floats, offset: float, settings: OilSettings
) -> Floats:
    """(S, n, P) log density of each sample when gases `added` (S, n, P, G) and `carried` (S, n, G) come in."""
    sound = np.exp(readings.expected + offset * readings.level_sd[:, :, None]) + carried
    predicted = sound[:, :, None, :] + added
    bend = readings.bend[:, :, None, :]
    residual = bent_log(readings.seen[:, :, None, :], bend) - bent_log(predicted, bend)
    residual = np.where(readings.below[:, :, None, :], np.minimum(residual, 0.0), residual)
    known = np.isfinite(residual) & readings.valid[:, :, None, None]
    return log_density(residual, readings.own_sd[:, :, None, :], readings.shared_sd[:, :, None], known, settings)


def bent_log(concentration: Floats, bend: Floats) -> Floats:
    """A logarithm that turns into a straight line below `bend`, so that errors keep one size.

    Well above the detection limit an error is a share of the value, near it a constant amount; on this
    scale (the generalised logarithm) both are alike.
    """
    return np.asarray(np.log(0.5 * (concentration + np.sqrt(np.square(concentration) + np.square(bend)))))


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
    after_repair = applies & (readings.carried > 0).any(axis=1)
    plain, repaired = (
        scattered(_weigh(kind, _only(readings, rows), _only(growth, rows), excess[rows], settings), rows, column, usual)
        for rows in (applies & ~after_repair, after_repair)
    )
    return _joined(plain, repaired, after_repair)


def _weigh(kind: str, readings: Readings, growth: Growth, excess: Floats, settings: OilSettings) -> Evidence:
    e_fold = DURATIONS / np.log(1.0 / settings.fault_onset)  # [years]
    delta, tau = (a.ravel() for a in np.meshgrid(LEVELS, e_fold, indexing="ij"))
    prior_duration = np.tile(DURATION_WEIGHTS, len(LEVELS))
    power = growth.power
    newest = readings.year[:, -1]
    age = newest[:, None] - np.where(readings.valid, readings.year, newest[:, None])
    pace = power / tau[None, :] + growth.loss[:, None]  # (S, P) gas held = gas made a year / pace
    kept = 1.0 - (1.0 - settings.residual_share) * np.exp(-pace[:, None, :] * growth.since_reset[..., None])
    size = np.exp(delta)[None, :] * excess[:, None]
    shape = np.exp(-power * age[..., None] / tau) * kept / kept[:, -1:, :] * growth.rate_ratio[..., None]
    made = np.maximum(size / kept[:, -1, :] * pace, 1e-300)
    log_severity = (np.log(made) - np.log(growth.made_at_limit)[:, None]) / power
    severity = np.exp(log_severity[:, None, :] - age[..., None] / tau)
    stories = _Stories(size[:, None, :] * shape, growth.mix(severity), growth.mix(np.ones(1)))
    sound_total, fault_total, parts = _totals(readings, stories, settings)
    spread = growth.made_log_sd / power
    begun = _normal_cdf((log_severity - np.log(settings.fault_onset)) / spread)
    step = LEVELS[1] - LEVELS[0]
    prior = growth.yearly_chance * prior_duration * tau / power * step * begun
    log_weight = fault_total - sound_total[:, None] + np.log(np.maximum(prior, 1e-300))
    top = log_weight.max(axis=1, keepdims=True)
    relative = np.exp(log_weight - top)
    odds = relative.sum(axis=1) * np.exp(np.minimum(top[:, 0], 200.0))
    weight = relative / relative.sum(axis=1, keepdims=True)
    best = log_weight.argmax(axis=1)
    rows = np.arange(len(best))
    return Evidence(
        kind=kind,
        column=np.empty((0, 0), dtype=np.int64),
        support=_support(parts, best),
        odds=odds,
        severity=np.exp(log_severity[rows, best]),
        excess=size[rows, best],
        usual=np.empty(0),
        carried=readings.carried[:, -1],
        open_year=newest[:, None] - log_severity * tau,
        open_sd=np.broadcast_to(spread * tau, log_severity.shape),
        weight=weight,
    )


def _totals(
    readings: Readings, stories: _Stories, settings: OilSettings
) -> tuple[Floats, Floats, tuple[Floats, Floats]]:
    """Log likelihoods of a sound unit (S,) and of each story (S, P), and both per sample without an offset.

    The per-sample parts, (K, S, n) and (K, S, n, P), are for K shares of gas left over from an old fault.
    """
    shares = CARRIED if bool((readings.carried > 0).any()) else CARRIED[:1]
    extra = stories.extra
    added = stories.mix * extra[..., None]
    nothing = np.zeros_like(added[:, :, :1])
    sound_total = np.full(len(extra), -np.inf)
    fault_total = np.full((len(extra), extra.shape[2]), -np.inf)
    parts: tuple[Floats, Floats] = (np.empty(0), np.empty(0))
    for offset in OFFSETS:
        sound, fault = [], []
        for share in shares:
            carried = share * readings.carried[:, :, None] * stories.carried_mix
            sound.append(_story_likelihood(readings, nothing, carried, offset, settings)[:, :, 0])
            fault.append(_story_likelihood(readings, added, carried, offset, settings))
        sound_total = np.logaddexp(sound_total, np.max([p.sum(axis=1) for p in sound], axis=0))
        fault_total = np.logaddexp(fault_total, np.max([p.sum(axis=1) for p in fault], axis=0))
        if offset == 0.0:
            parts = (np.array(sound), np.array(fault))
    return sound_total, fault_total, parts


def _support(parts: tuple[Floats, Floats], best: Ints) -> Floats:
    """(S, n) log likelihood ratio of each sample under the story `best` (S,) of each row."""
    sound, fault = parts
    rows = np.arange(len(best))
    chosen = np.array([p[rows, :, best] for p in fault])
    sound_share = sound.sum(axis=2).argmax(axis=0)
    fault_share = chosen.sum(axis=2).argmax(axis=0)
    return np.asarray(chosen[fault_share, rows] - sound[sound_share, rows])


def only_gas(severity: Floats) -> Floats:
    """The mix of a fault that is read from one gas alone."""
    return np.ones((*severity.shape, 1))


def _normal_cdf(z: Floats) -> Floats:
    from scipy.special import ndtr

    return np.asarray(ndtr(z))
