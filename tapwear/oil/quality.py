"""Oil quality: water and breakdown voltage ask for oil work, never for an internal overhaul.

No absolute limit for compartments is confirmed, so a compartment is held against its own past, or against
the user's limits. Breakdown voltages are only compared within one test method and gap.
"""

from __future__ import annotations

import numpy as np

from tapwear.oil.dates import as_date
from tapwear.oil.growth import at, newest_columns
from tapwear.oil.limits import amount
from tapwear.oil.samples import Bools, Floats, Ints, row_median
from tapwear.oil.types import OilFinding, Standing

WATER_TIMES = 1.8  # both newest samples at least so many times the own usual; our choice
BREAKDOWN_SHARE = 0.7  # both newest samples at most this share of the own usual; our choice
LEAST_PAST = 3  # earlier samples that make an own past; our choice
ASKS = "the oil, not the mechanism, asks for work"
BY_LIMIT: tuple[str, Standing] = ("the user's limit", "confirmed")
BY_OWN_PAST: tuple[str, Standing] = ("own past of the compartment", "our choice")


def oil_quality(
    year: Floats, moisture: Floats, breakdown: Floats, method: Ints, most_water: Floats, least_kv: Floats
) -> dict[int, list[OilFinding]]:
    """What the water and the breakdown voltage of S compartments ask for, by row; rows without a word are left out.

    Parameters
    ----------
    year, moisture, breakdown : (S, L) in order of date [years since 1970], [mg/kg], [kV], NaN where not measured
    method : (S, L) code of the breakdown method, -1 unknown
    most_water, least_kv : (S,) the user's limits [mg/kg], [kV], NaN where there is none
    """
    found: dict[int, list[OilFinding]] = {}
    two, usual, when = _newest_two(year, moisture, np.isfinite(moisture))
    over, wet = two.min(axis=1) > most_water, two.min(axis=1) >= WATER_TIMES * usual
    for row in np.flatnonzero(over | wet).tolist():
        figures = f"{amount(two[row, 0])} and {amount(two[row, 1])} mg/kg"
        if over[row]:
            words = f"Water was {figures} in the two newest samples, over the limit of {amount(most_water[row])} mg/kg"
        else:
            words = f"Water rose from the usual {amount(usual[row])} to {figures} in the two newest samples"
        found[row] = [_asks("wet oil", words, when[row], bool(over[row]))]
    measured = np.isfinite(breakdown)
    same = measured & (method == at(method, newest_columns(measured, 1)[0]))
    two, usual, when = _newest_two(year, breakdown, same)
    under, weak = two.max(axis=1) < least_kv, two.max(axis=1) <= BREAKDOWN_SHARE * usual
    for row in np.flatnonzero(under | weak).tolist():
        figures = f"{amount(two[row, 0])} and {amount(two[row, 1])} kV"
        if under[row]:
            words = f"Breakdown voltage was {figures} in the two newest samples,"
            words += f" under the limit of {amount(least_kv[row])} kV"
        else:
            words = f"Breakdown voltage fell from the usual {amount(usual[row])} to {figures},"
            words += " by one method, in the two newest samples"
        found.setdefault(row, []).append(_asks("weak oil", words, when[row], bool(under[row])))
    return found


def _asks(kind: str, words: str, newest: float, by_limit: bool) -> OilFinding:
    source, standing = BY_LIMIT if by_limit else BY_OWN_PAST
    return OilFinding(kind, f"{words} (newest {as_date(newest)}); {ASKS}.", {}, source, standing)


def _newest_two(year: Floats, values: Floats, use: Bools) -> tuple[Floats, Floats, Floats]:
    """(S, 2) the two newest values in use, (S,) the usual of those before them and the date of the newest.

    NaN where there are not two, or not enough before them.
    """
    column, real = newest_columns(use, use.shape[1])
    ordered = np.pad(np.where(real, at(values, column), np.nan), ((0, 0), (2, 0)), constant_values=np.nan)
    usual = np.where(real.sum(axis=1) >= LEAST_PAST + 2, row_median(ordered[:, :-2]), np.nan)
    return ordered[:, -2:], usual, at(year, column)[:, -1]
