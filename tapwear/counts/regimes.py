"""Changes of regime in places' rates: found, dated, and put into words with their recorded cause."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from tapwear.counts.filter import Floats, Intervals, Ints, log_rate
from tapwear.counts.season import YEAR, harmonics, log_mean_season
from tapwear.counts.settings import RateSettings

LEAST_RATIO = 1.3
"""Smaller changes are drift, not a change of regime (our choice)."""

PENALTY = 9.0
"""Gain in log likelihood that a change must bring (our choice: one false change in about 60 quiet places)."""

MOST_INTERVALS = 300
"""Of longer records neighbouring intervals are taken together (our choice)."""

LEAST_INTERVALS = 4
"""A place with fewer has no regimes to tell apart (our choice)."""

CHUNK_PLACES = 256
"""Places looked at together, so few that they stay in the processor's cache (our choice)."""

CAUSES = {
    "regulator_setting_changed": "the regulator setting was changed",
    "load_transferred": "load was transferred",
    "new_generation": "new generation was connected",
    "paralleled": "paralleling began or ended",
}

WORDS = ((1.8, 2.25, "roughly doubled"), (2.7, 3.4, "roughly tripled"), (0.44, 0.56, "roughly halved"))
"""From which ratio to which a change is told in these words (our choice)."""

REACH_DAYS = 60.0
"""How far outside the two intervals at a change a recorded cause may lie, since the weather blurs the boundary
(our choice). [days]"""


@dataclass(frozen=True)
class Regime:
    """One change of the rate: `on` the likely day, `ratio` of the new rate to the old one, `cause` or ""."""

    on: date
    ratio: float
    cause: str
    words: str


def find_regimes(
    data: Intervals,
    places: Ints,
    cosine: Floats,
    sine: Floats,
    causes: list[list[tuple[date, str]]],
    s: RateSettings,
) -> list[tuple[Regime, ...]]:
    """Changes of regime at each of the places, oldest first.

    The seasonally adjusted log rates are cut into stretches of constant rate by dynamic programming with a
    penalty for each cut (optimal partitioning, Jackson et al. 2005); single odd intervals are pulled in before.
    places, cosine, sine : (p,); causes : recorded events at each place, as (day, kind); one within the boundary's
    reach is named
    """
    found: list[tuple[Regime, ...]] = []
    for first in range(0, len(places), CHUNK_PLACES):
        rows = slice(first, first + CHUNK_PLACES)
        stretches = _stretches(data, places[rows], cosine[rows], sine[rows], s)
        lengths = stretches.length.tolist()
        cuts = _cuts(_pulled_in(stretches), 1.0 / stretches.variance, stretches.length)
        found += [
            _regimes(stretches, row, mine, of_place, lengths[row])
            for row, (mine, of_place) in enumerate(zip(cuts, causes[rows], strict=True))
        ]
    return found


@dataclass(frozen=True)
class _Stretches:
    """Intervals of many places side by side, (p, n); columns from `length` (p,) on are empty."""

    length: Ints
    start: Floats
    stop: Floats
    z: Floats  # seasonally adjusted log rate
    variance: Floats  # of z


def _stretches(data: Intervals, places: Ints, cosine: Floats, sine: Floats, s: RateSettings) -> _Stretches:
    count = data.count[places]
    step = -(-count // MOST_INTERVALS)
    owner = np.repeat(np.arange(len(places)), count)
    at = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    rows = data.begin[places][owner] + at
    heads = np.flatnonzero(at % np.maximum(step, 1)[owner] == 0)
    length = -(-count // np.maximum(step, 1))
    shape = (len(places), max(int(length.max(initial=0)), 1))
    out = [np.zeros(shape), np.zeros(shape), np.zeros(shape), np.ones(shape)]
    if len(heads):
        of = owner[heads]
        start, stop = data.from_day[rows[heads]], data.to_day[rows[np.append(heads[1:], len(rows)) - 1]]
        made = np.add.reduceat(data.operations[rows], heads)
        days = np.add.reduceat(data.exposure[rows], heads)
        z = log_rate(made, days) - log_mean_season(cosine[of], sine[of], harmonics(start, stop))
        variance = s.dispersion / (made + 1.0) + s.weather / days + s.drift * (stop - start) / YEAR + 0.01
        column = np.arange(len(heads)) - (np.cumsum(length) - length)[of]
        for table, values in zip(out, (start, stop, z, variance), strict=True):
            table[of, column] = values
    return _Stretches(length, *out)


def _pulled_in(of: _Stretches) -> Floats:
    """z with every interval that stands alone against both neighbours pulled to the nearer of them."""
    z, spread = of.z, np.sqrt(of.variance)
    low = np.minimum(z[:, :-2], z[:, 2:]) - 2.0 * spread[:, 1:-1]
    high = np.maximum(z[:, :-2], z[:, 2:]) + 2.0 * spread[:, 1:-1]
    inner = np.arange(1, z.shape[1] - 1) < of.length[:, None] - 1
    out = z.copy()
    out[:, 1:-1] = np.where(inner, np.clip(z[:, 1:-1], low, high), z[:, 1:-1])
    return out


def _cuts(z: Floats, weight: Floats, length: Ints) -> list[list[int]]:
    """For each row, the positions at which a new stretch begins; every stretch has at least two intervals.

    The cost of a stretch is half its weighted sum of squares about its mean; the sum of squares about 0 is the same
    however the intervals are cut, and left out.
    """
    places, n = z.shape
    w, wz = np.zeros((2, n + 1, places))
    np.cumsum(weight.T, axis=0, out=w[1:])
    np.cumsum((weight * z * np.sqrt(0.5)).T, axis=0, out=wz[1:])
    best = np.full((n + 1, places), np.inf)  # cost of the best cuts up to there
    best[0] = -PENALTY
    for j in range(2, n + 1):
        best[j] = PENALTY + np.min(best[: j - 1] - (wz[j] - wz[: j - 1]) ** 2 / (w[j] - w[: j - 1]), axis=0)
    cuts: list[list[int]] = [[] for _ in range(places)]
    at = np.where(length >= LEAST_INTERVALS, length, 0)
    while len(some := np.flatnonzero(at)):
        end = at[some]
        with np.errstate(divide="ignore", invalid="ignore"):
            total = best[:, some] - (wz[end, some] - wz[:, some]) ** 2 / (w[end, some] - w[:, some])
        at[some] = np.argmin(np.where(np.arange(n + 1)[:, None] < end - 1, total, np.inf), axis=0)
        for row in some[at[some] > 0].tolist():
            cuts[row].insert(0, int(at[row]))
    return cuts


def _regimes(
    of: _Stretches, row: int, cuts: list[int], causes: list[tuple[date, str]], length: int
) -> tuple[Regime, ...]:
    if not cuts:
        return ()
    z, weight, found = of.z[row], 1.0 / of.variance[row], []

    def mean(part: slice) -> float:
        return float((z[part] * weight[part]).sum() / weight[part].sum())

    for k, cut in enumerate(cuts):
        left = slice(cuts[k - 1] if k else 0, cut)
        right = slice(cut, cuts[k + 1] if k + 1 < len(cuts) else length)
        change = mean(right) - mean(left)
        if abs(change) >= np.log(LEAST_RATIO):
            ratio = float(np.exp(change))
            found.append(_regime(of.start[row, cut - 1], of.start[row, cut], of.stop[row, cut], ratio, causes))
    return tuple(found)


def _day(number: float) -> date:
    return date.fromordinal(date(1970, 1, 1).toordinal() + round(number))


def _regime(
    before: float, begin: float, end: float, ratio: float, causes: list[tuple[date, str]]
) -> Regime:
    """The change between the interval from `before` and the one from `begin` to `end`, with a recorded cause."""
    first, last = _day(before - REACH_DAYS), _day(end + REACH_DAYS)
    near = [(day, kind) for day, kind in causes if first <= day <= last and kind in CAUSES]
    if near:
        on, kind = min(near, key=lambda event: abs((event[0] - _day(begin)).days))
        tail = f"after {CAUSES[kind]} on {on.isoformat()}"
        return Regime(on, ratio, kind, f"rate {_change(ratio)} {tail}")
    on = _day(begin)
    return Regime(on, ratio, "", f"rate {_change(ratio)} around {on:%B %Y}, cause not recorded")


def _change(ratio: float) -> str:
    """A ratio of rates in plain words."""
    for low, high, word in WORDS:
        if low <= ratio <= high:
            return word
    if ratio >= 3.4:
        return f"rose to about {ratio:.0f} times what it was"
    if ratio < 0.1:
        return "fell to almost nothing"
    return f"rose by about {100 * (ratio - 1):.0f} %" if ratio > 1 else f"fell by about {100 * (1 - ratio):.0f} %"
