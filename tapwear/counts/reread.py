"""The rate model as it would be if every counter were read on a day and showed just what is expected.

This is how the worth of a reading is told beforehand: the level of a place is updated by one more interval, with the
same filter as every other, and the count on that day is known. The number read is taken to be the middle of the
forecast; a surprise would move the date, and might leave it less sure than said here.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd

from tapwear.counts.rate import RateModel, fit_rates
from tapwear.counts.types import CounterHistory

_MIDDLE = np.array([0.5])


def as_if_read(
    history: CounterHistory,
    model: RateModel,
    units: pd.DataFrame,
    events: pd.DataFrame,
    stays: pd.DataFrame,
    on: date,
) -> tuple[CounterHistory, RateModel]:
    """History and model as of `on` with one more usable visit of every series on that day.

    Frames as in tapwear.counts.types; `on` is not before model.as_of. Second explanations of latest readings are taken
    as settled. A series never read is left as it is: its first reading tells a count and no rate yet.
    """
    day = np.datetime64(on, "D")
    points = history.points
    last = points.groupby(["unit", "drive"], sort=False).last().reset_index()
    last = last[last["on"].to_numpy("datetime64[D]") < day]
    where = {
        (unit, drive): row for row, (unit, drive) in enumerate(zip(model.series.unit, model.series.drive, strict=True))
    }
    rows = np.array([where[key] for key in zip(last["unit"], last["drive"], strict=True)], dtype=np.int64)
    since = last["on"].to_numpy("datetime64[D]")
    ahead = model.operations(rows, since, np.full(len(rows), day), _MIDDLE)[:, 0]
    extra = last.assign(on=pd.Timestamp(on), operations=last["operations"] + ahead, probability=1.0)
    both = pd.concat([points, extra[points.columns].astype(points.dtypes)], ignore_index=True)
    both = both.sort_values(["unit", "drive", "on"], kind="stable").reset_index(drop=True)
    read = replace(history, points=both, open_ends=history.open_ends.iloc[:0])
    return read, fit_rates(read, units, events, stays, on, model.settings, model.calibration)
