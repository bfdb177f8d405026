"""Laboratory files in which two columns seem to be exchanged: by what the same units showed before, and by nature."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import combinations
from statistics import fmean, median

from tapwear.visits.fields import GASES

QUANTITIES = (*(f"{gas}_ul_per_l" for gas in GASES), "moisture_mg_per_kg", "breakdown_kv")
FEWEST_ROWS = 3  # our choice, as are the two bounds below
SHARE = 0.8  # of the rows have to fit the exchanged columns better
BETTER = 0.4  # the distance to the unit's own past, as a share of what it is with the columns as they stand
APART = math.log(2.0)  # as they stand, the two values lie on average at least this far from the unit's past, each
# In oil that has seen air there is more nitrogen than oxygen, and paper and oil give more carbon dioxide than
# carbon monoxide (IEC 60599, on gas in free breathing equipment and on CO2/CO).
MORE_AND_LESS = (
    ("nitrogen_ul_per_l", "oxygen_ul_per_l"),
    ("carbon_dioxide_ul_per_l", "carbon_monoxide_ul_per_l"),
)

Sample = Mapping[str, float]  # by quantity; what was not measured, or was below its limit, is left out


def exchanged(
    samples: Sequence[tuple[str, Sample]], past: Mapping[str, Sequence[Sample]]
) -> tuple[str, str, int] | None:
    """The two quantities whose columns seem to be exchanged in one file, and how many rows say so; None for none.

    samples : unit and values of each row of the file; past : earlier samples of the same units
    """
    usual = {unit: _usual(rows) for unit, rows in past.items()}
    best: tuple[float, tuple[str, str, int]] | None = None
    for one, other in combinations(QUANTITIES, 2):
        as_is, turned = [], []
        for unit, values in samples:
            own = usual.get(unit, {})
            if one in values and other in values and one in own and other in own:
                first, second = math.log(values[one]), math.log(values[other])
                as_is.append(abs(first - own[one]) + abs(second - own[other]))
                turned.append(abs(second - own[one]) + abs(first - own[other]))
        if len(as_is) < FEWEST_ROWS or fmean(as_is) < 2 * APART:
            continue
        say_so = sum(new < BETTER * old for new, old in zip(turned, as_is, strict=True))
        gain = fmean(as_is) - fmean(turned)
        if say_so >= SHARE * len(as_is) and (best is None or gain > best[0]):
            best = gain, (one, other, say_so)
    if best is not None:
        return best[1]
    for more, less in MORE_AND_LESS:
        pairs = [(values[more], values[less]) for _, values in samples if more in values and less in values]
        say_so = sum(high < low / 2 for high, low in pairs)
        if say_so >= max(FEWEST_ROWS, SHARE * len(pairs)):
            return more, less, say_so
    return None


def _usual(rows: Sequence[Sample]) -> dict[str, float]:
    """The middle of the logarithms of what was measured, by quantity."""
    measured = {name: [math.log(row[name]) for row in rows if name in row] for name in QUANTITIES}
    return {name: median(values) for name, values in measured.items() if values}
