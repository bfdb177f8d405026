"""A newest sample far above everything that its compartment showed since the last reset: to be taken once more.

One bottle moves no date, but a jump that no earlier sample comes near is worth a second bottle, whatever explains it:
air in the syringe, exchanged labels, more operations, or a fault that has just begun.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from tapwear.oil.dates import as_date
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


def jump(year: Floats, gas: Floats, below: Bools) -> Jump | None:
    """The greater jump of acetylene or ethylene in the newest of the samples since the last reset, if it is one.

    year (n,) rising [years]; gas, below (n, 5) [uL/L], NaN where not reported
    """
    found = []
    for column, name in GASES:
        value = gas[:, column]
        known = np.isfinite(value)
        earlier = value[:-1][known[:-1]]
        if not len(value) or not known[-1] or below[-1, column] or len(earlier) < EARLIER_SAMPLES:
            continue
        highest = max(float(earlier.max()), LEAST / TIMES_HIGHEST)
        if float(value[-1]) >= TIMES_HIGHEST * highest:
            times, on = float(value[-1]) / highest, as_date(float(year[-1]))
            found.append(Jump(name, float(value[-1]), times, len(earlier), on))
    return max(found, key=lambda one: one.times, default=None)


def jump_finding(one: Jump) -> OilFinding:
    """What the newest sample shows, and why another is asked for."""
    words = (
        f"{one.gas} of {amount(one.newest)} ppm on {one.on} is {amount(one.times, 2)} times the highest of the "
        f"{one.earlier} samples before it: another sample tells whether it is the oil or the bottle."
    )
    return OilFinding("unlike its past", words, {"times the highest before": one.times}, "own past", "our choice")
