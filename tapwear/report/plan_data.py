"""An outage plan as data: what every export and page of it says about each job, and the JSON of the whole.

JSON is one object:

    schema       "tapwear.plan/1"; the number rises when a field changes its meaning or goes away
    name, year, as_of, status, recorded_at, recorded_by
    caution      what to keep in mind before any work
    assumptions  sentences: what was not given and taken instead
    jobs         [{the fields of PLAN_FIELDS}], in the order of their weeks, those without a place last
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from tapwear.plan.types import PlanResult, Slot
from tapwear.report.plain import plain
from tapwear.weeks import monday
from tapwear.words import CAUTION_SHORT, SEVERE

PLAN_SCHEMA = "tapwear.plan/1"

# name -> meaning of every field of a job, in order
PLAN_FIELDS: dict[str, str] = {
    "number": "its number in this plan; null where it found no place",
    "start_week": "ISO week in which the outage starts; null where it found no place",
    "start_on": "Monday of that week [ISO date]",
    "end_on": "Sunday of its last week [ISO date]",
    "weeks": "whole weeks that the outage lasts",
    "unit": "the owner's asset tag",
    "station": "station where it stands",
    "region": "crew region",
    "bank": "transformer bank",
    "phase": "phase of a single-phase unit",
    "task": "the most demanding of the tasks done in this outage",
    "early": "day by which it has become due with 10 % [ISO date]",
    "middle": "the same with 50 %",
    "late": "the same with 90 %; no permission to wait",
    "chance_late": "chance of having become due before the outage starts [0-1]",
    "crew_hours": "work [crew hours]",
    "kit": "parts that it needs",
    "kit_ready_on": "day on which the parts can be there, ordered on as_of [ISO date]",
    "severe": "suspected severe arcing or heating: do not operate, approach or sample; call the engineer",
    "overdue": "the limit in operations or years has been passed, more likely than not",
    "why": "what drives it, and what rides along in the same outage",
    "stopped_by": "what keeps it from finding a place",
    "assumed": "what was not given and taken instead",
}


@dataclass(frozen=True)
class PlanView:
    """A plan with its name and who made it when. `sequence` counts the plans of that year made before it."""

    name: str
    status: str
    recorded_at: datetime
    recorded_by: str
    sequence: int
    result: PlanResult


@dataclass(frozen=True)
class JobRow:
    """One job as every report says it; text is free of control characters. Fields: PLAN_FIELDS."""

    number: int | None
    start_week: str | None
    start_on: date | None
    end_on: date | None
    weeks: int
    unit: str
    station: str
    region: str
    bank: str
    phase: str
    task: str
    early: date | None
    middle: date | None
    late: date | None
    chance_late: float | None
    crew_hours: float
    kit: str
    kit_ready_on: date | None
    severe: bool
    overdue: bool
    why: str
    stopped_by: str
    assumed: str


def job_rows(result: PlanResult) -> tuple[JobRow, ...]:
    """The jobs in the plan's order, those with a place numbered from 1."""
    numbers = {id(slot): number for number, slot in enumerate(result.placed, start=1)}
    return tuple(_row(slot, numbers.get(id(slot))) for slot in (*result.placed, *result.unplaced))


def _row(slot: Slot, number: int | None) -> JobRow:
    job = slot.job
    start = monday(slot.start_week) if slot.start_week else None
    return JobRow(
        number=number,
        start_week=slot.start_week,
        start_on=start,
        end_on=start + timedelta(days=7 * job.weeks - 1) if start else None,
        weeks=job.weeks,
        unit=plain(job.unit),
        station=plain(job.station),
        region=plain(job.region),
        bank=plain(job.bank),
        phase=plain(job.phase),
        task=plain(job.task),
        early=job.early,
        middle=job.middle,
        late=job.late,
        chance_late=None if slot.chance_late is None else round(slot.chance_late, 3),
        crew_hours=job.crew_hours,
        kit=plain(job.kit),
        kit_ready_on=job.kit_ready_on,
        severe=job.severe,
        overdue=job.overdue,
        why=plain(job.why),
        stopped_by=plain(slot.stopped_by),
        assumed=plain("; ".join(job.assumed)),
    )


def plan_json(view: PlanView) -> str:
    """The plan as JSON text, see the top of this module."""
    rows = job_rows(view.result)
    page = {
        "schema": PLAN_SCHEMA,
        "name": view.name,
        "year": view.result.year,
        "as_of": view.result.as_of.isoformat(),
        "status": view.status,
        "recorded_at": view.recorded_at.isoformat(),
        "recorded_by": plain(view.recorded_by),
        "caution": CAUTION_SHORT,
        "assumptions": [plain(words) for words in view.result.limits.assumptions],
        "jobs": [{name: _plain_value(getattr(row, name)) for name in PLAN_FIELDS} for row in rows],
    }
    return json.dumps(page, ensure_ascii=True, indent=2, allow_nan=False)


def _plain_value(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value


def headline(view: PlanView) -> str:
    """`Outage plan 2027-a for 2027, as of 2026-06-30: 14 outages placed, 2 found no place, 1 with unknown date.`"""
    result = view.result
    placed = f"{len(result.placed)} outage{'s' if len(result.placed) != 1 else ''} placed"
    rest = [f"{len(result.stopped)} found no place"] if result.stopped else []
    rest += [f"{len(result.undated)} with unknown date"] if result.undated else []
    start = f"Outage plan {plain(view.name)} for {result.year}, as of {result.as_of.isoformat()}"
    return f"{start}: {', '.join([placed, *rest])}."


def chance_words(row: JobRow) -> str:
    """`12 %`, `under 1 %`, `over 99 %`; blank where there is no place."""
    if row.chance_late is None:
        return ""
    percent = round(100 * row.chance_late)
    if percent < 1:
        return "under 1 %"
    return "over 99 %" if percent > 99 else f"{percent} %"


def severe_words(rows: Sequence[JobRow]) -> str:
    """What must be read before anything else where a job has a severe finding; blank where none has."""
    units = [row.unit for row in rows if row.severe]
    return f"Severe finding at {', '.join(units)}: does not wait for a plan. {SEVERE}" if units else ""
