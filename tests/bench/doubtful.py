"""How many doubtful marks are right, and how many misreadings get one, on a folder of simulated counts.

    python tests/bench/doubtful.py --counts DIR [--last] [--list]

DIR holds units.csv, readings.csv, events.csv, truth_errors.csv and truth_daily.csv.gz. A misreading counts as found
when its reading is marked doubtful with all readings known; with --last also as of its own day, and as of the day of
the next one. Prints recall and precision, by kind; the operations made according to the cleaned count against the
true ones, the worst units first.
"""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd

from tapwear.counts.clean import read_counters
from tapwear.counts.types import CounterHistory

EVENTS = {
    "load_transfer": "load_transferred",
    "parallel_operation": "paralleled",
}


def load(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """The folder's frames in the form that `tapwear.counts` takes."""
    raw_units = pd.read_csv(folder / "units.csv", dtype={"unit_id": str})
    raw = pd.read_csv(folder / "readings.csv", dtype={"unit_id": str}, parse_dates=["date"])
    raw_events = pd.read_csv(folder / "events.csv", dtype={"unit_id": str}, parse_dates=["date"])
    units = pd.DataFrame(
        {
            "unit": raw_units["unit_id"],
            "place": raw_units["unit_id"],
            "station": raw_units["substation"],
            "peer_group": raw_units["peer_group"].fillna(""),
            "commissioned_on": pd.to_datetime(raw_units["commissioned"]),
        }
    )
    digits = raw_units.set_index("unit_id")["counter_digits"]
    readings = pd.DataFrame(
        {
            "reading_id": np.arange(len(raw)),
            "unit": raw["unit_id"],
            "drive": "1",
            "source": "mechanical",
            "read_on": raw["date"],
            "value": raw["counter_reading"],
            "digits": raw["unit_id"].map(digits),
        }
    )
    events = pd.DataFrame(
        {
            "unit": raw_events["unit_id"],
            "happened_on": raw_events["date"],
            "kind": raw_events["event_type"].replace(EVENTS),
            "drive": "",
            "old_reading": pd.to_numeric(raw_events["old_reading"]),
            "new_reading": pd.to_numeric(raw_events["new_reading"]),
        }
    )
    stays = pd.DataFrame(
        {
            "unit": pd.Series(dtype=str),
            "place": pd.Series(dtype=str),
            "from_on": pd.Series(dtype="datetime64[us]"),
            "to_on": pd.Series(dtype="datetime64[us]"),
            "state": pd.Series(dtype=str),
        }
    )
    return units, readings, events, stays


def marks(history: CounterHistory, errors: pd.DataFrame) -> pd.DataFrame:
    """Every reading with its status and the kind of misreading it truly is ("" for a right one)."""
    table = history.readings.merge(errors, on=["unit", "read_on"], how="left")
    return table.assign(kind=table["kind"].fillna(""), marked=table["status"].isin(["doubtful"]))


def summary(table: pd.DataFrame, title: str) -> None:
    """Prints recall by kind, and precision."""
    wrong = table["kind"] != ""
    found = wrong & table["marked"]
    precision = found.sum() / max(table["marked"].sum(), 1)
    print(f"\n{title}: {wrong.sum()} misreadings, {table['marked'].sum()} doubtful marks")
    print(f"recall {found.sum() / max(wrong.sum(), 1):.3f}  precision {precision:.3f}")
    for kind, part in table[wrong].groupby("kind"):
        print(f"  {kind:15s} {part['marked'].sum():4d} of {len(part):4d}")


def truth_of_counts(history: CounterHistory, folder: Path) -> pd.DataFrame:
    """True and cleaned operations between each unit's first and last usable reading, and worst error within."""
    truth = pd.read_csv(folder / "truth_daily.csv.gz", dtype={"unit_id": str}, parse_dates=["date"])
    truth = truth.rename(columns={"unit_id": "unit", "date": "on"})
    points = history.points.merge(truth, on=["unit", "on"], how="left")
    rows = []
    for unit, part in points.groupby("unit"):
        true = (part["cum_ops"] - part["cum_ops"].iloc[0]).to_numpy(float)
        got = (part["operations"] - part["operations"].iloc[0]).to_numpy(float)
        off = np.abs(got - true)
        rows.append((unit, true[-1], got[-1], got[-1] / max(true[-1], 1.0) - 1.0, off.max() / max(true[-1], 1.0)))
    return pd.DataFrame(rows, columns=["unit", "true", "cleaned", "error", "worst"])


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--counts", type=Path, required=True)
    parser.add_argument("--last", action="store_true", help="also each reading as of its own day")
    parser.add_argument("--list", action="store_true", help="list the misses and false marks")
    args = parser.parse_args()
    units, readings, events, stays = load(args.counts)
    errors = pd.read_csv(args.counts / "truth_errors.csv", dtype={"unit_id": str}, parse_dates=["date"])
    errors = errors.rename(columns={"unit_id": "unit", "date": "read_on"})
    history = read_counters(units, readings, events, stays, dt.date(2100, 1, 1))
    table = marks(history, errors)
    summary(table, "all readings known")
    later = table[table["read_on"] < table.groupby("unit")["read_on"].transform("max")]
    summary(later, "of those with a later reading")
    if args.list:
        odd = table[(table["kind"] != "") != table["marked"]]
        columns = ["unit", "read_on", "value", "true_reading", "kind", "status", "probability", "reason"]
        print(odd[columns].to_string(index=False))
    totals = truth_of_counts(history, args.counts).sort_values("worst", ascending=False)
    print(f"\noperations against the truth: median error {totals['error'].abs().median():.4f}, "
          f"worst point: median {totals['worst'].median():.4f}, highest {totals['worst'].max():.3f}")
    print(totals.head(10).to_string(index=False, float_format="%.4f"))
    if args.last:
        frames = units, readings, events, stays, errors
        summary(last_reading_marks(*frames), "each reading as of its own day")
        summary(last_reading_marks(*frames, later=1), "each reading once one later reading exists")


def last_reading_marks(
    units: pd.DataFrame,
    readings: pd.DataFrame,
    events: pd.DataFrame,
    stays: pd.DataFrame,
    errors: pd.DataFrame,
    later: int = 0,
) -> pd.DataFrame:
    """Marks of every reading as of its own day, or of the day of the `later`-th one after it.

    Readings with fewer than three before them are left out.

    Each day of each station is made a station of its own that holds only what was known by then, so that one
    call judges them all.
    """
    station = units.set_index("unit")["station"]
    parts: dict[str, list[pd.DataFrame]] = {"units": [], "readings": [], "events": []}
    dated = readings.assign(station=readings["unit"].map(station))
    for (name, on), today in dated.groupby(["station", "read_on"]):
        mark = f"@{pd.Timestamp(on).date()}"
        here = units[units["station"] == name]
        known = readings[readings["unit"].isin(here["unit"]) & (readings["read_on"] <= on)]
        happened = events[events["unit"].isin(here["unit"]) & (events["happened_on"] <= on)]
        parts["units"].append(here.assign(unit=here["unit"] + mark, station=f"{name}{mark}"))
        judged = known["reading_id"].isin(today["reading_id"])
        parts["readings"].append(known.assign(judged=judged, was=known["unit"], unit=known["unit"] + mark))
        parts["events"].append(happened.assign(unit=happened["unit"] + mark))
    whole = pd.concat(parts["readings"], ignore_index=True)
    whole["reading_id"] = np.arange(len(whole))
    known_events = pd.concat([part for part in parts["events"] if len(part)], ignore_index=True)
    history = read_counters(
        pd.concat(parts["units"], ignore_index=True), whole, known_events, stays, dt.date(2100, 1, 1)
    )
    table = history.readings.merge(whole[["reading_id", "judged", "was"]], on="reading_id")
    judged = table.groupby("unit")["judged"].shift(-later, fill_value=False)
    table = table[judged & (table.groupby("unit").cumcount() >= 3)]
    table = table.assign(unit=table["was"]).merge(errors, on=["unit", "read_on"], how="left")
    return table.assign(kind=table["kind"].fillna(""), marked=table["status"] == "doubtful")


if __name__ == "__main__":
    main()
