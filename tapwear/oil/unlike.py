"""A newest sample far above everything that its compartment showed since the last reset: to be taken once more.

One bottle moves no date, but a jump that no earlier sample comes near is worth a second bottle, whatever explains it:
air in the syringe, exchanged labels, more operations, or a fault that has just begun.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from tapwear.oil.dates import as_date
from tapwear.oil.growth import newest_columns
from tapwear.oil.limits import amount
from tapwear.oil.samples import Bools, Floats
from tapwear.oil.settings import C2H2, C2H4
from tapwear.oil.types import OilFinding

TIMES_HIGHEST = 2.0  # laboratories differ by some 15 %, a compartment that fills up by less from sample to sample
EARLIER_SAMPLES = 3  # that a comparison needs; both our choice
LEAST = 5.0  # below this a multiple means nothing [uL/L]; our choice
GASES = ((C2H2, "Acetylene"), (C2H4, "Ethylene"))


@dataclass(frozen=True)
class Jump:
    """A gas of the newest sample, and how many times the highest of the earlier ones it is."""

    gas: str
    newest: float  # [uL/L]
    times: float
    earlier: int
    on: date


def jumps(year: Floats, gas: Floats, below: Bools, since_reset: Bools) -> dict[int, Jump]:
    """The greater jump of acetylene or ethylene in the newest of the samples since the last reset, of rows with one.

    year (S, L) rising [years]; gas, below (S, L, 5) [uL/L], NaN where not reported; since_reset (S, L)
    """
    found: dict[int, Jump] = {}
    (last,) = newest_columns(since_reset, 1)[0].T
    rows = np.arange(len(year))
    for column, name in GASES:
        value = np.where(since_reset, gas[:, :, column], np.nan)
        newest = np.where(below[rows, last, column], np.nan, value[rows, last])
        earlier = np.isfinite(value)
        earlier[rows, last] = False
        highest = np.maximum(np.max(np.where(earlier, value, 0.0), axis=1, initial=0.0), LEAST / TIMES_HIGHEST)
        many = earlier.sum(axis=1)
        for row in np.flatnonzero((newest >= TIMES_HIGHEST * highest) & (many >= EARLIER_SAMPLES)).tolist():
            times = float(newest[row] / highest[row])
            if row not in found or times > found[row].times:
                on = as_date(float(year[row, last[row]]))
                found[row] = Jump(name, float(newest[row]), times, int(many[row]), on)
    return found


def jump_finding(one: Jump) -> OilFinding:
    """What the newest sample shows, and why another is asked for."""
    words = (
        f"{one.gas} of {amount(one.newest)} ppm on {one.on} is {amount(one.times, 2)} times the highest of the "
        f"{one.earlier} samples before it: another sample tells whether it is the oil or the bottle."
    )
    return OilFinding("unlike its past", words, {"times the highest before": one.times}, "own past", "our choice")
