"""The count of a series between any two days: read between visits, forecast after the last one.

Operations from day a to day b are a part that was read (with the uncertainty of interpolation) plus a part
that is forecast: log-normal in the middle, with tails of Student's t, scaled by the fleet's own past errors.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tapwear.counts.ahead import carried_years, log_variance
from tapwear.counts.exposure import CountSeries
from tapwear.counts.filter import Floats, Ints
from tapwear.counts.places import NEVER
from tapwear.counts.season import YEAR, season_integral
from tapwear.counts.settings import RateSettings
from tapwear.counts.spread import Spread, tail_quantile

if TYPE_CHECKING:
    from tapwear.counts.rate import RateModel

def visit_before(series: CountSeries, rows: Ints, day: Floats) -> Ints:
    """Position of the last visit on or before `day` within each series, -1 where there is none."""
    low = np.full(len(rows), -1)
    high = series.count[rows] - 1
    start = series.begin[rows]
    while (low < high).any():
        middle = (low + high + 1) // 2
        take = (middle > low) & (series.day[np.minimum(start + middle, len(series.day) - 1)] <= day)
        high = np.where((low < high) & ~take, middle - 1, high)
        low = np.where((low < high) & take, middle, low)
    return low


def read_count(model: RateModel, rows: Ints, day: Floats) -> tuple[Floats, Floats]:
    """Cumulative operations at `day` and their standard error; `day` is not after the last visit.

    Between visits the count follows the season; before the first visit it is what it was there.
    """
    series = model.series
    total = np.zeros(len(rows))
    variance = np.zeros(len(rows))
    at = visit_before(series, rows, day)
    early = np.flatnonzero((at < 0) & (series.count[rows] > 0))
    total[early] = series.operations[series.begin[rows[early]]]
    inside = np.flatnonzero(at >= 0)
    r, t = rows[inside], day[inside]
    left = series.begin[r] + at[inside]
    right = np.minimum(left + 1, series.begin[r] + series.count[r] - 1)
    a, b = series.day[left], series.day[right]
    made = series.operations[right] - series.operations[left]
    place = series.place[r]
    grown = season_integral(model.season, place, t) - season_integral(model.season, place, a)
    whole = season_integral(model.season, place, b) - season_integral(model.season, place, a)
    share = np.where(b > a, grown / np.where(b > a, whole, 1.0), 0.0)
    total[inside] = series.operations[left] + share * made
    variance[inside] = share * (1 - share) * _span_variance(model.settings, made, b - a)
    return total, np.sqrt(variance)


def _span_variance(s: RateSettings, made: Floats, days: Floats) -> Floats:
    """Four times the variance of the count halfway between two visits that many days apart."""
    days = np.maximum(days, 1.0)
    return made**2 * (s.weather / days + s.drift * days / YEAR / 3) + s.dispersion * made


def chance_when_read(model: RateModel, rows: Ints, from_day: Floats, operations: Floats) -> Floats:
    """More than the chance that so many operations were made since from_day by any day up to the last visit, (n,).

    Between visits the count is not above that of the last one, and its error not above that halfway through the span
    whose error is widest. 1 where this tells nothing: without a visit, since a day before the first one, or where the
    count has a second explanation.
    """
    series = model.series
    spans = np.maximum(series.count[rows] - 1, 0)
    each = np.repeat(np.arange(len(rows)), spans)
    left = np.arange(len(each)) + np.repeat(series.begin[rows] - np.cumsum(spans) + spans, spans)
    made, days = (values[left + 1] - values[left] for values in (series.operations, series.day))
    widest = np.zeros(len(rows))
    np.maximum.at(widest, each, 0.25 * _span_variance(model.settings, made, days))
    seen = series.count[rows] > 0
    read, variance, back, _ = read_since(model, rows, from_day)
    none = np.zeros(len(rows))
    chance = Spread(read, np.sqrt(variance + widest), none, none, none).chance_at_least(operations)
    return np.where(seen & (back <= 0) & (model.alternatives.count[rows] == 0), chance, 1.0)


BOUND_VARIANCE = 0.02
"""Of the logarithm of operations that a counter's own number bounds (our choice)."""


def made_before(model: RateModel, rows: Ints, from_day: Floats, to_day: Floats) -> tuple[Floats, Floats]:
    """Operations from from_day up to the first visit (or to_day if sooner), and the variance of their logarithm.

    Carried back at the rate of the first two years read, or of the place where less than a month was read;
    nothing before commissioning.
    """
    series, s = model.series, model.settings
    first = series.day[np.minimum(series.begin[rows], len(series.day) - 1)]
    born = series.commissioned[rows]
    start = np.where(born > from_day, np.minimum(born, first), from_day)
    days = np.clip(np.minimum(first, to_day) - start, 0.0, None)
    able = np.where(np.isfinite(born), model.most[rows], np.inf)
    later = series.begin[rows] + np.maximum(visit_before(series, rows, first + 2 * YEAR), 0)
    span = series.day[later] - first
    own = (series.operations[later] - series.operations[series.begin[rows]] + 0.5) / np.maximum(span, 1.0)
    place = series.place[rows]
    measured = span >= 30.0
    rate = np.where(measured, own, np.exp(model.mean[place, 0]))
    variance = np.where(measured, 0.02 + s.weather / np.maximum(span, 1.0), model.cov[place, 0])
    bound = able / np.maximum(first - np.where(np.isfinite(born), born, 0.0), 1.0)
    made = np.where(np.isfinite(able), bound, rate) * days
    return made, np.where(np.isfinite(able), np.minimum(variance, BOUND_VARIANCE), variance) + s.drift * days / YEAR


Read = tuple[Floats, Floats, Floats, Floats]
"""Operations read between two days and their variance, and those before the first visit, as made_before."""


def read_since(model: RateModel, rows: Ints, from_day: Floats) -> Read:
    """What is read from from_day up to the last visit, which operations_between needs whatever its to_day."""
    return _read_between(model, rows, from_day, _last_visit(model, rows))


def operations_between(
    model: RateModel, rows: Ints, from_day: Floats, to_day: Floats, known: Read | None = None, world: int = 0
) -> Spread:
    """Operations of each series from the end of from_day to the end of to_day. [days since 1970-01-01]

    rows, from_day : (n,), or (n, 1) where each has several days; to_day : (n,), or (n, days) or (1, days)
    known : read_since, where the caller has it
    world : which of the alternatives of each series hold, see alternatives.Alternatives; 0: none
    """
    series = model.series
    shape = np.broadcast_shapes(rows.shape, to_day.shape)
    last = _last_visit(model, rows)
    read, read_var, back, back_var = known or read_since(model, rows, from_day)
    born = series.commissioned[rows]
    from_day = np.where((last == -NEVER) & (born > from_day), born, from_day)
    if np.min(to_day, initial=NEVER) < np.max(last, initial=-NEVER):
        early = np.nonzero(np.broadcast_to((from_day < last) & (to_day < last), shape))
        r = np.broadcast_to(rows, shape)[early]
        a, b = np.broadcast_to(from_day, shape)[early], np.broadcast_to(to_day, shape)[early]
        settled = [np.broadcast_to(values, shape).copy() for values in (read, read_var, back, back_var)]
        for table, values in zip(settled, _read_between(model, r, a, np.maximum(b, a)), strict=True):
            table[early] = values
        read, read_var, back, back_var = settled
    start = np.maximum(from_day, last)
    stop = to_day if np.max(start, initial=-NEVER) <= np.min(to_day, initial=NEVER) else np.maximum(to_day, start)

    came = np.maximum(series.since[rows], start)
    before = np.flatnonzero(came > start)
    moved = np.minimum(came, stop) if len(before) else start
    middle, variance = _forecast(model, rows, series.place[rows], moved, stop)
    middle = np.where(series.stopped[rows], 0.0, middle)
    if len(before):
        r = rows[before]
        place = series.place_before[r]
        there, var_there = _forecast(model, r, np.maximum(place, 0), start[before], moved[before])
        there = np.where(place >= 0, there, 0.0)
        both = middle[before] + there
        weight = middle[before] / np.maximum(both, 1e-12)
        middle[before] = both
        variance[before] = weight**2 * variance[before] + (1 - weight) ** 2 * var_there
    if back.any():
        both = middle + back
        weight = middle / np.maximum(both, 1e-12)
        middle = both
        variance = (weight * np.sqrt(variance) + (1 - weight) * np.sqrt(back_var)) ** 2
    if world:
        read, read_var, middle = _in_world(model, rows, from_day, to_day, world, (read, read_var, middle))
    spread = np.sqrt(variance) * model.evenness[series.place[rows]]
    tilt, low, high = model.calibration.at(model.cadence[rows], stop - start)
    middle = middle * np.exp(tilt * spread)
    read_sd = np.sqrt(read_var)
    wider = (read_sd / np.maximum(middle + read_sd, 1e-9)) ** 2
    low, high = np.sqrt((spread * low) ** 2 + wider), np.sqrt((spread * high) ** 2 + wider)
    return Spread(read, read_sd, middle, low, high)


def _in_world(
    model: RateModel, rows: Ints, from_day: Floats, to_day: Floats, world: int, plain: tuple[Floats, Floats, Floats]
) -> tuple[Floats, Floats, Floats]:
    """Operations read, their variance and the middle of those forecast, where the alternatives of a world hold."""
    read, variance, middle = plain
    shape = np.broadcast_shapes(rows.shape, from_day.shape, to_day.shape)
    for have, (begin, end, extra, sd, factor, _) in model.alternatives.holding(rows, world):
        span = np.minimum(end, to_day) - np.maximum(begin, from_day)
        share = np.clip(span / np.maximum(end - begin, 1.0), 0.0, 1.0) * have
        more = np.zeros(shape)
        some = np.nonzero(np.broadcast_to(have & (factor != 1.0), shape))
        if len(some[0]):
            r, a, b, first = (np.broadcast_to(values, shape)[some] for values in (rows, from_day, to_day, begin))
            last = _last_visit(model, r)
            since, until = np.minimum(np.maximum(a, first), last), np.minimum(np.maximum(b, first), last)
            made = read_count(model, r, until)[0] - read_count(model, r, since)[0]
            scale = np.broadcast_to(factor, shape)[some]
            more[some] = np.maximum(made, 0.0) * (scale - 1.0)
            middle = np.broadcast_to(middle, shape).copy()
            middle[some] *= np.where(b > first, scale, 1.0)
        read = np.maximum(read + share * extra + more, 0.0)
        variance = variance + (share * sd) ** 2
    return read, variance, middle


def _of_rows(true: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which rows hold, given one column or several alike."""
    return true if true.ndim == 1 else np.asarray(true[:, 0])


def made_chance(
    model: RateModel, rows: Ints, from_day: Floats, to_day: Floats, operations: Floats, known: Read | None = None
) -> Floats:
    """Chance that at least so many operations are made, over all alternatives; arguments as in operations_between."""
    chance = operations_between(model, rows, from_day, to_day, known).chance_at_least(operations)
    count = model.alternatives.count[rows]
    some = np.flatnonzero(_of_rows(count > 0))
    if not len(some):
        return chance

    def part(values: Floats) -> Floats:
        return values[some] if values.shape[:1] == rows.shape[:1] else values

    r, a, b, need = rows[some], part(from_day), part(to_day), part(operations)
    mine = None if known is None else (part(known[0]), part(known[1]), part(known[2]), part(known[3]))
    whole = model.alternatives.weight(r, 0) * chance[some]
    for world in range(1, model.alternatives.worlds(r)):
        weight = model.alternatives.weight(r, world)
        whole = whole + weight * operations_between(model, r, a, b, mine, world).chance_at_least(need)
    chance[some] = whole
    return chance


def made_quantiles(model: RateModel, rows: Ints, from_day: Floats, to_day: Floats, probs: Floats) -> Floats:
    """Quantiles of the operations made, over all alternatives, shape (n, probabilities); days and rows (n,)."""
    out = operations_between(model, rows, from_day, to_day).quantiles(probs)
    some = np.flatnonzero(model.alternatives.count[rows] > 0)
    if not len(some):
        return out
    r, a, b = rows[some], from_day[some], to_day[some]
    each = [out[some]]
    for world in range(1, model.alternatives.worlds(r)):
        there = operations_between(model, r, a, b, None, world).quantiles(probs)
        each.append(np.where(model.alternatives.weight(r, world)[:, None] > 0, there, out[some]))
    low, high = np.min(each, axis=0), np.max(each, axis=0)
    for _ in range(QUANTILE_STEPS):
        middle = 0.5 * (low + high)
        below = np.stack(
            [1.0 - made_chance(model, r, a, b, middle[:, k]) < p for k, p in enumerate(probs.tolist())], axis=1
        )
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    out[some] = high
    return out


QUANTILE_STEPS = 24
"""Halvings between the quantiles of the alternatives: to a ten-millionth of what lies between them."""


def _last_visit(model: RateModel, rows: Ints) -> Floats:
    """Day of the last visit, -NEVER where there is none."""
    return np.where(model.series.count[rows] > 0, model.last_day[rows], -NEVER)


def _read_between(model: RateModel, rows: Ints, from_day: Floats, to_day: Floats) -> Read:
    """What is read over (from_day, to_day], not after the last visit; nothing where from_day is not before to_day."""
    read, read_var, back, back_var = np.zeros((4, *rows.shape))
    past = np.nonzero(from_day < to_day)
    if len(past[0]):
        r, a, b = rows[past], from_day[past], to_day[past]
        end, end_sd = read_count(model, r, b)
        begin, begin_sd = read_count(model, r, a)
        read[past] = np.maximum(end - begin, 0.0)
        read_var[past] = end_sd**2 + begin_sd**2
        back[past], back_var[past] = made_before(model, r, a, b)
    return read, read_var, back, back_var


def _forecast(model: RateModel, rows: Ints, place: Ints, start: Floats, stop: Floats) -> tuple[Floats, Floats]:
    """Median operations over (start, stop] at the place's rate, and the variance of their logarithm.

    rows, place, start, stop : as in operations_between
    """
    series, s = model.series, model.settings
    table = model.season
    span = stop - start
    served = season_integral(table, place, stop) - season_integral(table, place, start)
    left = span.copy()
    idle = np.flatnonzero(series.idle_to[rows] > series.idle_from[rows])
    if len(idle):
        r, at, end = rows[idle], place[idle], np.broadcast_to(stop, span.shape)[idle]
        off = np.clip(series.idle_from[r], start[idle], end)
        on = np.clip(series.idle_to[r], off, end)
        served[idle] -= season_integral(table, at, on) - season_integral(table, at, off)
        left[idle] -= on - off
    stopping = np.flatnonzero(_of_rows(model.stops.row[place] >= 0))
    if len(stopping):
        r, a, b = place[stopping], start[stopping], np.broadcast_to(stop, span.shape)[stopping]
        still = model.stops.between(r, a, np.maximum(b, a)) / np.maximum(b - a, 1.0)
        served[stopping] *= 1.0 - np.clip(still, 0.0, 0.95)
    if model.factor != 1.0:
        changed = np.clip(model.factor_from, start, stop)
        late = season_integral(table, place, stop) - season_integral(table, place, changed)
        served = served + (model.factor - 1.0) * late
    left = np.maximum(left, 1e-9)
    lost = np.zeros(span.shape)
    away = np.flatnonzero(series.off[rows])
    if len(away):
        lost[away] = _lost(model, np.broadcast_to(stop, span.shape)[away]) - _lost(model, start[away])
        served[away] *= np.clip(1.0 - lost[away] / left[away], 0.0, 1.0)
    days = np.maximum(left - lost, 1.0)
    ahead = np.clip(start - model.rate_day[place], 0.0, 40 * YEAR)
    middle = np.exp(model.mean[place, 0]) * np.maximum(served, 0.0)
    middle *= np.exp(model.mean[place, 3] * carried_years(ahead + 0.5 * span))
    variance = log_variance(model.cov[place], ahead, start, stop, days, middle, s)
    variance = variance + np.where(series.changed[rows], s.event_chance * s.event_size**2, 0.0)
    if len(away):
        variance = variance + (lost / (2.0 * days + 30.0)) ** 2
    return middle, variance


def _lost(model: RateModel, day: Floats) -> Floats:
    """Days that a unit now out of service is expected to lose from as_of to `day`: it returns at random."""
    mean = model.settings.idle_days
    return -mean * np.expm1(-np.maximum(day - model.today, 0.0) / mean)


def cumulative(model: RateModel, rows: Ints, day: Floats) -> Floats:
    """Cumulative operations of each series on each day, 10, 50 and 90 %, shape (n, 3). [operations]"""
    series = model.series
    probs = np.array([0.1, 0.5, 0.9])
    z = tail_quantile(probs)
    out = np.zeros((len(rows), 3))
    last = model.last_day[rows]
    never = ~np.isfinite(last)
    origin = np.where(np.isfinite(series.commissioned[rows]), series.commissioned[rows], day)
    start = np.where(never, np.minimum(origin, day), np.minimum(np.nan_to_num(last), day))
    ahead = operations_between(model, rows, start, day).quantiles(probs)
    out += ahead
    read = np.flatnonzero(~never)
    if len(read):
        total, sd = read_count(model, rows[read], np.minimum(day, last)[read])
        past = day[read] <= last[read]
        back, back_var = made_before(model, rows[read], day[read], np.full(len(read), NEVER))
        out[read] = np.where(past[:, None], 0.0, ahead[read]) + total[:, None] + sd[:, None] * z[None, :]
        out[read] -= back[:, None] * np.exp(-np.sqrt(back_var)[:, None] * z[None, :])
    return out
