"""An outage plan as data: what every export and page of it says about each job, and the JSON of the whole.

JSON is one object:

    schema       "tapwear.plan/1"; the number rises when a field changes its meaning or goes away
    name, year, as_of, status, recorded_at, recorded_by
    caution      what to keep in mind before any work; where a stop stands, that first
    at_engineer  [{unit, station, stop, words, was_in}]: units whose stop stands, taken out of the plan: the engineer
                 decides now; was_in is the week that it was taken out of since the plan was made, "" for none
    assumptions  sentences: what was not given and taken instead
    costs        what a plan costs, by which this one was chosen; only the ratios matter
    proof        how good the plan is known to be, or null: placed one after the other
    jobs         [{the fields of PLAN_FIELDS}], in the order of their weeks, those without a place last
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, astuple, dataclass, field, fields, replace
from datetime import date, datetime, timedelta
from typing import Any

from tapwear.plan.terms import ORDERED
from tapwear.plan.types import AtEngineer, Job, PlanResult, Slot
from tapwear.report.plain import json_text, plain
from tapwear.weeks import monday
from tapwear.words import CAUTION_SHORT, stop_notice

PLAN_SCHEMA = "tapwear.plan/1"

# name -> meaning of every field of a job, in order
PLAN_FIELDS: dict[str, str] = {
    "stop": "where a stop is open at the unit: that it is, and that only work de-energised was released; else blank",
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
    "late": "the same with 90 %; not approval to wait",
    "chance_late": "chance of having become due before the outage starts [0-1]",
    "crew_hours": "work [crew hours]",
    "kit": "parts that it needs",
    "kit_ready_on": "day on which the parts can be there, ordered on as_of [ISO date]",
    "severe": "a stop is open at the unit: possible arcing or overheating; here only released for work de-energised",
    "overdue": "the limit in operations or years has been passed, more likely than not",
    "why": "what drives it, and what rides along in the same outage",
    "stopped_by": "what keeps it from finding a place",
    "assumed": "what was not given and taken instead",
    "needs_outage": "no: the unit is exchanged beside its bypass and the station's rules do not bind",
    "skill": "skill that the crew hours need; blank: any",
    "kit_order_by": "last day to order the parts for this slot [ISO date]; null where taken as ordered, or begun",
    "permit_ask_by": "last day to ask for the switching permit for this slot [ISO date]",
    "request_status": "outage request for this week: asked, approved, refused, cancelled; blank: not submitted",
    "request_words": "since when and by whom",
    "pinned_week": "ISO week in which it must start, as somebody decided",
    "recall_hours": "how soon the transformer can be back when called [h]",
    "resources": "bookable things needed while it is out",
    "other_work": "other people's work in the same outage",
    "progress": "started, done or stopped; blank: not begun",
    "done_on": "day on which it was done [ISO date]",
    "serial": "serial of the tap changer",
    "oil_volume_l": "oil of the compartments that are opened [L]",
    "technology": "arcing_resistor, arcing_reactor, vacuum; blank: not recorded",
    "suspected": "what the oil, visits and noted conditions show, as sentences",
    "release": "by whom a stopped unit was released for work de-energised, since when and why; blank: none",
    "pcb": "PCB status of the oil, as told",
    "rests_on": "what the dates rest on",
    "days": "outage as given [working days]; null: taken as whole weeks",
    "approver": "who approves the outage",
    "conditions": "under which it may be out",
    "alarms": "what the responsible engineer has to decide before it, as sentences; also in why",
}


@dataclass(frozen=True)
class PlanView:
    """A plan with its name and who made it when.

    sequence : grows with each plan of that year that is made or published
    revised : by unit, how often its stops were opened, released or cleared: as often its calendar entry was changed
    """

    name: str
    status: str
    recorded_at: datetime
    recorded_by: str
    sequence: int
    result: PlanResult
    revised: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class JobRow:
    """One job as every report says it; text is free of control characters. Fields: PLAN_FIELDS."""

    stop: str
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
    needs_outage: bool
    skill: str
    kit_order_by: date | None
    permit_ask_by: date | None
    request_status: str
    request_words: str
    pinned_week: str | None
    recall_hours: float | None
    resources: tuple[str, ...]
    other_work: tuple[str, ...]
    progress: str
    done_on: date | None
    serial: str
    oil_volume_l: float | None
    technology: str
    suspected: tuple[str, ...]
    release: str
    pcb: str
    rests_on: tuple[str, ...]
    days: float | None
    approver: str
    conditions: str
    alarms: tuple[str, ...]


# Fields that a row takes over from its job as they are.
_OF_JOB = tuple(one.name for one in fields(Job) if one.name in PLAN_FIELDS)


def job_rows(result: PlanResult) -> tuple[JobRow, ...]:
    """The jobs in the plan's order, those with a place numbered from 1. Units at the engineer have none, but for work
    that is done."""
    return _rows(result, (*result.placed, *result.unplaced))


def taken_out_rows(result: PlanResult) -> tuple[JobRow, ...]:
    """The jobs that a stop has taken out of their weeks, as they were: to be cancelled where they were handed out."""
    return _rows(result, [replace(slot, start_week=slot.was_in, stopped_by="") for slot in result.taken_out])


def stop_rows(result: PlanResult) -> tuple[AtEngineer, ...]:
    """The units whose stop stands, in text free of control characters."""
    return tuple(AtEngineer(*map(plain, astuple(one))) for one in result.at_engineer)


def _rows(result: PlanResult, slots: Iterable[Slot]) -> tuple[JobRow, ...]:
    numbers, stops = result.numbers, {one.unit: one.stop for one in result.at_engineer}
    return tuple(
        _row(slot, numbers.get(slot.job.job_id) if slot.start_week else None, result.as_of, stops) for slot in slots
    )


def _row(slot: Slot, number: int | None, as_of: date, stops: Mapping[str, str]) -> JobRow:
    job = slot.job
    start = monday(slot.start_week) if slot.start_week else None
    values: dict[str, Any] = {name: _printable(getattr(job, name)) for name in _OF_JOB}
    begun = job.progress in ("started", "done")
    values["assumed"] = "; ".join(values["assumed"])
    if slot.start_week and job.request_week not in (None, slot.start_week):  # the answer was about another week
        values["request_status"] = ""
        values["request_words"] = f"not submitted for {slot.start_week}; {values['request_words']}"
    return JobRow(
        stop=stops.get(job.unit, job.stop),
        number=number,
        start_week=slot.start_week,
        start_on=start,
        end_on=start + timedelta(days=7 * job.weeks - 1) if start else None,
        chance_late=None if slot.chance_late is None else round(slot.chance_late, 3),
        stopped_by=plain(slot.stopped_by),
        kit_order_by=None if begun or ORDERED in job.assumed else _last_day_to_ask(
            start, job.kit_weeks, job.kit_ready_on, as_of
        ),
        permit_ask_by=None if begun else _last_day_to_ask(start, job.permit_weeks, job.permit_from, as_of),
        **values,
    )


def _printable(value: Any) -> Any:
    if isinstance(value, tuple | list):
        return tuple(plain(part) for part in value)
    return plain(value) if isinstance(value, str) else value


def _last_day_to_ask(start: date | None, weeks: float | None, there_on: date | None, as_of: date) -> date | None:
    """The start less the lead time: as given, else what it takes from `as_of` to the day on which it can be there."""
    if start is None or (weeks is None and there_on is None):
        return None
    if weeks is None and there_on is not None:
        return start - max(there_on - as_of, timedelta(0))
    return start - timedelta(weeks=weeks or 0)


def plan_json(view: PlanView) -> str:
    """The plan as JSON text, see the top of this module."""
    result = view.result
    stopped = [one.unit for one in stop_rows(result)]
    proof = {**asdict(result.proof), "gap": result.proof.gap} if result.proof else None
    page = {
        "schema": PLAN_SCHEMA,
        "name": view.name,
        "year": result.year,
        "as_of": result.as_of.isoformat(),
        "status": view.status,
        "recorded_at": view.recorded_at.isoformat(),
        "recorded_by": plain(view.recorded_by),
        "caution": f"{stop_notice(*stopped)} {CAUTION_SHORT}" if stopped else CAUTION_SHORT,
        "at_engineer": [{"stop": one.stop, **asdict(one)} for one in stop_rows(result)],
        "assumptions": [plain(words) for words in result.limits.assumptions],
        "costs": asdict(result.costs),
        "proof": proof,
        "jobs": [{name: _plain_value(getattr(row, name)) for name in PLAN_FIELDS} for row in job_rows(result)],
    }
    return json_text(page)


def _plain_value(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value
