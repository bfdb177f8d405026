"""What the oil was called after each sample, from nothing taken later: which samples were severe when they came in.

Each past day is a world of its own: the units of a station that were sampled that day, with what was known of them by
then. All worlds are assessed together, beside the fleet from which is learnt what is usual.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from tapwear.oil.assess import assess

if TYPE_CHECKING:
    from tapwear.oil.types import OilVerdict

WORLDS_AT_ONCE = 2_000  # which bounds the memory; our choice
MARK = "\0"  # stands between a unit's tag and the number of its world; no tag holds it


def calls_over_time(
    samples: pd.DataFrame,
    events: pd.DataFrame,
    units: pd.DataFrame,
    limits: pd.DataFrame | None,
    wanted: Collection[str],
    as_of: date,
    back_days: float,
) -> list[OilVerdict]:
    """The verdict on each unit after each of its samples since its last overhaul, dated as the sample, oldest first.

    Parameters
    ----------
    samples, events, units, limits : as `tapwear.oil.assess.assess` takes them
    wanted : the units to look back at
    as_of : samples and events after this day are left out; "no oil evidence" is said as of it
    back_days : only of samples at most so many days older than the unit's newest
    """
    until = np.datetime64(as_of, "us")
    samples = samples[samples["sampled_on"] <= until]
    events = events[events["happened_on"] <= until]
    opened = events[events["kind"] == "overhaul"].groupby("unit")["happened_on"].max()
    asked = samples[samples["unit"].isin(list(wanted))]
    newest = asked.groupby("unit")["sampled_on"].transform("max")
    asked = asked[asked["sampled_on"] >= newest - pd.Timedelta(days=back_days)]
    last = opened.reindex(asked["unit"]).set_axis(asked.index)  # `map` stumbles where nothing was ever opened
    asked = asked[last.isna() | (asked["sampled_on"] > last)]
    if asked.empty:
        return []
    station = units.drop_duplicates("unit").set_index("unit")["station"].fillna("").astype(str)
    place = asked["unit"].map(station).fillna("")
    place = place.where(place != "", MARK + asked["unit"].astype(str))
    worlds = [
        (rows["sampled_on"].iloc[0], set(map(str, rows["unit"])))
        for _, rows in asked.groupby([place, asked["sampled_on"]], sort=True)
    ]
    found: list[OilVerdict] = []
    for first in range(0, len(worlds), WORLDS_AT_ONCE):
        part = worlds[first : first + WORLDS_AT_ONCE]
        found += _assessed(part, samples, events, units, station, limits, as_of)
    return sorted(found, key=lambda verdict: (verdict.unit, verdict.as_of))


def _assessed(
    worlds: Sequence[tuple[pd.Timestamp, set[str]]],
    samples: pd.DataFrame,
    events: pd.DataFrame,
    units: pd.DataFrame,
    station: pd.Series[str],
    limits: pd.DataFrame | None,
    as_of: date,
) -> list[OilVerdict]:
    samples_of = {str(unit): rows for unit, rows in samples.groupby("unit")}
    events_of = {str(unit): rows for unit, rows in events.groupby("unit")}
    unit_rows = units.drop_duplicates("unit").set_index("unit", drop=False)
    sampled: list[pd.DataFrame] = []
    happened: list[pd.DataFrame] = []
    there: list[pd.DataFrame] = []
    asked: dict[str, tuple[str, date]] = {}
    days_of = {unit: set(rows["sampled_on"]) for unit, rows in samples_of.items()}
    neighbours: dict[str, list[str]] = {}
    for unit in samples_of:
        neighbours.setdefault(str(station.get(unit, "")), []).append(unit)
    for number, (day, tags) in enumerate(worlds):
        # Units that were ever sampled on a day with these may have had their bottles exchanged with theirs.
        days = set().union(*(days_of[tag] for tag in tags))
        near = {one for tag in tags if station.get(tag) for one in neighbours[str(station[tag])]}
        beside = {one for one in near if days & days_of[one]}
        names = {tag: f"{tag}{MARK}{number}" for tag in sorted(tags | beside)}
        for tag, name in names.items():
            rows = samples_of[tag]
            rows = rows[rows["sampled_on"] <= day]
            if rows.empty or tag not in unit_rows.index:
                continue
            sampled.append(rows.assign(unit=name))
            if tag in events_of:
                happened.append(events_of[tag][events_of[tag]["happened_on"] <= day].assign(unit=name))
            place = str(station.get(tag, ""))
            there.append(unit_rows.loc[[tag]].assign(unit=name, station=f"{place}{MARK}{number}" if place else ""))
            if tag in tags:
                asked[name] = tag, day.date()
    if not asked:
        return []
    verdicts = assess(
        pd.concat([samples, *sampled], ignore_index=True),
        pd.concat([events, *happened], ignore_index=True) if happened else events,
        pd.concat([units.assign(speaks=True), pd.concat(there).assign(speaks=False)], ignore_index=True),
        as_of,
        limits,
        wanted=asked.keys(),
    )
    return [replace(one, unit=asked[one.unit][0], as_of=asked[one.unit][1]) for one in verdicts]
