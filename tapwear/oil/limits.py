"""Limits that the user sets, per group of like units; no absolute limit ships as authority.

Input frame: oil_group [str, "" for every unit], technology [str, "" or absent for any], quantity [one of QUANTITIES],
value [float], source [str]; for the breakdown voltage also breakdown_method [str] and breakdown_gap_mm [float, NaN for
any]. A row of the unit's own group goes before a row for every unit, one that names its technology before one that
does not; the last row of a kind counts.

A limit acts: a gas beyond it in the two newest samples since the last reset, or a trend since then that meets it
within two years, asks for opening; water and breakdown voltage ask for oil work (`tapwear.oil.quality`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from tapwear.oil.dates import EPOCH, FARTHEST_YEARS, as_date
from tapwear.oil.samples import Bools, Floats, breakdown_key
from tapwear.oil.settings import C2H2, C2H4, READ_GASES
from tapwear.oil.trend import censored_slope, pairwise_slope
from tapwear.oil.types import OilFinding
from tapwear.weeks import DAYS_PER_YEAR

if TYPE_CHECKING:
    import pandas as pd

MOST_WATER = "moisture_mg_per_kg"
LEAST_BREAKDOWN = "breakdown_kv"
RATIO = "ethylene_to_acetylene"
QUANTITIES = (*READ_GASES, RATIO, MOST_WATER, LEAST_BREAKDOWN)
OPEN_DAYS = (0, 45, 90)  # open-by range after the second sample over a limit; our choice
TREND_SAMPLES = 4  # that a trend towards a limit needs; our choice
TREND_YEARS = 2.0  # that they have to span, so that filling up after a reset is over; our choice
AHEAD_YEARS = 2.0  # a trend that meets the limit later than this asks for nothing yet; our choice
RATIO_LEAST = 5.0  # acetylene below which a ratio to it means nothing [uL/L]; our choice


@dataclass(frozen=True)
class Limit:
    """One limit and who set it; `test` names method and gap of a breakdown voltage, "" for any."""

    value: float
    source: str
    test: str = ""


@dataclass(frozen=True)
class OverLimit:
    """What a limit asks for: an open-by range [10, 50, 90 %], or a further sample where it is None."""

    finding: OilFinding
    open_by: tuple[date, date, date] | None


def amount(value: float, figures: int = 3) -> str:
    """`1,240`, `97`, `0.62`: so many figures, or all before the point, never as a power of ten."""
    if not abs(value) >= 1e-4:
        return "0"
    return f"{value:,.0f}" if abs(value) >= 10 ** (figures - 1) else f"{value:.{figures}g}"


def limits_of(limits: pd.DataFrame | None, oil_group: str, technology: str = "") -> dict[str, Limit]:
    """The limits that hold for a unit of this group and technology, by quantity.

    Those of the breakdown voltage that name a test are held under `breakdown_kv, METHOD`.
    """
    found: dict[str, tuple[tuple[bool, bool], Limit]] = {}
    if limits is None:
        return {}
    for row in limits.to_dict("records"):
        group, kind = str(row.get("oil_group") or ""), str(row.get("technology") or "")
        if group not in ("", oil_group) or kind not in ("", technology) or not np.isfinite(row["value"]):
            continue
        name, method = str(row["quantity"]), str(row.get("breakdown_method") or "")
        gap = row.get("breakdown_gap_mm")
        test = breakdown_key(method, float("nan") if gap is None else float(gap))
        name += f", {method}" if test else ""
        rank = (bool(group), bool(kind))
        if name not in found or rank >= found[name][0]:
            limit = Limit(float(row["value"]), str(row["source"] or "the user's limit"), test)
            found[name] = (rank, limit)
    return {name: limit for name, (_, limit) in found.items()}


def least_breakdown(limits: Mapping[str, Limit], test: str) -> float:
    """The least breakdown voltage [kV] for results of that test, NaN where no limit is set for it."""
    for name, limit in limits.items():
        if not name.startswith(LEAST_BREAKDOWN):
            continue
        method, _, gap = limit.test.partition("|")
        if not method or (method == test.partition("|")[0] and gap in ("", test.partition("|")[2])):
            return limit.value
    return float("nan")


def over_limits(
    year: Floats, gas: Floats, below: Bools, limits: Mapping[str, Limit], as_of: date
) -> tuple[OverLimit, ...]:
    """What the gases of one compartment say against the user's limits.

    Parameters
    ----------
    year : (n,) samples since the last reset, in order of date [years since 1970]
    gas, below : (n, 5) [uL/L, NaN where not reported]; True where the value is only a detection limit, which never
        counts as beyond a limit
    """
    found = []
    for quantity, limit in limits.items():
        if quantity == RATIO:
            enough = ~below[:, C2H4] & ~below[:, C2H2] & (gas[:, C2H2] >= RATIO_LEAST)
            value = np.where(enough, gas[:, C2H4], np.nan) / gas[:, C2H2]
            under, name, unit = np.zeros(len(value), dtype=bool), "Ethylene over acetylene", ""
        elif quantity in READ_GASES:
            at = READ_GASES.index(quantity)
            value, under, name, unit = gas[:, at], below[:, at], quantity.capitalize(), " ppm"
        else:
            continue
        known = np.isfinite(value)
        one = _against(year[known], value[known], under[known], limit, (name, unit), as_of)
        if one is not None:
            found.append(one)
    return tuple(found)


def _against(
    year: Floats, value: Floats, under: Bools, limit: Limit, names: tuple[str, str], as_of: date
) -> OverLimit | None:
    if not len(value) or under[-1]:
        return None
    name, unit = names
    figure = f"the limit of {amount(limit.value)}{unit}"
    beyond = ~under & (value > limit.value)
    if not beyond[-1]:
        return _towards(year, value, under, limit, (name, figure), as_of)
    words = f"{name} is {amount(value[-1])}{unit}, over {figure}"
    agreeing = len(value) > 1 and bool(beyond[-2]) and year[-2] < year[-1]
    if not agreeing:
        finding = OilFinding("once over limit", f"{words}, in the newest sample only.", {}, limit.source, "confirmed")
        return OverLimit(finding, None)
    finding = OilFinding("over limit", f"{words}, in the two newest samples.", {}, limit.source, "confirmed")
    second = as_date(float(year[-1]))
    early, middle, late = (max(second + timedelta(days=days), as_of) for days in OPEN_DAYS)
    return OverLimit(finding, (early, middle, late))


def _towards(
    year: Floats, value: Floats, under: Bools, limit: Limit, names: tuple[str, str], as_of: date
) -> OverLimit | None:
    """A trend since the last reset that meets the limit within two years.

    The gas of a sound unit rises after a reset and then levels off, so the newest samples alone have to rise as well,
    and the lesser of the two slopes counts.
    """
    if len(value) < TREND_SAMPLES or year[-1] - year[0] < TREND_YEARS:
        return None
    now = (as_of - EPOCH).days / DAYS_PER_YEAR
    last = slice(-TREND_SAMPLES, None)
    newest = _slope(year[last], value[last], under[last])
    if newest[1] <= 0.0 or year[-1] < now - AHEAD_YEARS:
        return None
    whole = _slope(year, value, under)
    if whole[1] <= 0.0:
        return None
    slope, low, high = whole if whole[0] <= newest[0] else newest
    level = float(np.median(value[last] + slope * (year[-1] - year[last])))
    meets = [float(year[-1]) + max(limit.value - level, 0.0) / rate for rate in (high, slope, low)]
    if meets[1] > now + AHEAD_YEARS:
        return None
    early, middle, late = (max(as_date(min(when, now + FARTHEST_YEARS)), as_of) for when in meets)
    words = f"At its trend since the last reset, {names[0].lower()} meets {names[1]} about {middle}"
    words += f" ({early} to {late}, from {len(value)} samples)."
    return OverLimit(OilFinding("meets limit", words, {}, limit.source, "our choice"), (early, middle, late))


def _slope(year: Floats, value: Floats, under: Bools) -> tuple[float, float, float]:
    """Slope and its 80 % interval [per year]."""
    if int((~under).sum()) < 2:
        return 0.0, 0.0, 0.0
    slope = censored_slope(year, value, under) if bool(under.any()) else pairwise_slope(year, value)
    middle, low, high = slope.tolist()
    return middle, low, high
