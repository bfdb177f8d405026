"""The three clocks of many questions at once, as chances over a grid of days, and the counts behind them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tapwear.counts.current import Currents, UnitWeights, plain_operations, unit_weights, weighted_operations
from tapwear.counts.dates import day_grid
from tapwear.counts.rate import RateModel
from tapwear.oil.types import OilVerdict
from tapwear.outlook import merge
from tapwear.outlook.conditions import Noted, governing
from tapwear.outlook.merge import Floats
from tapwear.outlook.types import Weighted
from tapwear.weeks import DAYS_PER_YEAR, add_years

NO_CHANCE = 1e-6  # a chance below this is none; our choice


@dataclass(frozen=True)
class Weighing:
    """How operations are weighted by the current broken. exponent (n,): of each question, 0 = the plain count."""

    currents: Currents
    exponent: Floats


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
    model: RateModel,
    unit_names: Sequence[str],
    start: Floats,
    needed: Floats,
    grid: Floats,
    as_of: date,
    weighing: Weighing,
) -> tuple[Floats, Floats]:
    """Days (questions, days) and the chance of the interval being used up by each; 0 where there is no such interval
    or start.

    grid : (days,) with 0 among them; each question gets days of its own besides, between those that hold its 10, 50 and
    90 %. The path is asked for the plain operations at which a weighted interval is used up, and of the past only
    where it may have been by as_of.
    """
    question, series = series_rows(model, unit_names)
    asked = np.isfinite(start[question]) & np.isfinite(needed[question])
    question, series = question[asked], series[asked]
    begin = np.datetime64(as_of, "D") + start[question].astype(np.int64)
    plain = plain_operations(model, weighing.currents, series, begin, weighing.exponent[question], needed[question])

    def chance_on(days: Floats, of: NDArray[np.int64]) -> Floats:
        own = days if days.ndim == 1 else days[question[of]]
        return np.asarray(model.crossing(series[of], begin[of], plain[of], own).probability)

    each = np.arange(len(question))
    today = int(np.searchsorted(grid, 0.0))
    known = np.zeros((len(question), len(grid)))
    if len(question):
        known[:, today:] = chance_on(grid[today:], each)
        past = np.flatnonzero(known[:, today] > NO_CHANCE)
        known[past, :today] = chance_on(grid[:today], past)
    coarse = np.zeros((len(unit_names), len(grid)))
    np.maximum.at(coarse, question, np.maximum.accumulate(known, axis=1))
    between = merge.between(coarse, grid)
    fine = np.zeros(between.shape)
    if len(question):
        np.maximum.at(fine, question, chance_on(between, each))
    days = np.concatenate([np.broadcast_to(grid, coarse.shape), between], axis=1)
    order = np.argsort(days, axis=1, kind="stable")
    chance = np.take_along_axis(np.concatenate([coarse, fine], axis=1), order, axis=1)
    return np.take_along_axis(days, order, axis=1), np.maximum.accumulate(chance, axis=1)


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


def act_by_days(noted: Sequence[Sequence[Noted]], as_of: date) -> Floats:
    """The first act-by day of each question's conditions, as days from as_of; NaN where none is set."""
    first = [governing(some) for some in noted]
    return np.array([(one.act_by - as_of).days if one and one.act_by else np.nan for one in first], dtype=np.float64)


def oil_clock(verdicts: Sequence[OilVerdict | None], main: NDArray[np.bool_], grid: Floats, as_of: date) -> Floats:
    """Chance that the oil has asked for the opening, (questions, days): nothing before a call to pull forward,
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
    return np.where(grid >= 0, merge.spread(early, middle, np.maximum(late, middle), grid), 0.0)


def operations_since(model: RateModel, names: Sequence[str], start: Floats, as_of: date, weighing: Weighing) -> Floats:
    """Operations since the last service, weighted where the rule says so, 10, 50 and 90 %, of the drive with the
    most; NaN where unknown."""
    out = np.full((len(names), 3), np.nan)
    question, series = series_rows(model, names)
    asked = np.isfinite(start[question])
    question, series = question[asked], series[asked]
    if len(question):
        begin = np.datetime64(as_of, "D") + start[question].astype(np.int64)
        end = np.full(len(begin), np.datetime64(as_of, "D"))
        plain = model.operations(series, begin, end, np.array(merge.QUANTILES))
        made = weighted_operations(model, weighing.currents, series, begin, weighing.exponent[question], plain)
        out[question] = -1.0
        np.maximum.at(out, question, made)
    return out


def weights_of(model: RateModel, names: Sequence[str], weighing: Weighing) -> dict[int, UnitWeights]:
    """The weights of the unit of each question that weighs operations."""
    return {
        row: unit_weights(model, weighing.currents, names[row], float(weighing.exponent[row]))
        for row in map(int, np.flatnonzero(weighing.exponent > 0))
    }


def weighted_and_plain(
    model: RateModel,
    names: Sequence[str],
    start: Floats,
    needed: Floats,
    as_of: date,
    weighing: Weighing,
    weights: Mapping[int, UnitWeights],
) -> dict[int, Weighted]:
    """For each question that weighs operations, how they stand to the plain ones of the drive that governs it."""
    out = {row: Weighted(float(weighing.exponent[row]), None, None, mine.ahead) for row, mine in weights.items()}
    question, series = series_rows(model, names)
    asked = (weighing.exponent[question] > 0) & np.isfinite(start[question])
    question, series = question[asked], series[asked]
    if not len(question):
        return out
    begin = np.datetime64(as_of, "D") + start[question].astype(np.int64)
    end, power = np.full(len(begin), np.datetime64(as_of, "D")), weighing.exponent[question]
    plain = model.operations(series, begin, end, np.array([0.5]))
    made = weighted_operations(model, weighing.currents, series, begin, power, plain)[:, 0]
    limit = plain_operations(model, weighing.currents, series, begin, power, needed[question])
    for at in np.argsort(made, kind="stable"):  # the drive with the most comes last, and stays
        row = int(question[at])
        reached = float(limit[at]) if np.isfinite(limit[at]) else None
        out[row] = replace(out[row], plain_since=float(plain[at, 0]), plain_limit=reached)
    return out


def bounds(
    asked: pd.DataFrame,
    model: RateModel,
    names: Sequence[str],
    needed: Floats,
    years: Floats,
    as_of: date,
    weighing: Weighing,
) -> tuple[Floats, Floats]:
    """For an unknown last service: the middle date if never done since commissioning, and if done today.

    NaN for the questions whose last service is known.
    """
    rows = np.flatnonzero(asked["last_service_on"].isna())
    born = days(asked["commissioned_on"], as_of)[rows]
    mine = [names[row] for row in rows.tolist()]
    weighed = Weighing(weighing.currents, weighing.exponent[rows])
    grid = day_grid(60)
    out = np.full((2, len(asked)), np.nan)
    for which, begin in enumerate((born, np.zeros(len(rows)))):
        on, operations = operations_clock(model, mine, begin, needed[rows], grid, as_of, weighed)
        used_up = merge.quantile_days(operations, on, (0.5,))[:, 0]
        out[which, rows] = np.fmin(used_up, begin + years[rows] * DAYS_PER_YEAR)
    return out[0], out[1]
