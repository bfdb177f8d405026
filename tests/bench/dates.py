"""Forecast when given numbers of operations are reached, on a folder of simulated counts.

    python tests/bench/dates.py --counts DIR --limits FILE --out FILE

DIR holds units.csv, readings.csv and events.csv; FILE the limits: unit_id, origin, anchor_date, limit_ops (operations
after the end of anchor_date). Each origin is answered from rows dated on or before it. Writes unit_id, origin,
limit_ops, early, middle, late: the days by which the limit is reached with 10, 50 and 90 %; blank is "not in sight".
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd
from doubtful import load

from tapwear.counts.backtest import known_on
from tapwear.counts.clean import read_counters
from tapwear.counts.rate import fit_rates

PROBS = np.array([0.1, 0.5, 0.9])


def answer(folder: Path, limits: pd.DataFrame) -> pd.DataFrame:
    """The three dates of every limit, in the order given."""
    units, readings, events, stays = load(folder)
    out = limits[["unit_id", "origin", "limit_ops"]].copy()
    dates = np.full((len(limits), 3), "", dtype=object)
    for origin in sorted(set(limits["origin"])):
        day = pd.Timestamp(origin)
        seen, happened, stood = known_on(readings, events, stays, day)
        history = read_counters(units, seen, happened, stood, day.date())
        model = fit_rates(history, units, happened, stood, day.date())
        at = np.flatnonzero(limits["origin"] == origin)
        rows = limits.iloc[at]
        series = model.governing().loc[rows["unit_id"]].to_numpy(np.int64)
        anchor = rows["anchor_date"].to_numpy("datetime64[D]")
        days = model.crossing_dates(series, anchor, rows["limit_ops"].to_numpy(float), PROBS)
        dates[at] = np.where(np.isnat(days), "", days.astype(str))
    out[["early", "middle", "late"]] = dates
    return out


def main() -> None:
    """Read the folder and the limits, write the dates."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--counts", type=Path, required=True)
    parser.add_argument("--limits", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    limits = pd.read_csv(given.limits, dtype={"unit_id": str, "origin": str, "anchor_date": str})
    answer(given.counts, limits).to_csv(given.out, index=False)


if __name__ == "__main__":
    main()
