"""What stations and crews allow in a year; where nothing was given, what is assumed instead, in words."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from tapwear.plan.jobs import last_day
from tapwear.plan.types import Job, Limits
from tapwear.weeks import iso_week, monday, weeks_of_year

if TYPE_CHECKING:
    import pandas as pd

NAMED = 6  # names listed in one assumption before "and 3 more"
ALWAYS = (
    "Inspections make no outage of their own: they ride along where one is due in the year.",
    "Switching permits and outage requests are not counted: ask for them in time.",
    "Jobs weigh alike; of two that are equally pressing the one with the earlier date goes first.",
)


def limits_from(
    jobs: tuple[Job, ...],
    year: int,
    *,
    closures: pd.DataFrame,
    transfer_groups: pd.DataFrame,
    crews: pd.DataFrame,
    units: pd.DataFrame,
) -> Limits:
    """The limits that bear on these jobs, from the frames of the book.

    closures         station, from_on, to_on (dates, both included), why
    transfer_groups  group, station or unit (the other is "")
    crews            region, week (ISO), hours
    units            station, neighbourhood
    A week with one closed day is closed. Every absence is stated in `assumptions`.
    """
    weeks = tuple(weeks_of_year(year))
    stations = sorted({job.station for job in jobs if job.dated})
    closed = _closed(closures, set(stations), year)
    groups, grouped = _groups(transfer_groups, jobs)
    hours, regions = _crews(crews, weeks)
    hoods = {row.station: row.neighbourhood for row in _rows(units) if row.neighbourhood}
    assumptions = [
        *_absence("No closed weeks given in", year, stations, closed, "open all year"),
        *_group_words(sorted({job.station for job in jobs if job.dated and job.job_id not in grouped})),
        *_crew_words(sorted({job.region for job in jobs if job.dated}), regions, weeks),
        *_absence("No neighbourhood given for", None, stations, hoods, "a trip of their own"),
        *_job_words(jobs),
        *ALWAYS,
    ]
    return Limits(weeks, closed, groups, hours, tuple(assumptions), hoods)


def _rows(frame: pd.DataFrame) -> Iterable[Any]:
    return frame.itertuples(index=False)


def _day(value: date) -> date:
    return value.date() if isinstance(value, datetime) else value


def _closed(closures: pd.DataFrame, stations: set[str], year: int) -> dict[str, dict[str, str]]:
    first, last = monday(weeks_of_year(year)[0]), last_day(year)
    closed: dict[str, dict[str, str]] = {}
    for row in _rows(closures):
        day, end = max(_day(row.from_on), first), min(_day(row.to_on), last)
        while row.station in stations and day <= end:
            closed.setdefault(row.station, {}).setdefault(iso_week(day), row.why or "closed")
            day = day - timedelta(days=day.weekday()) + timedelta(days=7)
    return closed


def _groups(frame: pd.DataFrame, jobs: tuple[Job, ...]) -> tuple[dict[str, frozenset[str]], set[str]]:
    members: dict[str, set[str]] = {}
    for row in _rows(frame):
        for job in jobs:
            if (row.unit and row.unit == job.unit) or (not row.unit and row.station == job.station):
                members.setdefault(row.group, set()).add(job.job_id)
    grouped = {job_id for ids in members.values() for job_id in ids}
    for job in jobs:
        if job.job_id not in grouped:
            members.setdefault(f"station {job.station} (assumed)", set()).add(job.job_id)
    return {name: frozenset(ids) for name, ids in sorted(members.items())}, grouped


def _crews(crews: pd.DataFrame, weeks: tuple[str, ...]) -> tuple[dict[tuple[str, str], float], dict[str, set[str]]]:
    """Hours on offer, with 0 in the weeks that a region leaves out, and the weeks that each region gives."""
    given: dict[tuple[str, str], float] = {}
    regions: dict[str, set[str]] = {}
    known = set(weeks)
    for row in _rows(crews):
        if row.week in known:
            given[row.region, row.week] = given.get((row.region, row.week), 0.0) + float(row.hours)
            regions.setdefault(row.region, set()).add(row.week)
    return {(region, week): given.get((region, week), 0.0) for region in sorted(regions) for week in weeks}, regions


def _names(names: list[str]) -> str:
    shown = [name or "(none named)" for name in names[:NAMED]]
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return ", ".join(shown) + more


def _absence(start: str, year: int | None, names: list[str], given: dict[str, Any], instead: str) -> list[str]:
    absent = [name for name in names if name not in given]
    when = f" {year} for" if year else ""
    return [f"{start}{when} {_names(absent)}: {instead}."] if absent else []


def _group_words(stations: list[str]) -> list[str]:
    if not stations:
        return []
    return [f"No transfer group given at {_names(stations)}: one transformer or bank out at a time in each station."]


def _crew_words(wanted: list[str], given: dict[str, set[str]], weeks: tuple[str, ...]) -> list[str]:
    words = []
    for region in wanted:
        name = f"region {region}" if region else "units without a region"
        if region not in given:
            words.append(f"No crew hours given for {name}: not limited.")
        elif len(given[region]) < len(weeks):
            missing = len(weeks) - len(given[region])
            words.append(f"No crew hours given for {name} in {missing} weeks of the year: none on offer in those.")
    return words


def _job_words(jobs: tuple[Job, ...]) -> list[str]:
    assumed: dict[str, list[str]] = {}
    for job in jobs:
        for what in job.assumed if job.dated else ():
            assumed.setdefault(what, []).append(job.unit)
    return [f"Not given, so {what} is taken for {_names(units)}." for what, units in sorted(assumed.items())]
