"""Small fleets for the tests of the rates: cumulative counts as they come out of the cleaning."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from tapwear.counts.calibrate import CADENCES, HORIZONS, Calibration
from tapwear.counts.rate import RateModel, fit_rates
from tapwear.counts.settings import RateSettings
from tapwear.counts.types import CounterHistory

AS_OF = dt.date(2024, 6, 30)
PROBS = np.array([0.1, 0.5, 0.9])
EVENT_COLUMNS = ["unit", "happened_on", "kind", "drive", "old_reading", "new_reading"]
STAY_COLUMNS = ["unit", "place", "from_on", "to_on", "state"]

FLAT = Calibration(
    tilt=np.zeros((len(CADENCES), len(HORIZONS))),
    low=np.ones((len(CADENCES), len(HORIZONS))),
    high=np.ones((len(CADENCES), len(HORIZONS))),
    cases=np.zeros((len(CADENCES), len(HORIZONS)), dtype=np.int64),
    source="the model's own spread",
)


def points(counts: dict[str, list[tuple[str, float]]], drive: str = "1") -> pd.DataFrame:
    """Usable visits of each unit, given as (day, operations)."""
    rows = [
        (number, unit, drive, pd.Timestamp(day), float(total), 1.0)
        for number, (unit, visits) in enumerate(counts.items())
        for day, total in visits
    ]
    columns = ["series", "unit", "drive", "on", "operations", "probability"]
    return pd.DataFrame(rows, columns=columns).astype({"on": "datetime64[us]", "operations": float})


def history(visits: pd.DataFrame, open_ends: pd.DataFrame | None = None) -> CounterHistory:
    """The cleaned counters with these visits."""
    if open_ends is None:
        columns = ["series", "unit", "on", "operations", "probability", "words"]
        open_ends = pd.DataFrame(columns=columns).astype({"on": "datetime64[us]"})
    return CounterHistory(visits, visits, open_ends)


def units(names: list[str], group: str = "", commissioned: str | None = None) -> pd.DataFrame:
    """Units that each stand at a place of their own name."""
    return pd.DataFrame(
        {
            "unit": names,
            "place": names,
            "station": "North",
            "peer_group": group,
            "commissioned_on": pd.to_datetime(pd.Series([commissioned] * len(names))),
        }
    )


def events(*rows: tuple[str, str, str]) -> pd.DataFrame:
    """Events given as (unit, day, kind), of all drives."""
    full = [(unit, pd.Timestamp(day), kind, "", np.nan, np.nan) for unit, day, kind in rows]
    return pd.DataFrame(full, columns=EVENT_COLUMNS).astype({"happened_on": "datetime64[us]"})


def stays(*rows: tuple[str, str, str | None, str | None, str]) -> pd.DataFrame:
    """Stays given as (unit, place, from, to, state)."""
    frame = pd.DataFrame(list(rows), columns=STAY_COLUMNS)
    return frame.assign(from_on=pd.to_datetime(frame["from_on"]), to_on=pd.to_datetime(frame["to_on"]))


def steady(per_day: float, first: str, last: str, every: int = 30) -> list[tuple[str, float]]:
    """A counter that makes exactly so many operations a day, read every so many days."""
    days = pd.date_range(first, last, freq=f"{every}D")
    return [(str(day.date()), per_day * (day - days[0]).days) for day in days]


def fit(
    counts: dict[str, list[tuple[str, float]]],
    happened: pd.DataFrame | None = None,
    stood: pd.DataFrame | None = None,
    fleet: pd.DataFrame | None = None,
    settings: RateSettings | None = None,
    calibration: Calibration | None = FLAT,
    as_of: dt.date = AS_OF,
) -> RateModel:
    """The rates of these counts; with the model's own spread unless another calibration is asked for."""
    return fit_rates(
        history(points(counts)),
        units(list(counts)) if fleet is None else fleet,
        events() if happened is None else happened,
        stays() if stood is None else stood,
        as_of,
        settings,
        calibration,
    )


def ahead(model: RateModel, unit: str, days: int, start: dt.date = AS_OF) -> np.ndarray:
    """10, 50 and 90 % of the operations of a unit over the days after start."""
    row = np.array([int(model.governing()[unit])])
    begin = np.array([start], dtype="datetime64[D]")
    return model.operations(row, begin, begin + np.timedelta64(days, "D"), PROBS)[0]
