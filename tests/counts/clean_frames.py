"""Small frames for the tests of the counter readings: one call, a few readings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pandas as pd

from tapwear.counts.clean import read_counters
from tapwear.counts.types import CounterHistory

LATE = dt.date(2100, 1, 1)
Row = tuple[str, str, int] | tuple[str, str, int, dict[str, object]]


def readings_frame(rows: Sequence[Row]) -> pd.DataFrame:
    """Rows of (unit, date, value[, other columns]); 5 digits, mechanical, drive 1 unless said otherwise."""
    plain = {"drive": "1", "source": "mechanical", "digits": 5}
    records = [
        {"reading_id": i, "unit": row[0], "read_on": row[1], "value": row[2], **plain, **(row[3] if row[3:] else {})}
        for i, row in enumerate(rows)
    ]
    columns = ["reading_id", "unit", "drive", "source", "read_on", "value", "digits"]
    frame = pd.DataFrame(records, columns=columns)
    return frame.assign(read_on=pd.to_datetime(frame["read_on"]))


def events_frame(rows: Sequence[tuple[str, str, str, float | None, float | None]] = ()) -> pd.DataFrame:
    """Rows of (unit, date, kind, old reading, new reading)."""
    frame = pd.DataFrame(rows, columns=["unit", "happened_on", "kind", "old_reading", "new_reading"])
    return frame.assign(
        happened_on=pd.to_datetime(frame["happened_on"]),
        drive="",
        old_reading=pd.to_numeric(frame["old_reading"]),
        new_reading=pd.to_numeric(frame["new_reading"]),
    )


def units_frame(units: Sequence[str], station: str = "S1") -> pd.DataFrame:
    """Units of one station and one peer group."""
    return pd.DataFrame(
        {
            "unit": list(units),
            "place": list(units),
            "station": station,
            "peer_group": "town",
            "commissioned_on": pd.Series([pd.NaT] * len(units), dtype="datetime64[us]"),
        }
    )


def stays_frame(rows: Sequence[tuple[str, str, str, str | None, str]] = ()) -> pd.DataFrame:
    """Rows of (unit, place, from, to, state)."""
    frame = pd.DataFrame(rows, columns=["unit", "place", "from_on", "to_on", "state"])
    return frame.assign(from_on=pd.to_datetime(frame["from_on"]), to_on=pd.to_datetime(frame["to_on"]))


def clean(
    rows: Sequence[Row],
    events: Sequence[tuple[str, str, str, float | None, float | None]] = (),
    stays: Sequence[tuple[str, str, str, str | None, str]] = (),
    as_of: dt.date = LATE,
) -> CounterHistory:
    """The history of a few readings, all units of one station."""
    readings = readings_frame(rows)
    return read_counters(
        units_frame(sorted(set(readings["unit"]))),
        readings,
        events_frame(events),
        stays_frame(stays),
        as_of,
    )


def monthly(unit: str, values: Sequence[int], start: str = "2020-01-15", **more: object) -> list[Row]:
    """One reading every thirty days."""
    first = pd.Timestamp(start)
    days = [(first + pd.Timedelta(days=30 * i)).strftime("%Y-%m-%d") for i in range(len(values))]
    return [(unit, day, int(value), dict(more)) for day, value in zip(days, values, strict=True)]


def steady(first: int, monthly_operations: int, months: int, digits: int = 5) -> list[int]:
    """Counter values that rise by about so many operations a month (a few per cent more or less, in turn)."""
    swing = np.array([1.00, 1.04, 0.97, 1.02, 0.96, 1.01])
    made = np.round(monthly_operations * np.resize(swing, months - 1)).astype(int)
    return [int(v) % 10**digits for v in first + np.concatenate([[0], np.cumsum(made)])]


def status(history: CounterHistory) -> list[str]:
    """The statuses of all readings, in order."""
    return history.readings["status"].tolist()


def total(history: CounterHistory, unit: str = "T1", drive: str = "1") -> float:
    """Operations of a drive up to its last point."""
    points = history.points
    mine = points[(points["unit"] == unit) & (points["drive"] == drive)]
    return float(mine["operations"].iloc[-1])
