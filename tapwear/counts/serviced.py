"""Counter readings that were noted with services, taken in among those of the visits."""

from __future__ import annotations

import numpy as np
import pandas as pd

from tapwear.measures import TESTING_OPERATIONS


def with_service_readings(readings: pd.DataFrame, services: pd.DataFrame, units: pd.DataFrame) -> pd.DataFrame:
    """The readings, with the counters that services noted added where the day has no reading of its own.

    Frames as in tapwear.store.book. The number as left counts, unless it differs so much from the number as found
    that the counter was changed. It says no drive, so it counts only where one drive was read, or nothing was read
    and the unit has one drive.
    """
    done = services[services["as_found_counter"].notna() | services["as_left_counter"].notna()]
    if done.empty:
        return readings
    found = done["as_found_counter"].astype(float)
    left = done["as_left_counter"].astype(float).fillna(found)
    found = found.fillna(left)
    plain = (left - found).abs() <= TESTING_OPERATIONS
    extra = pd.DataFrame({"unit": done["unit"], "read_on": done["done_on"], "value": left})[plain.to_numpy(bool)]
    read = readings[(readings["source"] == "mechanical") & readings["unit"].isin(done["unit"])]
    drives = _one_drive(units[units["unit"].isin(done["unit"])], read)
    extra = extra[extra["unit"].isin(drives.index)]
    if extra.empty:
        return readings
    days = pd.MultiIndex.from_frame(read[["unit", "read_on"]])
    extra = extra[~pd.MultiIndex.from_frame(extra[["unit", "read_on"]]).isin(days)]
    extra = extra.drop_duplicates(["unit", "read_on"], keep="last")
    extra = extra.assign(
        reading_id=-1 - np.arange(len(extra)),
        drive=extra["unit"].map(drives["drive"]),
        source="mechanical",
        digits=extra["unit"].map(drives["digits"]).astype("int64"),
        value=extra["value"].astype("int64"),
    )
    both = pd.concat([readings, extra[[c for c in readings.columns if c in extra]]], ignore_index=True)
    text = both.select_dtypes(include=["object", "string"]).columns
    both[text] = both[text].fillna("")
    return both


def _one_drive(units: pd.DataFrame, read: pd.DataFrame) -> pd.DataFrame:
    """Drive and digits, by unit, where a number without a drive's name can be of one drive only."""
    found = read.groupby("unit").agg(drives=("drive", "nunique"), drive=("drive", "first"), digits=("digits", "last"))
    found = found.loc[found["drives"] == 1, ["drive", "digits"]]
    if "only_drive" not in units:
        return found
    unread = units[~units["unit"].isin(read["unit"]) & (units["only_drive"] != "") & (units["digits"] > 0)]
    named = unread.set_index("unit")[["only_drive", "digits"]].rename(columns={"only_drive": "drive"})
    return pd.concat([found, named]) if len(named) else found
