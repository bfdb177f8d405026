"""How likely a number of operations is over an interval, given the counter's local level, season and noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwear.counts.local import HALF, Local, season_of

GROUP_SPREAD = 1.3  # sd of log rate between the units of a peer group: our choice
INSPECTION_OPERATIONS = 40.0  # operations that a recorded inspection may add, give or take as many: our choice
TAILS = ((0.90, 1.0), (0.08, 2.5), (0.02, 8.0))  # (weight, widening): surprises are more common than in a bell curve
ROOT_TAU = 2.5066282746310002  # square root of 2 pi
WIDEST = 1.5  # no scatter of log rate beyond this
OUT_OF_SERVICE = 0.2  # an interval with a smaller share of days in service counts as one out of service
STILL_WHEN_OUT = 0.5  # chance that the counter has not moved at all over such an interval: our choice
STILL_UNRECORDED = 0.002  # the same over any interval, for an outage that nobody recorded: our choice
OUT_SPREAD = 1.0  # extra sd of log rate over an interval out of service: our choice


@dataclass(frozen=True)
class Expectation:
    """Expected level of log daily rate between two readings: somewhere from `low` to `high`, with `variance`."""

    low: np.ndarray
    high: np.ndarray
    variance: np.ndarray
    noise: np.ndarray
    usual: np.ndarray
    season: np.ndarray

    def take(self, rows: np.ndarray) -> Expectation:
        """The same for some rows only."""
        return Expectation(
            self.low[rows],
            self.high[rows],
            self.variance[rows],
            self.noise[rows],
            self.usual[rows],
            self.season[rows],
        )


def expect(local: Local, counter: np.ndarray, left: np.ndarray, right: np.ndarray) -> Expectation:
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
    second = np.where(n_after > 0, after, np.where(n_before > 0, before, group))
    n = n_before + n_after
    gap = np.abs(first - second)
    apart = noise * np.sqrt(1.5 / np.maximum(n_before, 1) + 1.5 / np.maximum(n_after, 1))
    pooled = (first * n_before + second * n_after) / np.maximum(n, 1)
    pooled = np.where(n > 0, pooled, group)
    open_share = np.clip(gap / np.maximum(apart, 1e-9) - 1.5, 0.0, 1.0)
    low = pooled + open_share * (np.minimum(first, second) - pooled)
    high = pooled + open_share * (np.maximum(first, second) - pooled)
    one_sided = np.where((n_before == 0) | (n_after == 0), 1.5, 1.0)
    variance = np.where(n > 0, one_sided * 1.5 * noise**2 / np.maximum(n, 1), GROUP_SPREAD**2)
    return Expectation(low, high, variance, noise, local.usual[counter], local.season[counter])


def log_density(
    operations: np.ndarray,
    served: np.ndarray,
    begin: np.ndarray,
    end: np.ndarray,
    inspections: np.ndarray,
    expected: Expectation,
) -> np.ndarray:
    """Logarithm of the probability of exactly that many operations over `served` days between two day numbers."""
    found, low, high, spread = _bounds(operations, served, begin, end, inspections, expected)
    z = np.maximum(np.maximum(low - found, found - high), 0.0) / spread
    total = np.zeros_like(z)
    for weight, factor in TAILS:
        total += weight / factor * np.exp(-0.5 * np.minimum((z / factor) ** 2, 700.0))
    density = total / (ROOT_TAU * spread + np.maximum(high - low, 0.0)) / (np.maximum(operations, 0.0) + HALF)
    still = np.where(served < OUT_OF_SERVICE * (end - begin), STILL_WHEN_OUT, STILL_UNRECORDED)
    density = (1.0 - still) * density + still * (operations == 0)
    return np.where(operations < 0, -np.inf, np.log(density + 1e-300))


def surprise(
    operations: np.ndarray,
    served: np.ndarray,
    begin: np.ndarray,
    end: np.ndarray,
    inspections: np.ndarray,
    expected: Expectation,
) -> np.ndarray:
    """Signed distance of the operations from those expected, in standard deviations (positive: too many)."""
    found, low, high, spread = _bounds(operations, served, begin, end, inspections, expected)
    return np.where(found > high, found - high, np.where(found < low, found - low, 0.0)) / spread


def _bounds(
    operations: np.ndarray,
    served: np.ndarray,
    begin: np.ndarray,
    end: np.ndarray,
    inspections: np.ndarray,
    expected: Expectation,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Logarithms of the operations found and of the least and most to expect, and their standard deviation."""
    offset = np.log(np.maximum(served, HALF)) + season_of(expected.season, begin, end)
    least = np.exp(np.clip(expected.low + offset, -20.0, 20.0))
    most = np.exp(np.clip(expected.high + offset, -20.0, 20.0))
    scaled = expected.noise**2 * np.clip(expected.usual / np.maximum(served, 1.0), 0.25, 8.0) ** 0.5
    variance = scaled + expected.variance + 1.0 / (np.sqrt(least * most) + 1.0)
    variance = variance + OUT_SPREAD**2 * (served < OUT_OF_SERVICE * (end - begin))
    spread = np.sqrt(np.minimum(variance, WIDEST**2))
    most = most + INSPECTION_OPERATIONS * inspections
    return np.log(np.maximum(operations, 0.0) + HALF), np.log(least + HALF), np.log(most + HALF), spread


def expected_operations(
    served: np.ndarray, begin: np.ndarray, end: np.ndarray, expected: Expectation
) -> np.ndarray:
    """Middle number of operations to expect over `served` days between two day numbers."""
    level = 0.5 * (expected.low + expected.high) + season_of(expected.season, begin, end)
    return np.asarray(np.exp(np.clip(level, -20.0, 20.0)) * np.maximum(served, 0.0))


def usual_range(
    served: np.ndarray, begin: np.ndarray, end: np.ndarray, inspections: np.ndarray, expected: Expectation
) -> tuple[np.ndarray, np.ndarray]:
    """Operations between which about 19 in 20 right readings lie."""
    _, low, high, spread = _bounds(np.zeros_like(served), served, begin, end, inspections, expected)
    return np.maximum(np.exp(low - 2.0 * spread) - HALF, 0.0), np.exp(high + 2.0 * spread) - HALF
