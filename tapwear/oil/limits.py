"""Limits that the user sets, per group of like units; no absolute limit ships as authority.

Input frame: oil_group [str, "" for every unit], quantity [one of QUANTITIES], value [float], source [str].
A row of the unit's own group wins over a row for every unit; the last row of a kind counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tapwear.oil.samples import Floats
from tapwear.oil.settings import READ_GASES
from tapwear.oil.types import OilFinding

if TYPE_CHECKING:
    import pandas as pd

MOST_WATER = "moisture_mg_per_kg"
LEAST_BREAKDOWN = "breakdown_kv"
RATIO = "ethylene_to_acetylene"
QUANTITIES = (*READ_GASES, RATIO, MOST_WATER, LEAST_BREAKDOWN)


@dataclass(frozen=True)
class Limit:
    """One limit and who set it."""

    value: float
    source: str


def limits_of(limits: pd.DataFrame | None, oil_group: str) -> dict[str, Limit]:
    """The limits that hold for a unit of this group, by quantity."""
    found: dict[str, Limit] = {}
    if limits is None:
        return found
    for group in ("", oil_group) if oil_group else ("",):
        part = limits.loc[limits["oil_group"].fillna("").astype(str) == group]
        for quantity, value, source in zip(part["quantity"], part["value"], part["source"], strict=True):
            if np.isfinite(value):
                found[str(quantity)] = Limit(float(value), str(source or "the user's limit"))
    return found


def over_limits(gas: Floats, limits: dict[str, Limit]) -> tuple[OilFinding, ...]:
    """Gases over their limit in the two newest samples ("over limit"), or in the newest only ("once over limit").

    Parameters
    ----------
    gas : (n, 5) samples since the last overhaul, in order of date [uL/L], NaN where not reported or below limit
    """
    found = []
    for quantity, limit in limits.items():
        if quantity == RATIO:
            series = gas[:, READ_GASES.index("ethylene")] / gas[:, READ_GASES.index("acetylene")]
            name, unit = "Ethylene over acetylene", ""
        elif quantity in READ_GASES:
            series, name, unit = gas[:, READ_GASES.index(quantity)], quantity.capitalize(), " ppm"
        else:
            continue
        series = series[np.isfinite(series)]
        over = series[-2:] > limit.value
        if not len(over) or not over[-1]:
            continue
        both = len(over) == 2 and bool(over.all())
        words = f"{name} is {series[-1]:.3g}{unit}, over the limit of {limit.value:.3g}{unit}"
        words += ", in the two newest samples." if both else ", in the newest sample only."
        found.append(OilFinding("over limit" if both else "once over limit", words, {}, limit.source, "confirmed"))
    return tuple(found)
