"""From an outlook, the limits in the book and what the planner has given to a plan."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from tapwear.outlook.types import Outlook
from tapwear.plan.inputs import Inputs
from tapwear.plan.jobs import NO_OUTAGE, at_engineer, jobs_from, left_out
from tapwear.plan.limits import NOTHING, assumed_group, limits_from
from tapwear.plan.optimise import optimise
from tapwear.plan.terms import unit_facts, with_other_outages, with_terms
from tapwear.plan.types import Costs, Job, LeftOut, PlanResult
from tapwear.weeks import monday

if TYPE_CHECKING:
    import pandas as pd

SHIPPED = Costs()


def build_plan(
    outlook: Outlook,
    year: int,
    *,
    closures: pd.DataFrame,
    transfer_groups: pd.DataFrame,
    crews: pd.DataFrame,
    units: pd.DataFrame,
    inputs: Inputs = NOTHING,
    costs: Costs = SHIPPED,
    seconds: float = 20.0,
    follow: PlanResult | None = None,
    follows: str = "",
    handed_out: bool = False,
    elsewhere: Mapping[str, str] | None = None,
    progress: Callable[[float, float], None] | None = None,
) -> PlanResult:
    """The plan of a year as of the outlook's date; the frames are those of the book (see `limits_from`).

    seconds : time that the optimiser may take
    follow, follows : the plan to keep close to, and its name
    handed_out : it was published, so that its kits are taken as ordered by their days
    elsewhere : by unit, where it is planned already, such as "plan 2026-b, 2026-W44"
    progress : told cost and proven bound now and then
    Jobs said to be done are left out; what is under way stays where it is. Units whose stop stands have no job.
    """
    as_of = outlook.as_of
    found = jobs_from(outlook, year)
    kept = {slot.job.unit: slot.start_week for slot in follow.placed if slot.start_week} if follow else {}
    ordered = {slot.job.unit: slot.job.kit for slot in follow.placed} if follow and handed_out else {}
    facts = unit_facts(units.itertuples(index=False))
    fitted = with_terms(found, year, as_of, inputs, facts, kept, ordered)
    elsewhere = {job.unit: elsewhere[job.unit] for job in fitted if job.unit in elsewhere} if elsewhere else {}
    closed = {job.unit: why for job in fitted if (why := _closed_words(job, year))}
    jobs = tuple(job for job in fitted if job.unit not in closed and job.unit not in elsewhere)
    limits = limits_from(
        jobs, year, closures=closures, transfer_groups=transfer_groups, crews=crews, units=units, inputs=inputs
    )
    jobs = with_other_outages(jobs, inputs.others, *_memberships(units, transfer_groups), limits.weeks)
    words = [*_release_words(jobs, limits.weeks, as_of), *limits.assumptions]
    words += [*_away_words(outlook), *_done_words(fitted)]
    words += [f"{unit} is left out: {why}." for unit, why in closed.items() if why.startswith("under way")]
    if elsewhere:
        told = ", ".join(f"{unit} ({where})" for unit, where in sorted(elsewhere.items()))
        words.append(f"Planned already and left out: {told}.")
    words += _pin_words(fitted, inputs, limits.weeks)
    words += [f"Kept close to plan {follows}: a job moved from its week there costs {costs.move:g}."] if follows else []
    limits = replace(limits, assumptions=tuple(words))
    result = optimise(jobs, limits, as_of, costs=costs, seconds=seconds, progress=progress)
    gone = [*left_out(outlook, fitted)]
    for job in fitted:
        if job.unit in closed:
            gone.append(LeftOut(job.unit, closed[job.unit], job.rests_on))
        elif job.unit in elsewhere:
            gone.append(LeftOut(job.unit, f"in {elsewhere[job.unit]}", job.rests_on))
    gone.sort(key=lambda one: one.unit)
    return replace(result, costs=costs, left_out=tuple(gone), follows=follows, at_engineer=at_engineer(outlook))


def _release_words(jobs: Sequence[Job], weeks: Sequence[str], as_of: date) -> list[str]:
    """What an engineer has released for work sooner than this plan begins."""
    first = monday(weeks[0])
    sooner = [job for job in jobs if job.work_from and job.progress != "started" and as_of < first > job.work_from]
    return [
        f"{job.unit} is released for work de-energised from {job.work_from}, before {weeks[0]}: sooner with tapwear "
        f"plan build {max(job.work_from or as_of, as_of).isocalendar().year}."
        for job in sooner
    ]


def _away_words(outlook: Outlook) -> list[str]:
    away = len({due.unit for due in outlook.dues if due.state in NO_OUTAGE})
    return [f"{away} unit{'s' if away != 1 else ''} left out: spare, in the workshop or retired."] if away else []


def _closed_words(job: Job, year: int) -> str:
    """Why a job that is done or under way has no week in the year; blank where it may have one."""
    if job.progress == "done":
        return f"done on {job.done_on}"
    return f"under way, and over before {year}" if job.progress == "started" and not job.weeks else ""


def _done_words(jobs: tuple[Job, ...]) -> list[str]:
    return [
        f"{job.unit} is said to be done on {job.done_on} and left out, but no service is recorded: tapwear service."
        for job in jobs
        if job.progress == "done"
    ]


def _pin_words(jobs: tuple[Job, ...], inputs: Inputs, weeks: Sequence[str]) -> list[str]:
    planned = {job.unit for job in jobs}
    pins = [row for row in inputs.notes if row["kind"] == "pin" and row["weeks"] in weeks]
    return [
        f"{row['unit']} is pinned to {row['weeks']}, but nothing of it falls due: no job."
        for row in pins
        if row["unit"] not in planned
    ]


def _memberships(
    units: pd.DataFrame, transfer_groups: pd.DataFrame
) -> tuple[Mapping[str, frozenset[str]], Mapping[str, frozenset[str]]]:
    """The transfer groups of each unit, and of each station: its own and those of its units."""
    of_station: dict[str, set[str]] = {}
    of_unit: dict[str, set[str]] = {}
    for row in transfer_groups.itertuples(index=False):
        if row.unit:
            of_unit.setdefault(str(row.unit), set()).add(str(row.group))
        else:
            of_station.setdefault(str(row.station), set()).add(str(row.group))
    whole = {station: set(groups) for station, groups in of_station.items()}
    for row in units.itertuples(index=False):
        unit, station = str(getattr(row, "unit", "")), str(row.station)
        mine = of_unit.setdefault(unit, set()) | of_station.get(station, set())
        of_unit[unit] = mine or {assumed_group(station)}
        whole.setdefault(station, set()).update(of_unit[unit])
    return (
        {unit: frozenset(groups) for unit, groups in of_unit.items()},
        {station: frozenset(groups) for station, groups in whole.items()},
    )
