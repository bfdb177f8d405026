"""How likely a number of operations is between two readings, given the counter's local level, season and noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwear.counts.book import Book
from tapwear.counts.local import HALF, Local
from tapwear.counts.settings import RateSettings

PART_SPREAD = 0.7  # sd of log rate of a part of an interval about that of the whole: our choice
GROUP_SPREAD = 1.3  # sd of log rate between the units of a peer group: our choice
LONE_SPREAD = 0.5  # further sd of log rate where a single interval tells it: our choice
INSPECTION_OPERATIONS = RateSettings().inspection_operations  # that a recorded inspection may add, or any fewer
TAILS = ((0.930, 1.0), (0.065, 2.5), (0.005, 6.0))  # (weight, widening): surprises are more common than in a bell curve
ROOT_TAU = 2.5066282746310002  # square root of 2 pi
WIDEST = 1.5  # no scatter of log rate beyond this
OUT_OF_SERVICE = 0.2  # an interval with a smaller share of days in service counts as one out of service
STILL_WHEN_OUT = 0.5  # chance that the counter has not moved at all over such an interval: our choice
STILL_UNRECORDED = 0.005  # the same over any interval, for a stuck counter or an unrecorded outage: our choice
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
    first, second = local.before[left], local.after[right]
    n_before, n_after = local.n_before[left].astype(float), local.n_after[right].astype(float)
    n_before *= left >= 0
    n_after *= right >= 0
    no_first, no_second = np.flatnonzero(n_before == 0), np.flatnonzero(n_after == 0)
    first[no_first] = np.where(n_after[no_first] > 0, second[no_first], local.group[counter[no_first]])
    second[no_second] = first[no_second]
    n = n_before + n_after
    neither = no_first[n[no_first] == 0]
    pooled = first * n_before
    pooled += second * n_after
    np.maximum(n, 1.0, out=n)
    pooled /= n
    pooled[neither] = first[neither]
    variance = 1.5 * noise**2
    variance /= n
    one_sided = np.concatenate([no_first, no_second[n_before[no_second] > 0]])
    variance[one_sided] *= 1.5
    variance += LONE_SPREAD**2 * (n < 2.0)
    variance[neither] = GROUP_SPREAD**2
    within = neither[(left[neither] >= 0) & (right[neither] >= 0)]
    starts, ends = local.n_after[left[within]] > 0, local.n_before[right[within]] > 0
    for part, level, side in ((starts & ~ends, local.after, left), (ends & ~starts, local.before, right)):
        first[within[part]] = level[side[within[part]]]  # of the interval taken as right that this one is a part of
        variance[within[part]] = PART_SPREAD**2
    second[within] = pooled[within] = first[within]
    opened = 1.5 / np.maximum(n_before, 1.0)
    opened += 1.5 / np.maximum(n_after, 1.0)
    np.sqrt(opened, out=opened)
    opened *= noise  # how far apart they lie by chance
    low, high = np.minimum(first, second), np.maximum(first, second)
    np.divide(high - low, np.maximum(opened, 1e-9), out=opened)
    opened -= 1.5
    np.clip(opened, 0.0, 1.0, out=opened)
    for bound in (low, high):
        bound -= pooled
        bound *= opened
        bound += pooled
    return Level(low, high, variance)


def leg(book: Book, local: Local, left: np.ndarray, right: np.ndarray, level: Level) -> Leg:
    """What to expect between the readings `left` and `right` of the book, at a given level."""
    counter = book.counter[right]
    served = book.served[right]
    served -= book.served[left]
    days = (book.day[right] - book.day[left]).astype(float)
    out = served < OUT_OF_SERVICE * days
    offset = local.wave[right]
    offset -= local.wave[left]
    offset /= np.maximum(days, 1.0)
    offset += np.log(np.maximum(served, HALF))
    least, most = level.low + offset, level.high + offset
    for operations in (least, most):
        np.clip(operations, -20.0, 20.0, out=operations)
        np.exp(operations, out=operations)
    middle = least * most
    np.sqrt(middle, out=middle)
    shorter = local.usual[counter]
    shorter /= np.maximum(served, 1.0)
    np.clip(shorter, 0.25, 8.0, out=shorter)
    variance = local.noise[counter]
    variance *= variance
    variance *= np.sqrt(shorter, out=shorter)
    variance += level.variance
    variance += 1.0 / (middle + 1.0)
    variance += OUT_SPREAD**2 * out
    np.minimum(variance, WIDEST**2, out=variance)
    least += HALF
    most += HALF
    most += INSPECTION_OPERATIONS * (book.inspected[right] - book.inspected[left])
    return Leg(
        low=np.log(least, out=least),
        high=np.log(most, out=most),
        spread=np.sqrt(variance, out=variance),
        still=np.where(out, STILL_WHEN_OUT, STILL_UNRECORDED),
        middle=middle,
    )


def log_density(operations: np.ndarray, on: Leg) -> np.ndarray:
    """Logarithm of the probability of exactly that many operations on a leg; -inf below nought."""
    made: np.ndarray = np.maximum(operations, 0.0)
    made += HALF
    found = np.log(made)
    z = on.low - found
    found -= on.high
    np.maximum(z, found, out=z)
    np.maximum(z, 0.0, out=z)
    z /= on.spread
    z *= z
    np.minimum(z, 600.0, out=z)
    term = found
    total: np.ndarray = np.zeros_like(z)
    for weight, factor in TAILS:
        np.multiply(z, -0.5 / factor**2, out=term)
        np.exp(term, out=term)
        term *= weight / factor
        total += term
    made *= ROOT_TAU * on.spread + on.high - on.low
    total /= made
    total *= 1.0 - on.still
    total += on.still * (operations == 0)
    total += 1e-300
    np.log(total, out=total)
    total[operations < 0] = -np.inf
    return total


def surprise(operations: np.ndarray, on: Leg) -> np.ndarray:
    """Signed distance of the operations from those expected, in standard deviations (positive: too many)."""
    found = np.log(np.maximum(operations, 0.0) + HALF)
    return np.asarray((np.maximum(found - on.high, 0.0) - np.maximum(on.low - found, 0.0)) / on.spread)


def usual_range(on: Leg) -> tuple[np.ndarray, np.ndarray]:
    """Operations between which about 19 in 20 right readings lie."""
    return np.maximum(np.exp(on.low - 2.0 * on.spread) - HALF, 0.0), np.exp(on.high + 2.0 * on.spread) - HALF


def over(number: np.ndarray, modulus: np.ndarray | float) -> np.ndarray:
    """What a counter that turns over at `modulus` shows after so many operations: np.mod in a third of its time."""
    rest: np.ndarray = number / modulus
    np.rint(rest, out=rest)
    rest *= modulus
    np.subtract(number, rest, out=rest)
    rest += modulus * (rest < 0)
    return rest
