"""What a counter entry is held against, learnt from the book: `tapwear.counts.limits`; quick to import.

The same search as for whole histories is made over the readings around the entry, those after it among them, so that a
wrong reading in the book is told from a wrong entry.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from math import log

import numpy as np

from tapwear.counts import slips
from tapwear.counts.book import Book, Replacement
from tapwear.counts.chain import RIGHT, Chainer, Chains, Joints
from tapwear.counts.judge import REACH, Judgement, judge
from tapwear.counts.likely import expect, log_density
from tapwear.counts.limits import EPOCH, HALF, MANY_A_DAY, MANY_SPREAD, NOTHING, Beside, Exchange, Known, Limits
from tapwear.counts.local import Intervals
from tapwear.counts.search import chainer_at, raw_intervals, read_beside, used_intervals

AROUND = 2 * REACH  # readings on either side of the entry that are weighed against each other: our choice
USUAL_RATE, LEAST_RATE = 5.0, 0.1  # operations a day where the station's other counters tell nothing: our choice
STOOD_STILL = 20.0  # operations to be expected over an interval in which the counter did not move: our choice
RECENT = 6  # readings of another counter that tell its usual rate: our choice

Reading = tuple[int, int] | tuple[int, int, int | None]
Swap = tuple[int, float | None, float | None]


@dataclass(frozen=True)
class Neighbour:
    """Another counter at the station: its name, and its readings as (day, value), days as date ordinals."""

    name: str
    readings: Sequence[tuple[int, int]]


@dataclass(frozen=True)
class _Row:
    day: int
    minute: int | None
    value: int
    exchanges: int


def check_entry(
    readings: Sequence[Reading],
    on: int,
    value: int,
    digits: int,
    *,
    minute: int | None = None,
    replacements: Sequence[Swap] = (),
    inspections: Sequence[int] = (),
    out_of_service: Sequence[tuple[int, int | None]] = (),
    neighbours: Sequence[Neighbour] = (),
) -> Judgement:
    """The judgement of one would-be counter entry, from what the book holds around it; arguments as for `limits_of`."""
    limits = limits_of(
        readings,
        on,
        digits,
        replacements=replacements,
        inspections=inspections,
        out_of_service=out_of_service,
        neighbours=neighbours,
    )
    return judge(limits, on, value, minute)


def limits_of(
    readings: Sequence[Reading],
    on: int,
    digits: int,
    *,
    replacements: Sequence[Swap] = (),
    inspections: Sequence[int] = (),
    out_of_service: Sequence[tuple[int, int | None]] = (),
    neighbours: Sequence[Neighbour] = (),
) -> Limits:
    """What entries of one counter, read on the day `on` [date ordinal] or some time after it, are held against.

    readings : of the same counter, earlier and later ones, in any order, as (day, value) or (day, value, minute of the
        day or None), days as date ordinals
    digits : places of the counter
    replacements : recorded exchanges as (day, last number of the old counter, first number of the new one), None where
        not written down
    inspections : days of recorded inspections. out_of_service : (first day, last day or None if still out)
    neighbours : other counters at the station; their readings after `on` are not looked at
    """
    swaps = sorted(replacements, key=lambda one: one[0])
    rows = _in_order(readings, swaps)
    if swaps and swaps[-1][2] is not None and not rows:  # the new counter's first number is all that is known
        rows, swaps = [_Row(swaps[-1][0], None, int(swaps[-1][2]), 0)], []
    beside = tuple(found for one in neighbours if (found := _beside(one, on)) is not None)
    plain = Limits(
        digits,
        out_of_service=tuple(out_of_service),
        inspections=tuple(inspections),
        neighbours=beside,
        exchanges=tuple(Exchange(one[0], 0.0, sure=False) for one in swaps),
    )
    return _learnt(plain, rows, swaps, on) if rows else plain


def _in_order(readings: Sequence[Reading], swaps: Sequence[Swap]) -> list[_Row]:
    """The readings in order of time, each with the number of exchanges before it.

    Where times of day are missing, the numbers tell the order: the smaller first, and on the day of an exchange those
    nearer to the old counter's last number before it.
    """
    rows = []
    for day, value, *rest in readings:
        minute = rest[0] if rest else None
        passed = 0
        for when, old, new in swaps:
            after = old is None or abs(value - old) > abs(value - (new or 0.0)) if day == when else day > when
            passed += after
        rows.append(_Row(day, minute, value, passed))
    timed = {row.day for row in rows if row.minute is not None}
    return sorted(
        rows,
        key=lambda row: (row.day, row.exchanges, 720 if row.minute is None else row.minute, row.value)
        if row.day in timed
        else (row.day, row.exchanges, 0, row.value),
    )


def _beside(one: Neighbour, on: int) -> Beside | None:
    rows = sorted(row for row in one.readings if row[0] <= on)
    if not rows:
        return None
    (last_day, last), (first_day, first) = rows[-1], rows[max(len(rows) - RECENT, 0)]
    rate = (last - first) / (last_day - first_day) if last > first and last_day > first_day else 2.0
    return Beside(one.name, last_day, last, rate)


def _learnt(limits: Limits, rows: Sequence[_Row], swaps: Sequence[Swap], on: int) -> Limits:
    """The limits, with what the readings tell."""
    book = _book(limits, rows, swaps)
    chains, spans, group = _right_ones(book, limits)
    chainer = _Sober.at(book, spans, group)
    offsets = _offsets(chainer, rows, swaps)
    place = sum(row.day <= on for row in rows)
    window = range(max(place - AROUND, 0), min(place + AROUND, len(rows)))
    lead, trail, slip = _weights(chainer, chains, window)
    left, right = np.array([place - 1]), np.array([place if place < len(rows) else -1])
    level = expect(chainer.scale.local, np.zeros(1, dtype=np.int64), left, right)
    local = chainer.scale.local
    season = tuple(float(one) for one in local.season[:, 0])
    return Limits(
        limits.digits,
        known=tuple(
            _known(rows[i], offsets, *map(float, weights))
            for i, *weights in zip(window, lead, trail, slip, strict=True)
        ),
        exchanges=tuple(
            Exchange(one[0], offset, sure=one[1] is not None and one[2] is not None)
            for one, offset in zip(swaps, offsets[1:], strict=True)
        ),
        rate_low=float(level.low[0]),
        rate_high=float(level.high[0]),
        rate_variance=float(level.variance[0]),
        noise=float(local.noise[0]),
        usual_days=float(local.usual[0]),
        season=season,  # type: ignore[arg-type]
        out_of_service=limits.out_of_service,
        inspections=limits.inspections,
        neighbours=limits.neighbours,
    )


def _right_ones(book: Book, limits: Limits) -> tuple[Chains, Intervals, np.ndarray]:
    """Which readings are right, the intervals that tell the rate, and the rate that is usual of such counters.

    An interval over which the counter stood still, though operations were to be expected, tells nothing.
    """
    usual = [max(one.rate, LEAST_RATE) for one in limits.neighbours] or [USUAL_RATE]
    group = np.array([log(float(np.median(usual)))])
    rough = _Sober.at(book, raw_intervals(book), group, rough=True).solve(rough=True)
    chains = _Sober.at(book, used_intervals(book, rough), group).solve()
    spans = used_intervals(book, chains)
    spans = _some(spans, book.day[spans.right] > book.day[spans.left])
    went_on = spans.operations > 0
    if went_on.any():
        rate = float(np.median(spans.operations[went_on] / spans.served[went_on]))
        spans = _some(spans, went_on | (rate * spans.served < STOOD_STILL))
    return chains, spans, group


def _some(spans: Intervals, which: np.ndarray) -> Intervals:
    return Intervals(*(getattr(spans, one.name)[which] for one in fields(spans)))


class _Sober(Chainer):
    """A search that knows how many operations a day no tap changer makes, and takes several readings a day."""

    @classmethod
    def at(cls, book: Book, spans: Intervals, group: np.ndarray, *, rough: bool = False) -> _Sober:
        """The search at the levels that these intervals tell."""
        made = chainer_at(book, spans, read_beside(book), group, slips.AS_TYPED, rough=rough)
        return cls(made.scale, made.guessed)

    def joints(self, left: np.ndarray, right: np.ndarray) -> Joints:
        """As in any search; more than some hundred operations a day are the less likely the more they are."""
        found = super().joints(left, right)
        twice = (self.book.day[left] == self.book.day[right]) & (self.book.value[right] < self.book.modulus[right])
        found.log_chance[twice] = log_density(found.operations[twice], found.leg.take(twice)) + RIGHT
        days = np.maximum(self.book.served[right] - self.book.served[left], HALF)
        beyond = np.log((found.operations + HALF) / days) - log(MANY_A_DAY)
        found.log_chance[:] -= 0.5 * (np.maximum(beyond, 0.0) / MANY_SPREAD) ** 2
        return found


def _known(row: _Row, offsets: Sequence[float], lead: float, trail: float, slip: float) -> Known:
    count = row.value + offsets[row.exchanges]
    return Known(row.day, row.minute, row.value, count, row.exchanges, lead, trail, slip)


def _book(limits: Limits, rows: Sequence[_Row], swaps: Sequence[Swap]) -> Book:
    """The readings as the book of one counter."""
    day = np.array([row.day for row in rows], dtype=np.int64)
    served = day.astype(float)
    for begin, stop in limits.out_of_service:
        served -= 0.98 * np.clip(day - begin, 0, np.maximum((day if stop is None else stop) - begin, 0))
    inspected = np.sum(day[:, None] >= np.array(limits.inspections, dtype=np.int64)[None, :], axis=1)
    one, name = np.zeros(1, dtype=np.int64), np.array([""], dtype=object)
    return Book(
        counter=np.zeros(len(day), dtype=np.int64),
        day=day - EPOCH,
        value=np.array([row.value for row in rows], dtype=float),
        modulus=np.full(len(day), 10.0**limits.digits),
        row=np.arange(len(day)),
        served=served,
        inspected=inspected.astype(float),
        epoch=np.array([row.exchanges for row in rows], dtype=np.int64),
        unit=name,
        drive=name,
        source=name,
        group=one,
        station=one,
        replacements=tuple(
            Replacement(
                counter=0,
                epoch=number,
                served=float(np.interp(when, day, served)),
                old=np.nan if old is None else float(old),
                new=np.nan if new is None else float(new),
            )
            for number, (when, old, new) in enumerate(swaps, start=1)
        ),
    )


def _offsets(chainer: Chainer, rows: Sequence[_Row], swaps: Sequence[Swap]) -> list[float]:
    """What is added to a number to have it on the running scale, by the number of exchanges before it."""
    found = {row.exchanges: float(chainer.scale.shifted[i]) - row.value for i, row in enumerate(rows)}
    first = min(found)
    offsets = [found.get(0, 0.0)]
    for number, (_, old, new) in enumerate(swaps, start=1):
        if number in found and number > first:
            offsets.append(found[number])
        elif old is not None:
            offsets.append(offsets[-1] + old - (new or 0.0))
        else:  # nothing was read since: the last number read stands for the old counter's
            before = [row.value for row in rows if row.exchanges < number]
            offsets.append(offsets[-1] + (before[-1] if before else 0.0) - (new or 0.0))
    if first > 0:  # nothing was read before the first exchange: the scale begins with the first reading's counter
        offsets = [one - offsets[first] + found[first] for one in offsets]
    return offsets


def _weights(chainer: Chainer, chains: Chains, window: range) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of each reading in the window: log weight of the chains up to it, of those from it on, of its being a slip."""
    n = len(window)
    rows = np.array(window)
    before = np.array([_nearest(chains.used, i, -1) for i in rows])
    after = np.array([_nearest(chains.used, i, +1) for i in rows])
    both = (before >= 0) & (after >= 0)
    made = np.nan_to_num(chains.operations)
    total = np.where(both, made[after] - made[before], 0.0)
    slip = np.full(n, log(0.01))
    some = np.flatnonzero((before >= 0) | (after >= 0))
    slip[some] = chainer.scale.chance(before[some], rows[some], after[some], total[some])
    pairs = [(i, j) for j in range(n) for i in range(max(j - REACH, 0), j)]
    joint = dict(zip(pairs, _joints(chainer, rows, pairs), strict=True))
    skipped = np.concatenate([[0.0], np.cumsum(slip)])
    lead, trail = np.full(n, NOTHING), np.full(n, NOTHING)
    for j in range(n):
        ways = [joint[i, j] + lead[i] + skipped[j] - skipped[i + 1] for i in range(max(j - REACH, 0), j)]
        lead[j] = _log_sum([skipped[j], *ways] if j < REACH else ways)
    for i in reversed(range(n)):
        ways = [joint[i, j] + trail[j] + skipped[j] - skipped[i + 1] for j in range(i + 1, min(i + REACH + 1, n))]
        trail[i] = _log_sum([skipped[n] - skipped[i + 1], *ways] if n - i <= REACH else ways)
    return lead, trail, slip


def _joints(chainer: Chainer, rows: np.ndarray, pairs: list[tuple[int, int]]) -> list[float]:
    if not pairs:
        return []
    left, right = (rows[list(side)] for side in zip(*pairs, strict=True))
    return [float(one) for one in chainer.joints(left, right).log_chance]


def _nearest(used: np.ndarray, row: int, step: int) -> int:
    """The nearest reading taken as right before or after one, -1 for none."""
    at = row + step
    while 0 <= at < len(used):
        if used[at]:
            return at
        at += step
    return -1


def _log_sum(terms: Sequence[float]) -> float:
    top = max(terms, default=NOTHING)
    return NOTHING if top <= NOTHING else top + log(sum(np.exp(one - top) for one in terms))

