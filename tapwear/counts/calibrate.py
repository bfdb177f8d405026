"""Bands scaled by past errors: how much narrower or wider than the model says, by horizon and cadence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CADENCES = ("monthly", "quarterly", "half-yearly", "yearly or rarer")
CADENCE_DAYS = (60.0, 135.0, 250.0)
"""Usual days between visits that part the cadences. [days]"""

HORIZONS = np.array([45.0, 90.0, 180.0, 365.0, 730.0, 1460.0])
"""Horizons at which past errors are gathered [days]; between them the scale is interpolated."""


@dataclass(frozen=True)
class Calibration:
    """Correction of the forecast's logarithm: shift of the middle, factors on the spread below and above.

    tilt, low, high : (cadences, horizons)
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

        def look(table: Floats) -> Floats:
            out: Floats = (1 - share) * table[cadence, node] + share * table[cadence, node + 1]
            return out

        return look(self.tilt), look(self.low), look(self.high)


def shipped() -> Calibration:
    """The starting values for a fleet without history of its own (our choice, from simulated fleets)."""
    shape = (len(CADENCES), len(HORIZONS))
    return Calibration(
        tilt=np.zeros(shape),
        low=np.ones(shape),
        high=np.ones(shape),
        cases=np.zeros(shape, dtype=np.int64),
        source="shipped values, no errors of this fleet yet",
    )


def cadence_of(usual_days: Floats) -> Ints:
    """Row of CADENCES for the usual days between visits; NaN counts as the rarest."""
    filled = np.where(np.isfinite(usual_days), usual_days, np.inf)
    return np.searchsorted(np.asarray(CADENCE_DAYS), filled, side="right").astype(np.int64)
