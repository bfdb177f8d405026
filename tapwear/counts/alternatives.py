"""What the readings leave open about operations already made: second explanations, kept until something decides.

A counter that stood still and went on (at rest, or stuck?), a new counter that shows half the rate of the old one (half
the work, or every second operation?), and what the cleaning left open: the latest reading, and far more operations than
usual in one interval (made, or counter exchanged?). Each changes the operations between two days; the count since a
service and the dates are mixtures over them (model.md, open questions).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tapwear.counts.exposure import CountSeries
from tapwear.counts.filter import Floats, Intervals, Ints, Levels, pick_places, run_filter
from tapwear.counts.places import NEVER, day_number
from tapwear.counts.season import YEAR, harmonics, log_mean_season
from tapwear.counts.settings import RateSettings

MOST = 3
"""Alternatives of one series that are carried at once, the weightiest; their combinations are weighed (our choice)."""

LOW = -2.5
"""Standardised innovation below which an interval is looked at (our choice)."""

SHORT = 0.7
"""Share of the expected operations below which an interval belongs to the standstill before it (our choice)."""

STILL_SURE, SLOW_SURE, HALF_STILL, AT_REST = -3.5, -4.5, 0.5, 0.15
"""What a standstill must be: so many standard deviations below what was expected (more where it is
the newest interval and the counter moved), at most so large a share of it, and
between its first and last interval so small a share (our choice)."""

FLANK = 0.85
"""An interval beside a standstill belongs to it when it holds less than this share of what was expected."""

WORTH = 0.03
"""Alternatives that move the count by less than this share of a year's operations are not kept (our choice)."""

LEAST = 0.05
"""Nor are those less likely than this (our choice)."""

STUCK = 0.6
"""Chance that a first standstill was a stuck counter; the n-th of a counter has 2 / (n + 1) of it: a unit that stands
still often does so for a reason (our choice)."""

LOOSE = 2.0
"""What a stuck counter missed is guessed from both sides, and less surely than a forecast would be (our choice)."""

HALF_COUNTED = 0.12
"""Chance that a new counter counts every second operation, before its readings are looked at (our choice)."""


class Alternative(NamedTuple):
    """One second explanation.

    row : of the series. begin, end : days between which the operations are in question [days since 1970-01-01]
    extra, sd : operations that it adds between them, and their standard error
    factor : on the operations after `begin`; 1 where it leaves the rate as it is
    chance : that it is so. words : the question, plainly
    """

    row: int
    begin: float
    end: float
    extra: float
    sd: float
    factor: float
    chance: float
    words: str


@dataclass(frozen=True)
class Alternatives:
    """Those of all series, by row; see `Alternative`. `first`, `count` : of each series."""

    rows: tuple[Alternative, ...]
    first: Ints
    count: Ints

    @classmethod
    def of(cls, found: list[Alternative], series: int) -> Alternatives:
        """The weightiest `MOST` of each series."""
        kept: list[Alternative] = []
        mine: dict[int, list[Alternative]] = {}
        for one in found:
            mine.setdefault(one.row, []).append(one)
        count = np.zeros(series, np.int64)
        for row in sorted(mine):
            best = sorted(mine[row], key=lambda one: -abs(one.extra) * one.chance * (1.0 - one.chance))[:MOST]
            kept += sorted(best, key=lambda one: one.begin)
            count[row] = len(best)
        return cls(tuple(kept), np.cumsum(count) - count, count)

    @cached_property
    def table(self) -> Floats:
        """begin, end, extra, sd, factor and chance of each, as columns (6, n)."""
        return np.array([one[1:7] for one in self.rows], float).reshape(-1, 6).T

    def worlds(self, rows: Ints) -> int:
        """How many combinations the series with the most of them has."""
        return 1 << int(self.count[rows].max(initial=0))

    def weight(self, rows: Ints, world: int) -> Floats:
        """Chance of one combination (bit k set: the k-th alternative of the series holds), 0 where it has none."""
        out = np.ones(rows.shape)
        for k in range(MOST):
            have = self.count[rows] > k
            chance = np.where(have, self.table[5].take(self.first[rows] + k, mode="clip"), 0.0) if self.rows else 0.0
            out = out * (np.where(have, chance, 0.0) if world >> k & 1 else 1.0 - np.where(have, chance, 0.0))
        return out

    def holding(self, rows: Ints, world: int) -> list[tuple[NDArray[np.bool_], Floats]]:
        """Of each alternative that holds in a world: which rows have it, and its columns of `table` there."""
        out = []
        for k in range(MOST):
            if self.rows and world >> k & 1:
                at = np.minimum(self.first[rows] + k, len(self.rows) - 1)
                out.append((self.count[rows] > k, self.table[:, at]))
        return out


def find_alternatives(
    series: CountSeries,
    data: Intervals,
    path: Levels,
    prior: tuple[Floats, Floats],
    replaced: pd.DataFrame,
    s: RateSettings,
) -> list[Alternative]:
    """What the intervals leave open.

    path : the filter's, one row per interval. prior : mean and covariance of each place
    replaced : recorded exchanges: unit, drive, happened_on
    """
    if not len(data.from_day):
        return []
    return _standstills(series, data, path, prior, s) + _halves(series, data, path, replaced, s)


def _standstills(
    series: CountSeries, data: Intervals, path: Levels, prior: tuple[Floats, Floats], s: RateSettings
) -> list[Alternative]:
    place = np.repeat(np.arange(len(data.begin)), data.count)
    odd = np.flatnonzero(path.innovation < LOW)
    if not len(odd):
        return []
    places = np.unique(place[odd])
    part = pick_places(data, places)
    ahead = _expected(part, _states(part, path, data, places, prior), s)
    behind = _expected(part, _states_after(part, prior[0][places], prior[1][places], s), s)
    begin = dict(zip(places.tolist(), part.begin.tolist(), strict=True))
    found: list[Alternative] = []
    still: dict[int, int] = {}
    done = -1
    for at in odd.tolist():
        i = begin[int(place[at])] + at - int(data.begin[place[at]])
        if i <= done:
            continue
        stop = begin[int(place[at])] + int(data.count[place[at]])
        spell = _Spell(part, ahead, behind, begin[int(place[at])], stop, i, s)
        done = spell.last
        one = spell.standstill(still)
        if one is not None:
            found.append(one)
    return found


class _Spell:
    """Successive intervals of one place with too few operations, and what was expected of them."""

    def __init__(
        self, data: Intervals, ahead: Floats, behind: Floats, start: int, stop: int, at: int, s: RateSettings
    ) -> None:
        self.data, self.ahead, self.behind, self.s = data, ahead, behind, s
        self.start, self.stop, self.first, self.last = start, stop, at, at
        low = data.operations[at] < np.exp(ahead[0, at])
        while low and self.last + 1 < stop:
            if data.operations[self.last + 1] + 0.5 >= SHORT * self._carried(self.last + 1):
                break
            self.last += 1
            if data.operations[self.last] > AT_REST * self._carried(self.last):
                break  # it went on within this one

    def _carried(self, k: int) -> float:
        """Operations expected of a later interval at the rate before the spell."""
        d, first = self.data, self.first
        return float(np.exp(self.ahead[0, first]) * max(d.exposure[k], 0.5) / max(d.exposure[first], 0.5))

    def _sides(self) -> tuple[float, float, float] | None:
        """Log of the operations expected over the spell, its variance, and how far after lies above before.

        None where neither side tells a rate.
        """
        d, i, j = self.data, self.first, self.last
        over = np.log(max(d.exposure[i : j + 1].sum(), 0.5))
        sides = []
        if i > self.start:
            sides.append((self.ahead[0, i] - np.log(max(d.exposure[i], 0.5)) + over, self.ahead[1, i]))
        if j + 1 < self.stop:
            sides.append((self.behind[0, j] - np.log(max(d.exposure[j], 0.5)) + over, self.behind[1, j]))
        if not sides:
            return None
        weight = [1.0 / variance for _, variance in sides]
        middle = sum(w * level for w, (level, _) in zip(weight, sides, strict=True)) / sum(weight)
        apart = float(sides[1][0] - sides[0][0]) if len(sides) == 2 else 0.0
        return float(middle), float(1.0 / sum(weight)), apart

    def _noise(self, middle: float) -> float:
        """Variance of the logarithm of the operations of the spell at a known level."""
        days = max(float(self.data.exposure[self.first : self.last + 1].sum()), 1.0)
        counting = self.s.dispersion / (np.exp(middle) + 1.0)
        return float(self.s.weather / days + counting + self.s.drift * days / YEAR / 3)

    def _row(self) -> int:
        """Series of the spell, -1 where several tell of the place."""
        if self.data.series is None:
            return -1
        rows = self.data.series[self.first : self.last + 1]
        return int(rows[0]) if (rows == rows[0]).all() else -1

    def standstill(self, still: dict[int, int]) -> Alternative | None:
        """The counter was stuck; `still` counts the standstills of each series so far."""
        sides, d = self._sides(), self.data
        if sides is None or self._row() < 0:
            return None
        middle, variance, apart = sides
        open_still, many = self.last + 1 == self.stop, self.last - self.first > 1
        if not open_still and abs(apart) > np.log(2.5 if many else 1.4) + np.sqrt(variance):
            return None  # the rate before is not the rate after: a change, not a standstill
        made, usual = float(d.operations[self.first : self.last + 1].sum()), np.exp(middle)
        spread = np.sqrt(variance + self._noise(middle))
        if np.log((made + 0.5) / (usual + 0.5)) > STILL_SURE * spread or made > HALF_STILL * usual:
            return None
        if any(d.operations[k] > AT_REST * self._carried(k) for k in range(self.first + 1, self.last + open_still)):
            return None
        slow = made > AT_REST * usual and open_still
        if slow and (self.first < self.last or np.log((made + 0.5) / (usual + 0.5)) > SLOW_SURE * spread):
            return None  # a lower rate of late is a change of rate, unless it is as sudden as that
        if self._caught_up(made, usual, spread):
            return None
        row = self._row()
        still[row] = still.get(row, 0) + 1
        begin, end = float(d.from_day[self.first]), float(d.to_day[self.last])
        yearly = usual / max(float(d.exposure[self.first : self.last + 1].sum()), 1.0) * YEAR
        missing = usual - made
        for k in (self.first - 1, self.last + 1):
            if self.start <= k < self.stop and d.series is not None and d.series[k] == row:
                there = yearly * float(d.exposure[k]) / YEAR
                if d.operations[k] < FLANK * there:
                    missing += there - float(d.operations[k])
                    begin, end = min(begin, float(d.from_day[k])), max(end, float(d.to_day[k]))
        chance = STUCK * 2.0 / (still[row] + 1.0) * (0.5 if slow else 1.0)
        if missing < max(WORTH * yearly, 20.0) or chance < LEAST:
            return None
        words = (
            f"counter stood still for a time between {_day(begin)} and {_day(end)}: at rest, or stuck while about "
            f"{rounded(missing)} operations were made?"
        )
        return Alternative(row, begin, end, missing, missing * LOOSE * spread, 1.0, chance, words)

    def _caught_up(self, made: float, usual: float, spread: float) -> bool:
        """Whether the next interval holds what this one lacks: a copied number, or one of another day."""
        d, k = self.data, self.last + 1
        if k >= self.stop:
            return False
        there = float(np.exp(self.behind[0, self.last] + np.log(d.exposure[k] / max(d.exposure[self.last], 0.5))))
        both = np.log((made + d.operations[k] + 0.5) / (usual + there + 0.5))
        return bool(d.operations[k] > there + 0.5 * (usual - made) and abs(both) < 2.0 * spread + 0.1)


def _halves(
    series: CountSeries, data: Intervals, path: Levels, replaced: pd.DataFrame, s: RateSettings
) -> list[Alternative]:
    """New counters that show half the rate of the old ones."""
    found: list[Alternative] = []
    if data.series is None or not len(replaced):
        return found
    rows_of: dict[object, list[int]] = {}
    for row, unit in enumerate(series.unit):
        rows_of.setdefault(unit, []).append(row)
    days = day_number(replaced["happened_on"])
    newest = dict(zip(zip(replaced["unit"], replaced["drive"].fillna(""), strict=True), days, strict=True))
    for (unit, drive), on in newest.items():
        for row in rows_of.get(unit, ()):
            if drive not in ("", series.drive[row]) or not np.isfinite(on):
                continue
            at = np.flatnonzero(data.series == row)
            before, after = at[data.to_day[at] <= on], at[data.from_day[at] >= on - 1.0]
            split = at[(data.from_day[at] < on) & (data.to_day[at] > on)]
            if not len(before) or not len(after) or (np.diff(at) != 1).any():
                continue
            k = int(before[-1])
            start, stop = data.from_day[after], data.to_day[after]
            mean = np.broadcast_to(path.mean[k], (len(after), 4))
            gap = (0.5 * (start + stop) - data.to_day[k]) / YEAR
            level = mean[:, 0] + mean[:, 3] * gap + log_mean_season(mean[:, 1], mean[:, 2], harmonics(start, stop))
            usual, made = float((np.exp(level) * data.exposure[after]).sum()), float(data.operations[after].sum())
            days_after = float(data.exposure[after].sum())
            variance = path.cov[k, 0] + s.drift * (gap.mean() + 0.3) + s.weather / max(days_after, 1.0)
            variance += s.dispersion / (usual + 1.0)
            ratio = np.log((made + 0.5) / (usual + 0.5))

            def density(middle: float, extra: float, ratio: float = ratio, variance: float = variance) -> float:
                spread = variance + extra
                return float(np.exp(-0.5 * (ratio - middle) ** 2 / spread) / np.sqrt(spread))

            half = HALF_COUNTED * density(-np.log(2.0), 0.0)
            other = (1.0 - HALF_COUNTED) * (0.85 * density(0.0, 0.0) + 0.15 * density(0.0, s.jump_size**2))
            chance = half / (half + other)
            if chance < LEAST:
                continue
            begin = float(data.from_day[split[0]]) if len(split) else float(on)
            words = (
                f"since its counter was exchanged on {_day(float(on))} it shows about half as many operations as "
                "before: half the work, or does it count every second one?"
            )
            found.append(Alternative(row, max(begin, float(on)), NEVER, 0.0, 0.0, 2.0, chance, words))
    return found


def _states(
    part: Intervals, path: Levels, data: Intervals, places: Ints, prior: tuple[Floats, Floats]
) -> tuple[Floats, Floats, Floats]:
    """State before each interval of some places: mean, covariance, and the days from where it is known."""
    n = len(part.from_day)
    source = np.repeat(data.begin[places] - part.begin, part.count) + np.arange(n)
    head = np.zeros(n, bool)
    head[part.begin[part.count > 0]] = True
    before = np.maximum(source - 1, 0)
    mean, cov = path.mean[before].copy(), path.cov[before].copy()
    of = np.repeat(np.arange(len(places)), part.count)
    mean[head], cov[head] = prior[0][places][of[head]], prior[1][places][of[head]]
    gap = part.from_day - np.r_[0.0, part.to_day[:-1]][:n]
    return mean, cov, np.where(head, 0.0, np.maximum(gap, 0.0))


def _states_after(part: Intervals, mean: Floats, cov: Floats, s: RateSettings) -> tuple[Floats, Floats, Floats]:
    """State after each interval, learnt from those that follow it only: the filter run backwards in time."""
    mirror = np.array([1.0, 1.0, -1.0, -1.0])  # sine and slope change their sign
    turned = np.array([1, 1, -1, 1, -1, 1, -1, -1, 1, 1.0])
    n = len(part.from_day)
    order = np.repeat(2 * part.begin + part.count - 1, part.count) - np.arange(n)
    back = Intervals(
        part.begin, part.count, -part.to_day[order], -part.from_day[order], part.operations[order],
        part.exposure[order], part.event[order], part.doubt[order], part.noise[order],
    )  # fmt: skip
    path = run_filter(back, mean * mirror, cov * turned, s, keep=True)
    after = np.minimum(np.arange(n) + 1, n - 1)
    place = np.repeat(np.arange(len(part.begin)), part.count)
    last = np.arange(n) == (part.begin + part.count - 1)[place]
    there = order[after]
    state, spread = path.mean[there] * mirror, path.cov[there] * turned
    state[last], spread[last] = mean[place[last]], cov[place[last]]
    gap = np.where(last, 0.0, np.maximum(part.from_day[after] - part.to_day, 0.0))
    return state, spread, -gap


def _expected(part: Intervals, known: tuple[Floats, Floats, Floats], s: RateSettings) -> Floats:
    """Log of the operations expected of each interval, and the variance of its level, shape (2, n).

    known : state, covariance, and the days from it to the interval, below 0 where it is known after it
    """
    mean, cov, gap = known
    days = part.to_day - part.from_day
    years = (gap + np.where(gap < 0, -0.5, 0.5) * days) / YEAR
    season = log_mean_season(mean[:, 1], mean[:, 2], harmonics(part.from_day, part.to_day))
    level = mean[:, 0] + mean[:, 3] * years + season
    variance = cov[:, 0] + s.drift * (np.abs(gap) + days / 3.0) / YEAR + cov[:, 9] * years**2
    return np.stack([level + np.log(np.maximum(part.exposure, 0.5)), variance])


def _day(number: float) -> str:
    return str(np.datetime64(round(number), "D"))


def rounded(operations: float) -> str:
    """A guessed number of operations, to two figures."""
    if operations < 10:
        return f"{operations:.0f}"
    unit = 10 ** (int(np.log10(operations)) - 1)
    return f"{round(operations / unit) * unit:,}"
