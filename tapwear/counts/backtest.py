"""Forecasts made at past dates with only what was known then, and how they fared."""

from __future__ import annotations

import numpy as np
import pandas as pd

from tapwear.counts.clean import read_counters
from tapwear.counts.rate import fit_rates
from tapwear.counts.settings import RateSettings

PROBS = np.array([0.1, 0.5, 0.9])
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
        series = model.governing().reindex(rows["unit_id"]).to_numpy(np.int64)
        target = rows["target_date"].to_numpy("datetime64[D]")
        result[at, :3] = model.operations(series, anchor, target, PROBS)
        result[at, 3] = model.operations(series, anchor, target, MEAN_GRID).mean(axis=1)
    out = asked[["unit_id", "origin", "horizon_days"]].copy()
    out[["p10", "p50", "p90", "mean"]] = result
    return out
