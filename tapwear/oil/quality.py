"""Oil quality: water and breakdown voltage ask for oil work, never for an internal overhaul.

No absolute limit for compartments is confirmed, so a compartment is held against its own past, or against
the user's limits. Breakdown voltages are only compared within one test method and gap.
"""

from __future__ import annotations

import numpy as np

from tapwear.oil.dates import as_date
from tapwear.oil.limits import amount
from tapwear.oil.samples import Bools, Floats, Ints
from tapwear.oil.types import OilFinding

WATER_TIMES = 1.8  # both newest samples at least so many times the own usual; our choice
BREAKDOWN_SHARE = 0.7  # both newest samples at most this share of the own usual; our choice
LEAST_PAST = 3  # earlier samples that make an own past; our choice
ASKS = "the oil, not the mechanism, asks for work"
SOURCE = "own past of the compartment"


def oil_quality(
    year: Floats, moisture: Floats, breakdown: Floats, method: Ints, most_water: float, least_kv: float
) -> tuple[OilFinding, ...]:
    """What the water and the breakdown voltage of one compartment ask for.

    Parameters
    ----------
    year, moisture, breakdown : (n,) in order of date [years since 1970], [mg/kg], [kV], NaN where not measured
    method : (n,) code of the breakdown method, -1 unknown
    most_water, least_kv : the user's limits [mg/kg], [kV], NaN where there is none
    """
    found = []
    wet = _newest_two(moisture, np.isfinite(moisture))
    if wet is not None:
        two, past, last = wet
        usual = float(np.median(past)) if len(past) >= LEAST_PAST else np.nan
        day = as_date(float(year[last]))
        if two.min() > most_water:
            words = f"Water was {amount(two[0])} and {amount(two[1])} mg/kg in the two newest samples, over the limit"
            words += f" of {amount(most_water)} mg/kg (newest {day}); {ASKS}."
            found.append(OilFinding("wet oil", words, {}, "the user's limit", "confirmed"))
        elif two.min() >= WATER_TIMES * usual:
            words = f"Water rose from the usual {amount(usual)} to {amount(two[0])} and {amount(two[1])} mg/kg"
            words += f" in the two newest samples (newest {day}); {ASKS}."
            found.append(OilFinding("wet oil", words, {}, SOURCE, "our choice"))
    measured = np.isfinite(breakdown)
    if measured.any():
        same = measured & (method == method[np.flatnonzero(measured)[-1]])
        weak = _newest_two(breakdown, same)
        if weak is not None:
            two, past, last = weak
            usual = float(np.median(past)) if len(past) >= LEAST_PAST else np.nan
            day = as_date(float(year[last]))
            if two.max() < least_kv:
                words = f"Breakdown voltage was {amount(two[0])} and {amount(two[1])} kV in the two newest samples,"
                words += f" under the limit of {amount(least_kv)} kV (newest {day}); {ASKS}."
                found.append(OilFinding("weak oil", words, {}, "the user's limit", "confirmed"))
            elif two.max() <= BREAKDOWN_SHARE * usual:
                words = f"Breakdown voltage fell from the usual {amount(usual)} to {amount(two[0])} and"
                words += f" {amount(two[1])} kV, by one method, in the two newest samples (newest {day}); {ASKS}."
                found.append(OilFinding("weak oil", words, {}, SOURCE, "our choice"))
    return tuple(found)


def _newest_two(values: Floats, use: Bools) -> tuple[Floats, Floats, int] | None:
    """The two newest values in use, those before them, and the place of the newest; None with fewer than two."""
    places = np.flatnonzero(use)
    if len(places) < 2:
        return None
    return values[places[-2:]], values[places[:-2]], int(places[-1])
