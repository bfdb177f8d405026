"""What stations and crews allow in a year; where nothing was given, what is assumed instead, in words."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from tapwear.plan.inputs import Inputs, hours_of_teams, resources_free, weeks_touched, yearly_weeks
from tapwear.plan.types import Job, Limits
from tapwear.weeks import weeks_of_year

if TYPE_CHECKING:
    import pandas as pd

NAMED = 6  # names listed in one assumption before "and 3 more"
INSPECTIONS = "Inspections make no outage of their own: they ride along where one is due in the year."
ALIKE = "Jobs weigh alike; of two that are equally pressing the one with the earlier date goes first."
ASSUMED = " (assumed)"
NOTHING = Inputs()


def limits_from(
    jobs: tuple[Job, ...],
    year: int,
    *,
    closures: pd.DataFrame,
    transfer_groups: pd.DataFrame,
    crews: pd.DataFrame,
    units: pd.DataFrame,
    inputs: Inputs = NOTHING,
) -> Limits:
    """The limits that bear on these jobs, from the frames of the book and what the planner has given.

    closures         station, from_on, to_on (dates, both included), why
    transfer_groups  group, station or unit (the other is "")
    crews            region, week (ISO), hours
    units            unit, station, bank, state, neighbourhood, region
    A week with one closed day is closed. Every absence is stated in `assumptions`.
    """
    weeks = tuple(weeks_of_year(year))
    outages = [job for job in jobs if job.dated and job.needs_outage]
    stations = sorted({job.station for job in outages})
    closed = _closed(closures, inputs, set(stations), weeks)
    groups, grouped = _groups(transfer_groups, jobs)
    hours, given, skills = _crews(crews, inputs, jobs, weeks)
    free = resources_free(inputs, weeks)
    hoods = {row.station: row.neighbourhood for row in _rows(units) if row.neighbourhood}
    assumptions = [
        *_absence("No closed weeks given in", year, stations, closed, "open all year"),
        *_group_words(outages, grouped),
        *_alone_words(units, outages),
        *_crew_words(sorted({job.region for job in jobs if job.dated}), given, weeks),
        *_stray_words(units, given),
        *_skill_words(jobs, skills),
        *_resource_words(outages, {name for name, _ in free}),
        *_absence("No neighbourhood given for", None, sorted({j.station for j in jobs if j.dated}), hoods, TRIP),
        *_job_words(jobs),
        *_permit_words(outages),
        *_exchange_words(jobs),
        INSPECTIONS,
        *_weight_words(jobs),
    ]
    return Limits(weeks, closed, groups, hours, tuple(assumptions), hoods, skills, free)


TRIP = "a trip of their own"


def _rows(frame: pd.DataFrame) -> Iterable[Any]:
    return frame.itertuples(index=False)


def _day(value: date) -> date:
    return value.date() if isinstance(value, datetime) else value


def _closed(
    closures: pd.DataFrame, inputs: Inputs, stations: set[str], weeks: tuple[str, ...]
) -> dict[str, dict[str, str]]:
    closed: dict[str, dict[str, str]] = {}
    for row in _rows(closures):
        if row.station in stations:
            for week in weeks_touched(_day(row.from_on), _day(row.to_on), weeks):
                closed.setdefault(row.station, {}).setdefault(week, row.why or "closed")
    for yearly in inputs.yearly:
        if yearly["station"] in stations:
            for week in yearly_weeks(yearly["from_week"], yearly["to_week"], weeks):
                closed.setdefault(yearly["station"], {}).setdefault(week, yearly["why"] or "closed every year")
    return closed


def _groups(frame: pd.DataFrame, jobs: tuple[Job, ...]) -> tuple[dict[str, frozenset[str]], set[str]]:
    members: dict[str, set[str]] = {}
    outages = [job for job in jobs if job.needs_outage]
    for row in _rows(frame):
        for job in outages:
            if (row.unit and row.unit == job.unit) or (not row.unit and row.station == job.station):
                members.setdefault(row.group, set()).add(job.job_id)
    grouped = {job_id for ids in members.values() for job_id in ids}
    for job in outages:
        if job.job_id not in grouped:
            members.setdefault(assumed_group(job.station), set()).add(job.job_id)
    return {name: frozenset(ids) for name, ids in sorted(members.items())}, grouped


def assumed_group(station: str) -> str:
    """The name of the transfer group of a station for which none was given."""
    return f"station {station}{ASSUMED}"


def group_words(group: str) -> str:
    """`in transfer group north ring`, or `at station ALDER` for one that was assumed."""
    return f"at {group.removesuffix(ASSUMED)}" if group.endswith(ASSUMED) else f"in transfer group {group}"


def _crews(
    crews: pd.DataFrame, inputs: Inputs, jobs: tuple[Job, ...], weeks: tuple[str, ...]
) -> tuple[dict[tuple[str, str], float], dict[str, set[str]], dict[tuple[str, str, str], float]]:
    """Hours on offer, with 0 in the weeks that a region leaves out; the weeks that each region gives; hours by skill.

    A skill that a job needs and no team of its region has counts as 0 hours, where the region has teams.
    """
    of_teams, skills = hours_of_teams(inputs, weeks)
    hours = {(region, week): offered for region, by_week in of_teams.items() for week, offered in by_week.items()}
    regions = {region: set(weeks) for region in of_teams}
    known = set(weeks)
    for row in _rows(crews):
        if row.week in known:
            hours[row.region, row.week] = hours.get((row.region, row.week), 0.0) + float(row.hours)
            regions.setdefault(row.region, set()).add(row.week)
    for job in jobs:
        if job.skill and job.region in of_teams and (job.region, job.skill, weeks[0]) not in skills:
            skills.update({(job.region, job.skill, week): 0.0 for week in weeks})
    full = {(region, week): hours.get((region, week), 0.0) for region in sorted(regions) for week in weeks}
    return full, regions, skills


def _names(names: list[str]) -> str:
    shown = [name or "(none named)" for name in names[:NAMED]]
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return ", ".join(shown) + more


def _absence(start: str, year: int | None, names: list[str], given: dict[str, Any], instead: str) -> list[str]:
    absent = [name for name in names if name not in given]
    when = f" {year} for" if year else ""
    return [f"{start}{when} {_names(absent)}: {instead}."] if absent else []


def _group_words(outages: list[Job], grouped: set[str]) -> list[str]:
    """Stations without a transfer group, and those where only some units have one: these may be out beside the rest."""
    alone: dict[str, list[str]] = {job.station: [] for job in outages if job.job_id not in grouped}
    mixed = {job.station for job in outages if job.job_id in grouped} & alone.keys()
    for job in outages:
        if job.job_id not in grouped:
            alone[job.station].append(job.unit)
    whole = sorted(alone.keys() - mixed)
    words = [f"No transfer group given at {_names(whole)}: one transformer or bank out at a time in each station."]
    return words[: bool(whole)] + [
        f"No transfer group given for {_names(sorted(alone[station]))} at {station}: one of them out at a time, beside "
        "those of the station that are in a group."
        for station in sorted(mixed)
    ]


def _alone_words(units: pd.DataFrame, outages: list[Job]) -> list[str]:
    """Stations with one transformer, and nothing named that carries its load meanwhile."""
    standing: dict[str, set[tuple[str, str]]] = {}
    for row in _rows(units):
        if getattr(row, "state", "") == "in service":
            standing.setdefault(row.station, set()).add((row.bank, "" if row.bank else row.unit))
    alone = sorted({job.station for job in outages if not job.resources and len(standing.get(job.station, ())) == 1})
    if not alone:
        return []
    return [
        f"One transformer only at {_names(alone)}, and no resource named for its outage: a load transfer or a mobile "
        "transformer is taken to be there."
    ]


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


def _stray_words(units: pd.DataFrame, given: dict[str, set[str]]) -> list[str]:
    """Regions that have crews and no units: probably spelt otherwise."""
    regions = {row.region for row in _rows(units) if hasattr(row, "region")}
    stray = sorted(given.keys() - regions) if regions else []
    return [f"Crew hours are given for region {_names(stray)}, where no unit stands."] if stray else []


def _skill_words(jobs: tuple[Job, ...], skills: dict[tuple[str, str, str], float]) -> list[str]:
    known = {(region, skill) for region, skill, _ in skills}
    missing = sorted({(j.skill, j.region) for j in jobs if j.dated and j.skill and (j.region, j.skill) not in known})
    return [f"No team with skill {skill} given for region {region}: not limited." for skill, region in missing]


def _resource_words(outages: list[Job], known: set[str]) -> list[str]:
    missing = sorted({name for job in outages for name in job.resources if name not in known})
    return [f"How many there are is not given for {_names(missing)}: not limited."] if missing else []


def _job_words(jobs: tuple[Job, ...]) -> list[str]:
    assumed: dict[str, list[str]] = {}
    for job in jobs:
        for what in job.assumed if job.dated else ():
            assumed.setdefault(what, []).append(job.unit)
    return [f"Not given, so {what} is taken for {_names(units)}." for what, units in sorted(assumed.items())]


def _permit_words(outages: list[Job]) -> list[str]:
    absent = sorted({job.station for job in outages if job.permit_weeks is None})
    if not absent:
        return []
    return [f"No lead time of the switching permit given for {_names(absent)}: not counted, ask for it in time."]


def _exchange_words(jobs: tuple[Job, ...]) -> list[str]:
    exchanged = sorted(job.unit for job in jobs if job.dated and not job.needs_outage)
    if not exchanged:
        return []
    return [f"Bypassed and exchanged, so no outage is counted: {_names(exchanged)}."]


def _weight_words(jobs: tuple[Job, ...]) -> list[str]:
    weights: dict[float, list[str]] = {}
    for job in jobs:
        if job.dated and job.weight != 1.0:
            weights.setdefault(job.weight, []).append(job.unit)
    if not weights:
        return [ALIKE]
    return [f"Lateness at {_names(units)} is weighted x{weight:g}." for weight, units in sorted(weights.items())]
