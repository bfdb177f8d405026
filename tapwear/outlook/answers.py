"""Many questions answered at once: arrays of chances first, then lists of the plain values that dues are made of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from tapwear.counts.current import UnitWeights
from tapwear.counts.dates import day_grid
from tapwear.oil.types import OilVerdict
from tapwear.outlook import clocks as clocks_of
from tapwear.outlook import merge
from tapwear.outlook.conditions import Noted, governing
from tapwear.outlook.merge import Floats
from tapwear.outlook.types import HORIZON_YEARS, Weighted, horizon

Dates = list[date | None]


@dataclass(frozen=True)
class Chunk:
    """Questions answered together: the oil calls for an internal inspection in all or none, and so operations count."""

    asked: pd.DataFrame
    counts: clocks_of.Asked
    verdicts: list[OilVerdict | None]
    noted: list[Sequence[Noted]]  # open conditions that concern the question
    pulls: bool
    counted: bool
    as_of: date


@dataclass(frozen=True)
class Answers:
    """Arrays and lists over a chunk of questions; days are counted from as_of, NaN = never or not known."""

    has_rule: list[bool]
    known: list[bool]
    overdue: list[bool]
    asked_by: list[Noted | None]  # the condition whose act-by day comes first
    last_service: Dates
    needed: list[int | None]  # interval [operations]
    years: list[float | None]  # interval [years]
    dates: list[Dates]  # merged: 10, 50 and 90 %
    moved: list[int]  # days that the oil brings the middle date forward; 0 where there is no other date
    of_clock: list[list[Dates]]
    share: list[list[float]]  # chance that each clock runs out first
    made: list[list[float | None]]  # operations since the last service, 10, 50 and 90 %
    bounds: tuple[Dates, Dates]
    weights: Mapping[int, UnitWeights]  # of the questions that weigh operations by current, and so the next
    weighted: Mapping[int, Weighted]


def answers_of(chunk: Chunk) -> Answers:
    """The chances of a chunk merged, and what the dues say of them."""
    asked, counts, as_of = chunk.asked, chunk.counts, chunk.as_of
    start, needed = counts.start, counts.needed
    years = asked["interval_years"].to_numpy(float, na_value=np.nan)
    asked_by = [governing(some) if some else None for some in chunk.noted]
    calendar_day = clocks_of.calendar_days(start, years, as_of)
    act_by = clocks_of.act_by_days(asked_by, as_of)
    oil_days = clocks_of.oil_days(chunk.verdicts, as_of) if chunk.pulls else None
    grid, operations = _operations(chunk, calendar_day, act_by, *(oil_days or ()))
    clocks = [
        operations,
        merge.certain(calendar_day, grid),
        clocks_of.oil_clock(oil_days, grid) if oil_days else np.zeros(grid.shape),
        merge.certain(act_by, grid),
    ]
    days = merge.quantile_days(merge.earliest(*clocks), grid)
    without_oil = merge.quantile_days(merge.earliest(*clocks[:2], clocks[3]), grid)[:, 1]
    of_limits = merge.quantile_days(merge.earliest(*clocks[:2]), grid)[:, 1]  # of operations and calendar alone
    has_rule = np.isfinite(needed) | np.isfinite(years)
    dated = (has_rule & np.isfinite(start)) | np.isfinite(act_by)  # by something besides the oil
    known = dated | chunk.pulls
    low, high = clocks_of.bounds(counts, clocks_of.days(asked["commissioned_on"], as_of), years)
    weights = clocks_of.weights_of(counts)
    return Answers(
        has_rule=has_rule.tolist(),
        known=known.tolist(),
        overdue=(known & (of_limits <= 0)).tolist(),
        asked_by=asked_by,
        last_service=_dates(start, as_of),
        needed=[None if number is None else round(number) for number in numbers(needed)],
        years=numbers(years),
        dates=_dates(np.where(known[:, None], days, np.nan), as_of),
        moved=[
            _moved(middle, without, (horizon(as_of) - as_of).days) if chunk.pulls and otherwise else 0
            for middle, without, otherwise in zip(days[:, 1], without_oil, dated, strict=True)
        ],
        of_clock=[_dates(merge.quantile_days(clock, grid), as_of) for clock in clocks],
        share=merge.shares(*clocks).T.tolist(),
        made=numbers(clocks_of.operations_since(counts)),
        bounds=(_dates(low, as_of), _dates(high, as_of)),
        weights=weights,
        weighted=clocks_of.weighted_and_plain(counts, weights),
    )


def _operations(chunk: Chunk, *certain: Floats) -> tuple[Floats, Floats]:
    """Days of each question (n, days), the certain ones among them, and the operations clock on these.

    Where no oil calls for an internal inspection, the corners of the operations clock are days enough.
    """
    base = np.unique(np.append(day_grid(ahead_years=HORIZON_YEARS + 1), -merge.STEP))  # nothing of the oil before as_of
    if chunk.counted:
        days, chance = clocks_of.operations_clock(chunk.counts, base)
    else:
        days = np.tile(base if chunk.pulls else base[[0, -1]], (len(chunk.asked), 1))
        chance = np.zeros(days.shape)
    grid = merge.with_days(days if chunk.pulls else merge.corners(chance, days), *certain)
    return grid, merge.onto(chance, days, grid)


def _dates(days: Floats, as_of: date) -> list[Any]:
    """The dates of days counted from as_of, as lists of the same shape; None where unknown or beyond the horizon.

    Equal dates are one object, which a large fleet's memory feels.
    """
    told = np.isfinite(days) & (days <= (horizon(as_of) - as_of).days)
    different, which = np.unique(np.rint(days[told]).astype(np.int64), return_inverse=True)
    out = np.full(days.shape, None, dtype=object)
    out[told] = (np.datetime64(as_of, "D") + different).astype(object)[which]
    return list(out.tolist())


def numbers(values: Floats) -> list[Any]:
    """The numbers as lists of the same shape, None where there is none."""
    return list(np.where(np.isfinite(values), values, np.array(None)).tolist())


def _moved(with_oil: float, without: float, furthest: int) -> int:
    """Days by which the oil brings the middle date forward; a date beyond the horizon counts as its end."""
    other = min(without, furthest) if np.isfinite(without) else furthest
    return max(round(other - with_oil), 0)
