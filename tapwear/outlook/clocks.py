"""The three clocks of many questions at once, as chances over a grid of days, and the counts behind them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tapwear.counts.dates import day_grid
from tapwear.counts.rate import RateModel
from tapwear.oil.types import OilVerdict
from tapwear.outlook import merge
from tapwear.outlook.merge import Floats
from tapwear.weeks import DAYS_PER_YEAR, add_years


def days(column: pd.Series, as_of: date) -> Floats:
    """A date column as days from as_of, NaN where not known."""
    day = column.to_numpy("datetime64[D]")
    out = (day - np.datetime64(as_of, "D")).astype(float)
    return np.where(np.isnat(day), np.nan, out)


def series_rows(model: RateModel, unit_names: Sequence[str]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """All (question, series) pairs: a unit with several drives is due when the first of them is."""
    rows = pd.Series(np.arange(len(model.series.unit)), index=model.series.unit)
    pairs = pd.DataFrame({"unit": unit_names, "question": np.arange(len(unit_names))}).merge(
        rows.rename("series"), left_on="unit", right_index=True, how="inner"
    )
    return pairs["question"].to_numpy(np.int64), pairs["series"].to_numpy(np.int64)


def operations_clock(
    model: RateModel, unit_names: Sequence[str], start: Floats, needed: Floats, grid: Floats, as_of: date
) -> Floats:
    """Chance of the interval being used up, (questions, grid); 0 where there is no such interval or start."""
    out = np.zeros((len(unit_names), len(grid)))
    question, series = series_rows(model, unit_names)
    asked = np.isfinite(start[question]) & np.isfinite(needed[question])
    question, series = question[asked], series[asked]
    if len(question):
        begin = np.datetime64(as_of, "D") + start[question].astype(np.int64)
        crossing = model.crossing(series, begin, needed[question], grid)
        np.maximum.at(out, question, crossing.probability)
    return out


def calendar_days(start: Floats, years: Floats, as_of: date) -> Floats:
    """The day on which each interval in years ends, to the very date; NaN where either is not known."""
    return np.array(
        [
            (add_years(as_of + timedelta(days=int(day)), span) - as_of).days
            if np.isfinite(day) and np.isfinite(span)
            else np.nan
            for day, span in zip(start, years, strict=True)
        ],
        dtype=float,
    )


def oil_clock(verdicts: Sequence[OilVerdict | None], main: NDArray[np.bool_], grid: Floats, as_of: date) -> Floats:
    """Chance that the oil has asked for the opening, (questions, grid): nothing before a call to pull forward,
    all of it on as_of where the finding is severe."""

    def ahead(name: str) -> Floats:
        out = np.full(len(verdicts), np.nan)
        for row, verdict in enumerate(verdicts):
            if verdict is None or not main[row] or verdict.call != "pull forward":
                continue
            day = getattr(verdict, name)
            out[row] = 0.0 if verdict.severe or day is None else max((day - as_of).days, 0)
        return out

    early, middle, late = ahead("open_by_early"), ahead("open_by_middle"), ahead("open_by_late")
    middle = np.maximum(middle, early)
    return np.where(grid[None, :] >= 0, merge.spread(early, middle, np.maximum(late, middle), grid), 0.0)


def operations_since(model: RateModel, names: Sequence[str], start: Floats, as_of: date) -> Floats:
    """Operations since the last service, 10, 50 and 90 %, of the drive with the most; NaN where unknown."""
    out = np.full((len(names), 3), np.nan)
    question, series = series_rows(model, names)
    asked = np.isfinite(start[question])
    question, series = question[asked], series[asked]
    if len(question):
        begin = np.datetime64(as_of, "D") + start[question].astype(np.int64)
        end = np.full(len(begin), np.datetime64(as_of, "D"))
        made = model.operations(series, begin, end, np.array(merge.QUANTILES))
        out[question] = -1.0
        np.maximum.at(out, question, made)
    return out


def bounds(
    asked: pd.DataFrame, model: RateModel, names: Sequence[str], needed: Floats, years: Floats, as_of: date
) -> tuple[Floats, Floats]:
    """For an unknown last service: the middle date if never done since commissioning, and if done today."""
    born = days(asked["commissioned_on"], as_of)
    grid = day_grid(60)
    out = []
    for begin in (born, np.zeros(len(born))):
        operations = operations_clock(model, names, begin, needed, grid, as_of)
        used_up = merge.quantile_days(operations, grid, (0.5,))[:, 0]
        out.append(np.fmin(used_up, begin + years * DAYS_PER_YEAR))
    return out[0], out[1]
