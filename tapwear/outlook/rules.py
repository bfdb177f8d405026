"""Which questions are asked: every unit with every service rule it has, and when that task was last done."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

MAIN_TASK = "contact service"


def questions(
    units: pd.DataFrame, rules: pd.DataFrame, services: pd.DataFrame, events: pd.DataFrame, as_of: date
) -> pd.DataFrame:
    """One row per unit and task, with the interval and the last service known on `as_of`.

    Frames as in tapwear.store.book. Left out are retired units, and those that went into service after `as_of`, unless
    a service of theirs is known already; a unit without any rule keeps one row for the
    contact service, with no interval, so that it is never missing. Columns: unit, task, interval_operations,
    interval_years, duration_days, crew_hours, kit, lead_time_weeks, current_exponent [0 = plain count],
    last_service_on [NaT = unknown], last_service_counter [NaN = not written down], and the columns of `units`.
    """
    known = units[units["state"] != "retired"]
    asked = known.merge(rules.drop(columns=["provenance"], errors="ignore"), on="unit", how="left")
    asked["task"] = asked["task"].fillna(MAIN_TASK).astype(str)
    asked["kit"] = asked["kit"].fillna("").astype(str)
    exponent = asked["current_exponent"].astype(float) if "current_exponent" in asked else pd.Series(0.0, asked.index)
    asked["current_exponent"] = exponent.where(asked["interval_operations"].notna()).fillna(0.0)
    last = last_services(services, events, as_of)
    asked = asked.merge(last, on=["unit", "task"], how="left")
    waiting = (asked["commissioned_on"] > np.datetime64(as_of, "us")) & ~asked["unit"].isin(last["unit"])
    return asked[~waiting].reset_index(drop=True)


def last_services(services: pd.DataFrame, events: pd.DataFrame, as_of: date) -> pd.DataFrame:
    """The newest service on or before `as_of` that resets each task of each unit: unit, task,
    last_service_on, last_service_counter [as left, else as found; NaN]."""
    day = np.datetime64(as_of, "us")
    done = services[services["done_on"] <= day]
    rows = done[["unit", "done_on", "resets"]].copy()
    rows["last_service_counter"] = done["as_left_counter"].where(
        done["as_left_counter"].notna(), done["as_found_counter"]
    )
    rows = rows.explode("resets").rename(columns={"resets": "task", "done_on": "last_service_on"})
    rows = rows[rows["task"].notna() & (rows["task"] != "")]
    looked = events[(events["kind"] == "inspection") & (events["happened_on"] <= day)]
    inspected = pd.DataFrame(
        {
            "unit": looked["unit"],
            "last_service_on": looked["happened_on"],
            "task": "inspection",
            "last_service_counter": np.nan,
        }
    )
    both = pd.concat([part for part in (rows, inspected) if len(part)]) if len(rows) + len(inspected) else rows
    both = both.sort_values(["unit", "task", "last_service_on"], kind="stable")
    newest = both.drop_duplicates(["unit", "task"], keep="last").reset_index(drop=True)
    newest["last_service_counter"] = pd.to_numeric(newest["last_service_counter"])
    return newest[["unit", "task", "last_service_on", "last_service_counter"]]
