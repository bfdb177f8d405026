"""The rate of every place, learnt from all readings together, and what it says about operations to come."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tapwear.counts import ahead, calibrate, dates, path
from tapwear.counts.alternatives import Alternative, Alternatives, find_alternatives, rounded
from tapwear.counts.calibrate import Calibration
from tapwear.counts.exposure import REGIME_EVENTS, CountSeries, build_series
from tapwear.counts.filter import Floats, Intervals, Ints, Levels, last_levels, pick_places, run_filter
from tapwear.counts.places import NEVER, day_number
from tapwear.counts.priors import group_priors, speaking_places, with_slopes
from tapwear.counts.regimes import Regime, find_regimes
from tapwear.counts.season import YEAR, season_table
from tapwear.counts.settings import RateSettings
from tapwear.counts.standing import Stops, without_stops
from tapwear.counts.types import CounterHistory
from tapwear.peers import PEERS, Speakers

OUTER = 1.2815515655446004
"""The normal's 90 % point."""

BOUND_VARIANCE = 0.1
"""Of the level of a place of which only the number on its counter is known (our choice)."""

Days = NDArray[np.datetime64]
Bools = NDArray[np.bool_]

@dataclass(frozen=True)
class RateModel:
    """Rates of all places on `as_of`, and the counts that they carry forward.

    index      : DataFrame, one row per series: unit, drive, group, readings, last_read_on,
                 operations_per_year [at today's level, season averaged out], relative_spread
    series     : visits of each series; intervals: reading intervals by place
    mean, cov  : state of each place [log operations per day; cosine; sine; growth a year] and covariance, as in Levels
    evenness   : factor on the spread of each place, below 1 where readings used to fall close to the forecast
    rate_day   : day of the end of each place's last interval [days since 1970-01-01]
    season     : table of the integrated season, one row per place [days]
    cadence    : row of calibrate.CADENCES of each series
    group_season : cosine and sine amplitude of each peer group
    recorded   : recorded events that may have changed a rate: unit, happened_on, kind
    stops : standstills of densely read places, to be expected again
    most : operations before the first visit that the number read there allows, one a series; infinite where not known
    alternatives : second explanations of what the counters show, which counts and dates are mixtures over
    factor, factor_from : what the operations to come are multiplied by, and from the end of which day [days since
        1970-01-01]; for asking what if, see with_factor

    Nothing is fitted by iteration, so there is nothing that could fail to converge.
    """

    as_of: date
    settings: RateSettings
    index: pd.DataFrame
    series: CountSeries
    intervals: Intervals
    mean: Floats
    cov: Floats
    evenness: Floats
    rate_day: Floats
    season: Floats
    last_day: Floats
    cadence: Ints
    calibration: Calibration
    group_season: pd.DataFrame
    recorded: pd.DataFrame
    stops: Stops
    most: Floats
    alternatives: Alternatives
    factor: float = 1.0
    factor_from: float = NEVER

    @property
    def today(self) -> float:
        """as_of as a day number. [days since 1970-01-01]"""
        return float(np.datetime64(self.as_of, "D").astype(int))

    @cached_property
    def _rows(self) -> dict[str, Ints]:
        rows: dict[str, list[int]] = {}
        for row, unit in enumerate(self.series.unit):
            rows.setdefault(str(unit), []).append(row)
        return {unit: np.array(mine, dtype=np.int64) for unit, mine in rows.items()}

    @cached_property
    def _governing(self) -> pd.Series:
        total = np.zeros(len(self.series.unit))
        some = self.series.count > 0
        total[some] = self.series.operations[(self.series.begin + self.series.count - 1)[some]]
        order = np.argsort(total, kind="stable")
        return pd.Series(order, index=pd.Index(self.series.unit[order], name="unit")).groupby(level=0).last()

    def rows_of(self, unit: str) -> Ints:
        """Series of a unit: one for a single drive, three for single-phase drives. KeyError if unknown."""
        return self._rows[unit]

    def governing(self) -> pd.Series:
        """The series that governs each unit (the drive with the most operations), indexed by unit."""
        return self._governing

    def with_factor(self, factor: float, on: date) -> RateModel:
        """The model if all rates were `factor` times as high from the end of `on`, not before as_of, for ever."""
        return replace(self, factor=factor, factor_from=float(np.datetime64(on, "D").astype(int)))

    def regimes(self, unit: str) -> tuple[Regime, ...]:
        """Changes of regime found at the place where a unit stands, oldest first, each in words."""
        self.rows_of(unit)
        return self.regimes_of([unit])[unit]

    def regimes_of(self, units: Sequence[str]) -> dict[str, tuple[Regime, ...]]:
        """The changes of regime of many units at once, each as in `regimes`. KeyError for an unknown one."""
        names = list(units)
        places = self.series.place[self.governing().loc[names].to_numpy(np.int64)]
        causes: dict[str, list[tuple[date, str]]] = {unit: [] for unit in names}
        for unit, day, kind in zip(
            self.recorded["unit"], self.recorded["happened_on"], self.recorded["kind"], strict=True
        ):
            if unit in causes:
                causes[unit].append((pd.Timestamp(day).date(), str(kind)))
        found = find_regimes(
            self.intervals, places, self.mean[places, 1], self.mean[places, 2], list(causes.values()), self.settings
        )
        return dict(zip(names, found, strict=True))

    def rate_words(self, unit: str) -> tuple[str, ...]:
        """How fast a unit's counter runs, and where that changed, in plain sentences."""
        row = int(self.governing()[unit])
        rate = float(self.index["operations_per_year"].iloc[row])
        growth = float(self.mean[self.series.place[row], 3])
        if self.series.count[row] < 2:
            return (self.range_words(unit),)
        words = [f"about {rate:,.0f} operations a year at present"]
        if abs(growth) >= 0.01:
            way = "grows" if growth > 0 else "falls"
            words.append(f"rate {way} by about {abs(100 * np.expm1(growth)):.0f} % a year")
        words += [regime.words for regime in self.regimes(unit)]
        if self.series.off[row]:
            words.append("out of service at present; its return is taken as a matter of some months")
        return tuple(words)

    def range_words(self, unit: str) -> str:
        """What like units make, for a unit that has no rate of its own."""
        place = int(self.series.place[int(self.governing()[unit])])
        middle, spread = _yearly(self.mean[[place]])[0], np.sqrt(self.cov[place, 0])
        low, high = (rounded(float(middle * np.exp(z * spread))) for z in (-OUTER, OUTER))
        if np.isfinite(self.most[int(self.governing()[unit])]):
            return f"no rate of its own yet: its counter allows about {rounded(float(middle))} operations a year"
        return f"no rate of its own yet: similar units make about {low} to {high} operations a year"

    def operations(self, series: Ints, from_day: Days, to_day: Days, probs: Floats) -> Floats:
        """Quantiles of the operations from the end of from_day to the end of to_day.

        series [row of index], from_day, to_day [datetime64[D]] of one length; probs (p,) in (0, 1).
        Returns (n, p) [operations]; finite and non-negative for every series, even one never read.
        """
        rows, a, b = np.asarray(series, np.int64), _numbers(from_day), _numbers(to_day)
        return path.made_quantiles(self, rows, a, b, np.asarray(probs, float))

    def operations_at(self, unit: str, days: Days) -> Floats:
        """Cumulative operations of a unit on any days, 10, 50 and 90 %, shape (n, 3).

        Counted from the first usable reading of its governing drive (negative before it), as in
        CounterHistory.points; a unit never read counts from its commissioning. [operations]
        """
        return self.operations_of_units(np.full(len(days), unit, dtype=object), days)

    def operations_of_units(self, units: NDArray[np.object_], days: Days) -> Floats:
        """operations_at for many units in one call: one row per unit and day, shape (n, 3). [operations]"""
        rows = self.governing().loc[list(units)].to_numpy(dtype=np.int64)
        return path.cumulative(self, rows, _numbers(days))

    def crossing_dates(
        self, series: Ints, start_on: Days, operations_needed: Floats, probs: Floats
    ) -> Days:
        """The days by which the operations are reached with each probability, shape (n, p).

        NaT where that is more than dates.IN_SIGHT_YEARS after as_of.
        """
        rows, start = np.asarray(series, np.int64), _numbers(start_on)
        return dates.crossing_quantiles(self, rows, start, np.asarray(operations_needed, float), probs)


def _numbers(days: Days) -> Floats:
    return np.asarray(days, "datetime64[D]").astype(np.int64).astype(float)


def fit_rates(
    history: CounterHistory,
    units: pd.DataFrame,
    events: pd.DataFrame,
    stays: pd.DataFrame,
    as_of: date,
    settings: RateSettings | None = None,
    calibration: Calibration | None = None,
) -> RateModel:
    """Rates of all places from the readings up to `as_of`.

    Frames as in tapwear.counts.types. A place leans on its peer group until its own readings outweigh it.
    """
    s = settings or RateSettings()
    series, every = build_series(history, units, events, stays, as_of, s)
    intervals, stops = without_stops(every)
    speak = speaking_places(series, Speakers.of(units, PEERS))
    prior_mean, prior_cov, group_season = group_priors(series, intervals, speak, s)
    last_day = series.last_day
    visits = series.count
    first = np.full(len(visits), np.nan)
    first[visits > 0] = series.day[series.begin[visits > 0]]
    cadence = calibrate.cadence_of((last_day - first) / np.where(visits > 1, visits - 1, np.nan))
    first_pass, noise, prior_cov = with_slopes(intervals, prior_mean, prior_cov, speak[1], s)
    kept = run_filter(intervals, prior_mean, prior_cov, s, keep=True, scale=noise)
    levels = last_levels(intervals, kept, prior_mean, prior_cov)
    if calibration is None:
        calibration = _own_errors(series, intervals, kept, speak[1], cadence, s)
    most = _most_before(series, history.readings, units, levels)
    levels = _bounded(series, levels, most)
    rate_day = np.full(len(intervals.begin), float(np.datetime64(as_of, "D").astype(int)))
    some = intervals.count > 0
    rate_day[some] = intervals.to_day[(intervals.begin + intervals.count - 1)[some]]
    index = pd.DataFrame(
        {
            "unit": series.unit,
            "drive": series.drive,
            "group": np.asarray(series.group_names, dtype=object)[series.place_group[series.place]],
            "readings": visits,
            "last_read_on": pd.to_datetime(last_day, unit="D"),
            "operations_per_year": _yearly(levels.mean)[series.place],
            "relative_spread": np.sqrt(levels.cov[series.place, 0]),
        }
    )
    model = RateModel(
        as_of=as_of,
        settings=s,
        index=index,
        series=series,
        intervals=intervals,
        mean=levels.mean,
        cov=levels.cov,
        evenness=ahead.evenness(first_pass, speak[1]),
        rate_day=rate_day,
        season=season_table(levels.mean[:, 1], levels.mean[:, 2]),
        last_day=last_day,
        cadence=cadence,
        calibration=calibration,
        group_season=group_season,
        recorded=events[events["kind"].isin(REGIME_EVENTS)][["unit", "happened_on", "kind"]],
        stops=stops,
        most=most,
        alternatives=Alternatives.of([], len(visits)),
    )
    replaced = events.loc[events["kind"] == "counter_replaced", ["unit", "drive", "happened_on"]]
    found = find_alternatives(series, intervals, kept, (prior_mean, prior_cov), replaced, s)
    for ends in (history.open_ends, history.open_spans):
        found += _open_ends(model, ends)
    return replace(model, alternatives=Alternatives.of(found, len(visits)))


def _most_before(series: CountSeries, readings: pd.DataFrame, units: pd.DataFrame, levels: Levels) -> Floats:
    """Operations before the first visit of each series, at most: the number read there, where it cannot have turned.

    Asked of units whose first day in service is known and of which no rate of their own is known; infinite for others.
    """
    out = np.full(len(series.unit), np.inf)
    able = (series.count == 1) & np.isfinite(series.commissioned)
    if "digits" not in units or "value" not in readings or not able.any():
        return out
    used = readings[(readings["status"] == "used") & readings["unit"].isin(series.unit[able])]
    value = used.groupby(["unit", "drive"], sort=False)["value"].first()
    digits = units.drop_duplicates("unit").set_index("unit")["digits"]
    for row in np.flatnonzero(able):
        unit, drive = series.unit[row], series.drive[row]
        if (unit, drive) not in value.index or not digits.get(unit, 0) > 0:
            continue
        place, days = series.place[row], series.day[series.begin[row]] - series.commissioned[row]
        fast = np.exp(levels.mean[place, 0] + OUTER * np.sqrt(levels.cov[place, 0]))
        if days > YEAR and fast * days < 10.0 ** float(digits[unit]):
            out[row] = float(value[unit, drive])
    return out


def _bounded(series: CountSeries, levels: Levels, most: Floats) -> Levels:
    """Levels of places without a rate of their own: that of a counter which stood at 0 at commissioning.

    It cannot have made more; one that did not stand at 0 made less, so that dates from this are rather too early.
    """
    rows = np.flatnonzero(np.isfinite(most))
    if not len(rows):
        return levels
    mean, cov = levels.mean.copy(), levels.cov.copy()
    place = series.place[rows]
    days = series.day[series.begin[rows]] - series.commissioned[rows]
    mean[place, 0] = np.log((most[rows] + 0.5) / days)
    cov[place, 0] = BOUND_VARIANCE
    return replace(levels, mean=mean, cov=cov)


def _open_ends(model: RateModel, ends: pd.DataFrame) -> list[Alternative]:
    """The second explanations that the cleaning found."""
    day = day_number(ends["on"])
    chance = ends["probability"].to_numpy(float)
    told = ends["operations"].to_numpy(float)
    drives = ends["drive"].to_numpy(object) if "drive" in ends else np.full(len(ends), "", dtype=object)
    good = np.flatnonzero(np.isfinite(day) & (day <= model.today) & np.isfinite(chance) & np.isfinite(told))
    where: dict[object, int] = {}
    for i, (unit, drive) in enumerate(zip(model.series.unit, model.series.drive, strict=True)):
        where[unit, drive] = i
        where.setdefault(unit, i)
    pairs = zip(ends["unit"].to_numpy(object)[good], drives[good], strict=True)
    rows = np.array([where.get((unit, drive), where[unit]) for unit, drive in pairs], dtype=np.int64)
    if not len(rows):
        return []
    extra = told[good] - path.cumulative(model, rows, day[good])[:, 1]
    words = ends["words"].to_numpy(object)[good]
    return [
        Alternative(row, on - 1.0, on, more, 0.0, 1.0, min(max(odds, 0.0), 1.0), str(said))
        for row, on, more, odds, said in zip(
            rows.tolist(), day[good].tolist(), extra.tolist(), chance[good].tolist(), words, strict=True
        )
    ]


def _own_errors(
    series: CountSeries,
    data: Intervals,
    kept: Levels,
    of_fleet: Bools,
    cadence: Ints,
    s: RateSettings,
) -> Calibration:
    """Calibration by the fleet's own past errors, from the places that speak for it. kept : one row per interval"""
    places = len(data.begin)
    picked = np.flatnonzero(of_fleet)
    part = pick_places(data, picked)
    rows = np.flatnonzero(np.repeat(of_fleet, data.count))
    errors = ahead.past_errors(part, kept.part(rows), calibrate.HORIZONS, s)
    cadence_of_place = np.full(places, len(calibrate.CADENCES) - 1)
    cadence_of_place[series.place] = cadence
    return calibrate.from_errors(errors, cadence_of_place[picked])


def _yearly(mean: Floats) -> Floats:
    """Operations a year at today's level, season averaged out."""
    out: Floats = np.exp(mean[:, 0] + (mean[:, 1] ** 2 + mean[:, 2] ** 2) / 4.0) * YEAR
    return out


