"""Percentiles of groups of like units, to compare with: the method of IEEE C57.139 as the domain notes have it,
unconfirmed. They inform and move no date."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from tapwear.oil.limits import RATIO, RATIO_LEAST
from tapwear.oil.settings import READ_GASES
from tapwear.oil.verdict import ENOUGH_LIKE_UNITS, FRESH_YEARS
from tapwear.weeks import DAYS_PER_YEAR

if TYPE_CHECKING:
    import pandas as pd

LIKE = ("oil_group", "technology", "breathing")


@dataclass(frozen=True)
class GroupPercentiles:
    """A group of like units. `quantities`: how many compartments have a value, its 90 and 95 % points [ppm, or ratio];
    quantities with too few compartments are left out."""

    oil_group: str
    technology: str
    breathing: str
    units: int
    quantities: dict[str, tuple[int, float, float]]


def group_percentiles(samples: pd.DataFrame, units: pd.DataFrame, as_of: date) -> tuple[GroupPercentiles, ...]:
    """All groups of like units (the same oil group, technology and breathing), the largest first.

    Parameters
    ----------
    samples, units : frames as in tapwear.oil.types; the newest sample of each compartment counts, none older than
        five years, a value below its detection limit as that limit
    """
    keys = units.drop_duplicates("unit")[["unit", *LIKE]].fillna("").astype(str)
    day = np.datetime64(as_of, "D")
    fresh = samples[(samples["taken_from"] == "compartment") & (samples["sampled_on"] <= np.datetime64(as_of))]
    fresh = fresh[fresh["sampled_on"] > day - np.timedelta64(round(FRESH_YEARS * DAYS_PER_YEAR), "D")]
    newest = fresh.sort_values(["unit", "compartment", "sampled_on", "sample_id"], kind="stable")
    newest = newest.drop_duplicates(["unit", "compartment"], keep="last").merge(keys, on="unit")
    clear = ~newest["ethylene_below"].astype(bool) & ~newest["acetylene_below"].astype(bool)
    ratio = newest["ethylene"] / newest["acetylene"].where(newest["acetylene"] > 0)
    newest = newest.assign(**{RATIO: ratio.where(clear & (newest["acetylene"] >= RATIO_LEAST))})
    found = []
    for like, members in keys.groupby(list(LIKE), sort=True):
        mine = newest[(newest[list(LIKE)] == list(like)).all(axis=1)]
        points = {}
        for name in (*READ_GASES, RATIO):
            values = mine[name].dropna().to_numpy(float)
            if len(values) >= ENOUGH_LIKE_UNITS:
                high, higher = np.quantile(values, [0.90, 0.95])
                points[name] = (len(values), float(high), float(higher))
        group, technology, breathing = map(str, like)
        found.append(GroupPercentiles(group, technology, breathing, len(members), points))
    return tuple(sorted(found, key=lambda group: (-group.units, group.oil_group, group.technology, group.breathing)))
