"""The three clocks of many questions at once, as chances over a grid of days, and the counts behind them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import isfinite

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tapwear.counts.current import Currents, UnitWeights, plain_operations, unit_weights, weighted_operations
from tapwear.counts.dates import crossing_chance, day_grid, past_chance
from tapwear.counts.filter import Ints
from tapwear.counts.rate import Days, RateModel
from tapwear.oil.types import OilVerdict
from tapwear.outlook import merge
from tapwear.outlook.conditions import Noted
from tapwear.outlook.merge import Floats
from tapwear.outlook.types import Weighted
from tapwear.weeks import add_years

NO_CHANCE = 1e-6  # a chance below this is none; our choice


@dataclass(frozen=True)
class Asked:
    """Questions answered together, as arrays over them (n,), and what they are put to.

    names, start, needed : unit, last service [days from as_of, NaN = not known] and interval [operations, NaN = none]
    exponent : of the current broken by which operations are weighted, 0 = the plain count
    first, drives : where in `series` [rows of RateModel.index] the unit's drives begin, and how many it has
    """

    model: RateModel
    currents: Currents
    as_of: date
    names: NDArray[np.object_]
    start: Floats
    needed: Floats
    exponent: Floats
    first: Ints
    drives: Ints
    series: Ints

    @property
    def counted(self) -> NDArray[np.bool_]:
        """Which questions an operations clock answers."""
        return np.isfinite(self.start) & np.isfinite(self.needed) & (self.drives > 0)

    def part(self, rows: Ints) -> Asked:
        """Some of the questions."""
        return replace(
            self,
            names=self.names[rows],
            start=self.start[rows],
            needed=self.needed[rows],
            exponent=self.exponent[rows],
            first=self.first[rows],
            drives=self.drives[rows],
        )

    def pairs(self, wanted: NDArray[np.bool_]) -> tuple[Ints, Ints, Days]:
        """Question, series and day of the last service for each drive of the questions wanted, in their order.

        A unit with several drives is due when the first of them is. The last services must be known.
        """
        rows = np.flatnonzero(wanted)
        drives = self.drives[rows]
        question = np.repeat(rows, drives)
        at = self.first[question] + np.arange(len(question)) - np.repeat(np.cumsum(drives) - drives, drives)
        begin = np.datetime64(self.as_of, "D") + self.start[question].astype(np.int64)
        return question, self.series[at], begin


def asked_of(asked: pd.DataFrame, model: RateModel, currents: Currents, as_of: date) -> Asked:
    """The questions that tapwear.outlook.rules.questions asks, put to the counts."""
    question, series = series_rows(model, asked["unit"])
    first = np.searchsorted(question, np.arange(len(asked) + 1))
    return Asked(
        model=model,
        currents=currents,
        as_of=as_of,
        names=asked["unit"].to_numpy(object),
        start=days(asked["last_service_on"], as_of),
        needed=asked["interval_operations"].to_numpy(float, na_value=np.nan),
        exponent=asked["current_exponent"].to_numpy(float),
        first=first[:-1],
        drives=np.diff(first),
        series=series,
    )


def days(column: pd.Series, as_of: date) -> Floats:
    """A date column as days from as_of, NaN where not known."""
    day = column.to_numpy("datetime64[D]")
    out = (day - np.datetime64(as_of, "D")).astype(float)
    return np.where(np.isnat(day), np.nan, out)


def series_rows(model: RateModel, units: Sequence[str] | pd.Series) -> tuple[Ints, Ints]:
    """All (question, series) pairs in the order of the questions."""
    rows = pd.Series(np.arange(len(model.series.unit)), index=model.series.unit)
    pairs = pd.DataFrame({"unit": units, "question": np.arange(len(units))}).merge(
        rows.rename("series"), left_on="unit", right_index=True, how="inner"
    )
    return pairs["question"].to_numpy(np.int64), pairs["series"].to_numpy(np.int64)


def operations_clock(asked: Asked, grid: Floats) -> tuple[Floats, Floats]:
    """Days (questions, days) and the chance of the interval being used up by each; all questions must be `counted`.

    grid : (days,) with 0 among them; each question gets days of its own besides, between those that hold its 10, 50 and
    90 %. The path is asked for the plain operations at which a weighted interval is used up, and of the past only
    where it may have been by as_of.
    """
    model = asked.model
    question, series, begin = asked.pairs(np.ones(len(asked.names), bool))
    plain = plain_operations(model, asked.currents, series, begin, asked.exponent[question], asked.needed[question])
    start = begin.astype(np.int64).astype(float)

    def of_drives(chance: Floats) -> Floats:
        if len(question) == len(asked.names):
            return chance
        return np.asarray(np.maximum.reduceat(chance, np.cumsum(asked.drives) - asked.drives, axis=0))

    today = int(np.searchsorted(grid, 0.0))
    known = np.zeros((len(question), len(grid)))
    known[:, today:] = crossing_chance(model, series, start, plain, grid[today:])
    past = np.flatnonzero(known[:, today] > NO_CHANCE)
    known[past, :today] = past_chance(model, series[past], start[past], plain[past], grid[:today], NO_CHANCE)
    coarse = np.maximum.accumulate(of_drives(known), axis=1)
    between = merge.between(coarse, grid)
    fine = of_drives(crossing_chance(model, series, start, plain, between[question]))
    own = np.zeros((len(coarse), len(grid) + between.shape[1]), bool)
    np.put_along_axis(own, np.searchsorted(grid, between, "right") + np.arange(between.shape[1]), True, axis=1)
    days, chance = np.empty(own.shape), np.empty(own.shape)
    days[own], days[~own] = between.ravel(), np.broadcast_to(grid, coarse.shape).ravel()
    chance[own], chance[~own] = fine.ravel(), coarse.ravel()
    return days, np.maximum.accumulate(chance, axis=1)


def calendar_days(start: Floats, years: Floats, as_of: date) -> Floats:
    """The day on which each interval in years ends, to the very date; NaN where either is not known."""
    return np.array(
        [
            (add_years(as_of + timedelta(days=int(day)), span) - as_of).days
            if isfinite(day) and isfinite(span)
            else np.nan
            for day, span in zip(start.tolist(), years.tolist(), strict=True)
        ],
        dtype=float,
    )


def act_by_days(governing: Sequence[Noted | None], as_of: date) -> Floats:
    """The act-by day of the condition that governs each question, as days from as_of; NaN where none is set."""
    days = [(one.act_by - as_of).days if one and one.act_by else np.nan for one in governing]
    return np.array(days, dtype=np.float64)


def oil_days(verdicts: Sequence[OilVerdict | None], as_of: date) -> tuple[Floats, Floats, Floats]:
    """10, 50 and 90 % days by which the oil calls for an internal inspection [days from as_of], of verdicts
    that bring it forward; all of them as_of where the finding is severe."""

    def ahead(name: str) -> Floats:
        days = []
        for verdict in verdicts:
            day = None if verdict is None or verdict.severe else getattr(verdict, name)
            days.append(0.0 if day is None else max((day - as_of).days, 0.0))
        return np.array(days, float)

    early, middle, late = ahead("open_by_early"), ahead("open_by_middle"), ahead("open_by_late")
    middle = np.maximum(middle, early)
    return early, middle, np.maximum(late, middle)


def oil_clock(days: tuple[Floats, Floats, Floats], grid: Floats) -> Floats:
    """Chance that the oil has asked for the opening, (questions, days). days : as from oil_days"""
    return np.where(grid >= 0, merge.spread(*days, grid), 0.0)


def operations_since(asked: Asked) -> Floats:
    """Operations since the last service, weighted where the rule says so, 10, 50 and 90 %, of the drive with the
    most; NaN where unknown."""
    out = np.full((len(asked.names), 3), np.nan)
    question, series, begin = asked.pairs(np.isfinite(asked.start))
    if len(question):
        end = np.full(len(begin), np.datetime64(asked.as_of, "D"))
        plain = asked.model.operations(series, begin, end, np.array(merge.QUANTILES))
        made = weighted_operations(asked.model, asked.currents, series, begin, asked.exponent[question], plain)
        out[question] = -1.0
        np.maximum.at(out, question, made)
    return out


def weights_of(asked: Asked) -> dict[int, UnitWeights]:
    """The weights of the unit of each question that weighs operations."""
    return {
        row: unit_weights(asked.model, asked.currents, str(asked.names[row]), float(asked.exponent[row]))
        for row in map(int, np.flatnonzero(asked.exponent > 0))
    }


def weighted_and_plain(asked: Asked, weights: Mapping[int, UnitWeights]) -> dict[int, Weighted]:
    """For each question that weighs operations, how they stand to the plain ones of the drive that governs it."""
    out = {row: Weighted(float(asked.exponent[row]), None, None, mine.ahead) for row, mine in weights.items()}
    question, series, begin = asked.pairs((asked.exponent > 0) & np.isfinite(asked.start))
    if not len(question):
        return out
    model, currents = asked.model, asked.currents
    end, power = np.full(len(begin), np.datetime64(asked.as_of, "D")), asked.exponent[question]
    plain = model.operations(series, begin, end, np.array([0.5]))
    made = weighted_operations(model, currents, series, begin, power, plain)[:, 0]
    limit = plain_operations(model, currents, series, begin, power, asked.needed[question])
    for at in np.argsort(made, kind="stable"):  # the drive with the most comes last, and stays
        row = int(question[at])
        reached = float(limit[at]) if np.isfinite(limit[at]) else None
        out[row] = replace(out[row], plain_since=float(plain[at, 0]), plain_limit=reached)
    return out


def bounds(asked: Asked, commissioned: Floats, years: Floats) -> tuple[Floats, Floats]:
    """For an unknown last service: the middle date if never serviced since commissioning, and if serviced today.

    commissioned [days from as_of, NaN = not known], years : (n,). NaN for the questions whose last service is known.
    """
    rows = np.flatnonzero(np.isnan(asked.start))
    grid = day_grid(60)
    out = np.full((2, len(asked.names)), np.nan)
    for which, begin in enumerate((commissioned[rows], np.zeros(len(rows)))):
        supposed = replace(asked.part(rows), start=begin)
        used_up = np.full(len(rows), np.nan)
        counted = np.flatnonzero(supposed.counted)
        if len(counted):
            on, operations = operations_clock(supposed.part(counted), grid)
            used_up[counted] = merge.quantile_days(operations, on, (0.5,))[:, 0]
        out[which, rows] = np.fmin(used_up, calendar_days(begin, years[rows], asked.as_of))
    return out[0], out[1]
