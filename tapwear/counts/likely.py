"""How likely a number of operations is between two readings, given the counter's local level, season and noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwear.counts.book import Book
from tapwear.counts.local import HALF, Local

GROUP_SPREAD = 1.3  # sd of log rate between the units of a peer group: our choice
INSPECTION_OPERATIONS = 40.0  # operations that a recorded inspection may add, give or take as many: our choice
TAILS = ((0.930, 1.0), (0.065, 2.5), (0.005, 6.0))  # (weight, widening): surprises are more common than in a bell curve
ROOT_TAU = 2.5066282746310002  # square root of 2 pi
WIDEST = 1.5  # no scatter of log rate beyond this
OUT_OF_SERVICE = 0.2  # an interval with a smaller share of days in service counts as one out of service
STILL_WHEN_OUT = 0.5  # chance that the counter has not moved at all over such an interval: our choice
STILL_UNRECORDED = 0.002  # the same over any interval, for an outage that nobody recorded: our choice
OUT_SPREAD = 1.0  # extra sd of log rate over an interval out of service: our choice


@dataclass(frozen=True)
class Level:
    """Level of log daily rate to expect between two readings: somewhere from `low` to `high`, with `variance`."""

    low: np.ndarray
    high: np.ndarray
    variance: np.ndarray


@dataclass(frozen=True)
class Leg:
    """What is to be expected between two readings.

    low, high : log of operations plus HALF, any value between the two is as good. spread : their scatter [sd].
    still : chance that the counter has not moved at all. middle : operations to expect.
    """

    low: np.ndarray
    high: np.ndarray
    spread: np.ndarray
    still: np.ndarray
    middle: np.ndarray

    def take(self, rows: np.ndarray) -> Leg:
        """The same for some rows only."""
        return Leg(self.low[rows], self.high[rows], self.spread[rows], self.still[rows], self.middle[rows])


def expect(local: Local, counter: np.ndarray, left: np.ndarray, right: np.ndarray) -> Level:
    """What the intervals outside left..right say about the level between them; -1 stands for no reading there.

    The levels on both sides are pooled when they agree within their noise, otherwise anything between them is
    taken as equally likely: the rate may have changed there.
    """
    noise = local.noise[counter]
    before = np.where(left >= 0, local.before[left], np.nan)
    after = np.where(right >= 0, local.after[right], np.nan)
    n_before = np.where(np.isfinite(before), local.n_before[left], 0)
    n_after = np.where(np.isfinite(after), local.n_after[right], 0)
    group = local.group[counter]
    first = np.where(n_before > 0, before, np.where(n_after > 0, after, group))
    second = np.where(n_after > 0, after, first)
    n = n_before + n_after
    apart = noise * np.sqrt(1.5 / np.maximum(n_before, 1) + 1.5 / np.maximum(n_after, 1))
    pooled = np.where(n > 0, (first * n_before + second * n_after) / np.maximum(n, 1), group)
    opened = np.clip(np.abs(first - second) / np.maximum(apart, 1e-9) - 1.5, 0.0, 1.0)
    low = pooled + opened * (np.minimum(first, second) - pooled)
    high = pooled + opened * (np.maximum(first, second) - pooled)
    one_sided = np.where((n_before == 0) | (n_after == 0), 1.5, 1.0)
    variance = np.where(n > 0, one_sided * 1.5 * noise**2 / np.maximum(n, 1), GROUP_SPREAD**2)
    return Level(low, high, variance)


def leg(book: Book, local: Local, left: np.ndarray, right: np.ndarray, level: Level) -> Leg:
    """What to expect between the readings `left` and `right` of the book, at a given level."""
    counter = book.counter[right]
    served = book.served[right] - book.served[left]
    days = (book.day[right] - book.day[left]).astype(float)
    offset = np.log(np.maximum(served, HALF))
    offset += (local.wave[right] - local.wave[left]) / np.maximum(days, 1.0)
    least = np.exp(np.clip(level.low + offset, -20.0, 20.0))
    most = np.exp(np.clip(level.high + offset, -20.0, 20.0))
    middle = np.sqrt(least * most)
    out = served < OUT_OF_SERVICE * days
    shorter = np.sqrt(np.clip(local.usual[counter] / np.maximum(served, 1.0), 0.25, 8.0))
    variance = local.noise[counter] ** 2 * shorter + level.variance + 1.0 / (middle + 1.0) + OUT_SPREAD**2 * out
    most = most + INSPECTION_OPERATIONS * (book.inspected[right] - book.inspected[left])
    return Leg(
        low=np.log(least + HALF),
        high=np.log(most + HALF),
        spread=np.sqrt(np.minimum(variance, WIDEST**2)),
        still=np.where(out, STILL_WHEN_OUT, STILL_UNRECORDED),
        middle=middle,
    )


def log_density(operations: np.ndarray, on: Leg) -> np.ndarray:
    """Logarithm of the probability of exactly that many operations on a leg; -inf below nought."""
    made = np.maximum(operations, 0.0) + HALF
    found = np.log(made)
    z = np.maximum(np.maximum(on.low - found, found - on.high), 0.0) / on.spread
    z = np.minimum(z * z, 600.0)
    total = np.zeros_like(z)
    for weight, factor in TAILS:
        total += weight / factor * np.exp(-0.5 / factor**2 * z)
    total /= (ROOT_TAU * on.spread + on.high - on.low) * made
    total = (1.0 - on.still) * total + on.still * (operations == 0)
    return np.where(operations < 0, -np.inf, np.log(total + 1e-300))


def surprise(operations: np.ndarray, on: Leg) -> np.ndarray:
    """Signed distance of the operations from those expected, in standard deviations (positive: too many)."""
    found = np.log(np.maximum(operations, 0.0) + HALF)
    return np.asarray((np.maximum(found - on.high, 0.0) - np.maximum(on.low - found, 0.0)) / on.spread)


def usual_range(on: Leg) -> tuple[np.ndarray, np.ndarray]:
    """Operations between which about 19 in 20 right readings lie."""
    return np.maximum(np.exp(on.low - 2.0 * on.spread) - HALF, 0.0), np.exp(on.high + 2.0 * on.spread) - HALF
