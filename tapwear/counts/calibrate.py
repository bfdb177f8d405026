"""Bands scaled by past errors: how much narrower or wider than the model says, by horizon and cadence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapwear.counts.ahead import PastErrors

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CADENCES = ("monthly", "quarterly", "half-yearly", "yearly or rarer")
CADENCE_DAYS = (60.0, 135.0, 250.0)
"""Usual days between visits that part the cadences (our choice). [days]"""

HORIZONS = np.array([45.0, 90.0, 180.0, 365.0, 730.0, 1460.0])
"""Horizons at which past errors are gathered (our choice) [days]; between them the scale is interpolated."""


@dataclass(frozen=True)
class Calibration:
    """Correction of the forecast's logarithm: shift of the middle, factors on the spread below and above.

    tilt, low, high : (cadences, horizons), all in units of the model's own spread
    cases           : (cadences, horizons) past forecasts that each number stands on
    source          : words for the reader: shipped values or the fleet's own errors
    """

    tilt: Floats
    low: Floats
    high: Floats
    cases: Ints
    source: str

    def at(self, cadence: Ints, days: Floats) -> tuple[Floats, Floats, Floats]:
        """tilt, low and high for each row's cadence and horizon [days]."""
        place = np.interp(np.log(np.maximum(days, 1.0)), np.log(HORIZONS), np.arange(len(HORIZONS)))
        node = np.minimum(place.astype(np.int64), len(HORIZONS) - 2)
        share = place - node
        at = cadence * len(HORIZONS) + node

        def look(table: Floats) -> Floats:
            flat = table.reshape(-1)
            out: Floats = (1 - share) * flat.take(at) + share * flat.take(at + 1)
            return out

        return look(self.tilt), look(self.low), look(self.high)


SHIPPED_TILT = (0.03, 0.03, 0.04, 0.05, 0.08, 0.10)
SHIPPED_LOW = (0.80, 0.85, 0.85, 0.85, 0.85, 0.80)
SHIPPED_HIGH = (0.80, 0.82, 0.88, 0.95, 1.10, 1.20)
"""By horizon: shift of the middle, factors below and above it that a fleet starts from (our choice, from
simulated fleets over ten years)."""

FLEET_PLACES = 400.0
CELL_PLACES = 150.0
"""Places that the shipped values count for against the fleet, and the fleet against one cadence (our
choice: lighter weights followed a calm past into bands that held 73 % instead of 80 %)."""

PAST_SHORTFALL = 1.12
"""Past errors miss what has not happened yet: their spread counts for this much more (our choice)."""

OUTER = 1.2815515655446004
"""The normal's 90 % point: the scale on which the factors are 1."""


def shipped() -> Calibration:
    """The starting values for a fleet without history of its own."""
    rows = len(CADENCES)
    return Calibration(
        tilt=np.tile(SHIPPED_TILT, (rows, 1)),
        low=np.tile(SHIPPED_LOW, (rows, 1)),
        high=np.tile(SHIPPED_HIGH, (rows, 1)),
        cases=np.zeros((rows, len(HORIZONS)), dtype=np.int64),
        source="shipped values, no errors of this fleet yet",
    )


def from_errors(errors: PastErrors, cadence: Ints) -> Calibration:
    """Calibration by the quantiles of past errors; every place counts alike, however often it was read.

    cadence : row of CADENCES of each place
    Few places lean on the whole fleet, a small fleet on the shipped values.
    """
    start = shipped()
    tables = [start.tilt.copy(), start.low.copy(), start.high.copy()]
    cases = np.zeros_like(start.cases)
    z = errors.error / np.maximum(errors.spread, 1e-9)
    group = cadence[errors.place]
    for h in range(len(HORIZONS)):
        here = errors.horizon == h
        base = np.array([start.tilt[0, h], start.low[0, h], start.high[0, h]])
        fleet, places = _shape(z[here], errors.place[here])
        fleet = (places * fleet + FLEET_PLACES * base) / (places + FLEET_PLACES)
        for c in range(len(CADENCES)):
            cell = here & (group == c)
            own, places = _shape(z[cell], errors.place[cell])
            mixed = (places * own + CELL_PLACES * fleet) / (places + CELL_PLACES)
            cases[c, h] = int(cell.sum())
            for table, value in zip(tables, mixed, strict=True):
                table[c, h] = value
    source = f"past errors of this fleet ({int(cases.sum())} forecasts)" if cases.any() else start.source
    return Calibration(tables[0], tables[1], tables[2], cases, source)


def _shape(z: Floats, place: Ints) -> tuple[Floats, float]:
    """Middle, factor below and factor above of standardised errors, and the number of places behind them."""
    if not len(z):
        return np.zeros(3), 0.0
    _, code, size = np.unique(place, return_inverse=True, return_counts=True)
    values, of_value = np.unique(z, return_inverse=True)
    weight = np.cumsum(np.bincount(of_value, (1.0 / size)[code]))
    low, middle, high = np.interp(np.array([0.1, 0.5, 0.9]) * weight[-1], weight, values)
    below, above = max(middle - low, 0.05), max(high - middle, 0.05)
    spread = PAST_SHORTFALL / OUTER
    return np.array([np.clip(middle, -0.5, 0.5), below * spread, above * spread]), float(len(size))


def cadence_of(usual_days: Floats) -> Ints:
    """Row of CADENCES for the usual days between visits; NaN counts as the rarest."""
    filled = np.where(np.isfinite(usual_days), usual_days, np.inf)
    return np.searchsorted(np.asarray(CADENCE_DAYS), filled, side="right").astype(np.int64)
