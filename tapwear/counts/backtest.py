"""Forecasts made at past dates with only what was known then, and how they fared."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from tapwear.counts import plain
from tapwear.counts.calibrate import CADENCES
from tapwear.counts.clean import read_counters
from tapwear.counts.filter import Floats, Ints
from tapwear.counts.path import read_count
from tapwear.counts.plain import PROBS
from tapwear.counts.rate import RateModel, fit_rates
from tapwear.counts.reference import REFERENCE, Regressions
from tapwear.counts.settings import RateSettings

HORIZONS = (90, 365, 730)
"""Days ahead that a backtest looks at (our choice)."""

MOST_ORIGINS = 12
"""Past dates that a backtest forecasts from, evenly spread (our choice)."""
MEAN_GRID = np.arange(0.025, 1.0, 0.05)
"""Quantiles whose average stands for the mean."""


def known_on(
    readings: pd.DataFrame, events: pd.DataFrame, stays: pd.DataFrame, day: pd.Timestamp
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Readings, events and stays dated on or before `day`; a stay that ended later is open."""
    stays = stays[~(stays["from_on"] > day)].copy()
    if len(stays):
        stays["to_on"] = stays["to_on"].where(stays["to_on"] <= day)
    return readings[readings["read_on"] <= day], events[events["happened_on"] <= day], stays


def forecast_origins(
    units: pd.DataFrame,
    readings: pd.DataFrame,
    events: pd.DataFrame,
    stays: pd.DataFrame,
    origins: pd.DataFrame,
    settings: RateSettings | None = None,
) -> pd.DataFrame:
    """Operations after the anchor visit up to origin + horizon, each origin from rows dated on or before it.

    origins : unit_id, origin, horizon_days; anchor_date and target_date are worked out where absent (the
        unit's last reading on or before the origin; origin + horizon_days)
    settings : of the rate model; None: the shipped ones
    Raises KeyError for a unit that is in neither units nor readings.
    Returns unit_id, origin, horizon_days, p10, p50, p90, mean in the order given. [operations]
    """
    asked = origins.reset_index(drop=True).copy()
    asked["origin"] = pd.to_datetime(asked["origin"])
    if "target_date" not in asked:
        asked["target_date"] = asked["origin"] + pd.to_timedelta(asked["horizon_days"], unit="D")
    asked["target_date"] = pd.to_datetime(asked["target_date"])
    result = np.zeros((len(asked), 4))
    for day in sorted(set(asked["origin"])):
        at = np.flatnonzero(asked["origin"] == day)
        seen, happened, stood = known_on(readings, events, stays, day)
        rows = asked.iloc[at]
        if "anchor_date" in asked:
            anchor = pd.to_datetime(rows["anchor_date"]).to_numpy("datetime64[D]")
        else:
            latest = seen.groupby("unit")["read_on"].max().reindex(rows["unit_id"]).fillna(day)
            anchor = latest.to_numpy("datetime64[D]")
        history = read_counters(units, seen, happened, stood, day.date())
        model = fit_rates(history, units, happened, stood, day.date(), settings)
        series = model.governing().loc[list(rows["unit_id"])].to_numpy(np.int64)
        target = rows["target_date"].to_numpy("datetime64[D]")
        result[at, :3] = model.operations(series, anchor, target, PROBS)
        result[at, 3] = model.operations(series, anchor, target, MEAN_GRID).mean(axis=1)
    out = asked[["unit_id", "origin", "horizon_days"]].copy()
    out[["p10", "p50", "p90", "mean"]] = result
    return out


@dataclass(frozen=True)
class Backtest:
    """Past forecasts beside what the readings later said.

    forecasts : DataFrame unit, drive, cadence, origin, horizon_days, from_on, to_on, made [operations by later
                readings], p10, p50, p90, and each of plain.PLAIN and
                reference.REFERENCE [NaN where it was not fitted] with its _low and _high
    table     : coverage, loss and bias by horizon and cadence, see plain.fared
    verdict   : the same in words
    """

    forecasts: pd.DataFrame
    table: pd.DataFrame
    verdict: str


def backtest(
    units: pd.DataFrame,
    readings: pd.DataFrame,
    events: pd.DataFrame,
    stays: pd.DataFrame,
    as_of: date,
    *,
    horizons: tuple[int, ...] = HORIZONS,
    settings: RateSettings | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Backtest:
    """How forecasts at past dates fared, each made with only what was known then.

    Every outcome is the usable reading nearest to the horizon (within 0.65 to 1.5 times), counted from the last
    usable reading before the origin, both as understood on as_of. settings : of the rate model; None: the shipped
    ones. `progress` is told (done, of) after each past date.
    """
    seen, happened, stood = known_on(readings, events, stays, pd.Timestamp(as_of))
    history = read_counters(units, seen, happened, stood, as_of)
    final = fit_rates(history, units, happened, stood, as_of, settings)
    days = past_dates(history.points, as_of, min(horizons))
    parts = []
    for done, day in enumerate(days):
        parts.append(one_origin(final, units, seen, happened, stays, day, horizons))
        if progress is not None:
            progress(done + 1, len(days))
    forecasts = pd.concat(parts, ignore_index=True) if parts else _nothing()
    forecasts = plain.with_plain_bands(forecasts)
    table = plain.fared(forecasts)
    return Backtest(forecasts, table, plain.verdict(table))


def past_dates(points: pd.DataFrame, as_of: date, least_ahead: int) -> list[pd.Timestamp]:
    """Ends of quarters to forecast from: a year after the first visit up to the shortest horizon before as_of."""
    if not len(points):
        return []
    first = points["on"].min() + pd.Timedelta(days=365)
    last = pd.Timestamp(as_of) - pd.Timedelta(days=least_ahead)
    quarters = list(pd.date_range(first, last, freq="QE"))
    if len(quarters) <= MOST_ORIGINS:
        return quarters
    picked = np.unique(np.linspace(0, len(quarters) - 1, MOST_ORIGINS).round().astype(int))
    return [quarters[k] for k in picked]


def one_origin(
    final: RateModel,
    units: pd.DataFrame,
    readings: pd.DataFrame,
    events: pd.DataFrame,
    stays: pd.DataFrame,
    day: pd.Timestamp,
    horizons: tuple[int, ...],
    settings: RateSettings | None = None,
    *,
    others: bool = True,
) -> pd.DataFrame:
    """Forecasts of every series read twice or more by `day` for which a later reading tells the outcome.

    final : the model of a later day, which tells the outcomes; settings : None takes those of `final`;
    others : the plain averages and the regression too
    """
    seen, happened, stood = known_on(readings, events, stays, day)
    history = read_counters(units, seen, happened, stood, day.date())
    model = fit_rates(history, units, happened, stood, day.date(), settings or final.settings)
    rows = np.flatnonzero(model.series.count >= 2)
    names = pd.MultiIndex.from_arrays([final.series.unit, final.series.drive])
    later = names.get_indexer(pd.MultiIndex.from_arrays([model.series.unit[rows], model.series.drive[rows]]))
    rows, later = rows[later >= 0], later[later >= 0].astype(np.int64)
    anchor = model.last_day[rows]
    rates = plain.plain_rates(model, rows) if others else {}
    beside = Regressions(model, rows) if others else None
    parts = []
    for horizon in horizons:
        end = _nearest_visit(final, later, anchor, float(horizon))
        ok = np.flatnonzero(np.isfinite(end))
        r, start, stop = rows[ok], anchor[ok], end[ok]
        part = pd.DataFrame(
            {
                "unit": model.series.unit[r],
                "drive": model.series.drive[r],
                "cadence": np.asarray(CADENCES, dtype=object)[model.cadence[r]],
                "origin": day,
                "horizon_days": horizon,
                "from_on": pd.to_datetime(start, unit="D"),
                "to_on": pd.to_datetime(stop, unit="D"),
                "made": read_count(final, later[ok], stop)[0] - read_count(final, later[ok], start)[0],
            }
        )
        from_on, to_on = (part[name].to_numpy("datetime64[D]") for name in ("from_on", "to_on"))
        part[["p10", "p50", "p90"]] = model.operations(r, from_on, to_on, PROBS)
        for name, rate in rates.items():
            part[name] = rate[ok] * (stop - start)
        if beside is not None:
            part[REFERENCE] = beside.expected(r, start, stop)
        parts.append(part)
    return pd.concat(parts, ignore_index=True)


def _nearest_visit(final: RateModel, rows: Ints, start: Floats, horizon: float) -> Floats:
    """Day of the visit nearest to start + horizon of each series, NaN where none is near enough."""
    series = final.series
    out = np.full(len(rows), np.nan)
    for k, (row, day) in enumerate(zip(rows, start, strict=True)):
        visits = series.day[series.begin[row] : series.begin[row] + series.count[row]] - day
        near = visits[(visits > 0.65 * horizon) & (visits < 1.5 * horizon)]
        if len(near):
            out[k] = day + near[np.argmin(np.abs(near - horizon))]
    return out


def _nothing() -> pd.DataFrame:
    """The forecasts frame without rows."""
    columns: dict[str, object] = {"unit": [], "drive": [], "cadence": []}
    frame = pd.DataFrame(columns).astype(object)
    for name in ("origin", "from_on", "to_on"):
        frame[name] = pd.Series(dtype="datetime64[us]")
    for name in ("horizon_days", "made", "p10", "p50", "p90", *plain.PLAIN, REFERENCE):
        frame[name] = pd.Series(dtype=float)
    return frame
