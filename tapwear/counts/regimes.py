"""Changes of regime in one place's rate: found, dated, and put into words with their recorded cause."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from tapwear.counts.filter import Floats, Intervals, log_rate
from tapwear.counts.season import YEAR, harmonics, log_mean_season
from tapwear.counts.settings import RateSettings

LEAST_RATIO = 1.3
"""Smaller changes are drift, not a change of regime (our choice)."""

PENALTY = 9.0
"""Gain in log likelihood that a change must bring (our choice: one false change in about 60 quiet places)."""

MOST_INTERVALS = 300
"""Of longer records neighbouring intervals are taken together (our choice)."""

CAUSES = {
    "regulator_setting_changed": "the regulator setting was changed",
    "load_transferred": "load was transferred",
    "new_generation": "new generation was connected",
    "paralleled": "paralleling began or ended",
}


WORDS = ((1.8, 2.25, "roughly doubled"), (2.7, 3.4, "roughly tripled"), (0.44, 0.56, "roughly halved"))

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
    place: int,
    cosine: float,
    sine: float,
    causes: list[tuple[date, str]],
    s: RateSettings,
) -> tuple[Regime, ...]:
    """Changes of regime at one place, oldest first.

    The seasonally adjusted log rates are cut into stretches of constant rate by dynamic programming with a
    penalty for each cut (optimal partitioning, Jackson et al. 2005); single odd intervals are pulled in before.
    causes : recorded events at the place, as (day, kind); one within the boundary's reach is named
    """
    first, n = int(data.begin[place]), int(data.count[place])
    if n < 4:
        return ()
    heads = np.arange(0, n, -(-n // MOST_INTERVALS))
    here = slice(first, first + n)
    start, stop = data.from_day[here][heads], data.to_day[here][np.append(heads[1:], n) - 1]
    made, days = np.add.reduceat(data.operations[here], heads), np.add.reduceat(data.exposure[here], heads)
    shape = log_mean_season(np.full(len(heads), cosine), np.full(len(heads), sine), harmonics(start, stop))
    z = log_rate(made, days) - shape
    variance = s.dispersion / (made + 1.0) + s.weather / days + s.drift * (stop - start) / YEAR + 0.01
    cuts = _cut(_pulled_in(z, np.sqrt(variance)), 1.0 / variance)
    found = []
    for k, cut in enumerate(cuts):
        left = slice(cuts[k - 1] if k else 0, cut)
        right = slice(cut, cuts[k + 1] if k + 1 < len(cuts) else len(z))
        change = float(np.average(z[right], weights=1 / variance[right]))
        change -= float(np.average(z[left], weights=1 / variance[left]))
        if abs(change) >= np.log(LEAST_RATIO):
            found.append(_regime(start[cut - 1], start[cut], stop[cut], float(np.exp(change)), causes))
    return tuple(found)


def _pulled_in(z: Floats, spread: Floats) -> Floats:
    """z with every interval that stands alone against both neighbours pulled to the nearer of them."""
    out = z.copy()
    low = np.minimum(z[:-2], z[2:]) - 2.0 * spread[1:-1]
    high = np.maximum(z[:-2], z[2:]) + 2.0 * spread[1:-1]
    out[1:-1] = np.clip(z[1:-1], low, high)
    return out


def _cut(z: Floats, weight: Floats) -> list[int]:
    """Positions at which a new stretch begins; every stretch has at least two intervals."""
    n = len(z)
    w = np.concatenate([[0.0], np.cumsum(weight)])
    wz = np.concatenate([[0.0], np.cumsum(weight * z)])
    wzz = np.concatenate([[0.0], np.cumsum(weight * z * z)])
    best = np.full(n + 1, np.inf)
    best[0] = -PENALTY
    came = np.zeros(n + 1, np.int64)
    for j in range(2, n + 1):
        i = np.arange(0, j - 1)
        mass = w[j] - w[i]
        cost = 0.5 * (wzz[j] - wzz[i] - (wz[j] - wz[i]) ** 2 / mass)
        total = best[i] + cost + PENALTY
        came[j] = int(np.argmin(total))
        best[j] = float(total[came[j]])
    cuts: list[int] = []
    j = n
    while came[j] > 0:
        j = int(came[j])
        cuts.append(j)
    return cuts[::-1]


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
