"""Where true counts fall within their forecast distributions: the probability integral transform, in ten bins.

    python tests/bench/calibration.py --counts DIR

DIR holds units.csv, readings.csv, events.csv, origins.csv (unit_id, origin, target_date, anchor_date),
truth_daily.csv.gz (unit_id, date, cum_ops) and truth_regimes.csv (unit_id, kind, start, end). Prints the share of
forecasts whose outcome lies in each tenth of its distribution (0.10 everywhere is right), by cadence and by what
happened between anchor and target, and the share within the 10 to 90 % band.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd
from doubtful import load

from tapwear.counts.backtest import known_on
from tapwear.counts.calibrate import CADENCES
from tapwear.counts.clean import read_counters
from tapwear.counts.rate import fit_rates

TENTHS = np.arange(0.1, 0.95, 0.1)


def bins(folder: Path) -> pd.DataFrame:
    """Each origin with its cadence and the tenth (0 to 9) that the truth fell in."""
    units, readings, events, stays = load(folder)
    origins = pd.read_csv(folder / "origins.csv", parse_dates=["origin", "target_date", "anchor_date"])
    truth = pd.read_csv(folder / "truth_daily.csv.gz", parse_dates=["date"]).set_index(["unit_id", "date"])["cum_ops"]
    parts = []
    for day, part in origins.groupby("origin"):
        seen, happened, stood = known_on(readings, events, stays, pd.Timestamp(str(day)))
        on = pd.Timestamp(str(day)).date()
        model = fit_rates(read_counters(units, seen, happened, stood, on), units, happened, stood, on)
        rows = model.governing().loc[list(part["unit_id"])].to_numpy(np.int64)
        from_on, to_on = (part[name].to_numpy("datetime64[D]") for name in ("anchor_date", "target_date"))
        told = model.operations(rows, from_on, to_on, TENTHS)
        whose = [pd.MultiIndex.from_frame(part[["unit_id", name]]) for name in ("target_date", "anchor_date")]
        ends = [truth.reindex(one) for one in whose]
        made = ends[0].to_numpy(float) - ends[1].to_numpy(float)
        cadence = np.asarray(CADENCES, dtype=object)[model.cadence[rows]]
        parts.append(part.assign(cadence=cadence, tenth=(made[:, None] > told).sum(axis=1)))
    return pd.concat(parts, ignore_index=True)


def happened_within(found: pd.DataFrame, regimes: pd.DataFrame) -> pd.Series:
    """The kinds of what began or was going on between anchor and target, by row of `found`; one row for each."""
    both = found.reset_index().merge(regimes, on="unit_id")
    last = both["end"].fillna(both["start"])
    within = both[(both["start"] <= both["target_date"]) & (last >= both["anchor_date"])]
    return within.drop_duplicates(["index", "kind"]).set_index("index")["kind"]


def line(name: str, tenth: pd.Series) -> str:
    """`monthly  1,234  0.09 0.10 ...  held 0.81`."""
    shares = np.bincount(tenth, minlength=10) / len(tenth)
    held = shares[1:9].sum()
    return f"{name:<22}{len(tenth):>6,}  {' '.join(f'{share:.2f}' for share in shares)}   held {held:.3f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--counts", type=Path, required=True)
    folder = parser.parse_args().counts
    found = bins(folder)
    regimes = pd.read_csv(folder / "truth_regimes.csv", parse_dates=["start", "end"])
    kinds = happened_within(found, regimes)
    print(line("all", found["tenth"]))
    for cadence, part in found.groupby("cadence"):
        print(line(str(cadence), part["tenth"]))
    for kind, rows in kinds.groupby(kinds):
        print(line(str(kind), found.loc[rows.index, "tenth"]))
    print(line("nothing happened", found.loc[found.index.difference(kinds.index), "tenth"]))


if __name__ == "__main__":
    main()
